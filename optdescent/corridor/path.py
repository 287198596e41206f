"""The descent that an edge of the corridor belongs to: heights, speeds and devices from place to place, to the gate."""

from __future__ import annotations

from dataclasses import dataclass

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


def paths(found: Reach, place: Indices, speed: Indices, configuration: Indices) -> Paths:
    """Descents from states (descent,) of the edge, given by their indices [SI].

    Raises
    ------
    ValueError
        The gate cannot be met from one of the states.
    """
    if not np.all(np.isfinite(found.altitude[place, speed, configuration])):
        raise ValueError("the gate cannot be met from one of the states")
    shape = (found.ground.to_go.size, place.size)
    altitude, speeds, steps, gear = (np.full(shape, np.nan) for _ in range(4))
    first_steps, first_gear = found.states.configurations[configuration].T
    captured = np.zeros(place.size, dtype=np.int64)
    plan = Paths(altitude, speeds, steps, gear, np.asarray(place), captured, first_steps, first_gear)
    for descent in range(place.size):
        _follow(found, plan, descent, (int(place[descent]), int(speed[descent]), int(configuration[descent])))
    return plan


def _follow(found: Reach, plan: Paths, descent: int, state: tuple[int, int, int]) -> None:
    states, to_go = found.states, found.ground.to_go
    knots: list[tuple[float, float, float]] = []
    out: list[tuple[int, int]] = []
    while True:
        place, speed, configuration = state
        knots.append((to_go[place], found.altitude[state], states.speeds[speed]))
        out.append((place, configuration))
        near = found.near[state]
        if near[0] < 0:
            break
        state = int(near[0]), int(near[1]), int(near[2])
        if state[2] != configuration:
            out[-1] = (place, state[2])  # selected where the leg begins
    plan.captured[descent] = place
    along = _along(found, place, configuration, knots[-1][2])
    knots += [(to_go[at], found.ground.path[at], speed) for at, speed, _ in along]
    out += [(at, configuration) for at, _, configuration in along]
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
