"""Descents of a corridor flown again through the full equations of motion, many at once.

The plan of an edge (`corridor.path`) gives heights, speeds and where devices are selected. Here load factor, thrust,
brake and devices move as they do in any flight, with their lags and limits: pitch follows the height, the speed brake
is out while the flight is faster than planned, thrust is used where it is slower. Integrated by the midpoint
rule in short steps, independently of the legs on which the plan rests. What the plan got wrong shows as
energy left over at the gate, or as energy that thrust had to add.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optdescent.air.airspeed import calibrated_from_true, mach_from_calibrated
from optdescent.air.atmosphere import pressure
from optdescent.airframe import Configuration
from optdescent.corridor.ground import Ground
from optdescent.corridor.path import Paths
from optdescent.motion import Control, State
from optdescent.motion.equations import Motion, motion, thrust_fraction_for, thrust_needed
from optdescent.rules.crew import brake_allowed
from optdescent.units import GRAVITY, KNOT

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
STEP = 100.0
"""Between two evaluations of the orders [m]."""
_HEIGHT_TIME, _PITCH_TIME, _SPEED_TIME = 12.0, 3.0, 5.0
"""Times [s] in which an error of height is flown off, the path angle follows, an error of speed is taken out."""
_SPEED_BAND = 2.0 * KNOT
"""Speed [m/s] under the planned one at which the brake is in and thrust comes on."""


@dataclass(frozen=True)
class BrakeUse:
    """Whether each descent may use the speed brake (descent,), and how much of it is out at the planned speed [-]."""

    is_allowed: Flags
    lead: Array


@dataclass(frozen=True)
class Again:
    """What became of descents (descent,) flown again [SI].

    `excess` is the energy height [m] at the gate above the most that it allows; `added` that which thrust added on the
    way before the approach speed was reached; `off` the largest height off the plan. The arrays (step, descent) are
    coordinates (step,) [m], pressure altitude [m], calibrated airspeed [m/s]; not a number before a start.
    """

    excess: Array
    added: Array
    off: Array
    distance: Array
    altitude: Array
    speed: Array


@dataclass(frozen=True)
class _Wanted:
    """What the plan has at a place (descent,): pressure altitude [m], its slope [-], speed [m/s], devices selected."""

    altitude: Array
    slope: Array
    speed: Array
    selected: Array


@dataclass(frozen=True)
class _Orders:
    """Load factor, and where thrust fraction and brake go (descent,) [-]."""

    load_factor: Array
    thrust_fraction: Array
    speed_brake: Array


@dataclass(frozen=True)
class _Lanes:
    """State of the flights: the five of the motion (5, descent), thrust fraction and brake (descent,) [-].

    `out` (device, descent) says how far the steps and then the gear are out [-].
    """

    motion: Array
    thrust_fraction: Array
    speed_brake: Array
    out: Array


def flown_again(ground: Ground, plan: Paths, use: BrakeUse, step: float = STEP) -> Again:
    """The descents of a plan flown through the full equations of motion [SI], orders at most a `step` [m] apart."""
    distance = _steps(ground, int(plan.start.max()), step)
    begins = -ground.to_go[plan.start] - _EXACT
    lanes = _started(ground, plan)
    seen = np.full((2, distance.size, plan.start.size), np.nan)
    off, added = np.zeros(plan.start.size), np.zeros(plan.start.size)
    for index, x in enumerate(distance):
        flying = x >= begins
        seen[:, index] = np.where(flying, [lanes.motion[0], _calibrated(ground, lanes.motion)], np.nan)
        if index + 1 == distance.size:
            break
        length = np.where(flying, distance[index + 1] - x, 0.0)
        wanted = _wanted(plan, ground.to_go, -x)
        at = _motion(ground, x, lanes, lanes.motion, np.ones_like(off))
        orders = _orders(ground, use, lanes, wanted, at, -float(x))
        off = np.where(flying, np.fmax(off, np.abs(wanted.altitude - lanes.motion[0])), off)
        is_slowing = at.forces.calibrated_airspeed > ground.gate_speeds(ground.scenario.arrival.gate)[1]
        above_idle = (at.forces.thrust - at.forces.idle) / (ground.mass * GRAVITY)
        added += np.where(flying & is_slowing, above_idle * length, 0.0)
        after = _advanced(ground, lanes, orders, wanted.selected, x, length)
        lanes = _where(flying, after, lanes)
    most = np.full(off.shape, ground.gate_speeds(ground.scenario.arrival.gate)[1])
    left = _energy(ground, lanes.motion[0], seen[1, -1]) - _energy(ground, plan.altitude[0], most)
    return Again(left, added, off, distance, seen[0], seen[1])


def _steps(ground: Ground, farthest: int, step: float) -> Array:
    """Coordinates along the track (step,) [m] from a place, by its index, to the gate; every place is among them."""
    places = -ground.to_go[farthest::-1]
    parts: list[Array] = [
        np.linspace(a, b, int(np.ceil((b - a) / step)) + 1)[:-1] for a, b in pairwise(places.tolist())
    ]
    return np.concatenate([*parts, places[-1:]])


_EXACT = 1e-3


def _started(ground: Ground, plan: Paths) -> _Lanes:
    """The flights at their starts, on the path angle of the plan's first leg [SI]."""
    own = np.arange(plan.start.size)
    altitude, speed = plan.altitude[plan.start, own], plan.speed[plan.start, own]
    true = ground.true_airspeed(speed, altitude)
    far = np.maximum(plan.start, 1)
    fall = plan.altitude[far, own] - plan.altitude[far - 1, own]
    length = ground.to_go[far] - ground.to_go[far - 1]
    motion_ = np.array([altitude, true, -np.arctan(fall / length), np.full(own.size, ground.mass), 0.0 * true])
    count = len(ground.scenario.airframe.steps) - 1
    out = [np.where(plan.first_steps > step, 1.0, 0.0) for step in range(count)]
    return _Lanes(motion_, 0.0 * true, 0.0 * true, np.array([*out, plan.first_gear.astype(float)]))


