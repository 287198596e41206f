"""Cubic tables with fixed knots: the same code evaluates numbers and symbols, and the coefficients may be parameters.

A natural cubic spline is written with one-sided powers, f(x) = a + b u + Σ d_j max(0, u − u_j)³. That form has no
look-up, so it works for CasADi expressions; it is linear in its coefficients, so a table may change without the
expression being rebuilt; and tables over the same knots share the place.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import lru_cache

import casadi as ca
import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.interpolate import CubicSpline

from optdescent.curves.elementary import Value, is_symbolic


@dataclass(frozen=True)
class CubicTable:
    """Natural cubic spline through values at fixed knots, linear outside them (twice continuously differentiable).

    Parameters
    ----------
    knots : tuple of float
        Rising abscissae [unit of x].

    References
    ----------
    de Boor, A Practical Guide to Splines, rev. ed. 2001, chapter IV (natural end conditions).
    """

    knots: tuple[float, ...]
    _spacing: float = field(init=False, repr=False, default=1.0)

    def __post_init__(self) -> None:
        """Check the knots.

        Raises
        ------
        ValueError
            Fewer than three knots, or knots that do not rise.
        """
        if len(self.knots) < 3 or any(b <= a for a, b in zip(self.knots, self.knots[1:], strict=False)):
            raise ValueError(f"a table needs at least three rising knots, got {self.knots}")
        object.__setattr__(self, "_spacing", (self.knots[-1] - self.knots[0]) / (len(self.knots) - 1))

    @property
    def size(self) -> int:
        """Number of coefficients [-]: two for the straight line and one for each knot."""
        return len(self.knots) + 2

    @property
    def _from_values(self) -> NDArray[np.float64]:
        """Matrix (size, knots) that turns values at the knots into coefficients."""
        return _matrix(self.knots, self._spacing)

    def coefficients(self, values: ArrayLike) -> NDArray[np.float64]:
        """Coefficients (size,) of the table through `values` (knots,) [unit of f]."""
        return self._from_values @ np.asarray(values, dtype=float)

    def fitted(self, at: ArrayLike, values: ArrayLike, spacing: float) -> NDArray[np.float64]:
        """Values (knots, ...) [unit of f] at the knots whose spline fits best what is known at other places.

        ``values`` (n, ...) at ``at`` (n,), rising [unit of x], are joined by straight lines and held constant beyond;
        the fit is of least squares at places ``spacing`` [unit of x] apart.
        """
        places, smoother = _smoother(self.knots, spacing)
        known = np.asarray(values, dtype=float).reshape(np.size(at), -1)
        drawn = np.column_stack([np.interp(places, np.asarray(at, dtype=float), column) for column in known.T])
        return (smoother @ drawn).reshape(len(self.knots), *np.shape(values)[1:])

    def values_gradient(self, by_coefficients: ArrayLike) -> NDArray[np.float64]:
        """Gradient [per unit of f] by the knot values (knots,), from a gradient by the coefficients (size,)."""
        return self._from_values.T @ np.asarray(by_coefficients, dtype=float)

    def place(self, x: Value) -> tuple[Value, Value]:
        """Where x lies: x in knot spacings from the first knot, and for each knot whether x is beyond it (1) [-].

        Shared by every table over these knots.
        """
        u = (x - self.knots[0]) / self._spacing
        places = (np.asarray(self.knots) - self.knots[0]) / self._spacing
        if is_symbolic(u):
            return u, u > ca.DM(places)
        u = np.asarray(u, dtype=float)
        return u[()], (u > places.reshape(-1, *[1] * u.ndim)).astype(float)

    def value_and_slope(self, coefficients: Value, x: Value) -> tuple[Value, Value]:
        """Value [unit of f] and slope [unit of f per unit of x] at x.

        Parameters
        ----------
        coefficients : array (size,) or CasADi column
            From `coefficients`.
        x : float, array or CasADi expression
            Abscissa [unit of the knots].
        """
        return self.combine(coefficients, self.place(x))

    def combine(self, coefficients: Value, place: tuple[Value, Value]) -> tuple[Value, Value]:
        """Value [unit of f] and slope [unit of f per unit of x] where `place` says.

        Notes
        -----
        Σ d_j max(0, u − u_j)³ over the knots passed is one cubic in u; its four coefficients are sums of d_j, d_j u_j,
        d_j u_j² and d_j u_j³ over those knots. They are constant between knots, so derivatives of any order cost no
        further sums. The cubic is taken about the middle of the knots, where the sums cancel least.
        """
        u, beyond = place
        middle = 0.5 * (len(self.knots) - 1)
        knots = (np.asarray(self.knots) - self.knots[0]) / self._spacing - middle
        w = u - middle
        sums = self._sums(coefficients, beyond, knots, 4)
        value = (
            coefficients[0] + coefficients[1] * u + ((sums[0] * w - 3.0 * sums[1]) * w + 3.0 * sums[2]) * w - sums[3]
        )
        slope = coefficients[1] + (3.0 * sums[0] * w - 6.0 * sums[1]) * w + 3.0 * sums[2]
        return value, slope / self._spacing

    def integral(self, coefficients: Value, place: tuple[Value, Value]) -> Value:
        """Integral [unit of f times unit of x] from the first knot to where `place` says."""
        u, beyond = place
        middle = 0.5 * (len(self.knots) - 1)
        knots = (np.asarray(self.knots) - self.knots[0]) / self._spacing - middle
        w = u - middle
        sums: list[Value] = self._sums(coefficients, beyond, knots, 5)
        quartic = (((sums[0] * w - 4.0 * sums[1]) * w + 6.0 * sums[2]) * w - 4.0 * sums[3]) * w + sums[4]
        return self._spacing * (coefficients[0] * u + 0.5 * coefficients[1] * u**2 + 0.25 * quartic)

    @staticmethod
    def _sums(coefficients: Value, beyond: Value, knots: NDArray[np.float64], count: int) -> list[Value]:
        """Sums of the jumps at the knots passed, times powers of the knots."""
        if is_symbolic(coefficients, beyond):
            jumps = coefficients[2:] * beyond
            return [ca.dot(jumps, ca.DM(knots**power)) for power in range(count)]
        if np.ndim(coefficients) == 1:
            # the knots passed are the first ones: their sums are looked up, added up in the same order as below
            passed = np.sum(beyond, axis=0).astype(np.int64)
            sums = np.cumsum(np.asarray(coefficients)[2:] * knots ** np.arange(count)[:, None], axis=1)
            return list(np.concatenate([np.zeros((count, 1)), sums], axis=1)[:, passed])
        jumps = [c * b for c, b in zip(coefficients[2:], beyond, strict=True)]
        return [sum(j * k for j, k in zip(jumps, knots**power, strict=True)) for power in range(count)]

    def basis(self, u: NDArray[np.float64], beyond: NDArray[np.float64]) -> tuple[NDArray[np.float64], ...]:
        """What each coefficient contributes to value and slope (size, points), from the parts of `place` [-]."""
        knots = (np.asarray(self.knots) - self.knots[0]) / self._spacing
        over = np.where(beyond > 0.0, u - knots[:, None], 0.0)
        still, one = np.zeros((1, u.size)), np.ones((1, u.size))
        value = np.vstack([one, u[None, :], over**3])
        return value, np.vstack([still, one, 3.0 * over**2]) / self._spacing

    def passed(self, beyond: ca.SX) -> ca.SX:
        """Matrix (6, size) [-] that sums coefficients into those of one cubic: constant between knots."""
        middle = 0.5 * (len(self.knots) - 1)
        knots = (np.asarray(self.knots) - self.knots[0]) / self._spacing - middle
        sums = ca.vertcat(*[(beyond * ca.DM(knots**power)).T for power in range(4)])
        return ca.diagcat(ca.SX.eye(2), sums)

    def powers(self, u: ca.SX) -> tuple[ca.SX, ca.SX]:
        """What the six sums of `passed` are multiplied by for value and slope (6,) [-, per unit of x]."""
        w = u - 0.5 * (len(self.knots) - 1)
        value = ca.vertcat(1.0, u, w**3, -3.0 * w**2, 3.0 * w, -1.0)
        return value, ca.vertcat(0.0, 1.0, 3.0 * w**2, -6.0 * w, 3.0, 0.0) / self._spacing


@lru_cache(maxsize=64)
def _matrix(knots: tuple[float, ...], spacing: float) -> NDArray[np.float64]:
    """Matrix (knots + 2, knots) that turns values at knots [unit of x] into coefficients: the same for all tables."""
    count = len(knots)
    u = (np.asarray(knots) - knots[0]) / spacing
    spline = CubicSpline(u, np.eye(count), bc_type="natural")
    thirds = np.asarray(spline.c[0])
    jumps = np.diff(np.vstack([np.zeros((1, count)), thirds, np.zeros((1, count))]), axis=0)
    matrix = np.vstack([np.eye(count)[:1], np.asarray(spline(0.0, 1))[None, :], jumps])
    matrix.flags.writeable = False
    return matrix


@lru_cache(maxsize=8)
def _smoother(knots: tuple[float, ...], spacing: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Places between the knots, and the matrix (knots, places) from values there to the best values at the knots."""
    table = CubicTable(knots)
    places = np.arange(knots[0], knots[-1] + 0.5 * spacing, spacing)
    shape = [table.value_and_slope(table.coefficients(unit), places)[0] for unit in np.eye(len(knots))]
    return places, np.asarray(np.linalg.pinv(np.column_stack(shape)), dtype=float)
