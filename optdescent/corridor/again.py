"""Descents of a corridor flown again through the full equations of motion, many at once.

The plan of an edge (`corridor.path`) gives heights, speeds and where devices are selected. Here load factor, thrust,
brake and devices move as they do in any flight, with their lags and limits: pitch follows the height, the speed brake
is out while the flight is faster or higher than planned, thrust is used where it is slower and no higher. A device is
selected when the plan has it, its limit speed allows it, and the step before it is out. Pitch comes before height
(`corridor.pitch`): a flight too fast for a device or a limit, or whose speed would rise again after it has begun to
fall for the gate, flies no steeper than lets it slow, or keeps it from rising, and gets high instead. On the glide path
devices come out as the speed falls there; a flight does not leave the path to slow for them. Integrated by the midpoint
rule in short steps, independently of the legs on which the plan rests. What the plan got wrong shows as energy left
over at the gate, or as energy that thrust had to add.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optdescent.air import AirSample
from optdescent.air.airspeed import mach_from_calibrated
from optdescent.airframe import Configuration
from optdescent.corridor.ground import Ground
from optdescent.corridor.margin import ON_PATH
from optdescent.corridor.on_the_way import Lanes, Seen, Worst, calibrated, is_stable, limit_speed
from optdescent.corridor.path import Paths
from optdescent.corridor.pitch import PITCH_TIME, RISES, SPEED_TIME, slope_ahead, steepest_for, true_by_height
from optdescent.motion import Control, State
from optdescent.motion.equations import Motion, air_at, motion_in, thrust_fraction_for, thrust_needed
from optdescent.rules.crew import brake_allowed
from optdescent.units import GRAVITY, KNOT

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Indices = NDArray[np.int64]
OVER = 2.0 * KNOT
"""Speed, or rate of sink, [m/s] beyond a limit that a flight may come to have on the way: pitch and brake take a moment
to act."""
STEP = 100.0
"""Between two evaluations of the orders [m]."""
_HEIGHT_TIME = 12.0
"""Time [s] in which an error of height is flown off."""
_SPEED_BAND = 2.0 * KNOT
"""Speed [m/s] under the planned one at which the brake is in and thrust comes on."""
_LEVERS = 2.0
"""How much farther [-] than the change of thrust wanted its levers are moved, for engines to spool sooner."""


@dataclass(frozen=True)
class Use:
    """What descents may use: whether the speed brake (descent,), and how much of it at the planned speed [-].

    `latest` (device, descent) is the largest speed [m/s] at which each device is selected, steps and then gear; without
    it their limit speeds are.
    """

    is_allowed: Flags
    lead: Array
    latest: Array | None = None

    def of(self, which: Indices) -> Use:
        """That of some descents, by their indices [-]."""
        latest = None if self.latest is None else self.latest[:, which]
        return Use(self.is_allowed[which], self.lead[which], latest)


@dataclass(frozen=True)
class Again:
    """What became of descents (descent,) flown again [SI].

    `excess` is the energy height [m] at the gate above the most that it allows; `added` that which thrust added on the
    way before the approach speed was reached on the glide path; `off` the largest height off the plan; `over` the
    largest speed above a limit [m/s], of the airframe with what is out or of the arrival, and `outside` the largest
    height outside what the arrival demands at a place; `steep` the largest rate of sink beyond its limits [m/s] once it
    has been within them; `climb` the most height gained [m]; `rise` the most speed gained [m/s] after it has begun to
    fall for the gate: it is 2 kt under its fastest, and its plan does not dive any more. `load_factor` (2, descent) are
    the least and the largest [-]; `is_stable` says whether every demand of the gate is met there.
    The arrays (step, descent) are coordinates (step,) [m], pressure altitude [m], calibrated airspeed [m/s]; not a
    number before a start.
    """

    excess: Array
    added: Array
    off: Array
    over: Array
    outside: Array
    steep: Array
    climb: Array
    rise: Array
    load_factor: Array
    is_stable: Flags
    distance: Array
    altitude: Array
    speed: Array

    @property
    def is_kept(self) -> Flags:
        """Whether the gate is passed stable, and limits of speed and sink and heights were kept on the way (descent,).

        Limits of load factor are kept by what is ordered. Speed that has begun to fall for the gate may rise by no
        more than that by which a limit may be passed: pitch holds it, at the price of height.
        """
        is_flown = np.isfinite(self.excess)  # a descent lost on the way is not a number, which no limit finds
        within_speeds = (self.over <= OVER) & (self.steep <= OVER) & (self.rise <= OVER)
        within_heights = (self.outside <= ON_PATH) & (self.climb <= ON_PATH)
        return np.asarray(is_flown & self.is_stable & within_speeds & within_heights, dtype=np.bool_)


@dataclass(frozen=True)
class Begun:
    """Where descents begin if not as their plans do (descent,): pressure altitude [m], speed [m/s], path angle [rad].

    The speed is calibrated. Thrust fraction, speed brake (descent,) [-] and how far devices are out (device, descent)
    [-], steps then gear.
    """

    altitude: Array
    speed: Array
    path_angle: Array
    thrust_fraction: Array
    speed_brake: Array
    out: Array


@dataclass(frozen=True)
class _Wanted:
    """What the plan has at a place (descent,): pressure altitude [m], speed [m/s] with its slope, and devices.

    `dives` says whether its speed is to become larger yet.
    """

    altitude: Array
    speed: Array
    speed_slope: Array
    selected: Array
    dives: Flags


@dataclass(frozen=True)
class _Seen:
    """What orders are given by: plan, its slope to turn to (descent,) [-], motion, the steepest path allowed [rad].

    `slowest` (descent,) [m/s] is the least calibrated airspeed since it began to fall.
    """

    wanted: _Wanted
    slope: Array
    at: Motion
    steepest: Array
    slowest: Array


@dataclass(frozen=True)
class _Orders:
    """Load factor, and where thrust fraction and brake go (descent,) [-]."""

    load_factor: Array
    thrust_fraction: Array
    speed_brake: Array


def flown_again(ground: Ground, plan: Paths, use: Use, step: float = STEP, begun: Begun | None = None) -> Again:
    """The descents of a plan flown through the full equations of motion [SI], orders at most a `step` [m] apart.

    They begin as the plan does, or as `begun` says.
    """
    distance = _steps(ground, int(plan.start.max()), step)
    latest = ground.limit_speeds[:, None] if use.latest is None else use.latest
    begins = -ground.to_go[plan.start] - _EXACT
    lanes = _started(ground, plan) if begun is None else _begun(ground, begun)
    seen = np.full((2, distance.size, plan.start.size), np.nan)
    fastest, captured = ground.gate_speeds(ground.scenario.arrival.gate)[1], ground.to_go[plan.captured]
    off, added, worst = np.zeros(plan.start.size), np.zeros(plan.start.size), Worst.none(plan.start.size)
    loads, peak = np.ones((2, plan.start.size)), np.fmax.accumulate(plan.speed)
    for index, x in enumerate(distance):
        flying, to_go = x >= begins, -float(x)
        speed = calibrated(ground, lanes.motion)
        seen[:, index] = np.where(flying, [lanes.motion[0], speed], np.nan)
        above = speed - limit_speed(ground, lanes, to_go)
        steepest = ground.steepest(lanes.motion[0], lanes.motion[1], to_go)
        wanted = _wanted(plan, peak, ground.to_go, to_go)
        worst = worst.after(ground, lanes, Seen(to_go, speed, above, steepest, wanted.dives), flying)
        if index + 1 == distance.size:
            break
        length = np.where(flying, distance[index + 1] - x, 0.0)
        at = _motion(ground, x, lanes, lanes.motion, np.ones_like(off))
        # on the glide path pitch keeps the path: devices come out as the speed falls there
        pending = np.where(to_go > captured + _EXACT, _latest(lanes, wanted.selected, latest), np.inf)
        most = np.minimum(np.minimum(worst.slowest + RISES, speed - above), pending)
        steepest = np.maximum(steepest, steepest_for(ground, lanes.motion, at, speed, most))
        slope = slope_ahead(ground, plan.altitude, to_go, at, lanes.motion[1])
        orders = _orders(ground, use, lanes, _Seen(wanted, slope, at, steepest, worst.slowest))
        loads = np.where(flying, [np.fmin(loads[0], orders.load_factor), np.fmax(loads[1], orders.load_factor)], loads)
        off = np.where(flying, np.fmax(off, np.abs(wanted.altitude - lanes.motion[0])), off)
        is_slowing = (at.forces.calibrated_airspeed > fastest) | (-x > captured)
        above_idle = (at.forces.thrust - at.forces.idle) / (ground.mass * GRAVITY)
        added += np.where(flying & is_slowing, above_idle * length, 0.0)
        begin = _motion(ground, x, lanes, lanes.motion, orders.load_factor, at.air)
        selected = _selected(lanes, wanted.selected, speed, latest)
        lanes = _where(flying, _advanced(ground, lanes, orders, selected, begin, x, length), lanes)
    most = np.full(off.shape, fastest)
    left = ground.energy_height(lanes.motion[0], seen[1, -1]) - ground.energy_height(plan.altitude[0], most)
    kept = worst.over, worst.outside, worst.steep, worst.climb, worst.rise, loads
    return Again(left, added, off, *kept, is_stable(ground, lanes), distance, seen[0], seen[1])


def _selected(lanes: Lanes, planned: Array, speed: Array, latest: Array) -> Array:
    """Which devices (device, descent) [-] move: what the plan has by now, once speed and the step before allow it.

    One that has begun to move goes on, whatever the plan has: it may begin a descent half-way out.
    """
    ready = np.ones_like(lanes.out, dtype=np.bool_)
    ready[1:-1] = lanes.out[:-2] > 1.0 - _EXACT
    return np.where(lanes.out > 0.0, 1.0, np.where((speed <= latest) & ready, planned, 0.0))


def _latest(lanes: Lanes, planned: Array, latest: Array) -> Array:
    """Speed (descent,) [m/s] a little below that at which every planned device not yet moving is selected."""
    is_pending = (planned > 0.5) & (lanes.out <= 0.0)
    return np.asarray(np.min(np.where(is_pending, latest, np.inf), axis=0) - RISES)


def _steps(ground: Ground, farthest: int, step: float) -> Array:
    """Coordinates along the track (step,) [m] from a place, by its index, to the gate; every place is among them."""
    places = -ground.to_go[farthest::-1]
    parts: list[Array] = [
        np.linspace(a, b, int(np.ceil((b - a) / step)) + 1)[:-1] for a, b in pairwise(places.tolist())
    ]
    return np.concatenate([*parts, places[-1:]])


_EXACT = 1e-3


def _started(ground: Ground, plan: Paths) -> Lanes:
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
    return Lanes(motion_, 0.0 * true, 0.0 * true, np.array([*out, plan.first_gear.astype(float)]))


def _begun(ground: Ground, begun: Begun) -> Lanes:
    true = ground.true_airspeed(begun.speed, begun.altitude)
    mass = np.full(true.size, ground.mass)
    motion_ = np.array([begun.altitude, true, begun.path_angle, mass, 0.0 * true])
    return Lanes(motion_, begun.thrust_fraction, begun.speed_brake, begun.out)


def _wanted(plan: Paths, peak: Array, to_go: Array, at: float) -> _Wanted:
    """The plan at a distance to go [m]; what was selected at the place before holds.

    `peak` (place, descent) is its largest speed [m/s] from each place on.
    """
    after = int(np.clip(np.searchsorted(to_go, at - 1e-6), 1, to_go.size - 1))
    share = (at - to_go[after - 1]) / (to_go[after] - to_go[after - 1])
    near, far = plan.altitude[after - 1], plan.altitude[after]
    length = to_go[after] - to_go[after - 1]
    slower = plan.speed[after] - plan.speed[after - 1]
    steps, gear = plan.steps[after], plan.gear[after]
    selected = np.array([*(steps > step for step in range(int(np.nanmax(plan.steps)))), gear > 0.5], dtype=float)
    speed = plan.speed[after - 1] + share * slower
    dives = speed < peak[after - 1] - _EXACT
    return _Wanted(near + share * (far - near), speed, -slower / length, selected, dives)


def _motion(
    ground: Ground, x: float | Array, lanes: Lanes, state: Array, load_factor: Array, sample: AirSample | None = None
) -> Motion:
    """Motion in a state (5, descent) at a coordinate [m], in air that may have been looked up there already [SI]."""
    control = Control(load_factor, lanes.thrust_fraction, lanes.speed_brake)
    configuration = Configuration(tuple(lanes.out[:-1]), lanes.out[-1])
    sample = air_at(ground.around, x, state[0]) if sample is None else sample
    return motion_in(sample, ground.around, x, State(*state), control, configuration)


def _orders(ground: Ground, use: Use, lanes: Lanes, seen: _Seen) -> _Orders:
    wanted, at = seen.wanted, seen.at
    airframe, handling = ground.scenario.airframe, ground.scenario.handling
    state = State(*lanes.motion)
    speed, true = at.forces.calibrated_airspeed, state.true_airspeed
    rate = seen.slope * at.passage.ground_speed + (wanted.altitude - state.pressure_altitude) / _HEIGHT_TIME
    soon = speed * (1.0 + at.acceleration / true * PITCH_TIME)
    lowest = ground.least_altitude(soon)  # where a speed limit begins, while too fast for it
    rate = np.maximum(rate, (lowest - state.pressure_altitude) / _HEIGHT_TIME)
    angle = np.arcsin(np.clip(at.air.stretch * rate / true, np.sin(seen.steepest), 0.0))
    turn = (angle - state.path_angle) / PITCH_TIME
    load_factor = np.cos(state.path_angle) + state.true_airspeed * turn / GRAVITY
    configuration = Configuration(tuple(lanes.out[:-1]), lanes.out[-1])
    height = at.air.height - ground.scenario.arrival.elevation
    allowed = brake_allowed(airframe, configuration, height, handling.speed_brake_above, speed, ground.mass)
    # height above the plan as the speed that has its energy
    higher = np.maximum(state.pressure_altitude - wanted.altitude, 0.0) * GRAVITY / true
    faster = use.lead + (speed - wanted.speed + higher) / _SPEED_BAND
    brake = np.where(use.is_allowed, allowed * np.clip(faster, 0.0, 1.0), 0.0)
    thrust = _thrust(ground, lanes, seen, replace(state, path_angle=angle), higher)
    limits = airframe.limits
    return _Orders(np.clip(load_factor, limits.least_load_factor, limits.most_load_factor), thrust, brake)


def _thrust(ground: Ground, lanes: Lanes, seen: _Seen, state: State, higher: Array) -> Array:
    """Where thrust fraction (descent,) [-] goes in states on the paths ordered [SI].

    A flight that is higher than planned is let become slower, by what its height [m/s] is worth; one whose speed has
    begun to fall is not pushed to be faster.
    """
    wanted, at, speed = seen.wanted, seen.at, seen.at.forces.calibrated_airspeed
    slowest = ground.gate_speeds(ground.scenario.arrival.gate)[0]
    # what the plan has that much later: a flight that slows as planned needs no thrust, nor does one that dives
    planned = wanted.speed + np.minimum(wanted.speed_slope, 0.0) * at.passage.ground_speed * SPEED_TIME
    calibrated_held = np.maximum(planned - _SPEED_BAND - higher, np.minimum(planned, slowest))
    calibrated_held = np.minimum(calibrated_held, seen.slowest + 0.5 * RISES)
    held = mach_from_calibrated(calibrated_held, at.air.pressure) * at.air.speed_of_sound
    falls = true_by_height(ground, speed, state.pressure_altitude, at) * state.true_airspeed * np.sin(state.path_angle)
    needed = thrust_needed(at, state, falls + (held - state.true_airspeed) / SPEED_TIME)
    more = np.asarray(thrust_fraction_for(at, needed)) - lanes.thrust_fraction
    return np.clip(lanes.thrust_fraction + _LEVERS * more, 0.0, 1.0)


def _advanced(
    ground: Ground, lanes: Lanes, orders: _Orders, selected: Array, first: Motion, x: float, length: Array
) -> Lanes:
    """The flights a step further: the motion, first at its beginning, by the midpoint rule, what lags along its lag."""
    airframe = ground.scenario.airframe
    seconds = length / first.passage.ground_speed
    travel = np.array([*(step.travel_time for step in airframe.steps[1:]), airframe.gear.travel_time])
    ended = Lanes(
        lanes.motion,
        _followed(lanes.thrust_fraction, orders.thrust_fraction, seconds / airframe.engines.spool_time),
        _followed(lanes.speed_brake, orders.speed_brake, 2.0 * seconds / airframe.speed_brake.travel_time),
        np.where(selected > 0.5, np.minimum(lanes.out + seconds / travel[:, None], 1.0), lanes.out),
    )
    half = Lanes(
        lanes.motion,
        0.5 * (lanes.thrust_fraction + ended.thrust_fraction),
        0.5 * (lanes.speed_brake + ended.speed_brake),
        0.5 * (lanes.out + ended.out),
    )
    middle = _motion(ground, x + 0.5 * length, half, lanes.motion + 0.5 * length * _rates(first), orders.load_factor)
    return replace(ended, motion=lanes.motion + length * _rates(middle))


def _where(flying: Flags, these: Lanes, those: Lanes) -> Lanes:
    return Lanes(
        np.where(flying, these.motion, those.motion),
        np.where(flying, these.thrust_fraction, those.thrust_fraction),
        np.where(flying, these.speed_brake, those.speed_brake),
        np.where(flying, these.out, those.out),
    )


def _rates(at: Motion) -> Array:
    return np.array([np.asarray(rate, dtype=float) for rate in vars(at.by_distance).values()])


def _followed(value: Array, wanted: Array, share: Array) -> Array:
    return value + (wanted - value) * (1.0 - np.exp(-share))
