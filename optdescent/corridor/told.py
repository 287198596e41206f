"""Descents of an edge flown again from the heights that are told, each eased until it is kept.

Legs have no lags, so that a descent from the highest edge itself may pass the gate with energy left over. It is then
flown from lower, and slower on the way. Of its height above the capture of the glide path a lower descent has
everywhere the part that it has at its start: it has less to lose on the same miles. It is slower by what was left at
the gate, so that devices come out no later than planned. What a flight still had too much is taken off for the next.

A descent from the lowest edge may need thrust for the same reason. It is then flown from higher by what thrust added,
and slower by as much, so that thrust comes on later.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.again import OVER, Again, Use, flown_again
from optdescent.corridor.ground import Ground
from optdescent.corridor.margin import ON_PATH
from optdescent.corridor.path import Paths
from optdescent.corridor.reach import Edge
from optdescent.units import FOOT, GRAVITY, KNOT

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]
Fly = Callable[[int, Indices, Array, Array], tuple[Flags, Array, Array]]
FLIGHTS = 5
"""How often a descent is flown at most."""
ADDED = 25.0 * FOOT
"""Energy height [m] that thrust may add to a descent told as one without: that of 2 kt at the speed of a gate, as much
as a limit may be passed by (our choice)."""
_LEAST_LOWER, _LEAST_SLOWER = 25.0 * FOOT, 0.5 * KNOT
"""Least height [m] and speed [m/s] that a descent which was not kept is eased by."""
_MOST_SLOWER = 5.0 * KNOT
"""Most speed [m/s] that it is eased by at once: much slower, drag is less, and a held speed takes more miles."""


@dataclass(frozen=True)
class Told:
    """What became of descents (descent,) [SI]: the plan that was flown last, whether all was kept, and what was not.

    `taken_off` is the height [m] by which that plan begins lower than the edge, negative if higher; `excess`, `added`,
    `off`, `over`, `outside`, `steep`, `climb` and `rise` are as in `again.Again`.
    """

    plan: Paths
    taken_off: Array
    is_kept: Flags
    excess: Array
    added: Array
    off: Array
    over: Array
    outside: Array
    steep: Array
    climb: Array
    rise: Array


def told_of(ground: Ground, plan: Paths, use: Use, edge: Edge, thrust: bool = False) -> Told:
    """Descents of a plan of an edge flown again, from farther inside it as long as one is not kept [SI].

    From the lowest edge `thrust` may be used or not [-]; where it may, one that is not kept is raised by the least.
    """
    count = plan.start.size
    flown = replace(plan, altitude=plan.altitude.copy(), speed=plan.speed.copy())
    is_kept, seen = np.zeros(count, dtype=np.bool_), np.full((8, count), np.nan)

    def fly(number: int, asked: Indices, lower: Array, slower: Array) -> tuple[Flags, Array, Array]:
        own = plan.of(asked)
        plan_eased = eased(ground, own, lower, slower)
        again = flown_again(ground, plan_eased, use.of(asked))
        flown.altitude[:, asked], flown.speed[:, asked] = plan_eased.altitude, plan_eased.speed
        is_kept[asked] = _is_kept(again, edge, thrust)
        on_the_way = again.over, again.outside, again.steep, again.climb, again.rise
        seen[:, asked] = (again.excess, again.added, again.off, *on_the_way)
        height, speed = _amiss(ground, own, again, edge, thrust)
        # what one correction leaves is small: the next may be coarse
        return is_kept[asked], number * height, number * speed

    until_kept(count, FLIGHTS, fly)
    return Told(flown, at_start(plan) - at_start(flown), is_kept, *seen)


def until_kept(count: int, flights: int, fly: Fly) -> None:
    """Fly so many descents [-] again and again, each eased by what was too much, until it is done with.

    At most so many `flights` of each [-]. `fly` is given the number of the flight, the indices of those still asked,
    and how much lower [m] and slower [m/s] than planned they are flown; it says which are done with, and by how much
    the others are to be eased further.
    """
    lower, slower = np.zeros(count), np.zeros(count)
    asked: Indices = np.arange(count, dtype=np.int64)
    for number in range(1, flights + 1):
        if not asked.size:
            return
        is_done, height, speed = fly(number, asked, lower[asked], slower[asked])
        lower[asked] += height
        slower[asked] += speed
        asked = asked[~is_done]


def _is_kept(again: Again, edge: Edge, thrust: bool) -> Flags:
    """Whether flights (descent,) kept everything, from the lowest edge without thrust too unless it may be used [-]."""
    match edge:
        case Edge.HIGHEST:
            return again.is_kept
        case Edge.LOWEST:
            return again.is_kept & ((again.added <= ADDED) | thrust)
        case _:
            assert_never(edge)


def _amiss(ground: Ground, plan: Paths, again: Again, edge: Edge, thrust: bool) -> tuple[Array, Array]:
    """By how much flights (descent,) were too high [m], negative if too low, and too fast [m/s]."""
    match edge:
        case Edge.HIGHEST:
            return too_much(ground, plan, again)
        case Edge.LOWEST:
            most = ground.gate_speeds(ground.scenario.arrival.gate)[1]
            added = np.zeros_like(again.added) if thrust else again.added
            return -np.maximum(added, _LEAST_LOWER), np.maximum(added * GRAVITY / most, _LEAST_SLOWER)
        case _:
            assert_never(edge)


def at_start(plan: Paths) -> Array:
    """Pressure altitude (descent,) [m] at the start of each descent of a plan."""
    return plan.altitude[plan.start, np.arange(plan.start.size)]


def eased(ground: Ground, plan: Paths, lower: Array, slower: Array) -> Paths:
    """A plan from so much lower (descent,) [m], higher if negative, and slower [m/s] from its start on.

    Never lower than demanded, or than the altitude below which its speed is too fast.
    """
    start, captured = at_start(plan), plan.altitude[plan.captured, np.arange(plan.start.size)]
    part = np.maximum(1.0 - lower / np.maximum(start - captured, _EXACT), 0.0)
    place = np.arange(ground.to_go.size)[:, None]
    altitude = np.where(place > plan.captured, captured + part * (plan.altitude - captured), plan.altitude)
    gentle = np.maximum(plan.speed - slower, np.minimum(plan.speed, plan.speed[0]))
    speed = np.where(place < plan.start, gentle, plan.speed)
    least = np.maximum(ground.demands.lowest[:, None], ground.least_altitude(speed))
    least = np.minimum(least, plan.altitude)
    most = np.maximum(ground.demands.highest[:, None], plan.altitude)
    return replace(plan, altitude=np.clip(altitude, least, most), speed=speed)


_EXACT = 1e-6


def too_much(ground: Ground, plan: Paths, again: Again) -> tuple[Array, Array]:
    """By how much descents flown again were too high (descent,) [m] and too fast [m/s]: at least a little.

    It is the energy left at the gate, that of the speed above a limit, and the height outside what is demanded; of the
    latter two what lies beyond that by which limit and path count as kept. One that sinks too fast, climbs or gains
    speed again is eased by the least: lower, it has less to lose.
    """
    over, outside = np.maximum(again.over - OVER, 0.0), np.maximum(again.outside - ON_PATH, 0.0)
    excess = np.maximum(again.excess, 0.0)
    true = ground.true_airspeed(plan.speed[plan.start, np.arange(plan.start.size)], at_start(plan))
    most = ground.gate_speeds(ground.scenario.arrival.gate)[1]
    height = excess + true * over / GRAVITY + outside
    is_fast = (excess > 0.0) | (over > 0.0) | ~again.is_stable
    slower = np.where(is_fast, np.clip(excess * GRAVITY / most, _LEAST_SLOWER, _MOST_SLOWER), 0.0)
    return np.maximum(height, _LEAST_LOWER), slower
