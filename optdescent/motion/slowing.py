"""How an aircraft slows at idle in still standard air: level, or on a straight path, devices out or running out.

The equations of motion, stepped along the track by the classical Runge-Kutta method.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.air import Air
from optdescent.air.airspeed import calibrated_at, true_from_calibrated
from optdescent.air.atmosphere import SEA_LEVEL_PRESSURE, pressure, speed_of_sound
from optdescent.air.wind import NoWind
from optdescent.airframe import Airframe
from optdescent.airframe.speeds import Device, configuration_of, devices
from optdescent.arrival import Track
from optdescent.motion.equations import Motion, motion
from optdescent.motion.holding import on_gradient_at_idle
from optdescent.motion.state import Control, State, Surroundings

STEP = 40.0
"""Distance [m] of one step."""
FARTHEST = 20000.0
"""Distance [m] after which a stretch ends whatever it does."""

Values = NDArray[np.float64]


@dataclass(frozen=True)
class Slowing:
    """A stretch flown at idle.

    Parameters
    ----------
    airframe : Airframe
        The aircraft.
    mass, altitude, speed : float
        Mass [kg], pressure altitude [m] and calibrated airspeed [m/s] at its beginning.
    gradient : float
        Height lost per distance [-]; 0 is level flight.
    out : tuple of int
        Numbers of the devices that are out at its beginning.
    running : bool
        Whether the other devices are selected on the schedule and travel, or stay in.
    """

    airframe: Airframe
    mass: float
    altitude: float
    speed: float
    gradient: float
    out: tuple[int, ...]
    running: bool = False

    def until(self, done: Callable[[float, float, float], bool]) -> tuple[float, float]:
        """Distance flown [m] and calibrated airspeed [m/s] where it is done.

        `done` is asked at each step: of the distance [m], the calibrated airspeed [m/s] and how many devices are out
        [-]. The last step is cut nowhere: a stretch is longer than needed by less than one.
        """
        order = devices(self.airframe)
        true = float(true_from_calibrated(self.speed, pressure(self.altitude), speed_of_sound(self.altitude, 0.0)))
        travel = [1.0 if device.number in self.out else 0.0 for device in order]
        values = np.array([self.altitude, true, self.mass, *travel])
        selected = np.array(travel)
        distance, speed = 0.0, self.speed
        while not done(distance, speed, float(values[3:].sum())) and distance < FARTHEST:
            if self.running:
                selected = np.maximum(selected, [self._selects(device, speed, values[2]) for device in order])
            values = self._stepped(values, selected)
            values[3:] = np.minimum(values[3:], 1.0)
            distance += STEP
            speed = float(calibrated_at(values[1], values[0], speed_of_sound(values[0], 0.0)))
        return distance, speed

    def deceleration_until(self, done: Callable[[float, float, float], bool]) -> float:
        """Mean fall of calibrated airspeed per distance [1/s] over the stretch; see `until`."""
        distance, speed = self.until(done)
        return (self.speed - speed) / distance

    def _selects(self, device: Device, speed: float, mass: float) -> float:
        return 1.0 if speed <= float(device.scheduled_speed(self.airframe, mass)) else 0.0

    def _stepped(self, values: Values, selected: Values) -> Values:
        first = self._rates(values, selected)
        second = self._rates(values + 0.5 * STEP * first, selected)
        third = self._rates(values + 0.5 * STEP * second, selected)
        fourth = self._rates(values + STEP * third, selected)
        return values + STEP / 6.0 * (first + 2.0 * second + 2.0 * third + fourth)

    def _rates(self, values: Values, selected: Values) -> Values:
        """Rates by distance of altitude, true airspeed, mass and how far each device is out."""
        order = devices(self.airframe)
        position = {device.number: float(out) for device, out in zip(order, values[3:], strict=True)}
        configuration = configuration_of(self.airframe, lambda device: min(position[device.number], 1.0))
        still = NoWind()
        air = Air(0.0, SEA_LEVEL_PRESSURE, 0.0, still.field, still.coefficients())
        around = Surroundings(self.airframe, air, Track(0.0))
        state = State(float(values[0]), float(values[1]), 0.0, float(values[2]), 0.0)
        at: Motion
        if self.gradient > 0.0:
            at = on_gradient_at_idle(around, 0.0, state, configuration, self.gradient, 0.0).motion
        else:
            at = motion(around, 0.0, state, Control(1.0, 0.0, 0.0), configuration)
        rate = at.by_distance
        moving = [
            float(rate.time) / device.travel_time if is_on > out else 0.0
            for device, is_on, out in zip(order, selected, values[3:], strict=True)
        ]
        return np.array([float(rate.pressure_altitude), float(rate.true_airspeed), float(rate.mass), *moving])
