"""The contract of every wind form, and the height column that the forms without distance share.

A wind has two parts. Its *field* says how it is evaluated: fields that are equal share one compiled problem. Its
*coefficients* are numbers, and may be parameters of that problem: changing them rebuilds nothing.

Contract of a field
-------------------
1. `sample(coefficients, distance, height)` gives the wind blowing TOWARDS east and north [m/s] and its slopes.
2. It works for numbers, arrays and CasADi expressions.
3. It is twice continuously differentiable in distance and height.
4. It says what it does outside the data.
5. It is linear in its coefficients.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optdescent.curves import CubicTable, Value
from optdescent.units import FOOT


@dataclass(frozen=True)
class WindSample:
    """Wind towards east and north [m/s], and slopes with height and with distance flown [1/s]."""

    east: Value
    north: Value
    east_by_height: Value
    north_by_height: Value
    east_by_distance: Value
    north_by_distance: Value


class WindField(Protocol):
    """How a wind is evaluated (see the contract above)."""

    @property
    def size(self) -> int:
        """Number of coefficients [-]."""
        ...

    def sample(self, coefficients: Value, distance: Value, height: Value) -> WindSample:
        """Wind [m/s] at a distance along the track [m] and a geopotential height above sea level [m]."""
        ...

    def tailwind(self, course: float, low: float, high: float) -> NDArray[np.float64]:
        """Coefficients (size,) of 1 m/s of wind along a course [rad] between two heights [m], none far from them."""
        ...


class Wind(Protocol):
    """A wind: a field and the numbers for it."""

    @property
    def field(self) -> WindField:
        """How it is evaluated."""
        ...

    @property
    def text(self) -> str:
        """All that its numbers depend on beyond the scenario file: the files it was made from."""
        ...

    def coefficients(self) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s] for the field."""
        ...


COLUMN_HEIGHTS = tuple(
    FOOT * height
    for height in (
        *range(-2000, 6000, 1000),
        *range(6000, 18000, 2000),
        *range(18000, 48001, 3000),
    )
)
"""Knots [m, geopotential above sea level] of a wind that varies with height only.

1000 ft apart below 6000 ft, where shear decides an approach; 2000 ft to 18 000 ft; 3000 ft above."""


_ROUNDING = 1e-6


@dataclass(frozen=True)
class ColumnField:
    """Wind that varies with height only: two natural cubic splines over fixed heights.

    Outside the knots the spline is linear; the forms that fill it hold the wind constant beyond their data, within it.
    """

    heights: tuple[float, ...] = COLUMN_HEIGHTS

    @property
    def table(self) -> CubicTable:
        """Spline over the heights."""
        return CubicTable(self.heights)

    @property
    def size(self) -> int:
        """Number of coefficients [-]: east, then north."""
        return 2 * self.table.size

    def sample(self, coefficients: Value, distance: Value, height: Value) -> WindSample:
        """Wind [m/s] at a distance (ignored) [m] and geopotential height [m]."""
        table = self.table
        place = table.place(height)
        east, east_slope = table.combine(coefficients[: table.size], place)
        north, north_slope = table.combine(coefficients[table.size :], place)
        still = 0.0 * distance
        return WindSample(east, north, east_slope, north_slope, still, still)

    def tailwind(self, course: float, low: float, high: float) -> NDArray[np.float64]:
        """Coefficients (size,) of 1 m/s along a course [rad] at the knots with low <= height < high [m].

        Between the band and the next knot outside it falls to nothing.
        """
        inside = (np.asarray(self.heights) >= low - _ROUNDING) & (np.asarray(self.heights) < high - _ROUNDING)
        return self.from_values(np.sin(course) * inside, np.cos(course) * inside)

    def from_values(self, east: ArrayLike, north: ArrayLike) -> NDArray[np.float64]:
        """Coefficients (size,) [m/s] from wind towards east and north [m/s] at the heights (heights,)."""
        return np.concatenate([self.table.coefficients(east), self.table.coefficients(north)])
