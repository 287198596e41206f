"""Rules flown in sets of conditions, by this process or by several: what comes out does not depend on how many."""

from __future__ import annotations

import os
import signal
import sys
import threading
from collections.abc import Callable, Generator, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from functools import partial
from multiprocessing import connection, get_context, parent_process, resource_tracker

from optdescent.derive.sets import Use
from optdescent.rules import Rule
from optdescent.rules.fleet import Fleet
from optdescent.rules.judged import Judged
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE

Scenarios = Mapping[Use, tuple[Scenario, ...]]
Fly = Callable[[Sequence[Rule], tuple[Use, ...]], list[Judged]]
"""What became of each rule in the conditions of some sets, one set after the other."""
_LOOK = (10.0 * NAUTICAL_MILE,)
"""Distance to go [m] at which energy is asked for: a fleet joins flights of several pilots at a distance only."""


@contextmanager
def flying(scenarios: Scenarios, workers: int) -> Generator[Fly]:
    """Who flies rules in sets of scenarios: so many processes [-]; with one the calling process itself."""
    if workers == 1:
        yield lambda rules, uses: [flown(scenarios, uses, rule) for rule in rules]
        return
    executor = ProcessPoolExecutor(workers, mp_context=get_context("spawn"), initializer=_begin, initargs=(scenarios,))

    def fly(rules: Sequence[Rule], uses: tuple[Use, ...]) -> list[Judged]:
        with _deaf():
            found = executor.map(partial(_flown_by_worker, uses), rules)
        return list(found)

    try:
        yield fly
    finally:
        executor.shutdown(cancel_futures=True)


def flown(scenarios: Scenarios, uses: tuple[Use, ...], rule: Rule) -> Judged:
    """What became of a rule in the conditions of some sets, one set after the other [SI]."""
    return Fleet(rule).judged([scenario for use in uses for scenario in scenarios[use]], _LOOK)


@contextmanager
def _deaf() -> Generator[None]:
    """Interrupts wait in this thread, and are never heard by processes that it starts."""
    # started here, because starting it lets interrupts through again
    resource_tracker.ensure_running()
    if sys.platform == "win32":
        yield
        return
    signals = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, signals)


_SCENARIOS: list[Scenarios] = []


def _begin(scenarios: Scenarios) -> None:
    """First thing in a worker: leave interrupts to the process that started it, and end when that one ends."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    _SCENARIOS.append(scenarios)


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        connection.wait([parent.sentinel])
        os._exit(1)


def _flown_by_worker(uses: tuple[Use, ...], rule: Rule) -> Judged:
    (scenarios,) = _SCENARIOS
    return flown(scenarios, uses, rule)