def _wanted(plan: Paths, to_go: Array, at: float) -> _Wanted:
    """The plan at a distance to go [m]; what was selected at the place before holds."""
    after = int(np.clip(np.searchsorted(to_go, at - 1e-6), 1, to_go.size - 1))
    share = (at - to_go[after - 1]) / (to_go[after] - to_go[after - 1])
    near, far = plan.altitude[after - 1], plan.altitude[after]
    speed = plan.speed[after - 1] + share * (plan.speed[after] - plan.speed[after - 1])
    steps, gear = plan.steps[after], plan.gear[after]
    selected = np.array([*(steps > step for step in range(int(np.nanmax(plan.steps)))), gear > 0.5], dtype=float)
    return _Wanted(near + share * (far - near), (near - far) / (to_go[after] - to_go[after - 1]), speed, selected)


def _motion(ground: Ground, x: float | Array, lanes: _Lanes, state: Array, load_factor: Array) -> Motion:
    control = Control(load_factor, lanes.thrust_fraction, lanes.speed_brake)
    configuration = Configuration(tuple(lanes.out[:-1]), lanes.out[-1])
    return motion(ground.around, x, State(*state), control, configuration)


def _orders(ground: Ground, use: BrakeUse, lanes: _Lanes, wanted: _Wanted, at: Motion, to_go: float) -> _Orders:
    airframe, handling = ground.scenario.airframe, ground.scenario.handling
    state = State(*lanes.motion)
    rate = wanted.slope * at.passage.ground_speed + (wanted.altitude - state.pressure_altitude) / _HEIGHT_TIME
    steepest = ground.steepest(state.pressure_altitude, state.true_airspeed, to_go)
    sine = np.clip(at.air.stretch * rate / state.true_airspeed, np.sin(steepest), 0.0)
    turn = (np.arcsin(sine) - state.path_angle) / _PITCH_TIME
    load_factor = np.cos(state.path_angle) + state.true_airspeed * turn / GRAVITY
    speed = at.forces.calibrated_airspeed
    configuration = Configuration(tuple(lanes.out[:-1]), lanes.out[-1])
    height = at.air.height - ground.scenario.arrival.elevation
    allowed = brake_allowed(airframe, configuration, height, handling.speed_brake_above, speed, ground.mass)
    faster = use.lead + (speed - wanted.speed) / _SPEED_BAND
    brake = np.where(use.is_allowed, allowed * np.clip(faster, 0.0, 1.0), 0.0)
    held = mach_from_calibrated(wanted.speed - _SPEED_BAND, at.air.pressure) * at.air.speed_of_sound
    needed = thrust_needed(at, state, (held - state.true_airspeed) / _SPEED_TIME)
    thrust = np.clip(thrust_fraction_for(at, needed), 0.0, 1.0)
    limits = airframe.limits
    return _Orders(np.clip(load_factor, limits.least_load_factor, limits.most_load_factor), thrust, brake)


def _advanced(ground: Ground, lanes: _Lanes, orders: _Orders, selected: Array, x: float, length: Array) -> _Lanes:
    """The flights a step further: the motion by the midpoint rule, what lags along its lag."""
    airframe = ground.scenario.airframe
    first = _motion(ground, x, lanes, lanes.motion, orders.load_factor)
    seconds = length / first.passage.ground_speed
    travel = np.array([*(step.travel_time for step in airframe.steps[1:]), airframe.gear.travel_time])
    ended = _Lanes(
        lanes.motion,
        _followed(lanes.thrust_fraction, orders.thrust_fraction, seconds / airframe.engines.spool_time),
        _followed(lanes.speed_brake, orders.speed_brake, 2.0 * seconds / airframe.speed_brake.travel_time),
        np.where(selected > 0.5, np.minimum(lanes.out + seconds / travel[:, None], 1.0), lanes.out),
    )
    half = _Lanes(
        lanes.motion,
        0.5 * (lanes.thrust_fraction + ended.thrust_fraction),
        0.5 * (lanes.speed_brake + ended.speed_brake),
        0.5 * (lanes.out + ended.out),
    )
    middle = _motion(ground, x + 0.5 * length, half, lanes.motion + 0.5 * length * _rates(first), orders.load_factor)
    return replace(ended, motion=lanes.motion + length * _rates(middle))


def _where(flying: Flags, these: _Lanes, those: _Lanes) -> _Lanes:
    return _Lanes(
        np.where(flying, these.motion, those.motion),
        np.where(flying, these.thrust_fraction, those.thrust_fraction),
        np.where(flying, these.speed_brake, those.speed_brake),
        np.where(flying, these.out, those.out),
    )


def _rates(at: Motion) -> Array:
    return np.array([np.asarray(rate, dtype=float) for rate in vars(at.by_distance).values()])


def _followed(value: Array, wanted: Array, share: Array) -> Array:
    return value + (wanted - value) * (1.0 - np.exp(-share))


def _calibrated(ground: Ground, state: Array) -> Array:
    sound = ground.around.air.speed_of_sound(state[0])
    return np.asarray(calibrated_from_true(state[1], pressure(state[0]), sound))


def _energy(ground: Ground, altitude: Array, calibrated: Array) -> Array:
    """Energy height [m] at a pressure altitude [m] and calibrated airspeed [m/s]."""
    true = ground.true_airspeed(calibrated, altitude)
    return np.asarray(ground.around.air.height(altitude)) + true**2 / (2.0 * GRAVITY)
