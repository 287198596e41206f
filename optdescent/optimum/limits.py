"""What holds along each phase: speeds, path angle, sink rate, thrust, floor, side of the glide path."""

from __future__ import annotations

from collections.abc import Callable

import casadi as ca

from optdescent.airframe import Configuration
from optdescent.airframe.speeds import least_speed, reference_speed
from optdescent.arrival import Capture
from optdescent.curves.smooth import smooth_step
from optdescent.motion.equations import Motion
from optdescent.motion.state import Control
from optdescent.ocp import Parameters, PathConstraint, Point
from optdescent.optimum.events import Event, EventKind, floor_segment, gates_in_force, limits_in_force
from optdescent.optimum.legs import Leg, Mode
from optdescent.optimum.quantities import Quantities, least_of, states_at
from optdescent.scenario.declaration import Selection
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

STEEPEST_SINK = 8000.0 * FOOT_PER_MINUTE
"""Sink rate [m/s] that stands for no limit."""
SINK_BAND = 300.0 * FOOT
"""Height [m] above a sink limit over which it comes in, so that it holds in full at and below its height."""
SPEED_HELD = 0.2 * KNOT
"""How closely [m/s] a least speed is held along a phase at whose end the same speed is demanded exactly.

Without it the two would be one constraint stated twice, which no multiplier can tell apart.
"""
LEAST_SPEED = "least speed"
"""Name of the constraint."""
HEIGHT_HELD = 1.0 * FOOT
"""How closely [m] the glide path bounds the descent that ends on it, for the same reason."""
FLOOR_HELD = 0.5 * FOOT
"""How closely [m] the floor is held, for the same reason: a window or a hold-down may lie on it."""
CLEAR_BY = 10.0 * FOOT
CLEAR_UNTIL = 0.5 * NAUTICAL_MILE
"""How much more than the gate's height off the path [m] a flight from above keeps, and over what distance [m] it comes
down to the path where that may be captured."""

Flown = Callable[[Point], tuple[Control, Configuration, Motion]]


def limits_along(quantities: Quantities, leg: Leg, flown: Flown, is_firm: bool) -> tuple[PathConstraint, ...]:
    """Path constraints of a phase; `flown` gives control, configuration and motion at its points [SI].

    `is_firm` : the speed of the next selection is kept without room, but where the phase ends with that selection.
    """
    found: list[PathConstraint] = []
    if leg.mode in (Mode.CRUISE, Mode.APPROACH):
        found.append(PathConstraint("thrust", lambda p: flown(p)[0].thrust_fraction, 0.0, 1.0))
    else:
        found += [*_fastest(quantities, leg, flown), _slowest(quantities, leg, flown, is_firm)]
    if leg.mode is Mode.DESCENT:
        found.append(
            PathConstraint("sink rate", lambda p: _sink_room(quantities, leg, flown, p), lower=0.0, scale=10.0)
        )
        found += _above_floor(quantities, leg)
    if leg.mode in (Mode.DESCENT, Mode.LEVEL):
        found += _side_of_path(quantities, leg)
    if leg.mode in (Mode.DESCENT, Mode.LEVEL) and not leg.has_passed(EventKind.SPEED_LIMIT):
        most = quantities.scenario.airframe.limits.maximum_mach
        found.append(PathConstraint("largest Mach number", lambda p: flown(p)[2].forces.mach, upper=most))
    return (*found, *_bank(quantities, leg, flown), *_gate_sink(quantities, leg, flown))


def _bank(quantities: Quantities, leg: Leg, flown: Flown) -> list[PathConstraint]:
    """Largest bank, where the track turns: before the glide path."""
    if not quantities.scenario.arrival.track.turns or leg.mode in (Mode.SLOWING, Mode.APPROACH):
        return []
    return [
        PathConstraint(
            "bank",
            lambda p: flown(p)[2].bank,
            lower=lambda named: -named["most bank"],
            upper=lambda named: named["most bank"],
        )
    ]


def _above_floor(quantities: Quantities, leg: Leg) -> list[PathConstraint]:
    """The floor, straight between two of its points: no phase lies on both sides of a point.

    The distance is the independent variable, so that a corner of the floor is a corner of the constraint only at the
    end of a phase, where one of its own points holds it.
    """
    if not quantities.scenario.arrival.floor:
        return []
    segment = floor_segment(quantities.scenario, leg.passed)
    name = f"floor after {segment[0]} to {segment[1]}"
    return [
        PathConstraint(
            name, lambda p: quantities.above_floor(p, p, p.independent, segment), lower=-FLOOR_HELD, scale=100.0
        )
    ]


