"""Blocks answered on this machine: in this process, or by worker processes that may die without losing anything."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
from collections import Counter, deque
from collections.abc import Callable, Generator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from multiprocessing import get_context, resource_tracker
from typing import ParamSpec, Protocol, TypeVar

from optdescent.interrupt import Patience
from optdescent.sweep.block import Answers, failed_block
from optdescent.sweep.journal import Journal
from optdescent.sweep.plan import Block
from optdescent.sweep.question import Answer, Case, Held, Session
from optdescent.sweep.worker import Packed, Setup, Worker, answered

MOST_DEATHS = 2
"""Workers that die of one block, alone, before its cases are given up."""
_OUTSTANDING = 2
"""Blocks that a worker has at a time: one to do, one to go on with."""
LIFETIME = 1200.0
"""Time [s] after which worker processes end and others go on: CasADi keeps something of every sparsity that it has ever
seen, with optima some 0.4 MB for a block of 27 cases."""
_SECONDS = 0.2
"""Between two looks for an interrupt."""
_ONE_THREAD = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1"}
Given = ParamSpec("Given")
Found = TypeVar("Found")


@dataclass(frozen=True)
class Local:
    """So many worker processes [-] on the same machine; with one worker the calling process itself."""

    workers: int


def answered_here(
    setup: Setup, blocks: Sequence[Block], patience: Patience, journal: Journal
) -> Generator[list[Answers]]:
    """Answers of blocks [SI] by this process; after an interrupt no further block."""
    held = setup.question.hold(setup.prepared)

    def look() -> None:
        if patience.is_interrupted:
            journal.note_interrupt()
        journal.show()

    worker = Worker(setup, _Attentive(held, look))
    for block in blocks:
        if patience.is_interrupted:
            return
        yield [worker.answers(block)]


@dataclass(frozen=True)
class _Attentive:
    """What is held, with a look up before each case: a block may take long."""

    held: Held
    look: Callable[[], None]

    def session(self) -> Session:
        return _AttentiveSession(self.held.session(), self.look)


@dataclass(frozen=True)
class _AttentiveSession:
    session: Session
    look: Callable[[], None]

    def begin(self, cases: Sequence[Case]) -> None:
        self.look()
        self.session.begin(cases)

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        self.look()
        return self.session.answer(case, near)

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        self.look()
        return self.session.again(case, answer, near)


def answered_by_processes(
    setup: Setup, blocks: Sequence[Block], workers: int, patience: Patience, journal: Journal
) -> Generator[list[Answers]]:
    """Answers of blocks [SI] by worker processes, in whatever order; after an interrupt of those that were begun.

    Raises
    ------
    RuntimeError
        Workers die before they begin.

    Notes
    -----
    When a worker dies, blocks that were begun are done again one at a time, so that the one it died of is found.
    Workers that are old are replaced together, once they are done with what they have.
    """
    packed = setup.packed()
    waiting, suspects = deque(blocks), deque[Block]()
    deaths, lame = Counter[int](), 0
    while (waiting or suspects) and not patience.is_interrupted:
        crew, queue = _Crew(packed, workers), suspects
        try:
            yield from crew.answers(queue, 1, patience, journal)
            queue = waiting
            yield from crew.answers(queue, _OUTSTANDING * workers, patience, journal)
            continue
        except BrokenProcessPool:
            lost = crew.lost()
        finally:
            crew.dismiss()
        journal.say(f"a worker died; blocks to do again: {', '.join(str(block.number) for block in lost) or 'none'}")
        lame = 0 if crew.has_begun else lame + 1
        if lame > MOST_DEATHS:
            raise RuntimeError(_LAME)
        if queue is waiting and crew.has_begun:
            queue = suspects
        elif crew.has_begun:
            deaths.update(block.number for block in lost)
        queue.extendleft(block for block in reversed(lost) if deaths[block.number] < MOST_DEATHS)
        for block in lost:
            if deaths[block.number] == MOST_DEATHS:
                journal.say(f"block {block.number} is given up")
                yield [failed_block(block, setup.layout, f"{MOST_DEATHS} worker processes died of these cases")]


_LAME = (
    "worker processes die before they begin; a script that starts a sweep must do so under "
    "if __name__ == '__main__', because each worker reads the script"
)


@dataclass(frozen=True)
class PreparedByProcesses:
    """Preparation of a sweep by so many worker processes [-], which end with it."""

    workers: int
    journal: Journal

    def each(self, ask: Callable[[Case], Found], cases: Sequence[Case], told: str) -> list[Found | None]:
        """What is found for each case [-], in their order; None for one that a worker died of.

        Raises
        ------
        RuntimeError
            Workers die before they begin.
        """
        found, deaths, lame = dict[int, Found | None](), Counter[int](), 0
        workers = min(self.workers, len(cases))
        while len(found) < len(cases):
            pool, futures = _Pool(workers, None), dict[int, Future[Found]]()
            left = [index for index in range(len(cases)) if index not in found]
            try:
                for index in left:
                    futures[index] = pool.submit(ask, cases[index])
                for index, future in futures.items():
                    self.journal(f"{told}: {len(found) + 1} of {len(cases)}")
                    found[index] = future.result()
            except BrokenProcessPool as error:
                lame = 0 if pool.has_begun else lame + 1
                if lame > MOST_DEATHS:
                    raise RuntimeError(_LAME) from error
                found |= {index: own.result() for index, own in futures.items() if _is_answered(own)}
                self.journal.say("a worker died in preparation; what was not prepared is done again")
                if workers == 1 and pool.has_begun:
                    # one worker does one after the other: it died of the first that it did not do
                    last = next(index for index in left if index not in found)
                    deaths[last] += 1
                    if deaths[last] == MOST_DEATHS:
                        found[last] = None
                        self.journal.say(f"case {cases[last].number} is given up in preparation")
                workers = 1
            finally:
                pool.dismiss()
        return [found[index] for index in range(len(cases))]


def _is_answered(future: Future[Found]) -> bool:
    """Whether something came of it."""
    return future.done() and future.exception() is None


class _Pool:
    """Worker processes that hear no interrupt and end when they are dismissed or this process ends."""

    def __init__(self, workers: int, packed: Packed | None) -> None:
        context = get_context("spawn")
        self._far_end, self._lifeline = context.Pipe(duplex=False)
        self._executor = ProcessPoolExecutor(
            workers, mp_context=context, initializer=_begin, initargs=(packed, self._far_end)
        )
        self._first: Future[int] | None = None

    @property
    def has_begun(self) -> bool:
        """Whether any worker came so far as to do something."""
        return self._first is not None and _is_answered(self._first)

    def submit(self, do: Callable[Given, Found], *args: Given.args, **named: Given.kwargs) -> Future[Found]:
        """Something to do by whichever worker is free. Raises BrokenProcessPool: a worker died."""
        with _starting():
            self._started()
            return self._executor.submit(do, *args, **named)

    def await_first(self) -> None:
        """Wait until the first worker is idle, so that no second one starts for nothing."""
        with _starting():
            first = self._started()
        first.exception()

    def _started(self) -> Future[int]:
        """What the first worker did when it had begun."""
        if self._first is None:
            self._first = self._executor.submit(os.getpid)
        return self._first

    def dismiss(self) -> None:
        """End the workers, whatever they do."""
        self._lifeline.close()
        self._executor.shutdown(cancel_futures=True)
        self._far_end.close()


class _Crew:
    """Worker processes that answer blocks, until one of them dies or they are old."""

    def __init__(self, packed: Packed, workers: int) -> None:
        self._pool = _Pool(workers, packed)
        self._outstanding: dict[Future[Answers], Block] = {}
        self._old_at = float("inf")

    @property
    def has_begun(self) -> bool:
        """Whether any worker came so far as to do something."""
        return self._pool.has_begun

    def answers(self, queue: deque[Block], room: int, patience: Patience, journal: Journal) -> Generator[list[Answers]]:
        """Answers of the blocks of a queue, of as many as are begun in time [SI].

        Raises BrokenProcessPool: a worker died.
        """
        while self._outstanding or (queue and not patience.is_interrupted and not self._is_old):
            while queue and len(self._outstanding) < room and not patience.is_interrupted and not self._is_old:
                self._submit(queue[0], room)
                queue.popleft()
            done = wait(self._outstanding, timeout=_SECONDS, return_when=FIRST_COMPLETED).done
            if any(isinstance(future.exception(), BrokenProcessPool) for future in done):
                done = wait(self._outstanding).done
            answered = [future for future in done if not isinstance(future.exception(), BrokenProcessPool)]
            for future in answered:
                del self._outstanding[future]
            if answered:
                yield [future.result() for future in answered]
            if len(answered) < len(done):
                raise BrokenProcessPool
            if patience.is_interrupted:
                journal.note_interrupt()
            journal.show()

    @property
    def _is_old(self) -> bool:
        return time.monotonic() > self._old_at

    def _submit(self, block: Block, room: int) -> None:
        self._old_at = min(self._old_at, time.monotonic() + LIFETIME)
        if room == 1:
            self._pool.await_first()
        self._outstanding[self._pool.submit(_answers, block)] = block

    def lost(self) -> list[Block]:
        """Blocks that were begun and have no answers."""
        return sorted(self._outstanding.values(), key=lambda block: block.number)

    def dismiss(self) -> None:
        """End the workers, whatever they do."""
        self._pool.dismiss()


@contextmanager
def _starting() -> Generator[None]:
    """Processes that start within use one thread for arrays and hear no interrupt, not even while they start."""
    # started here, because starting it lets interrupts through again
    resource_tracker.ensure_running()
    before = {name: os.environ.get(name) for name in _ONE_THREAD}
    os.environ.update(_ONE_THREAD)
    try:
        with _deaf():
            yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


@contextmanager
def _deaf() -> Generator[None]:
    """Interrupts wait in this thread, and in processes that it starts."""
    if sys.platform == "win32":
        yield
        return
    signals = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, signals)


class _FarEnd(Protocol):
    """One end of a pipe."""

    def recv(self) -> object: ...


_PACKED: list[Packed] = []


def _begin(packed: Packed | None, far_end: _FarEnd) -> None:
    """First thing in a worker: leave interrupts to the process that started it, and end when that one ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with, args=(far_end,), daemon=True).start()
    if packed is not None:
        _PACKED.append(packed)


def _end_with(far_end: _FarEnd) -> None:
    """End this process when the other end of a pipe is closed; nothing is ever sent."""
    with suppress(EOFError, OSError):
        far_end.recv()
    os._exit(1)


def _answers(block: Block) -> Answers:
    (packed,) = _PACKED
    return answered(packed.token, packed.content, block)
