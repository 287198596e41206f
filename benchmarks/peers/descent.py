"""A reduced but constrained descent, posed once for every library. An invented aeroplane in plain numbers.

A point mass in a vertical plane, idle thrust from 10 km and 230 m/s in level flight down to 1000 m, 100 m/s and a
3 degree path; the control is the load factor. Still air with the temperature of the standard atmosphere below
11 km. Parabolic polar. Whatever distance the descent covers need not be cruised, so the cost is the fuel burnt
at idle less the fuel that cruising the same distance would take: minimum fuel over a fixed distance, with the top of
descent free. Limits on equivalent airspeed, Mach number, load factor and rate of descent
(as the cabin's pressure would set; it holds in the upper half). The parameter is the mass at the start.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import casadi as ca

from optdescent.ocp import (
    BoundaryConstraint,
    Guess,
    Parameter,
    PathConstraint,
    Phase,
    PhaseGuess,
    Problem,
    Span,
    Variable,
)

GRAVITY = 9.80665
AREA = 122.0  # m2
ZERO_LIFT_DRAG, INDUCED_DRAG = 0.020, 0.045
IDLE_THRUST, IDLE_FLOW = 3500.0, 0.16  # N, kg/s at sea level, both falling with height
CRUISE_FUEL = 2.6e-3  # kg per metre of cruise
LARGEST_EQUIVALENT, LARGEST_MACH, LARGEST_SINK = 150.0, 0.80, 9.0  # m/s, -, m/s
START = {"distance": 0.0, "height": 10_000.0, "speed": 230.0, "path": 0.0}
END = {"height": 1_000.0, "speed": 100.0, "path": -0.0524}

Point = Mapping[str, Any]


def _temperature(point: Point) -> Any:
    return 288.15 - 0.0065 * point["height"]


def _density(point: Point) -> Any:
    return 1.225 * (_temperature(point) / 288.15) ** 4.2558797


def _idle_flow(point: Point) -> Any:
    return IDLE_FLOW * (1.0 - point["height"] / 20_000.0)


def rates(point: Point) -> dict[str, Any]:
    """Derivatives with respect to time of distance, height, speed, path angle and mass (SI units)."""
    speed, path, mass, load = point["speed"], point["path"], point["mass"], point["load"]
    pressure = 0.5 * _density(point) * speed**2 * AREA
    lift = load * mass * GRAVITY
    drag = ZERO_LIFT_DRAG * pressure + INDUCED_DRAG * lift**2 / pressure
    thrust = IDLE_THRUST * (1.0 - point["height"] / 12_000.0)
    return {
        "distance": speed * ca.cos(path),
        "height": speed * ca.sin(path),
        "speed": (thrust - drag) / mass - GRAVITY * ca.sin(path),
        "path": GRAVITY / speed * (load - ca.cos(path)),
        "mass": -_idle_flow(point),
    }


def fuel_beyond_cruise(point: Point) -> Any:
    """Idle fuel flow less what cruising the distance flown would burn [kg/s]."""
    return _idle_flow(point) - CRUISE_FUEL * point["speed"] * ca.cos(point["path"])


def equivalent_airspeed(point: Point) -> Any:
    """Equivalent airspeed [m/s]."""
    return point["speed"] * ca.sqrt(_density(point) / 1.225)


def mach(point: Point) -> Any:
    """Mach number [-]."""
    return point["speed"] / ca.sqrt(1.4 * 287.05287 * _temperature(point))


def sink(point: Point) -> Any:
    """Rate of descent [m/s]."""
    return -point["speed"] * ca.sin(point["path"])


def descent() -> tuple[Problem, Guess]:
    """The problem and its straight-line guess."""
    variables = {
        "distance": Variable("distance", -1e3, 400e3, 100e3),
        "height": Variable("height", 500.0, 10_500.0, 10e3),
        "speed": Variable("speed", 80.0, 260.0, 100.0),
        "path": Variable("path", -0.12, 0.05, 0.1),
        "mass": Variable("mass", 40e3, 80e3, 60e3),
    }
    phase = Phase(
        "descent",
        tuple(variables.values()),
        (Variable("load", 0.8, 1.2, 1.0),),
        rates,
        Span(0.0, 0.0),
        Span(300.0, 3000.0),
        path=(
            PathConstraint("equivalent airspeed", equivalent_airspeed, upper=LARGEST_EQUIVALENT, scale=100.0),
            PathConstraint("mach", mach, upper=LARGEST_MACH),
            PathConstraint("sink", sink, upper=LARGEST_SINK, scale=10.0),
        ),
        integrand=fuel_beyond_cruise,
    )
    start = [BoundaryConstraint(f"start {n}", lambda e, n=n: e["descent"].start[n], v, v) for n, v in START.items()]
    end = [BoundaryConstraint(f"end {n}", lambda e, n=n: e["descent"].end[n], v, v) for n, v in END.items()]
    mass = BoundaryConstraint(
        "start mass", lambda e: e["descent"].start["mass"], lambda q: q["mass at start"], lambda q: q["mass at start"]
    )
    problem = Problem(
        "descent",
        (phase,),
        lambda e: e["descent"].integral,
        boundaries=(*start, mass, *end),
        parameters=(Parameter("mass at start"),),
    )
    states = {
        "distance": [0.0, 200e3],
        "height": [10_000.0, 1_000.0],
        "speed": [230.0, 100.0],
        "path": [0.0, -0.0524],
        "mass": [60e3, 59.85e3],
    }
    return problem, Guess({"descent": PhaseGuess([0.0, 1200.0], states, {"load": [1.0, 1.0]})})
