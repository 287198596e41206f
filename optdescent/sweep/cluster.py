"""A sweep prepared and its blocks answered by the workers of a Dask cluster; only the process that began it writes."""

from __future__ import annotations

import logging
import re
import time
from collections import Counter, deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import CancelledError
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from importlib import import_module
from typing import Any, TypeVar

from optdescent.inputs import Fault, InputFault
from optdescent.interrupt import Patience
from optdescent.sweep.block import Answers, failed_block
from optdescent.sweep.journal import Journal, first_line
from optdescent.sweep.plan import Block
from optdescent.sweep.question import Case
from optdescent.sweep.worker import Setup, answered, packed, prepared

Found = TypeVar("Found")
_TIMEOUT = 10.0
"""To reach the scheduler [s]."""
_OUTSTANDING, _SHORT = 2, 2.0
"""Blocks for each worker, which does one at a time, where blocks take less than so many seconds: the next one is there
when it is ready. Longer ones come one at a time: none waits behind another while a worker has nothing to do."""
_RETRIES = 2
"""Of a block whose task failed for a reason outside the block."""
_MOST_LOSSES = 5
"""Times that the setup may be lost in a row, each time with the last worker that had it."""
_NO_ANSWER = (OSError, ValueError, TypeError, RuntimeError, ImportError)
"""What a client ends in that reaches no scheduler; of these a TypeError where a form of address is not set up here."""
_SECONDS, _SECONDS_TO_COUNT = 0.02, 2.0
"""Between two looks for answers, and between two counts of the workers [s]."""
_NO_WORKERS = "{} has no workers; waiting for one"
_ADDRESS = re.compile(r"((tcp|tls|ws|wss)://)?([\w.-]+|\[[\w:.%-]+\]):(?P<port>\d{1,5})")
_LAST_PORT = 65535


@dataclass(frozen=True)
class Cluster:
    """A Dask cluster, by the address of its scheduler, such as tcp://127.0.0.1:8786.

    Raises
    ------
    InputFault
        The address is not formed like one.
    """

    address: str

    def __post_init__(self) -> None:
        found = _ADDRESS.fullmatch(self.address)
        if found is None or not 0 < int(found["port"]) <= _LAST_PORT:
            allowed = f"tcp://HOST:PORT, such as tcp://127.0.0.1:8786, with a port up to {_LAST_PORT} (or tls, ws, wss)"
            raise InputFault([Fault("address of the scheduler", "", f"got {self.address!r}", allowed)])


class LinkFault(InputFault):
    """A cluster, or what it needs, is not there; nothing is wrong with the sweep."""


