"""At which speeds the speed brake may be out: below its limit speed, and above a margin over the stall speed with it.

The brake spoils lift, so the stall speed rises with it (Torenbeek, Synthesis of Subsonic Airplane Design, 1982, section
7.5). The margin over that stall speed is the airframe's (`speeds.with_speed_brake`); common practice, no source.
"""

from __future__ import annotations

from optdescent.airframe.declaration import Airframe
from optdescent.airframe.polar import maximum_lift_coefficient
from optdescent.airframe.speeds import Configuration, manoeuvre_speed, stall_speed, stall_speed_of
from optdescent.curves.elementary import Value
from optdescent.curves.smooth import smooth_step
from optdescent.units import KNOT

SPEED_BAND = 5.0 * KNOT
"""Speed [m/s] inside each bound over which the brake comes in (our choice)."""


def least_speed_with_brake(airframe: Airframe, configuration: Configuration, mass: Value, speed_brake: Value) -> Value:
    """Least speed [m/s, calibrated] at a mass [kg] with the speed brake out at a fraction [-]."""
    lift = maximum_lift_coefficient(airframe, configuration, speed_brake)
    return airframe.speeds.with_speed_brake * stall_speed_of(airframe, lift, mass)


def lift_loss_limits(airframe: Airframe) -> bool:
    """Whether the least speed with the brake is above a least manoeuvring speed [-], in a step that permits the brake.

    If not, whoever keeps the manoeuvring speeds keeps it too: both fall with lift in the same way, and the straight
    line along which the manoeuvring speed falls as a step travels lies above the curve of the other.
    """
    loss, mass = airframe.speed_brake.lift_loss, airframe.masses.most_landing
    for number, step in enumerate(airframe.steps[: airframe.speed_brake.last_step + 1]):
        factor = float(manoeuvre_speed(airframe, number, mass)) / float(stall_speed(airframe, number, mass))
        if airframe.speeds.with_speed_brake * (step.maximum_lift / (step.maximum_lift - loss)) ** 0.5 > factor:
            return True
    return False


def brake_allowed_at(airframe: Airframe, configuration: Configuration, calibrated: Value, mass: Value) -> Value:
    """Largest speed brake fraction [-] at a calibrated airspeed [m/s] and mass [kg].

    It falls to 0, twice continuously differentiable, on nearing the limit speed of the brake, if it has one, and on
    nearing the least speed with the brake in full, if that can be above the least manoeuvring speed.
    """
    allowed: Value = 1.0
    if airframe.speed_brake.limit_speed is not None:
        allowed = allowed * smooth_step((airframe.speed_brake.limit_speed - calibrated) / SPEED_BAND)
    if lift_loss_limits(airframe):
        least = least_speed_with_brake(airframe, configuration, mass, 1.0)
        allowed = allowed * smooth_step((calibrated - least) / SPEED_BAND)
    return allowed
