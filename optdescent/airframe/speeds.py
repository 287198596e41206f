"""Operating speeds from the stall speed, and the configuration a crew has out at a speed.

Sources: CS/14 CFR 25.103 (reference stall speed at one g), 25.125(b)(2)(i) (reference landing speed at least 1.23 of
it). The schedule, a step selected a little above the manoeuvring speed of the step before, is common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from optdescent.air.atmosphere import SEA_LEVEL_DENSITY
from optdescent.airframe.declaration import Airframe
from optdescent.curves.elementary import Value, clip, sqrt, where
from optdescent.units import GRAVITY, KNOT

BELOW_LIMIT = 3.0 * KNOT
"""How far below its limit speed [m/s] a device may be selected early: nobody aims at the limit itself (our choice)."""
MOVES = 0.03
"""Part of its travel [-] by which a device has begun to move, or is not yet all out: above the noise of a reading."""


@dataclass(frozen=True)
class Configuration:
    """How far each device is out [-]: one fraction for each step after clean, and one for the gear."""

    steps: tuple[Value, ...]
    gear: Value

    @property
    def position(self) -> Value:
        """Position of slats and flaps [-]: 0 clean, 1 at the first step, up to the number of steps."""
        return sum(self.steps)

    @classmethod
    def at_position(cls, position: Value, gear: Value, steps: int) -> Configuration:
        """Of so many steps those out at a position of slats and flaps, one after the other, and the gear [-]."""
        return cls(tuple(clip(position - step, 0.0, 1.0) for step in range(steps)), gear)


def stall_speed(airframe: Airframe, step: int, mass: Value) -> Value:
    """Stall speed at one g [m/s] with a step out, at a mass [kg]."""
    return stall_speed_of(airframe, airframe.steps[step].maximum_lift, mass)


def stall_speed_of(airframe: Airframe, lift: Value, mass: Value) -> Value:
    """Stall speed at one g [m/s] with a largest lift coefficient [-], at a mass [kg].

    It is an equivalent airspeed; at these speeds and heights the calibrated airspeed is at most 1 kt more, and the
    difference is neglected.
    """
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
    return selection_speed(airframe, step + 1, mass) + airframe.speeds.holding_margin


def least_speed(airframe: Airframe, configuration: Configuration, mass: Value) -> Value:
    """Least manoeuvring speed [m/s, calibrated] at a mass [kg]; it falls from step to step as a device travels."""
    speeds = [manoeuvre_speed(airframe, step, mass) for step in range(len(airframe.steps))]
    least = speeds[0]
    for before, after, out in zip(speeds, speeds[1:], configuration.steps, strict=False):
        least = least + (after - before) * out
    return least


def gear_speed(airframe: Airframe, mass: Value) -> Value:
    """Speed [m/s, calibrated] at which the schedule lowers the gear, at a mass [kg].

    Half-way between the selection of the step it follows and of the next one.
    """
    step = airframe.gear.after_step
    after = selection_speed(airframe, step, mass) if step > 0 else airframe.gear.limit_speed
    before = selection_speed(airframe, step + 1, mass) if step + 1 < len(airframe.steps) else after
    return 0.5 * (after + before)


GEAR = 0
"""Number of the gear among the devices; a step of slats and flaps has its own number, from 1."""


@dataclass(frozen=True)
class Device:
    """A step of slats and flaps, or the gear: its number, name, travel time [s] and limit speed [m/s, calibrated]."""

    number: int
    name: str
    travel_time: float
    limit_speed: float

    def scheduled_speed(self, airframe: Airframe, mass: Value) -> Value:
        """Speed [m/s, calibrated] at which the schedule selects it, at a mass [kg]."""
        return gear_speed(airframe, mass) if self.number == GEAR else selection_speed(airframe, self.number, mass)


def devices(airframe: Airframe) -> tuple[Device, ...]:
    """Steps of slats and flaps, and the gear, in the order in which the schedule selects them."""
    limits, gear = airframe.limits, airframe.gear
    found = [
        Device(number, step.name, step.travel_time, step.limit_speed or limits.maximum_speed)
        for number, step in enumerate(airframe.steps)
    ]
    lowered = Device(GEAR, "gear", gear.travel_time, gear.limit_speed)
    return (*found[1 : gear.after_step + 1], lowered, *found[gear.after_step + 1 :])


def configuration_of(airframe: Airframe, out: Callable[[Device], Value]) -> Configuration:
    """Configuration from how far each device is out [-]."""
    position = {device.number: out(device) for device in devices(airframe)}
    return Configuration(tuple(position[step] for step in range(1, len(airframe.steps))), position[GEAR])


def clean_configuration(airframe: Airframe) -> Configuration:
    """Nothing out [-]."""
    return configuration_of(airframe, lambda _: 0.0)


def selected_on_schedule(airframe: Airframe, calibrated: Value, mass: Value) -> Configuration:
    """Which devices the schedule has selected (1) at a calibrated airspeed [m/s] and mass [kg]; each then travels."""
    return configuration_of(
        airframe, lambda device: where(calibrated <= device.scheduled_speed(airframe, mass), 1.0, 0.0)
    )
