"""From how high, or how low, the gate can still be met: worked out backwards from the gate over a grid.

A reachable set in energy and speed, by dynamic programming. A state is a place to go, a calibrated airspeed of a grid,
and the devices out; its value is the highest (or the lowest) pressure altitude from which the gate is met from there.
Along a leg the speed changes by whole steps or stays, the height follows from the energy that idle thrust and the drag
of what is out take (`corridor.leg`), so that it is not rounded. Speed does not rise once it has begun to fall for the
gate, and height does not at all. On the glide path the height is given, and the value is the largest (smallest) speed.
Less than the most energy can always be taken, with less brake or with thrust; so everything below the highest height
reaches the gate too, down to where thrust would be needed: the lowest. A ceiling caps the highest, it does not end it.

The order in which legs slow the aircraft is free on the grid and every path of the grid is a descent, so that the grid
bounds the true edge from inside: one with half the spacing has its legs too, in halves or over two places, and can only
widen it, to what the forces half-way along a leg leave (less than 10 ft seen). What is demanded of height or speed at a
place is kept by legs that pass it, and what is demanded of speed below an altitude where they pass that.

References
----------
Bellman, Dynamic Programming (1957). Bertsekas, Dynamic Programming and Optimal Control, vol. I, section 1.3.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.devices import SCHEDULE, DeviceSet
from optdescent.corridor.ground import FAR, FLAPS_BELOW, Ground
from optdescent.corridor.leg import Legs, height_before, speed_before_on_path
from optdescent.corridor.states import STEP, Moves, States, states_of, together
from optdescent.units import KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]
GATE_ROOM = 5.0 * KNOT
"""How far below the gate's largest speed [m/s] the highest descents aim: what legs without lags leave out fits in, and
nobody aims at the edge of a gate (our choice)."""
LONG_ENOUGH = 0.5 * NAUTICAL_MILE
"""Length of a leg [m] on which a step of speed is as little as matters: 4 kt a mile."""
MOST_SLOWING = 45.0 * KNOT / NAUTICAL_MILE
"""Change of speed by distance through the air [1/s] beyond which no leg is tried: half as much again as gear, landing
flaps and level flight have (20 to 30 kt a mile; a safety foundation's briefing note, from memory)."""
_SAME = 1.0
"""Two places closer than this [m] are one."""
_LEVEL = 0.05
"""Height [m] by which a leg may seem to climb for rounding."""


class Edge(Enum):
    """Which edge of the corridor; the value says it in words."""

    HIGHEST = "highest"
    LOWEST = "lowest without thrust"


@dataclass(frozen=True)
class Reach:
    """Edge of the reachable set of one set of devices.

    `altitude` (place, speed, configuration) is the pressure altitude [m], not a number where the gate cannot be met;
    `near` the place, speed and configuration that come next (place, speed, configuration, 3), -1 where the glide path
    is captured; `falling` the same edge for descents whose speed has begun to fall: None says that it is this one;
    `on_path` (place, configuration) [m/s] the speed on the glide path, nearer than its last capture, and
    `near_on_path` (place, configuration, 2) the place and configuration that come next there.
    """

    states: States
    edge: Edge
    altitude: Array
    near: NDArray[np.int16]
    on_path: Array
    near_on_path: NDArray[np.int16]
    falling: Reach | None = None

    @property
    def ground(self) -> Ground:
        """The places."""
        return self.states.ground

    @property
    def devices(self) -> DeviceSet:
        """What may be used."""
        return self.states.devices


def reach(ground: Ground, devices: DeviceSet, edge: Edge, marks: Sequence[float]) -> Reach:
    """Edge of the reachable set over the places of the ground, for speeds up to the fastest of `marks` [m/s].

    The lowest height is that of the schedule: it is left with nothing out that need not be.
    """
    states = states_of(ground, SCHEDULE if edge is Edge.LOWEST else devices, marks)
    on_path, near_on_path = _along_the_path(states, edge)
    shape = (ground.to_go.size, states.speeds.size, len(states.configurations))
    nothing, nowhere = np.full(shape, np.nan), np.full((*shape, 3), -1, dtype=np.int16)
    found = Reach(states, edge, nothing, nowhere, on_path, near_on_path)
    for place in range(ground.first_capture, ground.to_go.size):
        if place <= ground.last_capture:
            _capture(found, place)
        if place > ground.first_capture:
            _leave(found, place)
    return found if edge is Edge.LOWEST else _with_rising(found)


def _with_rising(falling: Reach) -> Reach:
    """The edge for descents whose speed may rise before it begins to fall for the gate."""
    found = replace(falling, altitude=falling.altitude.copy(), near=falling.near.copy(), falling=falling)
    moves, ground = falling.states.rising, falling.ground
    for place in range(ground.first_capture + 1, ground.to_go.size):
        _take(found, place, _over_places(found, place, moves, falling.states.rising_halves))
    return found


def _along_the_path(states: States, edge: Edge) -> tuple[Array, NDArray[np.int16]]:
    """Speed (place, configuration) [m/s] on the glide path, from the gate to its farthest capture, and what follows."""
    ground, is_low = states.ground, edge is Edge.LOWEST
    slow, fast = ground.gate_speeds(ground.scenario.arrival.gate)
    found = np.full((ground.last_capture + 1, len(states.configurations)), np.nan)
    near = np.full((*found.shape, 2), -1, dtype=np.int16)
    found[0, states.full] = slow if is_low else max(slow, fast - GATE_ROOM)
    far, after, device = states.changes
    for place in range(1, ground.last_capture + 1):
        nearer = np.full(far.size, place - 1)
        moved = device >= 0
        guess = np.minimum(states.latest[device[moved]], states.most[far[moved]])
        nearer[moved] = _near_place(states, place, guess, device[moved])
        speed = found[np.maximum(nearer, 0), after]
        own = np.flatnonzero((nearer >= 0) & np.isfinite(speed))
        if own.size:
            before = _before_on_path(states, edge, place, nearer[own], (far[own], after[own], device[own]), speed[own])
            for at in np.argsort(-before if is_low else before, kind="stable"):  # the best is written last
                if np.isfinite(before[at]):
                    found[place, far[own[at]]] = before[at]
                    near[place, far[own[at]]] = nearer[own[at]], after[own[at]]
        if is_low:  # thrust holds the approach speed
            held = max(slow, float(ground.demands.slowest[: place + 1].max()))
            found[place, states.full], near[place, states.full] = held, (place - 1, states.full)
    return found, near


def _before_on_path(
    states: States, edge: Edge, place: int, near: Indices, change: tuple[Indices, Indices, Indices], speed: Array
) -> Array:
    """Speeds (change,) [m/s] at a place of the path from which nearer ones are reached; not a number if none is."""
    ground, (far, after, device) = states.ground, change
    here = np.full(far.size, place)
    legs = Legs(-ground.to_go[here], -ground.to_go[near], states.out(far, after), _brakes(states, edge))
    before = speed_before_on_path(ground, legs, ground.path[near], ground.path[here], speed)
    demands = ground.demands
    slow = np.array([demands.slowest[at : place + 1].max() for at in near])
    fast = np.array([demands.fastest[at : place + 1].min() for at in near])
    nearer = np.minimum(speed, fast)  # a bound: a flight that is slower before stays so
    slower, faster = _on_the_way(ground, place, near, nearer, (demands.slowest, demands.fastest))
    along = np.minimum(faster, min(float(demands.fastest[place]), float(ground.limit_at(ground.path[[place]])[0])))
    most = np.minimum(states.most[far], along)
    most = np.where(device >= 0, np.minimum(most, states.latest[np.maximum(device, 0)]), most)
    least = np.maximum(states.least[far] - STEP, np.maximum(slower, slow))
    if edge is Edge.LOWEST:
        before = np.maximum(np.maximum(before, speed), least)
        return np.where(before <= most, before, np.nan)
    is_slowing = before >= speed - 1e-3
    before = np.minimum(before, most)
    return np.where(is_slowing & (before >= least), before, np.nan)


def _brakes(states: States, edge: Edge) -> bool:
    return states.devices.speed_brake and edge is Edge.HIGHEST


def _near_place(states: States, place: int, speeds: Array, devices: Indices) -> Indices:
    """Index (move,) of the first place at which a device selected at a place is out; negative beyond the gate."""
    ground = states.ground
    altitude = np.full(speeds.shape, min(ground.path[place], FLAPS_BELOW))
    needed = states.travel[devices] * (ground.true_airspeed(speeds, altitude) + ground.tailwind[place])
    ends: Array = np.asarray(ground.to_go[place] - needed + 1e-6, dtype=np.float64)
    return np.asarray(np.searchsorted(ground.to_go, ends, side="right") - 1, dtype=np.int64)


def _capture(found: Reach, place: int) -> None:
    """States that capture the glide path at a place."""
    states, ground = found.states, found.ground
    speeds, bound = states.speeds[:, None], found.on_path[place][None, :]
    is_met = speeds >= bound - 1e-9 if found.edge is Edge.LOWEST else speeds <= bound + 1e-9
    is_slow = speeds <= min(ground.capture_speed, float(ground.demands.fastest[place])) + 1e-9
    limit = float(ground.limit_at(ground.path[[place]])[0])
    open_ = (
        is_met & is_slow & states.are_open & (speeds <= limit + 1e-9) & (speeds >= ground.demands.slowest[place] - 1e-9)
    )
    found.altitude[place][open_] = ground.path[place]


def _leave(found: Reach, place: int) -> None:
    """States from which a leg leads to a nearer place."""
    states = found.states
    selecting = states.selecting
    near = _near_place(states, place, states.speeds[selecting.far_speed], selecting.device)
    _take(found, place, [*_over_places(found, place, states.staying, states.halves), (selecting, near)])


def _over_places(found: Reach, place: int, moves: Moves, longer: Moves) -> list[tuple[Moves, Indices]]:
    """Moves with where they lead: to the next place, and over two places, four, to half a mile, a whole one far out.

    On one place the speed changes by whole steps or not at all; on a fine grid one step a place is more than level
    flight slows, and without longer legs the edge would fall the finer the grid is.
    """
    to_go, count, made = found.ground.to_go, 1, [(moves, np.full(moves.far.size, place - 1))]
    enough = 2.0 * LONG_ENOUGH if to_go[place] > FAR + _SAME else LONG_ENOUGH
    while to_go[place] - to_go[place - count] < enough - _SAME and place - 2 * count >= found.ground.first_capture:
        count *= 2
        made.append((longer, np.full(longer.far.size, place - count)))
    return made


def _take(found: Reach, place: int, some: Sequence[tuple[Moves, Indices]]) -> None:
    """Better values at a place by moves to nearer places (move,), all at once: a call costs more than its numbers."""
    moves, near = together([moves for moves, _ in some]), np.concatenate([near for _, near in some])
    states, ground, is_low = found.states, found.ground, found.edge is Edge.LOWEST
    altitude = found.altitude[np.maximum(near, 0), moves.near_speed, moves.near]
    slow, fast = float(ground.demands.slowest[place]), float(ground.demands.fastest[place])
    speeds = states.speeds[moves.far_speed]
    change = np.abs(speeds - states.speeds[moves.near_speed])
    against = speeds / np.maximum(speeds - np.maximum(-ground.tailwind[place], 0.0), 0.1 * speeds)
    usable = np.flatnonzero(
        np.isfinite(altitude)
        & (near >= ground.first_capture)
        & (speeds >= slow - 1e-9)
        & (speeds <= fast + 1e-9)
        & (change <= MOST_SLOWING * (ground.to_go[place] - ground.to_go[np.maximum(near, 0)]) * against)
    )
    if not usable.size:
        return
    far, to, altitude = moves.far[usable], moves.near[usable], altitude[usable]
    legs = Legs(
        np.full(usable.size, -ground.to_go[place]), -ground.to_go[near[usable]], states.out(far, to),
        _brakes(states, found.edge),
    )  # fmt: skip
    speed, after = states.speeds[moves.far_speed[usable]], states.speeds[moves.near_speed[usable]]
    before, _, most_fall = height_before(ground, legs, altitude, speed, after)
    demands = ground.demands
    least, most = _on_the_way(ground, place, near[usable], altitude, (demands.lowest, demands.highest))
    least = np.maximum(np.maximum(least, demands.lowest[place]), ground.least_altitude(speed))
    most = np.minimum(np.minimum(most, demands.highest[place]), ground.most_altitude(speed))
    most = np.where(states.configurations[to, 0] > 0, np.minimum(most, FLAPS_BELOW), most)
    if is_low:
        is_possible = (before >= altitude - _LEVEL) & (before <= altitude + most_fall)
        before = np.maximum(before, least)
        is_possible &= before <= most + _LEVEL
    else:  # less energy than the most can be taken up to any ceiling
        before = np.minimum(np.minimum(before, altitude + most_fall), most)
        is_possible = (before >= altitude - _LEVEL) & (before >= least - _LEVEL)
    slowest, fastest = _on_the_way(ground, place, near[usable], after, (demands.slowest, demands.fastest))
    is_possible &= (speed >= slowest - 1e-9) & (speed <= fastest + 1e-9)
    is_possible &= _keeps_limits(ground, (before, altitude), (speed, after))
    _keep_best(found, place, moves, near, usable[is_possible], before[is_possible])


def _on_the_way(
    ground: Ground, place: int, near: Indices, value: Array, demanded: tuple[Array, Array]
) -> tuple[Array, Array]:
    """Least and most that a leg (leg,) may have at a place by what is demanded between it and the leg's near end.

    Of altitude [m] or speed [m/s]: the leg is straight and ends at some values; `demanded` (place,) is infinite where
    free.
    """
    least, most = np.full(near.shape, -np.inf), np.full(near.shape, np.inf)
    first = int(near.min()) + 1
    low, high = (bound[first:place] for bound in demanded)
    for index in np.flatnonzero(np.isfinite(low) | np.isfinite(high)):
        between = first + index
        way = (ground.to_go[place] - ground.to_go[near]) / np.maximum(ground.to_go[between] - ground.to_go[near], 1.0)
        passed = near < between
        least = np.where(passed, np.maximum(least, value + way * (low[index] - value)), least)
        most = np.where(passed, np.minimum(most, value + way * (high[index] - value)), most)
    return least, most


def _keeps_limits(ground: Ground, altitude: tuple[Array, Array], speed: tuple[Array, Array]) -> Flags:
    """Whether legs (leg,) keep the speed limits where they pass the altitudes from which those hold.

    Altitudes [m] and speeds [m/s] are those of the far and the near end; both are straight between.
    """
    (high, low), (before, after) = altitude, speed
    kept = np.ones(high.shape, dtype=np.bool_)
    for begins, most in ground.speed_limits:
        share = (begins - low) / np.maximum(high - low, _LEVEL)
        crossing = (low < begins) & (begins < high)
        kept &= ~crossing | (after + share * (before - after) <= most + CROSSING)
    return kept


CROSSING = 2.0 * KNOT
"""Speed [m/s] above a limit that a leg may still have where the limit begins: a step of the grid."""


def _keep_best(found: Reach, place: int, moves: Moves, near: Indices, which: Indices, before: Array) -> None:
    """Of several moves from one state the one with the best height, if it betters what the state has."""
    is_low = found.edge is Edge.LOWEST
    order = np.argsort(-before if is_low else before, kind="stable")  # the best is written last
    which, before = which[order], before[order]
    speed, far = moves.far_speed[which], moves.far[which]
    had = found.altitude[place, speed, far]
    better = ~np.isfinite(had) | (before < had if is_low else before > had)
    which, before, speed, far = which[better], before[better], speed[better], far[better]
    found.altitude[place, speed, far] = before
    ends = np.stack([near[which], moves.near_speed[which], moves.near[which]], axis=1)
    found.near[place, speed, far] = ends.astype(np.int16)
