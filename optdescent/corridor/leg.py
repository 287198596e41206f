"""One leg between two places at idle: what height it takes, or what speed it leaves, by its mean forces.

The equations of motion are taken half-way, with the path angle that makes the speed change as wanted (off the glide
path), or with that of the glide path (on it). The path angle itself changes from leg to leg without delay: what that
leaves out shows when the descent is flown again (`corridor.again`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.air.airspeed import calibrated_from_true
from optdescent.airframe import Configuration
from optdescent.corridor.ground import Ground
from optdescent.motion import Control, State
from optdescent.motion.equations import Motion, air_at, motion_in, path_angle_on
from optdescent.rules.crew import brake_allowed
from optdescent.units import GRAVITY

Array = NDArray[np.float64]
_ROUNDS = 3


@dataclass(frozen=True)
class Legs:
    """Legs from far places to near ones: coordinates along the track (leg,) [m], devices out on the way (leg,) [-].

    With `brakes` the speed brake is out as far as it may be.
    """

    far: Array
    near: Array
    out: Configuration
    brakes: bool

    @property
    def length(self) -> Array:
        """Length over the ground (leg,) [m]."""
        return self.near - self.far

    @property
    def middle(self) -> Array:
        """Coordinate along the track (leg,) [m] half-way."""
        return 0.5 * (self.near + self.far)


def height_before(
    ground: Ground, legs: Legs, altitude: Array, speed_before: Array, speed: Array
) -> tuple[Array, Array, Array]:
    """Where legs begin that slow from one calibrated airspeed (leg,) [m/s] to another at idle and end at altitudes.

    Parameters
    ----------
    altitude : ndarray
        Pressure altitude at the near end (leg,) [m].

    Returns
    -------
    tuple of ndarray
        Pressure altitude at the far end [m], path angle through the air [rad], largest fall of pressure altitude that
        the limits on path and sink rate allow [m].
    """
    angle: Array = np.full(altitude.shape, -0.05)
    rise: Array = -angle * legs.length
    true = ground.true_airspeed(speed, altitude)
    steepest, fall = angle, rise
    for _ in range(_ROUNDS):
        before = ground.true_airspeed(speed_before, altitude + rise)
        middle, mean = altitude + 0.5 * rise, 0.5 * (true + before)
        at = _idle(ground, legs, middle, mean, angle)
        wanted = (true - before) / legs.length
        sine = np.sin(angle) + (at.by_distance.true_airspeed - wanted) * at.passage.ground_speed / GRAVITY
        angle = np.arcsin(np.clip(sine, -0.5, 0.5))
        fall = mean * legs.length / (at.air.stretch * at.passage.ground_speed)
        rise = -fall * np.sin(angle)
        steepest = ground.steepest(middle, mean, float(np.max(-legs.far)))
    return altitude + rise, angle, -fall * np.sin(steepest)


def speed_before_on_path(ground: Ground, legs: Legs, altitude: Array, altitude_before: Array, speed: Array) -> Array:
    """Calibrated airspeed (leg,) [m/s] at the far end of legs along the glide path at idle that end at a speed [m/s].

    `altitude` and `altitude_before` are the path's pressure altitudes (leg,) [m] at both ends.
    """
    true, middle = ground.true_airspeed(speed, altitude), 0.5 * (altitude + altitude_before)
    before = true
    gradient = ground.scenario.arrival.glide_path.gradient
    for _ in range(_ROUNDS):
        mean = 0.5 * (true + before)
        sample = air_at(ground.around, legs.middle, middle)
        angle = np.asarray(path_angle_on(gradient, sample, mean))
        before = true - legs.length * _idle(ground, legs, middle, mean, angle).by_distance.true_airspeed
    sample = air_at(ground.around, legs.far, altitude_before)
    return np.asarray(calibrated_from_true(before, sample.pressure, sample.speed_of_sound))


def _idle(ground: Ground, legs: Legs, altitude: Array, true_airspeed: Array, angle: Array) -> Motion:
    """Motion (leg,) at idle in straight flight at a path angle [rad], pressure altitude [m] and speed [m/s]."""
    around, brake = ground.around, 0.0 * angle
    sample = air_at(around, legs.middle, altitude)
    if legs.brakes:
        calibrated = calibrated_from_true(true_airspeed, sample.pressure, sample.speed_of_sound)
        height = np.asarray(sample.height) - ground.scenario.arrival.elevation
        lowest = ground.scenario.handling.speed_brake_above
        brake = np.asarray(brake_allowed(around.airframe, legs.out, height, lowest, calibrated, ground.mass))
    state = State(altitude, true_airspeed, angle, ground.mass, 0.0)
    return motion_in(sample, around, legs.middle, state, Control(np.cos(angle), 0.0, brake), legs.out)
