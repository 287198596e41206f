"""What a worker is told once, and how it answers block after block, in this process or in another."""

from __future__ import annotations

import ctypes
import hashlib
import os
import pickle
import sys
import threading
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import cast

from optdescent.inputs import Fault, InputFault
from optdescent.results.provenance import software_version
from optdescent.sweep.block import Answers, answer_block
from optdescent.sweep.plan import Block, Plan
from optdescent.sweep.question import Asked, Case, Held, Layout, Question

_KEPT = 2
"""Sweeps that one process of a cluster keeps at a time."""


@dataclass(frozen=True)
class Setup:
    """Everything that the answers of a block follow from, but for the block."""

    plan: Plan
    asked: Asked
    layout: Layout
    question: Question
    prepared: object

    def packed(self) -> Packed:
        """The same in a form to send, its list of blocks left out."""
        content = packed(replace(self, plan=replace(self.plan, blocks=())))
        return Packed(hashlib.sha256(content).hexdigest(), content)


@dataclass(frozen=True)
class Packed:
    """A setup to send, and its name."""

    token: str
    content: bytes


def packed(what: object) -> bytes:
    """Something to send to a worker, with the version that packed it."""
    return pickle.dumps((software_version(), pickle.dumps(what)))


def unpacked(content: bytes) -> object:
    """What was packed, in a process that is made ready for it.

    Raises
    ------
    InputFault
        Another version packed it.
    """
    keep_large_pieces()
    # the version apart, because another one may not even read the rest
    version, inner = cast(tuple[str, bytes], pickle.loads(content))
    if version != software_version():
        given = f"a worker has optdescent {software_version()}, the sweep was begun by {version}"
        raise InputFault([Fault("", "workers", given, "the same version everywhere")])
    return pickle.loads(inner)


class Worker:
    """Answers blocks of one sweep."""

    def __init__(self, setup: Setup, held: Held | None = None) -> None:
        self._setup = setup
        self._held = held or setup.question.hold(setup.prepared)

    def answers(self, block: Block) -> Answers:
        """Answers of a block [SI]."""
        setup = self._setup
        found = answer_block(block, setup.plan, setup.asked, setup.layout, self._held)
        give_back()
        return found


def give_back() -> None:
    """Give memory that is free again back to the system, where the C library would keep it for later (glibc).

    Factors and functions of a block come in pieces of all sizes; without this a worker of optima grows from 0.3 to
    0.5 GB. It takes about 10 ms.
    """
    libc = _glibc()
    if libc is not None:
        libc.malloc_trim(0)


def keep_large_pieces() -> None:
    """Let the C library keep large pieces that are free again until they are given back, as it would by itself (glibc).

    Dask starts its workers with the environment variable MALLOC_TRIM_THRESHOLD_ (its configuration,
    distributed.nanny.pre-spawn-environ): then every piece above 128 kB is asked from the system anew, and a case takes
    8 % longer. Where nothing is set both thresholds rise by themselves, up to these (mallopt(3)). Elsewhere nothing is
    changed.
    """
    libc = _glibc()
    if libc is not None and _SET_BY_DASK in os.environ:
        libc.mallopt(_MMAP_THRESHOLD, _LARGEST)
        libc.mallopt(_TRIM_THRESHOLD, 2 * _LARGEST)


_SET_BY_DASK = "MALLOC_TRIM_THRESHOLD_"
_TRIM_THRESHOLD, _MMAP_THRESHOLD = -1, -3
"""Numbers of what is set, as malloc.h has them."""
_LARGEST = 32 << 20
"""Largest piece [bytes] that is not asked from the system by itself."""


def _glibc() -> ctypes.CDLL | None:
    """The C library, if it is the one of GNU."""
    libc = ctypes.CDLL(None) if sys.platform == "linux" else None
    return libc if hasattr(libc, "malloc_trim") else None


_LOCK = threading.Lock()
_WORKERS: dict[str, Worker] = {}


def answered(token: str, content: bytes, block: Block) -> Answers:
    """Answers of a block [SI] by the worker that this process keeps for a packed setup.

    Raises
    ------
    InputFault
        Another version packed it.

    Notes
    -----
    One block at a time, whatever the number of threads: CasADi is not safe among threads.
    """
    with _LOCK:
        worker = _WORKERS.pop(token, None) or Worker(cast(Setup, unpacked(content)))
        _WORKERS[token] = worker
        while len(_WORKERS) > _KEPT:
            del _WORKERS[next(iter(_WORKERS))]
        return worker.answers(block)


def prepared(content: bytes) -> object:
    """What is found for a case: `content` is a packed pair of how to ask and the case.

    Raises
    ------
    InputFault
        Another version packed it.
    """
    with _LOCK:
        ask, case = cast(tuple[Callable[[Case], object], Case], unpacked(content))
        return ask(case)
