"""Every number of a scenario that the problem takes as a parameter: changing one rebuilds nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Protocol

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.air import Air
from optdescent.arrival import Track
from optdescent.motion import Surroundings
from optdescent.ocp import Parameter
from optdescent.optimum.events import Event, EventKind, fixed_distance
from optdescent.scenario import Scenario


class Named(Protocol):
    """Anything that looks up an expression by name: a point of a phase, or the parameters."""

    def __getitem__(self, name: str) -> ca.SX:
        """Expression of a name."""
        ...


def parameter_values(scenario: Scenario) -> dict[str, NDArray[np.float64]]:
    """Value of each parameter [SI], by name; lists what is declared to the engine too."""
    arrival, start = scenario.arrival, scenario.start
    path, gate = arrival.glide_path, arrival.gate
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
        "gate height": gate.height,
        "gate target": gate.speed_above_reference,
        "gate over": gate.speed_over,
        "gate under": gate.speed_under,
        "gate sink": gate.sink,
        "steepest path": scenario.handling.steepest_path,
        "lowest brake height": scenario.handling.speed_brake_above,
        "brake weight": BRAKE_WEIGHT,
        "load weight": LOAD_WEIGHT,
    }
    if path.capture_speed_at_most is not None:
        values["capture speed"] = path.capture_speed_at_most
    for event in (Event(EventKind.GATE), Event(EventKind.BELOW_PATH)):
        values[f"distance of {event.label}"] = fixed_distance(scenario, event)
    for index, window in enumerate(arrival.windows):
        name = Event(EventKind.WINDOW, index).label
        values[f"distance of {name}"] = -window.distance
        for key, altitude in (("lowest", window.altitude_at_least), ("highest", window.altitude_at_most)):
            if altitude is not None:
                values[f"{key} altitude at {name}"] = scenario.pressure_altitude(altitude)
        for key, speed in (("slowest", window.speed_at_least), ("fastest", window.speed_at_most)):
            if speed is not None:
                values[f"{key} speed at {name}"] = speed
    for index, limit in enumerate(arrival.speed_limits):
        name = Event(EventKind.SPEED_LIMIT, index).label
        values[f"altitude of {name}"] = scenario.pressure_altitude(limit.below_altitude)
        values[f"speed of {name}"] = limit.speed
    for index, limit in enumerate(arrival.sink_limits):
        values[f"height of sink limit {index + 1}"] = limit.below_height
        values[f"sink of sink limit {index + 1}"] = limit.sink
    arrays = {name: np.atleast_1d(np.asarray(value, dtype=float)) for name, value in values.items()}
    return {**arrays, "wind": scenario.wind.coefficients()}


BRAKE_WEIGHT = 2e-6
"""Fuel charged [kg/m] for full speed brake, per distance: 0.02 kg for 5 nm. It makes the brake's place unique."""
LOAD_WEIGHT = 1e-1
"""Fuel charged [kg/m] for the square of one g off the load factor of straight flight."""


def declared_parameters(values: Mapping[str, NDArray[np.float64]]) -> tuple[Parameter, ...]:
    """Parameters as the engine declares them [-]."""
    return tuple(Parameter(name, value.size) for name, value in values.items())


def surroundings_of(scenario: Scenario, named: Named) -> Surroundings:
    """Surroundings [SI] whose numbers are the parameters."""
    air = Air(
        named["temperature offset"], named["altimeter setting"], named["elevation"], scenario.wind.field, named["wind"]
    )
    return Surroundings(scenario.airframe, air, Track(named["course"]))
