"""The reduced descent posed for the engine, as one phase: height and speed are states, path angle and thrust controls.

Thrust enters linearly, so cruise at the best speed is a singular arc and the thrust that holds it would swing from
point to point with no effect on the cost. A charge on the square of the change of speed quiets it; the cost is counted
without it, in a state of its own, and the charge is shown.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import casadi as ca

from benchmarks.grid.descent import Descent
from optdescent.ocp import (
    BoundaryConstraint,
    Ends,
    Guess,
    PathConstraint,
    Phase,
    PhaseGuess,
    PhaseSolution,
    Point,
    Problem,
    RefineSettings,
    Settings,
    Solution,
    Span,
    Variable,
    solve,
)

SMOOTHING = 0.1
"""Charge [kg s2/m] on the square of the change of true airspeed by distance [1/s2]."""
PHASE = "descent"


@dataclass(frozen=True)
class Collocated:
    """The engine's optimum: ``cost`` [kg] without the smoothing ``charge`` [kg], and the ``solution`` it is from."""

    solution: Solution
    cost: float
    charge: float

    @property
    def phase(self) -> PhaseSolution:
        """Its only phase."""
        return self.solution[PHASE]


def optimum(descent: Descent) -> Collocated:
    """Solve from a straight guess and refine.

    Raises
    ------
    ArithmeticError
        The engine found no optimum.
    """
    rules = RefineSettings(local_error=1e-5, cost_change=1e-5)
    solution = solve(posed(descent), _guess(descent), settings=Settings(refinement=rules))
    if not solution.outcome.is_success:
        raise ArithmeticError(f"{descent.title}: {solution.outcome.value}")
    charge = solution[PHASE].integral
    return Collocated(solution, solution.cost - charge, charge)


def posed(descent: Descent) -> Problem:
    """Problem with the rates, limits and price of the descent [SI]."""

    def rates(p: Point) -> Mapping[str, ca.SX]:
        found = descent.rates(p["altitude"], p["speed"], p["angle"], p["thrust"])
        return {"altitude": found.pressure_altitude, "speed": found.true_airspeed, "cost": found.cost}

    def cost(e: Ends) -> ca.SX:
        end = e[PHASE].end
        return end["cost"] + descent.end_price(end["altitude"], end["speed"]) + e[PHASE].integral

    phase = Phase(
        PHASE,
        (
            Variable("altitude", descent.floor, descent.start_altitude, 1000.0),
            Variable("speed", 80.0, 300.0, 100.0),
            Variable("cost", scale=100.0),
        ),
        (Variable("angle", -descent.steepest, 0.0, 0.05), Variable("thrust", 0.0, 1.0, 1.0)),
        rates,
        Span(0.0, 0.0),
        Span(descent.distance, descent.distance),
        path=_limits(descent),
        integrand=lambda p: SMOOTHING * rates(p)["speed"] ** 2,
    )
    start = {"altitude": descent.start_altitude, "speed": descent.start_speed, "cost": 0.0}
    return Problem(
        descent.title,
        (phase,),
        cost,
        boundaries=tuple(
            BoundaryConstraint(f"start {name}", lambda e, n=name: e[PHASE].start[n], value, value)
            for name, value in start.items()
        ),
    )


def _limits(descent: Descent) -> tuple[PathConstraint, ...]:
    limits = descent.surroundings.airframe.limits
    return (
        PathConstraint(
            "calibrated airspeed",
            lambda p: descent.calibrated(p["altitude"], p["speed"]),
            descent.least_speed,
            limits.maximum_speed,
            100.0,
        ),
        PathConstraint("Mach number", lambda p: p["speed"] / descent.sound(p["altitude"]), 0.0, limits.maximum_mach),
    )


def _guess(descent: Descent) -> Guess:
    """Level for a third of the way at constant speed, then straight down to the end."""
    end = [descent.start_speed, descent.start_speed, descent.end_speed]
    states = {
        "altitude": [descent.start_altitude, descent.start_altitude, descent.floor],
        "speed": end,
        "cost": [0.0, 200.0, 400.0],
    }
    controls = {"angle": [0.0, -0.03, -0.05], "thrust": [0.5, 0.5, 0.0]}
    at = [0.0, descent.distance / 3.0, descent.distance]
    return Guess({PHASE: PhaseGuess(at, states, controls)})
