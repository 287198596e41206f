"""How far inside the corridor a flight is: energy height left to the edge of a set of devices."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.reach import Edge, Reach
from optdescent.units import FOOT, GRAVITY

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
ON_PATH = 75.0 * FOOT
"""Height [m] off the glide path within which a flight nearer than its capture counts as on it (our choice)."""


def edge_altitude(found: Reach, to_go: Array, speed: Array, configuration: Indices) -> Array:
    """Pressure altitude (point,) [m] of the edge at distances to go [m] and calibrated airspeeds [m/s].

    Straight between the places and speeds of the grid; not a number where the gate cannot be met, or off the grid.
    """
    places, speeds = found.ground.to_go, found.states.speeds
    near, along = _cell(places, to_go)
    slow, faster = _cell(speeds, speed)
    total = np.zeros(to_go.shape)
    for place, place_share in ((near, 1.0 - along), (near + 1, along)):
        for at, speed_share in ((slow, 1.0 - faster), (slow + 1, faster)):
            share = place_share * speed_share
            total = total + np.where(share > 1e-9, share * found.altitude[place, at, configuration], 0.0)
    return np.where(_inside(places, to_go) & _inside(speeds, speed), total, np.nan)


def margin(found: Reach, to_go: Array, altitude: Array, speed: Array, configuration: Indices) -> Array:
    """Energy height (point,) [m] by which states are inside the highest edge: negative outside, -inf where none is.

    On the glide path, nearer than its first capture, by the speed to have there.

    Raises
    ------
    ValueError
        The edge is not a highest one.
    """
    if found.edge is not Edge.HIGHEST:
        raise ValueError("a margin is to the highest edge")
    free = edge_altitude(found, to_go, speed, configuration) - altitude
    first = found.ground.to_go[found.ground.first_capture]
    is_past = to_go < first - 1e-6
    places = found.ground.to_go[: found.on_path.shape[0]]
    near, along = _cell(places, np.minimum(to_go, places[-1]))
    bound = (1.0 - along) * found.on_path[near, configuration] + along * found.on_path[near + 1, configuration]
    path = np.interp(to_go, found.ground.to_go, found.ground.path)
    off = altitude - path
    on_path = (bound**2 - speed**2) / (2.0 * GRAVITY) - np.maximum(off - ON_PATH, 0.0)
    left = np.where(is_past, on_path, free)
    return np.where(np.isfinite(left), left, -np.inf)


def configurations(found: Reach, flaps: Array, gear: Array) -> Indices:
    """Index of the configuration (point,) for flaps [steps] and gear [-]; what travels counts as in."""
    steps = np.floor(flaps + 0.02).astype(int)
    down = (gear > 0.98).astype(int)
    return np.array([found.states.index(step, is_down) for step, is_down in zip(steps, down, strict=True)], dtype=int)


def _cell(grid: Array, values: Array) -> tuple[Indices, Array]:
    """Index of the grid's point below each value, and how far it is to the next [-]."""
    below = np.clip(np.searchsorted(grid, values, side="right") - 1, 0, grid.size - 2)
    return below, np.clip((values - grid[below]) / (grid[below + 1] - grid[below]), 0.0, 1.0)


def _inside(grid: Array, values: Array) -> NDArray[np.bool_]:
    return (values >= grid[0] - 1e-6) & (values <= grid[-1] + 1e-6)
