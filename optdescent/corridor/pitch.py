"""Speed held by pitch: the steepest path on which a flight gets no faster than wanted, and when it turns for a corner.

With V the true airspeed, T0 idle thrust, D drag, g the path angle through the air, G gravity and w the rise of the
wind along the track by height, a flight at idle has

    V' = (T0 - D)/m - (G + w V) sin g - ...

and, of V', k V sin g is what a constant calibrated airspeed takes, k being the rise of true airspeed by height at one
calibrated airspeed. The path is the one on which the calibrated airspeed goes to the one wanted in a few seconds; it is
that of idle, so that thrust, which fills what a shallower path needs, does not push against it. It is never a climb.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.ground import Ground
from optdescent.motion.equations import Motion
from optdescent.units import GRAVITY, KNOT

Array = NDArray[np.float64]
SPEED_TIME, PITCH_TIME = 5.0, 3.0
"""Times [s] in which an error of speed is taken out, and with which the path angle follows."""
RISES = 1.0 * KNOT
"""Speed [m/s] above the slowest so far to which pitch lets a falling speed return (our choice): half of what counts."""
_SEEN = 10.0
"""How far ahead [s] a corner of the plan is looked for."""
_TURNED = 0.25
"""Part of the time of a turn at the limit of load factor by which it begins before its corner [-] (our choice): half of
it would cut the corner evenly, and pass 75 ft above it from a steep descent."""
_PROBE = 10.0
"""Half of the height [m] over which the rise of true airspeed is taken."""
_LEAST = 0.2 * GRAVITY


def steepest_for(ground: Ground, state: Array, at: Motion, speed: Array, most: Array) -> Array:
    """Steepest path through the air (descent,) [rad, not positive] on which flights get no faster than wanted.

    Their states are (5, descent), their calibrated airspeed `speed` [m/s], the one wanted `most` [m/s]; `at` is their
    motion.
    """
    true, sine = state[1], np.sin(state[2])
    idle = at.acceleration - (at.forces.thrust - at.forces.idle) / ground.mass
    by_path = GRAVITY + at.air.wind_along_by_height * true
    towards = true / speed * (most - speed) / SPEED_TIME
    against = np.maximum(by_path + true_by_height(ground, speed, state[0], at) * true, _LEAST)
    return np.asarray(np.arcsin(np.clip((idle + by_path * sine - towards) / against, -0.5, 0.0)))


def true_by_height(ground: Ground, calibrated: Array, altitude: Array, at: Motion) -> Array:
    """Rise of true airspeed by height (descent,) [1/s] at calibrated airspeeds and pressure altitudes [SI]."""
    high, low = (ground.true_airspeed(calibrated, altitude + probe) for probe in (_PROBE, -_PROBE))
    return np.asarray((high - low) / (2.0 * _PROBE) / at.air.stretch)


def slope_ahead(ground: Ground, altitude: Array, to_go: float, at: Motion, true_airspeed: Array) -> Array:
    """Slope of plans (descent,) [-] where flights at a place to go [m] are to turn to it: a little ahead.

    `altitude` (place, descent) is that of the plans [m]. Pitch takes its time to follow, and a sharp corner more, since
    load factors are limited.
    """
    limits, over_ground = ground.scenario.airframe.limits, np.asarray(at.passage.ground_speed)
    most = min(1.0 - limits.least_load_factor, limits.most_load_factor - 1.0)
    here, far = (_slope(ground.to_go, altitude, to_go - over_ground * seconds) for seconds in (0.0, _SEEN))
    turning = np.abs(far - here) * true_airspeed / (GRAVITY * most)
    lead = np.minimum(PITCH_TIME + _TURNED * turning, _SEEN)
    return _slope(ground.to_go, altitude, to_go - over_ground * lead)


def _slope(to_go: Array, altitude: Array, at: Array) -> Array:
    """Slopes (descent,) [-] of plans (place, descent) [m] at distances to go (descent,) [m]; negative descends."""
    after = np.clip(np.searchsorted(to_go, at - 1e-6), 1, to_go.size - 1)
    own = np.arange(after.size)
    fall = altitude[after, own] - altitude[after - 1, own]
    return np.asarray(-fall / (to_go[after] - to_go[after - 1]))
