"""What a solved descent shows for itself: certificate, events, and how it answers to wind, mass, temperature and cost.

The derivative of the optimal cost to any parameter follows from the multipliers (envelope theorem); those of fuel and
of the place where thrust goes to idle from the derivative of the whole optimality system (Fiacco, Introduction to
Sensitivity and Stability Analysis in Nonlinear Programming, 1983).
"""

from __future__ import annotations

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optdescent.ocp import (
    NonlinearProgram,
    Problem,
    Solution,
    SolverSettings,
    cost_sensitivity,
    trajectory_sensitivity,
    transcribe,
)
from optdescent.optimum.events import EventKind
from optdescent.optimum.parameters import WEIGHTS
from optdescent.optimum.pose import Pose
from optdescent.optimum.trajectory import refly
from optdescent.optimum.words import spoken
from optdescent.results import EventRecord, Flight, Slope, SolverRecord
from optdescent.scenario import Scenario
from optdescent.units import FOOT

Array = NDArray[np.float64]
BANDS = tuple(FOOT * height for height in (-2000.0, 5000.0, 10000.0, 20000.0, 30000.0, 50000.0))
"""Heights [m] above sea level between which winds are counted together."""
_PARTS = (1 / 2, 1 / 4, 1 / 8, 1 / 16)
_NEAR = SolverSettings(iterations=100, again=False)
QUANTITIES = (
    ("tailwind at every height", "kt"),
    *((f"tailwind from {max(low, 0.0) / FOOT:.0f} to {high / FOOT:.0f} ft", "kt") for low, high in pairwise(BANDS)),
    ("mass at the start", "t"),
    ("temperature at every pressure altitude", "k"),
    ("cost of time", "kg_per_min"),
)
"""What an optimum's slopes are taken to, each with the suffix of the unit it is shown in."""


def solver_record(
    pose: Pose, problem: Problem, solution: Solution, flight: Flight, orders: Iterable[str]
) -> SolverRecord:
    """How an optimum was found and what it shows for itself [SI]; `flight` is its recorded flight."""
    shown, again = solution.certificate, refly(pose, solution)
    program = transcribe(problem, solution.mesh)
    return SolverRecord(
        status=solution.outcome.value if solution.fault is None else f"{solution.outcome.value} ({solution.fault})",
        iterations=sum(turn.iterations for turn in solution.history),
        optimality=shown.optimality,
        constraint_violation=shown.violation,
        local_error=shown.local_error,
        cost_error=shown.cost_error,
        lacking_curvature=shown.lacking_curvature,
        reflight_altitude=again.altitude,
        reflight_speed=again.speed,
        reflight_fuel=again.fuel,
        hamiltonian_drift=shown.hamiltonian_drift,
        wrong_signs=shown.wrong_signs,
        stationarity=shown.stationarity,
        regularisation=regularisation(pose, solution),
        regularisation_cost=regularisation_cost(pose, program, solution),
        chatter=tuple(f"{swing.control} {swing.phase}" for swing in shown.chatter),
        orders=tuple(orders),
        events=_events(pose, solution, flight),
        sensitivity=slopes(pose, program, solution),
    )


def _events(pose: Pose, solution: Solution, flight: Flight) -> tuple[EventRecord, ...]:
    """Events in order, each with what the flight has there [SI]."""
    x = -flight.column("distance_to_go")
    found: list[EventRecord] = []
    for leg in pose.legs:
        at = solution[leg.name].end
        values = (float(np.interp(at, x, flight.column(name))) for name in ("altitude", "calibrated_airspeed", "time"))
        found.append(EventRecord(spoken(pose.scenario, leg.ends), abs(at), *values))
    return tuple(found)


def slopes(pose: Pose, program: NonlinearProgram, solution: Solution) -> tuple[Slope, ...]:
    """How cost, fuel and the place of idle answer to tailwind by height, mass, temperature and cost of time [SI]."""
    problem = program.problem
    shown = directions(pose.scenario, problem)
    along = np.column_stack([direction for _, _, direction in shown])
    cost = cost_column(program, solution) @ along
    moved = trajectory_sensitivity(program, solution, along)
    idle = next((leg.name for leg in pose.legs if leg.ends.kind is EventKind.TOP_OF_DESCENT), None)
    last = pose.legs[-1].name
    fuel = along[_offsets(problem)["start mass"]].ravel() - moved.states[last, "mass"][-1]
    place = np.full(len(shown), np.nan) if idle is None else -moved.edges[idle][1]
    return tuple(
        Slope(quantity, unit, *(float(values[i]) for values in (cost, fuel, place)))
        for i, (quantity, unit, _) in enumerate(shown)
    )


def cost_column(program: NonlinearProgram, solution: Solution) -> Array:
    """Derivative of the optimal cost [kg per SI unit] to the whole column of parameters."""
    cost = cost_sensitivity(program, solution)
    return np.concatenate([cost[parameter.name] for parameter in program.problem.parameters])


def regularisation(pose: Pose, solution: Solution) -> float:
    """What was charged to make controls unique and smooth [kg]."""
    return sum(solution[leg.name].integral for leg in pose.legs)


def regularisation_cost(pose: Pose, program: NonlinearProgram, solution: Solution) -> float:
    """Fuel, and time at its price, that a sixteenth of the charge for smooth controls would save [kg].

    Measured on the same mesh, the charge halved four times: each descent starts from the one before. What the last
    sixteenth costs is left out, about a tenth of this. Not a number where one of them does not solve.
    """
    found = solution
    for part in _PARTS:
        less = {name: part * solution.values[name] for name in WEIGHTS}
        found = program.solve({**solution.values, **less}, found, _NEAR)
        if not found.outcome.is_success:
            return np.nan
    return solution.cost - regularisation(pose, solution) - (found.cost - regularisation(pose, found))


def directions(scenario: Scenario, problem: Problem) -> list[tuple[str, str, Array]]:
    """Quantity, suffix of the unit it is shown in, and what one SI unit of it changes in the column of parameters."""
    offsets = _offsets(problem)
    size = sum(parameter.size for parameter in problem.parameters)

    def along(name: str, values: Array | float = 1.0) -> Array:
        direction = np.zeros(size)
        direction[offsets[name]] = values
        return direction

    def tailwind(low: float, high: float) -> Array:
        return along("wind", scenario.wind.field.tailwind(scenario.arrival.course, low, high))

    found = [
        tailwind(-np.inf, np.inf),
        *(tailwind(low, high) for low, high in pairwise(BANDS)),
        along("start mass"),
        along("temperature offset"),
        along("cost of time"),
    ]
    return [(quantity, unit, direction) for (quantity, unit), direction in zip(QUANTITIES, found, strict=True)]


def _offsets(problem: Problem) -> dict[str, slice]:
    """Where each parameter sits in the column of all."""
    found: dict[str, slice] = {}
    first = 0
    for parameter in problem.parameters:
        found[parameter.name] = slice(first, first + parameter.size)
        first += parameter.size
    return found
