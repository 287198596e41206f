"""Wind looked up for many flights at once, each in its own wind."""

from __future__ import annotations

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.field import ColumnField, WindField
from optdescent.air.wind.given import GIVEN
from optdescent.curves import CubicTable
from optdescent.curves.elementary import stacked
from optdescent.curves.lanes import Lanes

Array = NDArray[np.float64]


class WindLookup:
    """The winds of many flights: coefficients (field.size, lanes) [m/s] of one field.

    A wind by height is looked up in the cubic of its interval; any other field is evaluated.
    """

    def __init__(self, field: WindField, coefficients: Array) -> None:
        self.found = np.zeros((GIVEN.size, coefficients.shape[1]))
        self._cubics = _Cubics(field.table, coefficients) if isinstance(field, ColumnField) else None
        self._coefficients = coefficients
        self._evaluated = None if self._cubics else Lanes(_sampled(field), coefficients.shape[1])

    def at(self, distance: Array, height: Array) -> Array:
        """Wind (6, lanes) [m/s, 1/s] as `GIVEN` takes it, at coordinates [m] and heights above sea level [m] (lanes,).

        The next call overwrites it.
        """
        if self._cubics is not None:
            self._cubics.fill(height, self.found)
        elif self._evaluated is not None:
            (self.found,) = self._evaluated(self._coefficients, distance[None], height[None])
        return self.found


def _sampled(field: WindField) -> ca.Function:
    coefficients, distance, height = ca.SX.sym("c", field.size), ca.SX.sym("x"), ca.SX.sym("h")
    sample = field.sample(coefficients, distance, height)
    return ca.Function("wind", [coefficients, distance, height], [stacked(list(vars(sample).values()))], {"cse": True})


class _Cubics:
    """Two splines of each lane as the four coefficients of each interval's cubic (see `CubicTable.combine`)."""

    def __init__(self, table: CubicTable, coefficients: Array) -> None:
        knots = np.asarray(table.knots)
        self._first, self._spacing = knots[0], (knots[-1] - knots[0]) / (knots.size - 1)
        self._places = (knots - self._first) / self._spacing
        self._middle = 0.5 * (knots.size - 1)
        rows: NDArray[np.int64] = np.arange(coefficients.shape[1], dtype=np.int64) * (knots.size + 1)
        self._rows = rows
        halves = coefficients[: table.size], coefficients[table.size :]
        self._parts = [self._intervals(half) for half in halves]

    def _intervals(self, coefficients: Array) -> list[Array]:
        """Coefficients of w⁰ to w³ in each interval of each lane, lane by lane."""
        jumps = coefficients[2:].T
        powers = (self._places - self._middle)[None, :] ** np.arange(4)[:, None]
        none = np.zeros((jumps.shape[0], 1))
        sums = [np.concatenate([none, np.cumsum(jumps * power, axis=1)], axis=1) for power in powers]
        zeroth = (coefficients[0] + coefficients[1] * self._middle)[:, None] - sums[3]
        return [part.ravel() for part in (zeroth, coefficients[1][:, None] + 3.0 * sums[2], -3.0 * sums[1], sums[0])]

    def fill(self, height: Array, found: Array) -> None:
        u = (height - self._first) / self._spacing
        intervals: NDArray[np.int64] = np.asarray(np.searchsorted(self._places, u), dtype=np.int64)
        index: NDArray[np.int64] = np.asarray(self._rows + intervals, dtype=np.int64)
        w = u - self._middle
        for at, parts in enumerate(self._parts):
            zeroth, first, second, third = (part.take(index) for part in parts)
            found[at] = ((third * w + second) * w + first) * w + zeroth
            found[at + 2] = ((3.0 * third * w + 2.0 * second) * w + first) / self._spacing
