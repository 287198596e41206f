"""Flights as a sweep keeps them: columns at distances to go that all its cases share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from optdescent.results.flight import Flight
from optdescent.results.schema import COLUMNS
from optdescent.results.sweep import SweepColumn

Array = NDArray[np.float64]
DISTANCE = "distance_to_go"
"""Dimension and coordinate of what is kept."""
_AT_ITS_END = 1.0
"""Distance [m] by which rounding may set a flight's end off the threshold or the start."""


def kept_column(name: str, dims: tuple[str, ...] = ()) -> SweepColumn:
    """Column [SI] of a flight under the name it has in a sweep, where flights may be one for each of a dimension."""
    own = COLUMNS[name]
    return SweepColumn(replace(own, name="_".join((*dims, "flown", own.name))), dims=(*dims, DISTANCE))


def kept_coordinate(distances: Sequence[float]) -> tuple[Array, dict[str, str]]:
    """Distances to go [m] at which flights are kept, and their attributes."""
    own = COLUMNS[DISTANCE]
    return np.array(distances), {"units": own.unit, "long_name": own.long_name}


def kept_values(flight: Flight, name: str, distances: Sequence[float]) -> Array:
    """A column of a flight [SI] at distances to go [m]; not a number beyond its ends."""
    x, at = -flight.column(DISTANCE), -np.array(distances)
    is_flown = (at > x[0] - _AT_ITS_END) & (at < x[-1] + _AT_ITS_END)
    return np.where(is_flown, np.interp(at, x, flight.column(name)), np.nan)
