"""Wind looked up for many flights at once, each in its own wind."""

from __future__ import annotations

from functools import lru_cache

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.field import ColumnField, WindField
from optdescent.curves import CubicTable
from optdescent.curves.elementary import stacked
from optdescent.curves.lanes import Known, Lanes

Array = NDArray[np.float64]


class WindLookup:
    """The winds of many flights: coefficients (field.size, lanes) [m/s] of one field.

    A wind by height is looked up in the cubic of its interval; any other field is evaluated.
    """

    def __init__(self, field: WindField, coefficients: Array) -> None:
        lanes = coefficients.shape[1]
        self._cubics = _Cubics(field.table, coefficients) if isinstance(field, ColumnField) else None
        self._evaluated = None if self._cubics else Lanes(_sampled(field), lanes, Known({0: coefficients}))

    def at(self, distance: Array | float, height: Array, into: Array) -> None:
        """Wind as `GIVEN` takes it (6, lanes) [m/s, 1/s], at coordinates [m] and heights above sea level [m] (lanes,).

        What does not depend on distance leaves the slopes along the track as they are: begin with zeros.
        """
        if self._cubics is not None:
            self._cubics.fill(height, into)
        elif self._evaluated is not None:
            (into[...],) = self._evaluated(np.broadcast_to(distance, height.shape)[None], height[None])


@lru_cache(maxsize=8)
def _sampled(field: WindField) -> ca.Function:
    coefficients, distance, height = ca.SX.sym("c", field.size), ca.SX.sym("x"), ca.SX.sym("h")
    sample = field.sample(coefficients, distance, height)
    return ca.Function("wind", [coefficients, distance, height], [stacked(list(vars(sample).values()))], {"cse": True})


class _Cubics:
    """Two splines of each lane as the four coefficients of each interval's cubic (see `CubicTable.combine`).

    Between two looks few lanes leave their interval: the coefficients of those they are in are at hand, and only the
    lanes that left are looked up.
    """

    def __init__(self, table: CubicTable, coefficients: Array) -> None:
        knots, lanes = np.asarray(table.knots), coefficients.shape[1]
        self._knots, self._middle = knots, 0.5 * (knots[0] + knots[-1])
        self._bounds = np.concatenate([[-np.inf], knots, [np.inf]])
        halves = coefficients[: table.size], coefficients[table.size :]
        powers = np.array([_intervals(knots, half) for half in halves])
        self._table = powers.transpose(2, 3, 1, 0).reshape(lanes, knots.size + 1, -1)
        self._at_hand = np.full((4, 2, lanes), np.nan)
        self._low, self._high = np.full(lanes, np.nan), np.full(lanes, np.nan)
        self._u, self._sum = np.empty((2, lanes)), np.empty((2, lanes))
        self._under_low, self._under_high = np.empty(lanes, dtype=np.bool_), np.empty(lanes, dtype=np.bool_)

    def fill(self, height: Array, into: Array) -> None:
        """Both values and their slopes by height, by Horner's rule for a cubic and its slope at once."""
        self._enter(height)
        u, part, value, slope = self._u, self._sum, into[:2], into[2:4]
        np.subtract(height, self._middle, u[0])
        u[1] = u[0]
        zeroth, first, second, third = self._at_hand
        np.multiply(third, u, part)
        np.add(part, second, value)
        np.add(part, value, slope)
        np.multiply(value, u, value)
        np.add(value, first, value)
        np.multiply(slope, u, slope)
        np.add(slope, value, slope)
        np.multiply(value, u, value)
        np.add(value, zeroth, value)

    def _enter(self, height: Array) -> None:
        """Look up the intervals of those lanes that have left theirs; what is not a number has none."""
        np.less_equal(height, self._low, self._under_low)
        np.less_equal(height, self._high, self._under_high)
        (lanes,) = np.equal(self._under_low, self._under_high, self._under_low).nonzero()
        if lanes.size:
            intervals: NDArray[np.int64] = np.asarray(np.searchsorted(self._knots, height[lanes]), dtype=np.int64)
            self._low[lanes], self._high[lanes] = self._bounds[intervals], self._bounds[intervals + 1]
            self._at_hand[:, :, lanes] = self._table[lanes, intervals].T.reshape(-1, 2, lanes.size)


def _intervals(knots: Array, coefficients: Array) -> Array:
    """Coefficients (power, lane, interval) of u⁰ to u³ [SI], u being the height above the middle of the knots [m]."""
    spacing, middle = (knots[-1] - knots[0]) / (knots.size - 1), 0.5 * (knots.size - 1)
    jumps = coefficients[2:].T
    powers = ((knots - knots[0]) / spacing - middle)[None, :] ** np.arange(4)[:, None]
    none = np.zeros((jumps.shape[0], 1))
    sums = [np.concatenate([none, np.cumsum(jumps * power, axis=1)], axis=1) for power in powers]
    zeroth = (coefficients[0] + coefficients[1] * middle)[:, None] - sums[3]
    found = np.array([zeroth, coefficients[1][:, None] + 3.0 * sums[2], -3.0 * sums[1], sums[0]])
    return np.asarray(found / spacing ** np.arange(4)[:, None, None])