def _side_of_path(quantities: Quantities, leg: Leg) -> list[PathConstraint]:
    """On the way to the capture: at or below the glide path, or above it.

    From above the flight keeps off the path, by more than counts as being on it, until the highest place of capture.
    """
    if not leg.has_passed(EventKind.BELOW_PATH):
        return []

    def above(point: Point) -> ca.SX:
        return quantities.above_path(point, states_at(leg, point, point), point.independent)

    def clear(point: Point) -> ca.SX:
        """Height above the path, less what keeps the flight from being on it above the highest capture [m]."""
        highest = (point["threshold crossing height"] - point["capture at most"]) / point["gradient"]
        early = smooth_step((highest - point.independent) / CLEAR_UNTIL)
        return above(point) - (point["gate off path"] + CLEAR_BY) * early

    if quantities.scenario.arrival.glide_path.capture is Capture.ABOVE:
        return [PathConstraint("capture from above", clear, lower=-HEIGHT_HELD, scale=100.0)]
    return [PathConstraint("capture from below", above, upper=HEIGHT_HELD, scale=100.0)]


def _gate_sink(quantities: Quantities, leg: Leg, flown: Flown) -> list[PathConstraint]:
    """Largest sink rate of the gates that lie behind: each holds at its height and below."""
    passed = sorted(gates_in_force(leg.passed), key=lambda gate: quantities.scenario.arrival.gates[gate.index].sink)
    if not passed:
        return []

    def lower(named: Parameters) -> ca.SX:
        return -least_of([named[f"{gate.label} sink"] for gate in passed])

    name = f"sink rate at the {passed[0].label}"
    return [PathConstraint(name, lambda p: flown(p)[2].passage.vertical_speed, lower=lower, scale=10.0)]


def _fastest(quantities: Quantities, leg: Leg, flown: Flown) -> list[PathConstraint]:
    """Largest speeds: of the airframe and of the limits passed, and of the devices selected.

    The limits share one constraint, whose bound is the lowest of them: stated each for itself, two of one speed would
    leave their multipliers undetermined. Its name is that of the lowest.
    """
    scenario = quantities.scenario

    def calibrated(point: Point) -> ca.SX:
        return flown(point)[2].forces.calibrated_airspeed

    most = scenario.airframe.limits.maximum_speed
    passed = limits_in_force(scenario, leg.passed)
    labels = [Event(EventKind.SPEED_LIMIT, index).label for index in passed]
    found: list[PathConstraint] = []
    if passed:
        is_lowest = scenario.arrival.speed_limits[passed[0]].speed < most
        name = labels[0] if is_lowest else "largest speed"

        def upper(named: Parameters) -> ca.SX:
            return least_of([most, *(named[f"speed of {label}"] for label in labels)])

        found.append(PathConstraint(name, calibrated, upper=upper, scale=100.0))
    selected = (*leg.out, *leg.moving)
    if selected:
        slowest = min(selected, key=lambda device: device.limit_speed)
        found.append(
            PathConstraint(f"limit speed of {slowest.name}", calibrated, upper=slowest.limit_speed, scale=100.0)
        )
    if not found:
        found.append(PathConstraint("largest speed", calibrated, upper=most, scale=100.0))
    return found


def _slowest(quantities: Quantities, leg: Leg, flown: Flown, is_firm: bool) -> PathConstraint:
    """Least speed: of the next selection on the schedule, of the devices out, or of the gate."""
    airframe = quantities.scenario.airframe
    pending = [device for device in leg.pending if device.number or _is_scheduled(quantities)]
    if not pending:
        return PathConstraint(
            LEAST_SPEED,
            lambda p: flown(p)[2].forces.calibrated_airspeed - reference_speed(airframe, p["mass"]),
            lower=lambda named: named["gate target"] - named["gate under"] - SPEED_HELD,
            scale=100.0,
        )

    def room(point: Point) -> ca.SX:
        if _is_scheduled(quantities):
            least = pending[0].scheduled_speed(airframe, point["mass"])
        else:
            least = least_speed(airframe, flown(point)[1], point["mass"])
        return flown(point)[2].forces.calibrated_airspeed - least

    held = 0.0 if is_firm and leg.ends.kind is not EventKind.SELECTED else SPEED_HELD
    return PathConstraint(LEAST_SPEED, room, lower=-held, scale=100.0)


def _is_scheduled(quantities: Quantities) -> bool:
    return quantities.scenario.handling.configuration is Selection.SCHEDULED


def _sink_room(quantities: Quantities, leg: Leg, flown: Flown, point: Point) -> ca.SX:
    """Sink rate still allowed [m/s] by the limits at the height and, on the way to it, above the glide path."""
    height = flown(point)[2].air.height - point["elevation"]
    is_above = quantities.scenario.arrival.glide_path.capture is Capture.ABOVE and leg.has_passed(EventKind.BELOW_PATH)
    most = point["sink above the glide path"] if is_above else ca.SX(STEEPEST_SINK)
    allowed = most
    for index in reversed(range(len(quantities.scenario.arrival.sink_limits))):
        name = f"sink limit {index + 1}"
        share = smooth_step((height - point[f"height of {name}"]) / SINK_BAND)
        sink = ca.fmin(most, point[f"sink of {name}"])  # of parameters alone: no corner along the phase
        allowed = sink + (allowed - sink) * share
    return allowed + point["true_airspeed"] * ca.sin(point["path_angle"])
