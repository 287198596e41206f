"""A Dask cluster on this machine, the rate of its scheduler, and the size of what travels."""

from __future__ import annotations

import pickle
import time
from collections.abc import Generator
from contextlib import contextmanager

from dask.distributed import Client, LocalCluster

from optdescent.sweep import Sweep
from optdescent.sweep.block import answer_block, case_of
from optdescent.sweep.question import PreparedHere

TASKS = 3000


@contextmanager
def cluster(workers: int) -> Generator[str]:
    """Address of a scheduler with worker processes of one thread each on the loopback device."""
    with LocalCluster(
        n_workers=workers, threads_per_worker=1, processes=True, host="127.0.0.1", dashboard_address=None
    ) as own:
        yield str(own.scheduler_address)


def tasks_a_second(address: str) -> float:
    """How many empty tasks the scheduler and its workers do in a second."""
    with Client(address, set_as_default=False) as client:
        client.gather(client.map(_nothing, range(100), pure=False))
        began = time.perf_counter()
        client.gather(client.map(_nothing, range(TASKS), pure=False))
        return TASKS / (time.perf_counter() - began)


def _nothing(number: int) -> int:
    return number


def answer_bytes(sweep: Sweep) -> float:
    """Size of the answers of a block as they travel, for each of its cases [bytes]."""
    block, asked = sweep.plan.blocks[0], sweep.asked
    middle = case_of(asked, int(block.cases(sweep.plan.shape)[0]))
    held = sweep.question.hold(sweep.question.prepare([middle], PreparedHere(lambda _: None)))
    answers = answer_block(block, sweep.plan, asked, sweep.question.layout(asked), held)
    return len(pickle.dumps(answers)) / block.size
