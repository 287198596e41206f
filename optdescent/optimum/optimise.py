"""Scenario to optimal Flight: first flight, order of events, solve and refine, mend the order, re-fly, record."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from optdescent.motion import record
from optdescent.ocp import Guess, Mesh, Outcome, RefineSettings, Settings, Solution, solve
from optdescent.optimum.conflict import DemandsConflict, NotConverged, explain
from optdescent.optimum.events import Event, Order, order_of, swapped
from optdescent.optimum.glide import first_flight
from optdescent.optimum.guess import guess_from, mesh_for
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.pose import Pose
from optdescent.optimum.trajectory import refly, solver_record, trajectory_of
from optdescent.results import Flight, Kind
from optdescent.scenario import Scenario

Progress = Callable[[str], None]
_MOST_ORDERS = 6
SETTINGS = Settings(refinement=RefineSettings(local_error=1e-6, cost_change=1e-6))


@dataclass(frozen=True)
class Optimum:
    """An optimal descent with all that found it."""

    pose: Pose
    solution: Solution
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
    return find_optimum(scenario, progress or (lambda _: None)).flight


def find_optimum(scenario: Scenario, progress: Progress) -> Optimum:
    """Optimal descent with its pose and solution [SI].

    Raises
    ------
    DemandsConflict
        No descent meets the demands.
    NotConverged
        Neither an optimum nor a conflict was found.
    """
    progress("first flight")
    flight = first_flight(scenario)
    order, places = order_of(scenario, flight)
    tried: dict[Order, Solution] = {}
    for _ in range(_MOST_ORDERS):
        pose = Pose(scenario, order)
        solution = _solve(pose, flight, places, progress)
        tried[order] = solution
        after = swapped(order, [solution[leg.name].length for leg in pose.legs])
        if after is None or after in tried:
            break
        places = {leg.ends: solution[leg.name].end for leg in pose.legs}
        flight = record(scenario, trajectory_of(pose, solution), Kind.OPTIMUM, "optimum")
        order = after
    best = min(tried, key=lambda key: tried[key].cost)
    pose, solution = Pose(scenario, best), tried[best]
    progress("flying the optimum again")
    report = solver_record(pose, solution, refly(pose, solution))
    flight = record(scenario, trajectory_of(pose, solution), Kind.OPTIMUM, "optimum", report)
    return Optimum(pose, solution, flight)


def _solve(pose: Pose, flight: Flight, places: dict[Event, float], progress: Progress) -> Solution:
    progress("optimum, events in the order " + ", ".join(event.label for event in pose.order))
    problem = pose.problem()
    guess: Guess = guess_from(flight, pose.legs, places)
    mesh: Mesh = mesh_for(problem, pose.legs, guess)
    values = parameter_values(pose.scenario)
    solution = solve(problem, guess, values, mesh, SETTINGS)
    if solution.is_usable or solution.outcome is Outcome.COARSE:
        return solution
    progress("no descent found: looking for the demands that conflict")
    conflict = explain(pose, problem, guess, values, mesh)
    raise conflict or NotConverged(solution.outcome.value)


__all__ = ["DemandsConflict", "NotConverged", "Optimum", "find_optimum", "optimise"]
