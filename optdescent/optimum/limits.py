"""What holds along each phase: speeds, path angle, sink rate, thrust, capture from below."""

from __future__ import annotations

from collections.abc import Callable

import casadi as ca

from optdescent.airframe import Configuration
from optdescent.airframe.speeds import least_speed
from optdescent.curves.smooth import smooth_step
from optdescent.motion.equations import Motion
from optdescent.motion.state import Control
from optdescent.ocp import PathConstraint, Point
from optdescent.optimum.events import EventKind
from optdescent.optimum.legs import Leg, Mode
from optdescent.optimum.quantities import Quantities
from optdescent.scenario.declaration import Selection
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT

STEEPEST_SINK = 8000.0 * FOOT_PER_MINUTE
"""Sink rate [m/s] that stands for no limit."""
SINK_BAND = 300.0 * FOOT
"""Height [m] above a sink limit over which it comes in, so that it holds in full at and below its height."""
SPEED_HELD = 0.2 * KNOT
"""How closely [m/s] a least speed is held along a phase at whose end the same speed is demanded exactly.

Without it the two would be one constraint stated twice, which no multiplier can tell apart.
"""
HEIGHT_HELD = 1.0 * FOOT
"""How closely [m] the glide path bounds the descent that ends on it, for the same reason."""

Flown = Callable[[Point], tuple[Control, Configuration, Motion]]


def limits_along(quantities: Quantities, leg: Leg, flown: Flown) -> tuple[PathConstraint, ...]:
    """Path constraints of a phase; `flown` gives control, configuration and motion at its points [SI]."""
    found: list[PathConstraint] = []
    if leg.mode in (Mode.CRUISE, Mode.APPROACH):
        found.append(PathConstraint("thrust", lambda p: flown(p)[0].thrust_fraction, 0.0, 1.0))
    else:
        found += [*_fastest(quantities, leg), _slowest(quantities, leg, flown)]
    if leg.mode is Mode.DESCENT:
        found.append(PathConstraint("sink rate", lambda p: _sink_room(quantities, p), lower=0.0, scale=10.0))
    if leg.mode is Mode.DESCENT and not leg.has_passed(EventKind.SPEED_LIMIT):
        most = quantities.scenario.airframe.limits.maximum_mach
        found.append(PathConstraint("largest Mach number", lambda p: quantities.mach(p, p), upper=most))
    if leg.mode is Mode.DESCENT and leg.has_passed(EventKind.BELOW_PATH):
        found.append(
            PathConstraint(
                "capture from below",
                lambda p: quantities.above_path(p, p, p.independent),
                upper=HEIGHT_HELD,
                scale=100.0,
            )
        )
    if leg.has_passed(EventKind.GATE):
        found.append(
            PathConstraint(
                "sink rate at the gate",
                lambda p: p["gate sink"] + flown(p)[2].passage.vertical_speed,
                lower=0.0,
                scale=10.0,
            )
        )
    return tuple(found)


def _fastest(quantities: Quantities, leg: Leg) -> list[PathConstraint]:
    """Largest speeds: of the clean aircraft or below an altitude, and of the devices selected."""

    def calibrated(point: Point) -> ca.SX:
        return quantities.calibrated(point, point)

    passed = [event for event in leg.passed if event.kind is EventKind.SPEED_LIMIT]
    found: list[PathConstraint] = []
    if passed:
        name = f"speed of {passed[-1].label}"
        found.append(PathConstraint(passed[-1].label, calibrated, upper=lambda named: named[name], scale=100.0))
    selected = (*leg.out, *leg.moving)
    if selected:
        slowest = min(selected, key=lambda device: device.limit_speed)
        found.append(
            PathConstraint(f"limit speed of {slowest.name}", calibrated, upper=slowest.limit_speed, scale=100.0)
        )
    if not found:
        most = quantities.scenario.airframe.limits.maximum_speed
        found.append(PathConstraint("largest speed", calibrated, upper=most, scale=100.0))
    return found


def _slowest(quantities: Quantities, leg: Leg, flown: Flown) -> PathConstraint:
    """Least speed: of the next selection on the schedule, of the devices out, or of the gate."""
    airframe = quantities.scenario.airframe
    pending = [device for device in leg.pending if device.number or _is_scheduled(quantities)]
    if not pending:
        return PathConstraint(
            "least speed",
            lambda p: quantities.above_reference(p, p),
            lower=lambda named: named["gate target"] - named["gate under"] - SPEED_HELD,
            scale=100.0,
        )

    def room(point: Point) -> ca.SX:
        if _is_scheduled(quantities):
            least = pending[0].scheduled_speed(airframe, point["mass"])
        else:
            least = least_speed(airframe, flown(point)[1], point["mass"])
        return quantities.calibrated(point, point) - least

    return PathConstraint("least speed", room, lower=-SPEED_HELD, scale=100.0)


def _is_scheduled(quantities: Quantities) -> bool:
    return quantities.scenario.handling.configuration is Selection.SCHEDULED


def _sink_room(quantities: Quantities, point: Point) -> ca.SX:
    """Sink rate still allowed [m/s] by the limits at the height."""
    height = quantities.height(point, point)
    allowed = ca.SX(STEEPEST_SINK)
    for index in reversed(range(len(quantities.scenario.arrival.sink_limits))):
        name = f"sink limit {index + 1}"
        share = smooth_step((height - point[f"height of {name}"]) / SINK_BAND)
        allowed = point[f"sink of {name}"] + (allowed - point[f"sink of {name}"]) * share
    return allowed + point["true_airspeed"] * ca.sin(point["path_angle"])
