"""What holds at the ends of the phases: start, windows, altitudes, selection of devices, capture, gate."""

from __future__ import annotations

from collections.abc import Callable

import casadi as ca

from optdescent.air.atmosphere import speed_of_sound
from optdescent.motion.equations import air_at, path_angle_on
from optdescent.ocp import BoundaryConstraint, Ends
from optdescent.optimum.events import EventKind, device_of
from optdescent.optimum.legs import Leg, Mode, travel
from optdescent.optimum.quantities import Quantities
from optdescent.scenario.declaration import Selection
from optdescent.units import FOOT

HEIGHT_MET = 0.02 * FOOT
"""How closely [m] a height that is demanded at a distance has to be met where the glide path fixes it already."""
BoundaryFunction = Callable[[Ends], ca.SX]


def demands_at(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    """Boundary constraints at the two ends of a phase."""
    return [*_begin(quantities, leg), *_end(quantities, leg)]


def _begin(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    name = leg.name
    if leg.begins is None:
        return [
            _equal("mass at the start", lambda e: e[name].start["mass"] - e.parameters["start mass"], 1000.0),
            _equal("time at the start", lambda e: e[name].start["time"], 1000.0),
        ]
    if leg.begins.kind is EventKind.TOP_OF_DESCENT:
        return [
            _equal(
                "altitude at the top",
                lambda e: e[name].start["pressure_altitude"] - e.parameters["start altitude"],
                1000.0,
            ),
            _equal("speed at the top", lambda e: e[name].start["true_airspeed"] - _cruise_speed(e), 100.0),
            _equal("level at the top", lambda e: e[name].start["path_angle"], 0.1),
        ]
    if leg.begins.kind is EventKind.SELECTED:
        moved = device_of(quantities.scenario, leg.begins)
        return [_equal(f"{travel(moved)} begins", lambda e: e[name].start[travel(moved)], 1.0)]
    return []


def _end(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    name, label = leg.name, leg.ends.label
    match leg.ends.kind:
        case EventKind.WINDOW if leg.mode is not Mode.CRUISE:
            return _window(quantities, leg)
        case EventKind.SPEED_LIMIT:
            return [
                _equal(
                    f"altitude of {label}",
                    lambda e: e[name].end["pressure_altitude"] - e.parameters[f"altitude of {label}"],
                    1000.0,
                ),
            ]
        case EventKind.SELECTED:
            return _selected(quantities, leg)
        case EventKind.OUT:
            moved = device_of(quantities.scenario, leg.ends)
            return [_equal(f"{travel(moved)} ends", lambda e: e[name].end[travel(moved)] - 1.0, 1.0)]
        case EventKind.CAPTURE:
            return _capture(quantities, leg)
        case EventKind.GATE:
            return _gate(quantities, leg)
        case EventKind.ON_SPEED:
            return [
                _equal(
                    "approach speed",
                    lambda e: quantities.above_reference(e.parameters, e[name].end) - e.parameters["gate target"],
                    100.0,
                )
            ]
        case _:
            return []


def _selected(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    """On the schedule a device is selected at its speed; free, wherever its limit speed allows."""
    if quantities.scenario.handling.configuration is Selection.FREE:
        return []
    name, airframe = leg.name, quantities.scenario.airframe
    device = device_of(quantities.scenario, leg.ends)

    def over(ends: Ends) -> ca.SX:
        end = ends[name].end
        return quantities.calibrated(ends.parameters, end) - device.scheduled_speed(airframe, end["mass"])

    return [_equal(f"speed at {leg.ends.label}", over, 100.0)]


def _window(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    name, label = leg.name, leg.ends.label
    window = quantities.scenario.arrival.windows[leg.ends.index]

    def altitude(ends: Ends) -> ca.SX:
        return ends[name].end["pressure_altitude"]

    def speed(ends: Ends) -> ca.SX:
        return quantities.calibrated(ends.parameters, ends[name].end)

    found: list[BoundaryConstraint] = []
    for key, value, is_floor in (
        ("lowest altitude", window.altitude_at_least, True),
        ("highest altitude", window.altitude_at_most, False),
        ("slowest speed", window.speed_at_least, True),
        ("fastest speed", window.speed_at_most, False),
    ):
        if value is not None:
            is_height = key.endswith("altitude")
            measured, scale = (altitude, 1000.0) if is_height else (speed, 100.0)
            parameter = f"{key} at {label}"
            found.append(
                _bounded(parameter, lambda e, m=measured, p=parameter: m(e) - e.parameters[p], is_floor, scale)
            )
    return found


def _capture(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    name = leg.name

    def angle(ends: Ends) -> ca.SX:
        end = ends[name].end
        sample = air_at(quantities.surroundings(ends.parameters), end.independent, end["pressure_altitude"])
        return end["path_angle"] - path_angle_on(ends.parameters["gradient"], sample, end["true_airspeed"])

    found: list[BoundaryConstraint] = []
    if quantities.scenario.arrival.glide_path.capture_speed_at_most is not None:
        found.append(
            _bounded(
                "speed at capture",
                lambda e: quantities.calibrated(e.parameters, e[name].end) - e.parameters["capture speed"],
                False,
                100.0,
            )
        )
    return [
        *found,
        _equal(
            "on the glide path",
            lambda e: quantities.above_path(e.parameters, e[name].end, e[name].end.independent),
            100.0,
        ),
        _equal("along the glide path", angle, 0.1),
        BoundaryConstraint(
            "capture height",
            lambda e: quantities.height(e.parameters, e[name].end),
            lambda named: named["capture at least"],
            lambda named: named["capture at most"],
            1000.0,
        ),
    ]


def _gate(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    name = leg.name
    placed: list[BoundaryConstraint] = []
    if quantities.scenario.arrival.gate.distance is not None:
        placed.append(
            BoundaryConstraint(
                "height at the gate",
                lambda e: quantities.height(e.parameters, e[name].end) - e.parameters["gate height"],
                -HEIGHT_MET,
                HEIGHT_MET,
                100.0,
            )
        )
    return [
        *placed,
        BoundaryConstraint(
            "speed at the gate",
            lambda e: quantities.above_reference(e.parameters, e[name].end),
            lambda named: named["gate target"] - named["gate under"],
            lambda named: named["gate target"] + named["gate over"],
            100.0,
        ),
    ]


def _cruise_speed(ends: Ends) -> ca.SX:
    named = ends.parameters
    return named["start mach"] * speed_of_sound(named["start altitude"], named["temperature offset"])


def _equal(name: str, function: BoundaryFunction, scale: float) -> BoundaryConstraint:
    return BoundaryConstraint(name, function, 0.0, 0.0, scale)


def _bounded(name: str, function: BoundaryFunction, is_floor: bool, scale: float) -> BoundaryConstraint:
    if is_floor:
        return BoundaryConstraint(name, function, lower=0.0, scale=scale)
    return BoundaryConstraint(name, function, upper=0.0, scale=scale)
