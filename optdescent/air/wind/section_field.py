"""Wind over distance and height: what the forms that vary along the track are evaluated with."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optdescent.air.wind.field import COLUMN_HEIGHTS, WindSample
from optdescent.curves import CubicSheet, CubicTable, Value
from optdescent.units import NAUTICAL_MILE

_ROUNDING = 1e-6
WIDEST = 40.0 * NAUTICAL_MILE
"""Largest distance [m] between knots along the track."""
NEAREST = 0.5 * NAUTICAL_MILE
"""Least distance [m] between two knots along the track."""
BEYOND = 10.0 * NAUTICAL_MILE
"""How far the knots go beyond the start of the flight and the threshold [m]."""


@dataclass(frozen=True)
class SectionField:
    """Wind over distance and height: two sheets of natural cubic splines over fixed knots.

    ``distances`` are coordinates along the track [m], rising, 0 at the threshold; ``heights`` as in `ColumnField`.
    Outside the knots the sheets are linear; the forms that fill them hold the wind constant beyond their data, within.
    """

    distances: tuple[float, ...]
    heights: tuple[float, ...] = COLUMN_HEIGHTS

    @property
    def sheet(self) -> CubicSheet:
        """Splines over distances and heights."""
        return CubicSheet(CubicTable(self.distances), CubicTable(self.heights))

    @property
    def size(self) -> int:
        """Number of coefficients [-]: east, then north."""
        return 2 * self.sheet.size

    def sample(self, coefficients: Value, distance: Value, height: Value) -> WindSample:
        """Wind [m/s] at a coordinate along the track [m] and geopotential height [m]."""
        sheet = self.sheet
        place = sheet.place(distance, height)
        east, east_along, east_up = sheet.combine(coefficients[: sheet.size], place)
        north, north_along, north_up = sheet.combine(coefficients[sheet.size :], place)
        return WindSample(east, north, east_up, north_up, east_along, north_along)

    def tailwind(self, course: float, low: float, high: float) -> NDArray[np.float64]:
        """Coefficients (size,) of 1 m/s along a course [rad] at the knots with low <= height < high [m]."""
        inside = (np.asarray(self.heights) >= low - _ROUNDING) & (np.asarray(self.heights) < high - _ROUNDING)
        everywhere = np.ones((len(self.distances), 1)) * inside
        return self.from_values(np.sin(course) * everywhere, np.cos(course) * everywhere)

    def from_values(self, east: ArrayLike, north: ArrayLike) -> NDArray[np.float64]:
        """Coefficients (size,) [m/s] from wind towards east and north [m/s] at the knots (distances, heights)."""
        return np.concatenate([self.sheet.coefficients(east), self.sheet.coefficients(north)])


def knots_along(start_distance: float, places: Iterable[float] = ()) -> tuple[float, ...]:
    """Knots [m] from beyond the start of a flight (distance to go [m]) to beyond the threshold.

    All ``places`` [m] in between are among them, and no two are farther apart than `WIDEST`.
    """
    low, high = -start_distance - BEYOND, BEYOND
    inner = sorted(p for p in places if low + NEAREST < p < high - NEAREST)
    fixed = [low, *(p for p, before in zip(inner, [low, *inner], strict=False) if p - before >= NEAREST), high]
    knots = [low]
    for before, after in pairwise(fixed):
        parts = int(np.ceil((after - before) / WIDEST - _ROUNDING))
        knots += [before + (after - before) * part / parts for part in range(1, parts + 1)]
    return tuple(float(knot) for knot in knots)
