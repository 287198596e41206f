"""Every library on every case: one run that is recorded, then timed rounds in which the libraries take turns."""

from __future__ import annotations

import gc
import statistics
import time
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from benchmarks.peers.adapter import Answer, Library
from benchmarks.peers.cases import Case
from benchmarks.peers.reference import Reference
from optdescent.ocp import solve

WRONG = 1e-2
TOO_LONG = 4.0
SHARES = (0.6, 1.0, 0.8, 0.7, 0.9)
"""Parts of the way to the other value of the parameter: a small sweep, each value from the first solution."""


@dataclass(frozen=True)
class Result:
    """One library on one case. Times in seconds, medians over the rounds; errors in units of the case's size.

    ``first`` is building and the first solve together. ``again`` is one solve of a
    sweep towards the other value of the parameter (median).
    A library that takes longer than ``TOO_LONG`` seconds for both is timed in its recorded run only (``rounds`` 1).
    """

    case: str
    library: str
    status: str
    error: float
    error_again: float
    iterations: int
    iterations_again: int
    build: float
    first: float
    again: float
    rounds: int

    @property
    def is_right(self) -> bool:
        """Whether it ended well, near the optimum, both times."""
        return self.status == "ok"


def compete(case: Case, known: Reference, libraries: Sequence[Library], rounds: int) -> Iterator[Result]:
    """Results of all libraries on one case, the engine's refined solution last."""
    recorded = {library.name: _record(case, known, library) for library in libraries}
    timed: dict[str, list[tuple[float, float, float]]] = {library.name: [] for library in libraries}
    for _ in range(rounds):
        for library in libraries:
            before = recorded[library.name]
            if before.status != "failed" and before.first + before.again < TOO_LONG:
                timed[library.name].append(_time(case, library))
    for name, result in recorded.items():
        times = timed[name]
        if not times:
            yield result
            continue
        build, first, again = (statistics.median(t[i] for t in times) for i in range(3))
        yield replace(result, build=build, first=first, again=again, rounds=len(times))


def refined(case: Case, known: Reference, rounds: int) -> Result:
    """The engine's ``solve`` with mesh refinement and default settings, cold and from the solution before."""
    times: list[tuple[float, float]] = []
    for _ in range(rounds):
        began = time.perf_counter()
        problem, guess = case.pose()
        found = solve(problem, guess, {case.parameter: case.nominal})
        middle = time.perf_counter()
        other = solve(problem, found, {case.parameter: case.changed}, found.mesh)
        times.append((middle - began, time.perf_counter() - middle))
    first, again = (statistics.median(t[i] for t in times) for i in range(2))
    error, error_again = _errors(case, known, found.cost, other.cost)
    good = found.outcome.is_success and other.outcome.is_success
    count, count_again = (sum(r.iterations for r in s.history) for s in (found, other))
    status = _status(good, error, error_again)
    return Result(
        case.name, "refined", status, error, error_again, count, count_again, float("nan"), first, again, rounds
    )


def _record(case: Case, known: Reference, library: Library) -> Result:
    """One run with iterations counted. Whatever a library raises is its result, not the end of the benchmark."""
    began = time.perf_counter()
    nan = float("nan")
    try:
        held = library.pose(case, case.elements, case.degree)
        held.count()
        found = held.first()
        middle = time.perf_counter()
        other = held.again(case.changed, found) if found.succeeded else Answer(False, nan, -1, "not tried")
    except Exception as fault:  # any library, any fault
        print(f"    {case.name}, {library.name}: {type(fault).__name__}: {str(fault).strip()[:300]}")
        return Result(case.name, library.name, "failed", nan, nan, -1, -1, nan, nan, nan, 0)
    ended = time.perf_counter()
    error, error_again = _errors(case, known, found.cost, other.cost)
    status = _status(found.succeeded and other.succeeded, error, error_again)
    if not found.succeeded:
        print(f"    {case.name}, {library.name}: {found.status}")
    return Result(
        case.name, library.name, status, error, error_again, found.iterations, other.iterations,
        nan, middle - began, ended - middle, 1,
    )  # fmt: skip


def _errors(case: Case, known: Reference, nominal: float, changed: float) -> tuple[float, float]:
    return abs(nominal - known.nominal) / case.size, abs(changed - known.changed) / case.size


def _status(good: bool, error: float, error_again: float) -> str:
    if not good:
        return "failed"
    return "ok" if max(error, error_again) < WRONG else "wrong optimum"


def _time(case: Case, library: Library) -> tuple[float, float, float]:
    """Seconds of building, of building and first solve, and of one re-solve of a sweep around the first solution.

    What the others left behind is collected before, so that nobody pays for it.
    """
    gc.collect()
    began = time.perf_counter()
    held = library.pose(case, case.elements, case.degree)
    built = time.perf_counter()
    answer = held.first()
    solved = time.perf_counter()
    again: list[float] = []
    for share in SHARES:
        middle = time.perf_counter()
        held.again(case.nominal + share * (case.changed - case.nominal), answer)
        again.append(time.perf_counter() - middle)
    return built - began, solved - began, statistics.median(again)