class Link:
    """The way to a cluster. Dask annotates little of what is used here, so its objects are of any type."""

    def __init__(self, address: str) -> None:
        self.address = address
        try:
            # an extra of the package, and slow to import
            self._library: Any = import_module("distributed")
        except ImportError as error:
            raise self.fault("dask.distributed is not installed", "pip install 'optdescent[cluster]'") from error
        # Made in two steps, because one that found no scheduler must be closed too: left alone it closes itself when
        # it happens to be collected, and then waits for its own thread.
        self.client: Any = self._library.Client.__new__(self._library.Client)
        try:
            self.client.__init__(address, timeout=_TIMEOUT, set_as_default=False)
        except BaseException as error:
            self.client.close()
            if not isinstance(error, _NO_ANSWER):
                raise
            given = f"no scheduler answers ({first_line(error)})"
            raise self.fault(given, "the address of a running dask scheduler, such as tcp://127.0.0.1:8786") from error
        self.killed: type[BaseException] = self._library.KilledWorker

    def fault(self, given: str, allowed: str) -> LinkFault:
        """What is wrong with the cluster."""
        return LinkFault([Fault(self.address, "", given, allowed)])

    def workers(self) -> int:
        """Number of workers [-], each a process, whatever its threads."""
        with self._asking():
            return len(self.client.nthreads())

    def sent(self, content: bytes) -> Any:
        """A packed setup on every worker; None where the last one has gone."""
        with self._asking(), suppress(TimeoutError):
            return self.client.scatter(content, broadcast=True, hash=False)
        return None

    def submitted(self, token: str, content: Any, block: Block) -> Any:
        """Future of a block's answers."""
        with self._asking():
            return self.client.submit(answered, token, content, block, pure=False, retries=_RETRIES)

    def asked(self, content: bytes) -> Any:
        """Future of what is prepared with a case."""
        with self._asking():
            return self.client.submit(prepared, content, pure=False, retries=_RETRIES)

    def arrivals(self) -> Any:
        """Futures in the order in which they are done."""
        return self._library.as_completed(loop=self.client.loop, with_results=True, raise_errors=False)

    def is_done(self, future: Any) -> bool:
        """Whether something has come of a future, after waiting some seconds for that at most."""
        end = time.monotonic() + _SECONDS_TO_COUNT
        while not future.done() and time.monotonic() < end:
            time.sleep(_SECONDS)
        return bool(future.done())

    def result(self, future: Any) -> Any:
        """What has come of a future.

        Raises
        ------
        Exception
            The error that its task ended with.
        """
        if future.status == "error":
            raise future.exception()
        with self._asking():
            return future.result()

    @contextmanager
    def _asking(self) -> Generator[None]:
        """What goes wrong with the scheduler is a fault."""
        try:
            yield
        except (OSError, CancelledError, RuntimeError) as error:
            given = f"the scheduler is gone ({first_line(error)})"
            raise self.fault(given, "a running scheduler; what is stored stays, --resume goes on from there") from error


@contextmanager
def linked(place: Cluster) -> Generator[Link]:
    """A link to a cluster; the scheduler keeps nothing of the sweep when it ends.

    Raises
    ------
    InputFault
        Dask is not installed, or no scheduler answers.
    """
    link = Link(place.address)
    library = logging.getLogger("distributed.client")
    level = library.level
    library.setLevel(logging.CRITICAL)  # what it tells of a scheduler that is gone is told as a fault
    try:
        yield link
    finally:
        link.client.close()
        library.setLevel(level)


def answered_by_cluster(
    setup: Setup, blocks: Sequence[Block], link: Link, patience: Patience, journal: Journal
) -> Generator[list[Answers]]:
    """Answers of blocks [SI] by the workers of a cluster, in whatever order; after an interrupt of those begun.

    Raises
    ------
    InputFault
        The scheduler is gone, or workers are of another version.

    Notes
    -----
    Dask does blocks of a dead worker again. Those that it gives up, with too many dead workers, are done once more at
    the end, one at a time, so that the one that the workers died of is found.
    """
    return _Errand(setup, blocks, link, patience, journal).answers()


@dataclass(frozen=True)
class PreparedByCluster:
    """Preparation of a sweep by the workers of a cluster."""

    link: Link
    journal: Journal

    def each(self, ask: Callable[[Case], Found], cases: Sequence[Case], told: str) -> list[Found | None]:
        """What is found for each case [-], in their order; None for one that workers died of, alone too.

        Raises
        ------
        InputFault
            The scheduler is gone, or workers are of another version.
        """
        futures = [self._asked(ask, case) for case in cases]
        found, suspects = list[Found | None](), list[int]()
        for index, future in enumerate(futures):
            self.journal(f"{told}: {index + 1} of {len(cases)}")
            try:
                found.append(self._result(future))
            except self.link.killed:
                suspects.append(index)
                found.append(None)
        for index in suspects:
            self.journal.say(f"workers died in preparation with case {cases[index].number}; it is done again, alone")
            try:
                found[index] = self._result(self._asked(ask, cases[index]))
            except self.link.killed:
                self.journal.say(f"case {cases[index].number} is given up in preparation")
        return found

    def _asked(self, ask: Callable[[Case], Found], case: Case) -> Any:
        return self.link.asked(packed((ask, case)))

    def _result(self, future: Any) -> Any:
        is_told = False
        while not self.link.is_done(future):
            has_workers = self.link.workers() > 0  # a fault where the scheduler is gone
            if not has_workers and not is_told:
                self.journal.say(_NO_WORKERS.format(self.link.address))
            is_told = is_told or not has_workers
        return self.link.result(future)


