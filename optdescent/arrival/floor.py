"""The floor: the lowest altitude that terrain and obstacles allow, by distance to go.

Between two points the floor is straight; outside them it stays at the nearest one. A straight line has no step at which
a flight would have to jump, and it follows a slope closer than a stair does; a stair is two points close together. The
floor holds until the glide path is captured: from there the glide path keeps clear of the ground.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optdescent.inputs import Declared, quantity


class FloorPoint(Declared):
    """One point of the floor."""

    distance: float = quantity("nm", 0, 400, "distance to go to the threshold along the track")
    altitude: float = quantity("ft", -1000, 60000, "lowest altitude allowed")


def farthest_first(floor: Sequence[FloorPoint]) -> tuple[int, ...]:
    """Indices [-] of the points from the farthest to the nearest."""
    return tuple(sorted(range(len(floor)), key=lambda index: -floor[index].distance))


def floor_at(distances: ArrayLike, altitudes: ArrayLike, to_go: ArrayLike) -> NDArray[np.float64]:
    """Lowest altitude (n,) [m] at distances to go (n,) [m], from the points' distances and altitudes (k,) [m]."""
    distance, altitude = (np.asarray(values, dtype=float) for values in (distances, altitudes))
    order = np.argsort(distance, kind="stable")
    return np.interp(np.asarray(to_go, dtype=float), distance[order], altitude[order])
