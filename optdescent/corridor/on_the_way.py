"""Descents on their way: their state, and what is not kept of limits, demands at places and the gate."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.air.airspeed import calibrated_from_true
from optdescent.air.atmosphere import pressure
from optdescent.airframe.speeds import MOVES, reference_speed
from optdescent.corridor.ground import Ground
from optdescent.motion import State
from optdescent.motion.stability import AtGate, shortfalls
from optdescent.units import KNOT

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
FALLS = 2.0 * KNOT
"""Speed [m/s] lost from which on it has begun to fall for the gate."""
_EXACT = 1e-3


@dataclass(frozen=True)
class Lanes:
    """State of the flights: the five of the motion (5, descent), thrust fraction and brake (descent,) [-].

    `out` (device, descent) says how far the steps and then the gear are out [-].
    """

    motion: Array
    thrust_fraction: Array
    speed_brake: Array
    out: Array


@dataclass(frozen=True)
class Worst:
    """The worst of descents (descent,) so far, and whether their sink has been within its limits since they began.

    `over`, `outside`, `steep`, `climb` and `rise` are as in `again.Again`; `lowest` is the lowest pressure altitude
    [m], `fastest` the largest speed [m/s], `slowest` the least since the speed began to fall [m/s].
    """

    over: Array
    outside: Array
    steep: Array
    climb: Array
    rise: Array
    lowest: Array
    fastest: Array
    slowest: Array
    has_been_gentle: Flags

    @classmethod
    def none(cls, count: int) -> Worst:
        """Of so many descents [-] that have not begun."""
        nothing, never, ever = np.zeros(count), np.full(count, -np.inf), np.full(count, np.inf)
        return cls(never, nothing, nothing, nothing, nothing, ever, never, ever, np.zeros(count, dtype=np.bool_))

    def after(self, ground: Ground, lanes: Lanes, seen: Seen, flying: Flags) -> Worst:
        """With what descents that are flying have at a place."""
        altitude, true, angle = lanes.motion[:3]
        beyond = true * (np.sin(seen.steepest) - np.sin(angle))
        is_gentle = self.has_been_gentle | (flying & (beyond <= 0.0))
        lowest = np.where(flying, np.fmin(self.lowest, altitude), self.lowest)
        fastest = np.where(flying, np.fmax(self.fastest, seen.speed), self.fastest)
        begins = (seen.speed < fastest - FALLS) & ~seen.dives
        is_falling = flying & (begins | np.isfinite(self.slowest))
        slowest = np.where(is_falling, np.fmin(self.slowest, seen.speed), self.slowest)
        over = np.maximum(seen.above, seen.speed - _asked(ground, seen.to_go))

        def worse(before: Array, now: Array, counts: Flags) -> Array:
            return np.where(counts, np.fmax(before, now), before)

        return Worst(
            worse(self.over, over, flying),
            worse(self.outside, _outside(ground, altitude, seen.to_go), flying),
            worse(self.steep, beyond, flying & is_gentle),
            worse(self.climb, altitude - lowest, flying),
            worse(self.rise, seen.speed - np.where(is_falling, slowest, seen.speed), flying),
            lowest,
            fastest,
            slowest,
            is_gentle,
        )


@dataclass(frozen=True)
class Seen:
    """Descents at a place to go [m]: calibrated airspeed (descent,) [m/s], how far it is above a limit [m/s].

    `steepest` (descent,) is the steepest path through the air that is allowed there [rad, negative]; `dives` says
    whether the plan's speed is to become larger yet, so that it does not fall for the gate.
    """

    to_go: float
    speed: Array
    above: Array
    steepest: Array
    dives: Flags


def limit_speed(ground: Ground, lanes: Lanes, to_go: float) -> Array:
    """Largest calibrated airspeed allowed (descent,) [m/s]: by the airframe with what is out, and by the arrival."""
    most = ground.limit_at(lanes.motion[0])
    for limit, out in zip(ground.limit_speeds, lanes.out, strict=True):
        most = np.where(out > MOVES, np.minimum(most, limit), most)
    within = [limit.speed for limit in ground.scenario.arrival.speed_limits if _is_within(limit.within, to_go)]
    return np.asarray(np.minimum(most, min(within, default=np.inf)))


def _is_within(within: float | None, to_go: float) -> bool:
    return within is not None and to_go <= within


def _outside(ground: Ground, altitude: Array, to_go: float) -> Array:
    """Height outside what is demanded at a place (descent,) [m]; 0 between places."""
    place = _place_at(ground, to_go)
    if place is None:
        return np.zeros_like(altitude)
    high, low = altitude - ground.demands.highest[place], ground.demands.lowest[place] - altitude
    return np.asarray(np.maximum(np.maximum(high, low), 0.0))


def _asked(ground: Ground, to_go: float) -> float:
    """Largest speed [m/s] demanded at a place, such as that of a further gate; infinite between places."""
    place = _place_at(ground, to_go)
    return np.inf if place is None else float(ground.demands.fastest[place])


def _place_at(ground: Ground, to_go: float) -> int | None:
    """The place at a distance to go [m], by its index; none between places."""
    place = int(np.argmin(np.abs(ground.to_go - to_go)))
    return place if abs(ground.to_go[place] - to_go) <= _EXACT else None


def is_stable(ground: Ground, lanes: Lanes) -> Flags:
    """Whether everything that the gate demands is met by flights that have come to it (descent,)."""
    scenario, state = ground.scenario, State(*lanes.motion)
    height = np.asarray(ground.around.air.height(state.pressure_altitude)) - scenario.arrival.elevation
    at = AtGate(
        calibrated_airspeed=calibrated(ground, lanes.motion),
        reference_speed=reference_speed(scenario.airframe, state.mass),
        sink=-state.true_airspeed * np.sin(state.path_angle),
        off_path=height - float(scenario.arrival.glide_path.height(-ground.to_go[0])),
        flaps=np.sum(lanes.out[:-1], axis=0),
        gear=lanes.out[-1],
    )
    counts = [np.asarray(one.counts) for one in shortfalls(scenario.arrival.gate, len(lanes.out) - 1, at)]
    return ~np.any(np.array(np.broadcast_arrays(*counts)), axis=0)


def calibrated(ground: Ground, state: Array) -> Array:
    """Calibrated airspeed (descent,) [m/s] of states (5, descent)."""
    sound = ground.around.air.speed_of_sound(state[0])
    return np.asarray(calibrated_from_true(state[1], pressure(state[0]), sound))
