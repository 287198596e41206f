"""What holds at the ends of the phases: start, windows, altitudes, hold-downs, selection of devices, capture, gates."""

from __future__ import annotations

import math
from collections.abc import Callable

import casadi as ca

from optdescent.motion.equations import air_at, path_angle_on
from optdescent.ocp import BoundaryConstraint, Ends
from optdescent.optimum.events import EventKind, device_of
from optdescent.optimum.legs import Leg, Mode, travel
from optdescent.optimum.parameters import air_of
from optdescent.optimum.quantities import Quantities, altitude_of_hold, states_at
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
            *_begin_on_path(quantities, leg),
        ]
    if leg.begins.kind is EventKind.TOP_OF_DESCENT:
        return [
            _equal(
                "altitude at the top",
                lambda e: e[name].start["pressure_altitude"] - e.parameters["start altitude"],
                1000.0,
            ),
            _equal("speed at the top", lambda e: e[name].start["true_airspeed"] - _start_speed(quantities, e), 100.0),
            _equal("level at the top", lambda e: e[name].start["path_angle"], 0.1),
        ]
    if leg.begins.kind is EventKind.RESUMED:
        altitude = altitude_of_hold(leg.begins.index)
        return [
            _equal(
                f"altitude as {leg.begins.label}",
                lambda e: e[name].start["pressure_altitude"] - e.parameters[altitude],
                1000.0,
            ),
            _equal(f"level as {leg.begins.label}", lambda e: e[name].start["path_angle"], 0.1),
        ]
    if leg.begins.kind is EventKind.SELECTED:
        moved = device_of(quantities.scenario, leg.begins)
        return [_equal(f"{travel(moved)} begins", lambda e: e[name].start[travel(moved)], 1.0)]
    return []


def _begin_on_path(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    """Height and speed where a flight begins that is on the glide path; one in cruise has them from its top."""
    name = leg.name
    if leg.mode is Mode.CRUISE:
        return []
    return [
        _equal(
            "on the glide path at the start",
            lambda e: quantities.above_path(e.parameters, e[name].start, e[name].start.independent),
            100.0,
        ),
        _equal("speed at the start", lambda e: e[name].start["true_airspeed"] - _start_speed(quantities, e), 100.0),
    ]


def _end(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    name, label = leg.name, leg.ends.label
    match leg.ends.kind:
        case EventKind.WINDOW if leg.mode is not Mode.CRUISE:
            return _window(quantities, leg)
        case EventKind.HOLD_BEGINS:
            altitude = altitude_of_hold(leg.ends.index)
            return [
                _equal(altitude, lambda e: e[name].end["pressure_altitude"] - e.parameters[altitude], 1000.0),
                _equal(f"level as {label}", lambda e: e[name].end["path_angle"], 0.1),
            ]
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
        end = states_at(leg, ends.parameters, ends[name].end)
        return quantities.calibrated(ends.parameters, end) - device.scheduled_speed(airframe, end["mass"])

    return [_equal(f"speed at {leg.ends.label}", over, 100.0)]


def _window(quantities: Quantities, leg: Leg) -> list[BoundaryConstraint]:
    name, label = leg.name, leg.ends.label
    window = quantities.scenario.arrival.windows[leg.ends.index]

    def altitude(ends: Ends) -> ca.SX:
        return ends[name].end["pressure_altitude"]

    def speed(ends: Ends) -> ca.SX:
        return quantities.calibrated(ends.parameters, states_at(leg, ends.parameters, ends[name].end))

    found: list[BoundaryConstraint] = []
    for key, value, side in (
        ("lowest altitude", window.altitude_at_least, (0.0, math.inf)),
        ("highest altitude", window.altitude_at_most, (-math.inf, 0.0)),
        ("exact altitude", window.altitude_at, (0.0, 0.0)),
        ("slowest speed", window.speed_at_least, (0.0, math.inf)),
        ("fastest speed", window.speed_at_most, (-math.inf, 0.0)),
        ("exact speed", window.speed_at, (0.0, 0.0)),
    ):
        is_height = key.endswith("altitude")
        # the level of a hold-down is given: whether it lies in the window was seen when the arrival was read
        if value is not None and not (is_height and leg.hold is not None):
            measured, scale = (altitude, 1000.0) if is_height else (speed, 100.0)
            parameter = f"{key} at {label}"
            found.append(
                BoundaryConstraint(
                    parameter, lambda e, m=measured, p=parameter: m(e) - e.parameters[p], *side, scale=scale
                )
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
            BoundaryConstraint(
                "speed at capture",
                lambda e: quantities.calibrated(e.parameters, e[name].end) - e.parameters["capture speed"],
                upper=0.0,
                scale=100.0,
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
    name, label = leg.name, leg.ends.label
    placed: list[BoundaryConstraint] = []
    if quantities.scenario.arrival.gates[leg.ends.index].distance is not None:
        placed.append(
            BoundaryConstraint(
                f"height at the {label}",
                lambda e: quantities.height(e.parameters, e[name].end) - e.parameters[f"{label} height"],
                -HEIGHT_MET,
                HEIGHT_MET,
                100.0,
            )
        )
    return [
        *placed,
        BoundaryConstraint(
            f"speed at the {label}",
            lambda e: quantities.above_reference(e.parameters, e[name].end),
            lambda named: named[f"{label} target"] - named[f"{label} under"],
            lambda named: named[f"{label} target"] + named[f"{label} over"],
            100.0,
        ),
    ]


def _start_speed(quantities: Quantities, ends: Ends) -> ca.SX:
    named = ends.parameters
    return named["start mach"] * air_of(quantities.scenario, named).speed_of_sound(named["start altitude"])


def _equal(name: str, function: BoundaryFunction, scale: float) -> BoundaryConstraint:
    return BoundaryConstraint(name, function, 0.0, 0.0, scale)
