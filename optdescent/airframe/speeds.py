"""Operating speeds from the stall speed, and the configuration a crew has out at a speed.

Sources: CS/14 CFR 25.103 (reference stall speed at one g), 25.125(b)(2)(i) (reference landing speed at least 1.23 of
it). The schedule, a step selected a little above the manoeuvring speed of the step before, is common practice, no
source.
"""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.air.atmosphere import SEA_LEVEL_DENSITY
from optdescent.airframe.declaration import Airframe
from optdescent.curves.elementary import Value, sqrt
from optdescent.curves.smooth import smooth_step
from optdescent.units import GRAVITY


@dataclass(frozen=True)
class Configuration:
    """How far each device is out [-]: one fraction for each step after clean, and one for the gear."""

    steps: tuple[Value, ...]
    gear: Value

    @property
    def position(self) -> Value:
        """Position of slats and flaps [-]: 0 clean, 1 at the first step, up to the number of steps."""
        return sum(self.steps)


def stall_speed(airframe: Airframe, step: int, mass: Value) -> Value:
    """Stall speed at one g [m/s, calibrated, compressibility neglected] with a step out, at a mass [kg]."""
    lift = airframe.steps[step].maximum_lift
    return sqrt(2.0 * mass * GRAVITY / (SEA_LEVEL_DENSITY * airframe.wing.area * lift))


def manoeuvre_speed(airframe: Airframe, step: int, mass: Value) -> Value:
    """Least manoeuvring speed [m/s, calibrated] with a step out, at a mass [kg]; the last step's is the reference."""
    if step == len(airframe.steps) - 1:
        return reference_speed(airframe, mass)
    return airframe.speeds.manoeuvre * stall_speed(airframe, step, mass)


def reference_speed(airframe: Airframe, mass: Value) -> Value:
    """Reference speed for landing [m/s, calibrated] at a mass [kg]."""
    return airframe.speeds.reference * stall_speed(airframe, len(airframe.steps) - 1, mass)


def selection_speed(airframe: Airframe, step: int, mass: Value) -> Value:
    """Speed [m/s, calibrated] at which the schedule selects a step (1 or more), at a mass [kg]."""
    return manoeuvre_speed(airframe, step - 1, mass) + airframe.speeds.selection_margin


def holding_speed(airframe: Airframe, step: int, mass: Value) -> Value:
    """Least speed [m/s, calibrated] at which a crew holds a step, at a mass [kg]: the schedule selects no more."""
    return selection_speed(airframe, step + 1, mass) + airframe.speeds.smoothing


def gear_speed(airframe: Airframe, mass: Value) -> Value:
    """Speed [m/s, calibrated] at which the schedule lowers the gear, at a mass [kg].

    Half-way between the selection of the step it follows and of the next one.
    """
    step = airframe.gear.after_step
    after = selection_speed(airframe, step, mass) if step > 0 else airframe.gear.limit_speed
    before = selection_speed(airframe, step + 1, mass) if step + 1 < len(airframe.steps) else after
    return 0.5 * (after + before)


def scheduled_configuration(airframe: Airframe, calibrated: Value, mass: Value) -> Configuration:
    """What is out on the normal schedule at a calibrated airspeed [m/s] and mass [kg].

    Each device travels from 0 to 1 over a band of ± `smoothing` about its speed, twice continuously differentiable.
    """
    half = airframe.speeds.smoothing
    speeds = [selection_speed(airframe, step, mass) for step in range(1, len(airframe.steps))]
    out = [smooth_step((speed + half - calibrated) / (2.0 * half)) for speed in (*speeds, gear_speed(airframe, mass))]
    return Configuration(tuple(out[:-1]), out[-1])
