"""Cubic tables over two abscissae with fixed knots: the tensor product of two `CubicTable`s.

The value at (x, y) is a double sum of coefficients over one-sided powers of both. As in one dimension, the sums over
the knots passed are constant between knots: they give the coefficients of one bicubic, and derivatives of any order
cost no further sums.
"""

from __future__ import annotations

from dataclasses import dataclass

import casadi as ca
import numpy as np
from numpy.typing import ArrayLike, NDArray

from optdescent.curves.elementary import Value, is_symbolic
from optdescent.curves.tables import CubicTable


@dataclass(frozen=True)
class CubicSheet:
    """Natural cubic splines through values on a grid of fixed knots, linear outside it; twice differentiable.

    References
    ----------
    de Boor, A Practical Guide to Splines, rev. ed. 2001, chapter XVII (tensor products).
    """

    across: CubicTable
    along: CubicTable

    @property
    def size(self) -> int:
        """Number of coefficients [-]."""
        return self.across.size * self.along.size

    def coefficients(self, values: ArrayLike) -> NDArray[np.float64]:
        """Coefficients (size,) of the sheet through ``values`` (knots across, knots along) [unit of f]."""
        grid = np.asarray(values, dtype=float)
        half = np.stack([self.along.coefficients(row) for row in grid])
        return np.stack([self.across.coefficients(column) for column in half.T], axis=1).ravel()

    def place(self, x: Value, y: Value) -> tuple[tuple[Value, Value], tuple[Value, Value]]:
        """Where (x, y) lies among the knots of both tables; shared by every sheet over these knots [-]."""
        return self.across.place(x), self.along.place(y)

    def combine(
        self, coefficients: Value, place: tuple[tuple[Value, Value], tuple[Value, Value]]
    ) -> tuple[Value, Value, Value]:
        """Value [unit of f] and its slopes with x and y [unit of f per unit] where `place` says."""
        (u, beyond_x), (v, beyond_y) = place
        if is_symbolic(coefficients, u, v):
            return self._symbolic(coefficients, place)
        grid = np.asarray(coefficients, dtype=float).reshape(self.across.size, self.along.size)
        u, v = np.broadcast_arrays(np.asarray(u, dtype=float), np.asarray(v, dtype=float))
        shape = u.shape
        x_value, x_slope = self.across.basis(u.ravel(), _flat(beyond_x, shape))
        y_value, y_slope = self.along.basis(v.ravel(), _flat(beyond_y, shape))
        half = grid @ y_value
        value, by_x, by_y = x_value * half, x_slope * half, x_value * (grid @ y_slope)
        return _summed(value, shape), _summed(by_x, shape), _summed(by_y, shape)

    def _symbolic(
        self, coefficients: Value, place: tuple[tuple[Value, Value], tuple[Value, Value]]
    ) -> tuple[Value, Value, Value]:
        (u, beyond_x), (v, beyond_y) = place
        column = ca.DM(coefficients.tolist()) if isinstance(coefficients, np.ndarray) else coefficients
        grid = ca.transpose(ca.reshape(column, self.along.size, self.across.size))
        sums = ca.mtimes(grid, ca.transpose(self.along.passed(beyond_y)))
        sums = ca.mtimes(self.across.passed(beyond_x), sums)
        x_value, x_slope = self.across.powers(u)
        y_value, y_slope = self.along.powers(v)
        half = ca.mtimes(sums, y_value)
        return ca.dot(x_value, half), ca.dot(x_slope, half), ca.dot(x_value, ca.mtimes(sums, y_slope))


def _flat(beyond: Value, shape: tuple[int, ...]) -> NDArray[np.float64]:
    """Which knots are passed (knots, points), of values that may have been broadcast."""
    found = np.asarray(beyond, dtype=float)
    missing = len(shape) - (found.ndim - 1)
    found = found.reshape(found.shape[0], *([1] * missing), *found.shape[1:])
    return np.broadcast_to(found, (found.shape[0], *shape)).reshape(found.shape[0], -1)


def _summed(terms: NDArray[np.float64], shape: tuple[int, ...]) -> Value:
    """Sum over the coefficients of terms (size, points), in the shape of the points."""
    return np.sum(terms, axis=0).reshape(shape)[()]
