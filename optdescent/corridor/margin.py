"""How far inside the corridor a flight is: energy height left to the edge of a set of devices."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import MOVES
from optdescent.corridor.reach import Edge, Reach
from optdescent.units import FOOT, GRAVITY

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
ON_PATH = 75.0 * FOOT
"""Height [m] off the glide path within which a flight counts as no higher than it (our choice)."""


def margin(found: Reach, to_go: Array, altitude: Array, speed: Array, configuration: Indices) -> Array:
    """Energy height (point,) [m] by which states are inside the highest edge: negative outside, -inf where none is.

    A speed outside those of a configuration, or between two of the grid of which only one is reached, counts by its
    energy. On the glide path, nearer than its first capture, the margin is that of the speed to have there.

    Raises
    ------
    ValueError
        The edge is not a highest one.
    """
    if found.edge is not Edge.HIGHEST:
        raise ValueError("a margin is to the highest edge")
    ground = found.ground
    path = np.interp(to_go, ground.to_go, ground.path)
    off = altitude - path
    held = np.where(np.abs(off) <= ON_PATH, np.minimum(altitude, path), altitude)
    free = _edge_energy(found, to_go, speed, configuration) - ground.energy_height(held, speed)
    places = ground.to_go[: found.on_path.shape[0]]
    near, along = _cell(places, np.minimum(to_go, places[-1]))
    bound = (1.0 - along) * found.on_path[near, configuration] + along * found.on_path[near + 1, configuration]
    on_path = (bound**2 - speed**2) / (2.0 * GRAVITY) - np.maximum(off - ON_PATH, 0.0)
    free, on_path = (np.where(np.isfinite(values), values, -np.inf) for values in (free, on_path))
    may_be_on_path = (to_go <= places[-1]) & (np.abs(off) <= ON_PATH)
    left = np.where(may_be_on_path, np.maximum(free, on_path), free)
    return np.where(to_go < ground.to_go[ground.first_capture] - 1e-6, on_path, left)


def _edge_energy(found: Reach, to_go: Array, speed: Array, configuration: Indices) -> Array:
    """Energy height (point,) [m] of the edge, straight between the places; not a number where there is none."""
    states, places = found.states, found.ground.to_go
    held = np.clip(speed, np.maximum(states.least[configuration], states.speeds[0]), states.most[configuration])
    slow, faster = _cell(states.speeds, held)
    near, along = _cell(places, to_go)
    total = np.zeros(to_go.shape)
    for place, share in ((near, 1.0 - along), (near + 1, along)):
        ends = [_of_node(found, place, at, configuration) for at in (slow, slow + 1)]
        lower, upper = (np.where(np.isfinite(own), own, other) for own, other in (ends, ends[::-1]))
        total = total + np.where(share > 1e-9, share * ((1.0 - faster) * lower + faster * upper), 0.0)
    inside = (to_go >= places[0] - 1e-6) & (to_go <= places[-1] + 1e-6)
    return np.where(inside, total, np.nan)


def _of_node(found: Reach, place: Indices, speed: Indices, configuration: Indices) -> Array:
    """Energy height (point,) [m] of the edge at places and speeds of the grid."""
    return found.ground.energy_height(found.altitude[place, speed, configuration], found.states.speeds[speed])


def configurations(found: Reach, flaps: Array, gear: Array) -> Indices:
    """Index of the configuration (point,) for flaps [steps] and gear [-]; what travels counts as in."""
    steps, down = all_out(flaps, gear)
    return np.array([found.states.index(step, is_down) for step, is_down in zip(steps, down, strict=True)], dtype=int)


def all_out(flaps: Array, gear: Array) -> tuple[Indices, Indices]:
    """Step of slats and flaps that is all out, and whether the gear is (point,) [-]; what travels counts as in."""
    return np.floor(flaps + MOVES).astype(np.int64), (gear > 1.0 - MOVES).astype(np.int64)


def _cell(grid: Array, values: Array) -> tuple[Indices, Array]:
    """Index of the grid's point below each value, and how far it is to the next [-]."""
    below = np.clip(np.searchsorted(grid, values, side="right") - 1, 0, grid.size - 2)
    return below, np.clip((values - grid[below]) / (grid[below + 1] - grid[below]), 0.0, 1.0)