class _Errand:
    """Blocks on their way."""

    def __init__(self, setup: Setup, blocks: Sequence[Block], link: Link, patience: Patience, journal: Journal) -> None:
        self._layout, self._link, self._patience, self._journal = setup.layout, link, patience, journal
        self._packed = setup.packed()
        self._waiting, self._suspects = deque(blocks), deque[Block]()
        self._given_up = Counter[int]()
        self._outstanding: dict[Any, Block] = {}
        self._arrivals = link.arrivals()
        self._content: Any = None
        self._workers, self._counted = 0, 0.0
        self._losses = 0
        self._began, self._answered = time.monotonic(), 0

    def answers(self) -> Generator[list[Answers]]:
        """Answers as they come [SI]."""
        while self._outstanding or ((self._waiting or self._suspects) and not self._patience.is_interrupted):
            self._count_workers()
            if self._patience.is_interrupted:
                self._journal.note_interrupt()
                if not self._workers:
                    return
            elif self._workers:
                self._send()
            arrived = self._arrivals.next_batch(block=False)
            if arrived:
                yield [answers for future, result in arrived for answers in self._received(future, result)]
            else:
                self._journal.show()
                time.sleep(_SECONDS)

    def _count_workers(self) -> None:
        if (clock := time.monotonic()) - self._counted < _SECONDS_TO_COUNT:
            return
        is_first = self._counted == 0.0
        before, self._workers, self._counted = self._workers, self._link.workers(), clock
        if self._workers != before:
            self._began, self._answered = clock, 0
        if not self._workers and (before or is_first):
            self._journal.say(_NO_WORKERS.format(self._link.address))

    def _send(self) -> None:
        """Keep every worker busy; with nothing else left, one block that workers may have died of."""
        if self._content is None:
            self._content = self._link.sent(self._packed.content)
        if self._content is None:
            return
        while self._waiting and len(self._outstanding) < self._most_outstanding:
            self._submit(self._waiting)
        if self._suspects and not self._outstanding:
            self._submit(self._suspects)

    @property
    def _most_outstanding(self) -> int:
        """How many blocks may be on their way: more than there are workers once blocks have shown to be short."""
        spent = self._workers * (time.monotonic() - self._began)
        return self._workers * (_OUTSTANDING if spent < _SHORT * self._answered else 1)

    def _submit(self, queue: deque[Block]) -> None:
        future = self._link.submitted(self._packed.token, self._content, queue[0])
        self._outstanding[future] = queue.popleft()
        self._arrivals.add(future)

    def _received(self, future: Any, result: Any) -> Sequence[Answers]:
        block = self._outstanding.pop(future)
        status = future.status
        future.release()
        if status == "finished":
            self._losses = 0
            self._answered += 1
            return [result]
        if status != "error":
            self._lost(block)
            return []
        error = result[1]
        if not isinstance(error, self._link.killed):
            raise error
        return self._given_up_by_dask(block)

    def _given_up_by_dask(self, block: Block) -> Sequence[Answers]:
        self._given_up[block.number] += 1
        if self._given_up[block.number] == 1:
            self._journal.say(f"workers died with block {block.number}; it is done again at the end, alone")
            self._suspects.append(block)
            return []
        self._journal.say(f"block {block.number} is given up")
        return [failed_block(block, self._layout, "workers of the cluster died of these cases again and again")]

    def _lost(self, block: Block) -> None:
        """A block that is unknown to the scheduler: the setup it needs died with its last worker, or so did it."""
        self._waiting.appendleft(block)
        if self._content is not None:
            self._losses += 1
            self._journal.say("the last worker that knew the sweep died; it is sent again")
            self._content = None
        if self._losses > _MOST_LOSSES or self._link.client.status != "running":
            given = "the scheduler is gone, or its workers die as they begin"
            raise self._link.fault(given, "a running scheduler; what is stored stays, --resume goes on from there")
