"""The largest calibrated airspeed allowed at a place: one law for numbers, arrays and symbols."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from optdescent.air.airspeed import calibrated_from_mach
from optdescent.airframe import Airframe, Configuration
from optdescent.airframe.speeds import MOVES
from optdescent.arrival import Arrival
from optdescent.curves.elementary import Value, minimum, where
from optdescent.motion.demands import BEGINS_TO_HOLD
from optdescent.motion.handling import READABLE_BRAKE


@dataclass(frozen=True)
class Surrounded:
    """A place: coordinate along the track [m], static pressure [Pa], pressure altitude [m]."""

    distance: Value
    pressure: Value
    pressure_altitude: Value


def largest_speed(
    airframe: Airframe,
    arrival: Arrival,
    place: Surrounded,
    out: Configuration,
    speed_brake: Value,
    altitude_of: Callable[[float], Value],
) -> Value:
    """Largest calibrated airspeed allowed [m/s]: airframe, devices and brake out, the arrival's speed limits.

    `altitude_of` is the pressure altitude [m] of a published altitude [m].
    """
    limit = minimum(airframe.limits.maximum_speed, calibrated_from_mach(airframe.limits.maximum_mach, place.pressure))
    for step, position in zip(airframe.steps[1:], out.steps, strict=True):
        if step.limit_speed is not None:
            limit = where(position > MOVES, minimum(limit, step.limit_speed), limit)
    limit = where(out.gear > MOVES, minimum(limit, airframe.gear.limit_speed), limit)
    if airframe.speed_brake.limit_speed is not None:
        limit = where(speed_brake > READABLE_BRAKE, minimum(limit, airframe.speed_brake.limit_speed), limit)
    for bound in arrival.speed_limits:
        if bound.within is not None:
            holds = -place.distance <= bound.within
        else:
            holds = place.pressure_altitude < altitude_of(bound.below_altitude or 0.0) - BEGINS_TO_HOLD
        limit = where(holds, minimum(limit, bound.speed), limit)
    return limit
