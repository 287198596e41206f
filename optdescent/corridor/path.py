"""The descent that an edge of the corridor belongs to: heights, speeds and devices from place to place, to the gate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.reach import Edge, Reach
from optdescent.corridor.states import Indices

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Paths:
    """Planned descents (place, descent), from each one's start to the gate: not a number before the start.

    Pressure altitude [m], calibrated airspeed [m/s], steps of flaps and gear [-] selected from a place on; `start` and
    `captured` (descent,) are the indices of the places where it begins and where the glide path is captured;
    `first_steps` and `first_gear` (descent,) what is out at the start [-].
    """

    altitude: Array
    speed: Array
    steps: Array
    gear: Array
    start: Indices
    captured: Indices
    first_steps: Indices
    first_gear: Indices

    def of(self, which: Indices) -> Paths:
        """Some of the descents, by their indices [-]."""
        return Paths(**{field.name: getattr(self, field.name)[..., which] for field in fields(Paths)})


def paths(found: Reach, place: Indices, speed: Indices, configuration: Indices) -> Paths:
    """Descents from states (descent,) of the edge, given by their indices [SI].

    Raises
    ------
    ValueError
        The gate cannot be met from one of the states.
    """
    if not np.all(np.isfinite(found.altitude[place, speed, configuration])):
        raise ValueError("the gate cannot be met from one of the states")
    plan = _empty(found, place, configuration)
    for descent in range(place.size):
        _follow(found, plan, descent, (int(place[descent]), int(speed[descent]), int(configuration[descent])))
    return plan


def paths_along(found: Reach, place: Indices, speed: Array, configuration: Indices) -> Paths:
    """Descents along the glide path, from places, speeds [m/s] and configurations (descent,) by their indices.

    Raises
    ------
    ValueError
        The gate cannot be met from a place of the path with a configuration, at whatever speed.
    """
    nearest = np.minimum(place, found.on_path.shape[0] - 1)
    if np.any(nearest != place) or not np.all(np.isfinite(found.on_path[nearest, configuration])):
        raise ValueError("the gate cannot be met along the glide path from one of the places")
    plan = _empty(found, place, configuration)
    for descent in range(place.size):
        at = int(place[descent])
        _fill(found, plan, descent, _Way([], [], at, int(configuration[descent]), float(speed[descent])))
    return plan


def paths_at_once(found: Reach, place: Indices, configuration: Indices) -> Paths:
    """Descents along the glide path at the gate's slowest speed, everything selected at once (descent,) [-].

    Near the gate, where devices that travel on legs of the grid would not be out in time.
    """
    plan, ground = _empty(found, place, configuration), found.ground
    steps, gear = found.states.configurations[found.states.full]
    slowest = ground.gate_speeds(ground.scenario.arrival.gate)[0]
    flown = np.arange(ground.to_go.size)[:, None] <= place
    values = (np.broadcast_to(ground.path[:, None], flown.shape), slowest, steps, gear)
    for column, value in zip((plan.altitude, plan.speed, plan.steps, plan.gear), values, strict=True):
        column[:] = np.where(flown, value, np.nan)
    plan.captured[:] = place
    return plan


def joined(plans: Sequence[Paths]) -> Paths:
    """Descents of several plans on the same places as one [SI]."""
    parts = {field.name: [getattr(plan, field.name) for plan in plans] for field in fields(Paths)}
    return Paths(**{name: np.concatenate(arrays, axis=-1) for name, arrays in parts.items()})


@dataclass(frozen=True)
class _Way:
    """What leads to the capture of the glide path at a place, and what the flight has there.

    `knots` are distances to go [m], pressure altitudes [m], speeds [m/s]; `out` places and configurations from there.
    """

    knots: list[tuple[float, float, float]]
    out: list[tuple[int, int]]
    place: int
    configuration: int
    speed: float


def _empty(found: Reach, place: Indices, configuration: Indices) -> Paths:
    shape = (found.ground.to_go.size, place.size)
    altitude, speeds, steps, gear = (np.full(shape, np.nan) for _ in range(4))
    first_steps, first_gear = found.states.configurations[configuration].T
    captured = np.zeros(place.size, dtype=np.int64)
    return Paths(altitude, speeds, steps, gear, np.asarray(place), captured, first_steps, first_gear)


def _follow(found: Reach, plan: Paths, descent: int, state: tuple[int, int, int]) -> None:
    states, to_go = found.states, found.ground.to_go
    knots: list[tuple[float, float, float]] = []
    out: list[tuple[int, int]] = []
    edge = found
    while True:
        place, speed, configuration = state
        if edge.falling is not None and edge.altitude[state] == edge.falling.altitude[state]:
            edge = edge.falling  # the speed does not rise from here on
        knots.append((to_go[place], edge.altitude[state], states.speeds[speed]))
        out.append((place, configuration))
        near = edge.near[state]
        if near[0] < 0:
            break
        state = int(near[0]), int(near[1]), int(near[2])
        if state[2] != configuration:
            out[-1] = (place, state[2])  # selected where the leg begins
    _fill(found, plan, descent, _Way(knots, out, place, configuration, knots[-1][2]))


def _fill(found: Reach, plan: Paths, descent: int, way: _Way) -> None:
    """Heights, speeds and devices of a descent on the places of the plan."""
    states, to_go = found.states, found.ground.to_go
    plan.captured[descent] = way.place
    along = _along(found, way.place, way.configuration, way.speed)
    knots = [*way.knots, *((to_go[at], found.ground.path[at], speed) for at, speed, _ in along)]
    out = [*way.out, *((at, configuration) for at, _, configuration in along)]
    own: Indices = np.arange(int(plan.start[descent]) + 1, dtype=np.int64)
    distance, altitude, speeds = (np.array(column)[::-1] for column in zip(*knots, strict=True))
    plan.altitude[own, descent] = np.interp(to_go[own], distance, altitude)
    plan.speed[own, descent] = np.interp(to_go[own], distance, speeds)
    for at, number in out:  # farthest first: each holds until the next
        plan.steps[: at + 1, descent], plan.gear[: at + 1, descent] = states.configurations[number]


def _along(found: Reach, place: int, configuration: int, speed: float) -> list[tuple[int, float, int]]:
    """Places of the glide path, the speed to have there [m/s] and what is selected, from capture to gate."""
    along: list[tuple[int, float, int]] = []
    if found.edge is Edge.LOWEST and configuration == found.states.full:
        return [(at, min(speed, float(found.on_path[at, configuration])), configuration) for at in range(place, -1, -1)]
    while place > 0:
        near, after = (int(number) for number in found.near_on_path[place, configuration])
        along.append((place, speed, after))
        place, configuration = near, after
        bound = float(found.on_path[place, configuration])
        speed = min(speed, bound) if found.edge is Edge.HIGHEST else max(bound, min(speed, bound))
    return [*along, (place, speed, configuration)]
