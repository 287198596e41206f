"""Descents from farther out: told from no lower than those from nearer at the same speed.

A highest descent from far out may be eased more than one from nearer, since it has more corners to lag behind. It may
as well be flown level, its speed held by thrust, to where a nearer one begins, and on like that one.

Of two lowest descents the nearer may be raised more than the farther one. That may as well be flown from higher, where
it needs thrust even less. With thrust any of them may be begun farther out, and level.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace
from typing import TypeVar, assert_never

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.again import Use
from optdescent.corridor.ground import Ground
from optdescent.corridor.path import Paths, joined, paths
from optdescent.corridor.reach import Edge, Reach
from optdescent.corridor.told import Told, at_start, eased, told_of

Indices = NDArray[np.int64]
Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
Some = TypeVar("Some", bound=np.generic)
_LOWER = 1e-6
"""Height [m] by which one is lower than another."""


def no_lower(ground: Ground, told: Told, use: Use, group: Indices, edge: Edge) -> Told:
    """Descents of an edge of which none kept begins lower than a nearer one of its group (descent,), if one can [SI].

    A highest one that does, or is not kept, is flown again level to where the highest of the nearer ones begins, and on
    by the plan of that; a lowest one that does from as high as that begins. It is told if it is kept and higher.
    """
    height = np.where(told.is_kept, at_start(told.plan), -np.inf)
    which, like = _lower(told.plan.start, height, group)
    if not which.size:
        return told
    match edge:
        case Edge.HIGHEST:
            plan = levelled(told.plan.of(like), told.plan.start[which])
        case Edge.LOWEST:
            which, like = (own[told.is_kept[which]] for own in (which, like))
            own_plan = told.plan.of(which)
            plan = eased(ground, own_plan, height[which] - height[like], np.zeros(which.size))
        case _:
            assert_never(edge)
    other = told_of(ground, plan, use.of(which), edge)
    unflown = at_start(told.plan) + told.taken_off
    better = other.is_kept & (at_start(other.plan) > height[which] + _LOWER)
    into, found = which[better], np.flatnonzero(better)
    taken_off = replace(other, taken_off=unflown[which] - at_start(other.plan))
    own, new = vars(told), vars(taken_off)
    values = {name: _put(own[name], new[name], into, found) for name in own if name != "plan"}
    plans = {
        field.name: _put(getattr(told.plan, field.name), getattr(other.plan, field.name), into, found)
        for field in fields(Paths)
    }
    return Told(Paths(**plans), **values)


@dataclass(frozen=True)
class Asked:
    """Points (point,) that lowest heights are asked for: place, speed and configuration by their indices [-].

    What their descents `use`; of those that are `known` (point,) [-] there is a lowest descent without thrust.
    """

    place: Indices
    speed: Indices
    configuration: Indices
    use: Use
    known: Flags


def lowest_with_thrust(asked: Asked, without: Told, lowest: Reach, highest: Reach) -> Array:
    """Lowest pressure altitude (point,) [m] from which the gate is met where thrust may hold the speed level.

    Each is flown level to where the lowest edge is lowest at its speed from there on, and on by the plan of that, as
    long as it does not lie above the highest edge; where a descent from nearer is kept from lower, `without` thrust or
    with it, level to that. Not a number where none is kept.
    """
    place, ground = asked.place, lowest.ground
    part = np.where(lowest.altitude <= highest.altitude, lowest.altitude, np.inf)
    part = part[:, asked.speed, asked.configuration]
    part[np.arange(part.shape[0])[:, None] > place] = np.inf
    near = np.argmin(part, axis=0)
    which = np.flatnonzero(np.isfinite(part[near, np.arange(place.size)]))
    height, found = np.full(place.size, np.inf), np.zeros(place.size, dtype=np.int64)
    height[asked.known] = np.where(without.is_kept, at_start(without.plan), np.inf)
    found[asked.known] = np.arange(without.is_kept.size)
    plans = without.plan
    if which.size:
        plan = paths(lowest, near[which], asked.speed[which], asked.configuration[which])
        level = told_of(ground, levelled(plan, place[which]), asked.use.of(which), Edge.LOWEST, thrust=True)
        better = level.is_kept & (at_start(level.plan) < height[which])
        height[which[better]] = at_start(level.plan)[better]
        found[which[better]] = without.is_kept.size + np.flatnonzero(better)
        plans = joined([without.plan, level.plan])
    like = _lowest_to_there(place, height, asked.speed)
    higher = np.flatnonzero(height > height[like] + _LOWER)
    if higher.size:
        plan = levelled(plans.of(found[like[higher]]), place[higher])
        level = told_of(ground, plan, asked.use.of(higher), Edge.LOWEST, thrust=True)
        # one without thrust is not the lowest with it where a nearer one is lower
        own = np.where(found[higher] < without.is_kept.size, np.inf, height[higher])
        height[higher] = np.minimum(np.where(level.is_kept, at_start(level.plan), np.inf), own)
    return np.where(np.isfinite(height), height, np.nan)


def _lowest_to_there(place: Indices, height: Array, group: Indices) -> Indices:
    """Index (point,) of the lowest of those in its group that are no farther out; its own among equals."""
    found: Indices = np.arange(place.size, dtype=np.int64)
    for one in np.unique(group).tolist():
        own = np.flatnonzero(group == one)
        own = own[np.argsort(place[own], kind="stable")]
        best = int(own[0])
        for index in own.tolist():
            best = index if height[index] <= height[best] + _LOWER else best
            found[index] = best
    return found


def _put(own: NDArray[Some], new: NDArray[Some], into: Indices, found: Indices) -> NDArray[Some]:
    """Values (..., descent) with some of others in their places, by indices [-]."""
    own = own.copy()
    own[..., into] = new[..., found]
    return own


def _lower(start: Indices, height: Array, group: Indices) -> tuple[Indices, Indices]:
    """Descents lower than one that starts nearer in their group, and the highest of those, by their indices [-]."""
    which, like = list[int](), list[int]()
    for one in np.unique(group).tolist():
        own = np.flatnonzero(group == one)
        own = own[np.argsort(start[own], kind="stable")]
        best = int(own[0])
        for index in own[1:].tolist():
            if height[index] < height[best] - _LOWER:
                which.append(index)
                like.append(best)
            elif height[index] > height[best]:
                best = index
    return np.array(which, dtype=np.int64), np.array(like, dtype=np.int64)


def levelled(plan: Paths, start: Indices) -> Paths:
    """Descents of a plan begun farther out, at the places `start` (descent,): level to where they began [SI]."""
    own = np.arange(start.size)
    place: Indices = np.arange(plan.altitude.shape[0], dtype=np.int64)[:, None]
    before = np.asarray((place > plan.start) & (place <= start), dtype=np.bool_)
    return replace(
        plan,
        altitude=np.where(before, plan.altitude[plan.start, own], plan.altitude),
        speed=np.where(before, plan.speed[plan.start, own], plan.speed),
        steps=np.where(before, plan.first_steps, plan.steps),
        gear=np.where(before, plan.first_gear, plan.gear),
        start=start,
    )
