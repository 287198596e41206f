"""Scenario to optimal Flight: first flight, order of events, solve and refine, mend the order, re-fly, record."""

from __future__ import annotations

from dataclasses import dataclass, replace

from optdescent.motion import record
from optdescent.ocp import Memory, Problem, RefineSettings, Settings, Solution
from optdescent.optimum.cold import found_cold
from optdescent.optimum.conflict import DemandsConflict, NotConverged, with_start
from optdescent.optimum.pose import Pose
from optdescent.optimum.progress import Progress, silent
from optdescent.optimum.report import solver_record
from optdescent.optimum.trajectory import trajectory_of
from optdescent.optimum.trial import Trial
from optdescent.results import Flight, Kind
from optdescent.scenario import Scenario

SETTINGS = Settings(refinement=RefineSettings(local_error=1e-6, cost_change=1e-6))


@dataclass(frozen=True)
class Optimum:
    """An optimal descent with all that found it; `orders` of events were tried, in words."""

    pose: Pose
    problem: Problem
    solution: Solution
    orders: tuple[str, ...]
    flight: Flight


def optimise(scenario: Scenario, progress: Progress | None = None) -> Flight:
    """Optimal descent of a scenario [SI].

    Raises
    ------
    DemandsConflict
        No descent meets the demands; carries which conflict and by how much.
    NotConverged
        Neither an optimum nor a conflict was found.
    """
    say = progress or silent
    found = find_optimum(scenario, say)
    say("flying the optimum again")
    report = solver_record(found.pose, found.problem, found.solution, found.flight, found.orders)
    return replace(found.flight, solver=report)


def find_optimum(scenario: Scenario, progress: Progress) -> Optimum:
    """Optimal descent with its pose and solution [SI].

    Raises
    ------
    DemandsConflict
        No descent meets the demands.
    NotConverged
        Neither an optimum nor a conflict was found.
    """
    try:
        trial = found_cold(scenario, progress, Memory(), SETTINGS)
    except DemandsConflict as conflict:
        raise with_start(conflict) from None
    return Optimum(trial.pose, trial.problem, trial.solution, trial.orders, flight_of(trial))


def flight_of(trial: Trial) -> Flight:
    """The flight of a solved trial [SI]."""
    trajectory = trajectory_of(trial.pose, trial.solution, trial.errors)
    return record(trial.pose.scenario, trajectory, Kind.OPTIMUM, "optimum")


__all__ = ["DemandsConflict", "NotConverged", "Optimum", "find_optimum", "flight_of", "optimise"]
