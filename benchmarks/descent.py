"""The first study from file to optimum, part by part: ``python -m benchmarks.descent [-o FOLDER]``.

Seconds of each part, the program's size, iterations and errors, and re-solves with new numbers on the first mesh and on
the refined one; then where the time goes, by kind of work. Written as Markdown and CSV.

Beside the seconds stand two measures, so that they can be compared across machines: the yardstick, and what the seconds
would be on the machine that the asked times come from, by a program that was timed there (`known_solve`): an estimate,
for linear algebra, functions and Python need not be slower here by the same factor.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Callable
from pathlib import Path
from statistics import median
from typing import TypeVar

import numpy as np

from benchmarks.known_solve import KnownSolve, known_solve
from benchmarks.shares import KINDS, shares
from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick
from optdescent.ocp import (
    Certificate,
    Memory,
    Problem,
    Solution,
    cost_sensitivity,
    refined,
    trajectory_sensitivity,
    transcribe,
)
from optdescent.optimum.glide import first_flight
from optdescent.optimum.guess import guess_from, mesh_for
from optdescent.optimum.optimise import SETTINGS
from optdescent.optimum.order import order_of
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.pose import Pose
from optdescent.optimum.search import in_right_order
from optdescent.optimum.trajectory import refly
from optdescent.optimum.trial import FLOWN
from optdescent.scenario import Scenario

STUDY = Path(__file__).resolve().parents[1] / "studies" / "first_descent" / "scenario.toml"
TO_ERROR = "to a local error of 1e-6"
HEADER = ("part", "seconds", "yardsticks", "estimated seconds where the asked times come from", "what")
PARTS = (0.6, 0.8, 0.7, 0.9, 1.0)
"""Of the change: each re-solve has numbers of its own, because what one of them finds out helps the next."""
Found = TypeVar("Found")


class Clock:
    """Rows of a table, one for each part timed."""

    def __init__(self, unit: float, known: KnownSolve) -> None:
        self.rows: list[tuple[str, ...]] = []
        self._seconds: list[float] = []
        self._unit, self._slowness = unit, known.slowness

    def timed(self, part: str, work: Callable[[], Found], says: Callable[[Found], str]) -> Found:
        """Do the work and note how long it took."""
        began = time.perf_counter()
        found = work()
        self.note(part, time.perf_counter() - began, says(found))
        return found

    def note(self, part: str, seconds: float, what: str) -> None:
        """A row."""
        self._seconds.append(seconds)
        there = seconds / self._slowness
        self.rows.append((part, f"{seconds:.3f}", f"{seconds / self._unit:.1f}", f"{there:.3f}", what))

    def total(self, part: str, count: int) -> None:
        """A row for the latest so many rows together."""
        self.note(part, sum(self._seconds[-count:]), "")


def fineness(solution: Solution) -> str:
    """A refined solution in a few words."""
    size, rounds = solution.raw.x.size, solution.history
    return f"{told(solution)}, {size} variables, {len(rounds)} meshes, error {rounds[-1].local_error:.1e}"


def told(solution: Solution) -> str:
    """A solution in a few words."""
    return f"{solution.outcome.name.lower()}, {solution.iterations} iterations, {solution.cost:.4f} kg"


def resolves(clock: Clock, label: str, problem: Problem, solution: Solution, scenario: Scenario) -> None:
    """Re-solves from a solution with new wind, mass and temperature, on its mesh, none of them built again."""
    program = transcribe(problem, solution.mesh)
    base = parameter_values(scenario)
    wind = scenario.wind.field.tailwind(scenario.arrival.course, -np.inf, np.inf)
    changes = {
        "up to 100 kg more": ("start mass", 100.0),
        "up to 2 kt more tailwind": ("wind", 1.03 * wind),
        "up to 1 K warmer": ("temperature offset", 1.0),
    }
    program.solve(base, solution)
    for name, (key, change) in changes.items():
        spent: list[float] = []
        for part in PARTS:
            began = time.perf_counter()
            found = program.solve({**base, key: base[key] + part * change}, solution)
            spent.append(time.perf_counter() - began)
        clock.note(f"re-solve, {label}: {name}", median(spent), told(found))


def certified(solution: Solution) -> Certificate:
    """Its certificate, all of it made."""
    shown = solution.certificate
    _ = shown.errors, shown.reflights, shown.arcs, shown.lacking_curvature
    return shown


def measure(known: KnownSolve) -> list[tuple[str, ...]]:
    """All parts, in order."""
    clock = Clock(yardstick(), known)
    scenario = clock.timed("read the scenario", lambda: Scenario.from_toml(STUDY), lambda s: s.title)
    flight = clock.timed("first flight", lambda: first_flight(scenario), lambda f: f"{f.summary.fuel:.0f} kg")
    order, places = order_of(scenario, flight)
    memory = Memory()
    pose = Pose(scenario, order, memory)
    problem = clock.timed("pose the problem", pose.problem, lambda p: f"{len(p.phases)} phases")
    guess = guess_from(flight, pose.legs, places)
    mesh = mesh_for(problem, pose.legs, guess)
    program = clock.timed(
        "build the program", lambda: transcribe(problem, mesh), lambda n: f"{n.columns} variables, {n.rows} rows"
    )
    values = parameter_values(scenario)
    first = clock.timed("first solve, cold", lambda: program.solve(values, guess, FLOWN), told)
    clock.timed(f"refine it {TO_ERROR}", lambda: refined(problem, first, SETTINGS), fineness)
    clock.total("in the order of its first flight: these four together (asked: 1 s)", 4)
    trial = clock.timed(
        "the order of events (posed, built and solved again for each)",
        lambda: in_right_order(scenario, flight, order, places, lambda _: None),
        lambda t: f"{len(t.orders)} orders, {told(t.solution)}",
    )
    best = clock.timed(
        f"refine the best order {TO_ERROR}", lambda: refined(trial.problem, trial.solution, SETTINGS), fineness
    )
    clock.timed("fly it again (DOP853)", lambda: refly(trial.pose, best), lambda r: f"{r.altitude / 0.3048:.4f} ft")
    clock.timed("certify", lambda: certified(best), lambda c: f"drift {c.hamiltonian_drift:.1e}")
    fine = transcribe(trial.problem, best.mesh)
    clock.timed(
        "sensitivity of the cost", lambda: cost_sensitivity(fine, best), lambda s: f"{sum(v.size for v in s.values())}"
    )
    clock.timed("sensitivity of the flight", lambda: trajectory_sensitivity(fine, best), lambda _: "to the same")
    resolves(clock, "first mesh", trial.problem, trial.solution, scenario)
    resolves(clock, "refined mesh", trial.problem, best, scenario)
    return clock.rows


def where_it_goes() -> list[tuple[str, ...]]:
    """Seconds by kind of work, of posing, the first solve and the refinement, in the order of the first flight."""
    scenario = Scenario.from_toml(STUDY)
    flight = first_flight(scenario)
    order, places = order_of(scenario, flight)
    rows: list[tuple[str, ...]] = []

    def counted(part: str, work: Callable[[], Found]) -> Found:
        with shares() as spent:
            found = work()
        total = sum(spent.seconds.values())
        rows.append((part, f"{total:.3f}", *(f"{100 * spent.seconds[kind] / total:.0f}" for kind in KINDS)))
        return found

    pose = Pose(scenario, order, Memory())
    problem = counted("pose the problem", pose.problem)
    guess = guess_from(flight, pose.legs, places)
    mesh = mesh_for(problem, pose.legs, guess)
    program = counted("build the program", lambda: transcribe(problem, mesh))
    first = counted("first solve, cold", lambda: program.solve(parameter_values(scenario), guess, FLOWN))
    best = counted(f"refine it {TO_ERROR}", lambda: refined(problem, first, SETTINGS))
    fine = transcribe(problem, best.mesh)
    fine.solve(best.values, best)
    warmer = {**best.values, "temperature offset": best.values["temperature offset"] + 1.0}
    counted("re-solve, refined mesh: 1 K warmer", lambda: fine.solve(warmer, best))
    return rows


def main() -> None:
    """Measure, print and write."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-o", "--output", type=Path, default=Path(__file__).parent / "out")
    folder: Path = parser.parse_args().output
    known = known_solve()
    rows = measure(known)
    folder.mkdir(parents=True, exist_ok=True)
    header, spent = ("part", "seconds", *(f"{kind} %" for kind in KINDS)), where_it_goes()
    measures = f"Yardstick: {SENTENCE}. Machine: {known.sentence}."
    text = f"{markdown(HEADER, rows)}\n\n{measures}\n\nWhere it goes:\n\n{markdown(header, spent)}"
    (folder / "descent.md").write_text(f"{text}\n", encoding="utf-8")
    write_csv(folder / "descent.csv", HEADER, rows)
    write_csv(folder / "descent_shares.csv", header, spent)
    print(text)


if __name__ == "__main__":
    main()
