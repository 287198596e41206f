"""Every number of a scenario that the problem takes as a parameter: changing one rebuilds nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Protocol

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.air import Air
from optdescent.motion import Surroundings
from optdescent.motion.state import AntiIce, anti_ice_of
from optdescent.ocp import Parameter
from optdescent.optimum.events import Event, EventKind, fixed_distance, fixed_events
from optdescent.scenario import Scenario


class Named(Protocol):
    """Anything that looks up an expression by name: a point of a phase, or the parameters."""

    def __getitem__(self, name: str) -> ca.SX:
        """Expression of a name."""
        ...


def parameter_values(scenario: Scenario) -> dict[str, NDArray[np.float64]]:
    """Value of each parameter [SI], by name; lists what is declared to the engine too."""
    arrival, start = scenario.arrival, scenario.start
    path = arrival.glide_path
    values: dict[str, float] = {
        "temperature offset": scenario.temperature_offset,
        "altimeter setting": scenario.qnh,
        "elevation": arrival.elevation,
        "course": arrival.course,
        "start distance": start.distance,
        "start altitude": scenario.pressure_altitude(start.altitude),
        "start mach": start.mach,
        "start mass": start.mass,
        "cost of time": scenario.cost.time,
        "gradient": path.gradient,
        "threshold crossing height": path.threshold_crossing_height,
        "capture at least": path.capture_at_least,
        "capture at most": path.capture_at_most,
        "sink above the glide path": path.sink_above,
        "gate off path": arrival.gate.off_path,
        "steepest path": scenario.handling.steepest_path,
        "most bank": scenario.handling.most_bank,
        "lowest brake height": scenario.handling.speed_brake_above,
        "brake weight": BRAKE_WEIGHT,
        "load weight": LOAD_WEIGHT,
        "thrust weight": THRUST_WEIGHT,
        "overlap charge": OVERLAP_CHARGE,
    }
    layer = anti_ice_of(scenario)
    if layer is not None:
        values |= {"anti-ice bottom": layer.bottom, "anti-ice top": layer.top}
    if path.capture_speed_at_most is not None:
        values["capture speed"] = path.capture_speed_at_most
    for event in fixed_events(scenario):
        if event.kind is not EventKind.THRESHOLD:
            values[f"distance of {event.label}"] = fixed_distance(scenario, event)
    values |= _gate_values(scenario) | _window_values(scenario) | _limit_values(scenario)
    for index, point in enumerate(arrival.floor):
        values[f"place of floor point {index + 1}"] = -point.distance
        values[f"altitude of floor point {index + 1}"] = scenario.pressure_altitude(point.altitude)
    for index, hold in enumerate(arrival.hold_downs):
        values[f"altitude of hold-down {index + 1}"] = scenario.pressure_altitude(hold.altitude)
    arrays = {name: np.atleast_1d(np.asarray(value, dtype=float)) for name, value in values.items()}
    warmth = {} if scenario.warmth is None else {"warmth": np.asarray(scenario.warmth)}
    return {**arrays, "wind": scenario.wind.coefficients(), **warmth}


def _gate_values(scenario: Scenario) -> dict[str, float]:
    values: dict[str, float] = {}
    for index, gate in enumerate(scenario.arrival.gates):
        name = Event(EventKind.GATE, index).label
        values |= {
            f"{name} height": gate.height,
            f"{name} target": gate.speed_above_reference,
            f"{name} over": gate.speed_over,
            f"{name} under": gate.speed_under,
            f"{name} sink": gate.sink,
        }
    return values


def _window_values(scenario: Scenario) -> dict[str, float]:
    values: dict[str, float] = {}
    for index, window in enumerate(scenario.arrival.windows):
        name = Event(EventKind.WINDOW, index).label
        altitudes = {
            "lowest": window.altitude_at_least,
            "highest": window.altitude_at_most,
            "exact": window.altitude_at,
        }
        for key, altitude in altitudes.items():
            if altitude is not None:
                values[f"{key} altitude at {name}"] = scenario.pressure_altitude(altitude)
        speeds = {"slowest": window.speed_at_least, "fastest": window.speed_at_most, "exact": window.speed_at}
        for key, speed in speeds.items():
            if speed is not None:
                values[f"{key} speed at {name}"] = speed
    return values


def _limit_values(scenario: Scenario) -> dict[str, float]:
    values: dict[str, float] = {}
    for index, limit in enumerate(scenario.arrival.speed_limits):
        name = Event(EventKind.SPEED_LIMIT, index).label
        values[f"speed of {name}"] = limit.speed
        if limit.below_altitude is not None:
            values[f"altitude of {name}"] = scenario.pressure_altitude(limit.below_altitude)
    for index, limit in enumerate(scenario.arrival.sink_limits):
        values[f"height of sink limit {index + 1}"] = limit.below_height
        values[f"sink of sink limit {index + 1}"] = limit.sink
    return values


BRAKE_WEIGHT = 2e-6
"""Fuel charged [kg/m] for full speed brake, per distance: 0.02 kg for 5 nm. It makes the brake's place unique."""
LOAD_WEIGHT = 1e-1
"""Fuel charged [kg/m] for the square of one g off the load factor of straight flight."""
THRUST_WEIGHT = 2e-4
"""Fuel charged [kg/m] for the square of the thrust fraction in a hold-down.

Thrust enters fuel and speed linearly, so that of all ways to spend it the optimum would leave open which: the charge
makes it unique and smooth. At a tenth of the range from idle to largest it is 0.04 kg for 10 nm.
"""
WEIGHTS = ("brake weight", "load weight", "thrust weight")
"""Parameters that charge for controls."""
OVERLAP_CHARGE = 0.02
"""Fuel charged [kg/m] for a phase that runs backwards while the order is sought: it leaves the fuel in sight."""
_FULL_CHARGE = 1.0
"""The same where the order is settled: far more than any descent could gain by it.

Where a path hardly slows the aircraft, a tenth of a knot moves the place of a selection by hundreds of metres.
"""


def settled_values(scenario: Scenario) -> dict[str, NDArray[np.float64]]:
    """Value of each parameter [SI] where the order of events is settled, so that no overlap pays."""
    return {**parameter_values(scenario), "overlap charge": np.array([_FULL_CHARGE])}


def declared_parameters(values: Mapping[str, NDArray[np.float64]]) -> tuple[Parameter, ...]:
    """Parameters as the engine declares them [-]."""
    return tuple(Parameter(name, value.size) for name, value in values.items())


def air_of(scenario: Scenario, named: Named) -> Air:
    """Air [SI] whose numbers are the parameters."""
    return Air(
        named["temperature offset"],
        named["altimeter setting"],
        named["elevation"],
        scenario.wind.field,
        named["wind"],
        None if scenario.warmth is None else named["warmth"],
    )


def surroundings_of(scenario: Scenario, named: Named) -> Surroundings:
    """Surroundings [SI] whose numbers are the parameters."""
    air = air_of(scenario, named)
    is_on = anti_ice_of(scenario) is not None
    anti_ice = AntiIce(named["anti-ice bottom"], named["anti-ice top"]) if is_on else None
    track = replace(scenario.arrival.track, final_course=named["course"])
    return Surroundings(scenario.airframe, air, track, anti_ice)
