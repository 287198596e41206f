"""A solution's neighbour: Newton's method on the optimality conditions, with the limits that were active kept active.

After a small change of the parameters mostly the same limits hold. The optimality conditions are then equations, and
the matrix factored once at the first solution serves every step towards every neighbour (the chord method: Kelley,
Iterative Methods for Linear and Nonlinear Equations, 1995, section 5.4). Where a limit is passed or a multiplier turns,
the active limits change and the matrix is factored again (primal-dual active sets: Hintermueller, Ito, Kunisch, SIAM
Journal on Optimization 13, 2002), a few times at most; if that does not settle it, the interior point has to be asked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import casadi as ca
import numpy as np
from numpy.typing import NDArray
from scipy.sparse import block_array, csc_array, diags_array, eye_array
from scipy.sparse.linalg import SuperLU, splu

from optdescent.ocp.assemble import Functions
from optdescent.ocp.basis import Array
from optdescent.ocp.limits import Box
from optdescent.ocp.solution import Raw

_REGULAR = 1e-9
_STEPS = 14
_UPDATES = 5
_SETTLED = 1e-9
_MOST_FAILURES = 3
_SETTLING = 2
_CONTRACTION = 0.7
_PASSED = 1e-8
_TURNED = 1e-7
_LEAST_TOUCH = 1e-6


@dataclass(frozen=True)
class Neighbour:
    """What was found: the vectors, the steps taken, and the largest residual of the optimality conditions."""

    raw: Raw
    steps: int
    residual: float


@dataclass(frozen=True)
class Active:
    """Which columns and rows are held, and whether at their upper limit; an equation is always held."""

    columns: NDArray[np.bool_]
    columns_high: NDArray[np.bool_]
    rows: NDArray[np.bool_]
    rows_high: NDArray[np.bool_]


@dataclass(frozen=True)
class _Point:
    """Columns and row multipliers, with the steps it took to come here."""

    x: Array
    lam: Array
    steps: int = 0


@dataclass(frozen=True)
class _End:
    """Where the steps ended: the point, the gradient of the Lagrangian, the rows, the largest residual."""

    point: _Point
    pull: Array
    value: Array
    residual: float


class Chord:
    """The optimality conditions around one solution; its factored matrix serves every neighbour."""

    def __init__(self, functions: Functions, base: Raw, p: Array, box: Box) -> None:
        self.base = base
        self._slopes = _Slopes(functions)
        self._active = active_limits(base, self._slopes.rows(base.x, p)[0], box)
        self._point = _Point(base.x, base.lam_g)
        self._matrix = self._factored(self._point, self._active, p)
        settled = self._pursued(p, box, _SETTLED)
        self._failures = 0 if settled is not None else _MOST_FAILURES
        if settled is not None:
            end, self._active, self._matrix = settled
            self._point = _Point(end.point.x, end.point.lam)

    @property
    def is_useful(self) -> bool:
        """Whether it holds at its own solution and has not failed too often in a row."""
        return self._failures < _MOST_FAILURES

    def to(self, p: Array, box: Box, tolerance: float) -> Neighbour | None:
        """The solution for other parameters and limits, all scaled [-], or None if it is not a neighbour."""
        found = self._pursued(p, box, tolerance)
        if found is None:
            self._failures += 1
            return None
        self._failures = 0
        end, active, _ = found
        raw = Raw(end.point.x, np.where(active.columns, -end.pull, 0.0), end.point.lam, self.base.scales)
        return Neighbour(raw, end.point.steps, end.residual)

    def _pursued(self, p: Array, box: Box, tolerance: float) -> tuple[_End, Active, SuperLU] | None:
        """The point at which the conditions hold, after as many changes of the active limits as are worth trying."""
        point, active, matrix = self._point, self._active, self._matrix
        for _ in range(_UPDATES):
            end = self._stepped(point, active, matrix, p, box, tolerance)
            point = end.point
            if not np.isfinite(end.residual):
                return None
            if end.residual <= tolerance:
                changed = _mended(end, active, box)
                if changed is None:
                    return end, active, matrix
                active = changed
            matrix = self._factored(point, active, p)
        return None

    def _stepped(self, point: _Point, active: Active, matrix: SuperLU, p: Array, box: Box, tolerance: float) -> _End:
        """Chord steps until the residual is below the tolerance or closes in on it no more."""
        x = np.where(active.columns, np.where(active.columns_high, box.high, box.low), point.x)
        lam = np.where(active.rows, point.lam, 0.0)
        free, rows = np.flatnonzero(~active.columns), np.flatnonzero(active.rows)
        wanted = np.where(active.rows_high, box.row_high, box.row_low)
        before, step = np.inf, 0
        while True:
            value, jacobian = self._slopes.rows(x, p)
            pull = self._slopes.cost(x, p) + jacobian.T @ lam
            right = np.concatenate([-pull[free], (wanted - value)[rows]])
            residual = float(np.max(np.abs(right), initial=0.0))
            lost = not np.isfinite(residual) or (step > _SETTLING and residual > _CONTRACTION * before)
            if residual <= tolerance or lost or step == _STEPS:
                return _End(_Point(x, lam, point.steps + step), pull, value, residual)
            before, step = residual, step + 1
            change = matrix.solve(right)
            x[free] += change[: free.size]
            lam[rows] += change[free.size :]

    def _factored(self, point: _Point, active: Active, p: Array) -> SuperLU:
        free, rows = np.flatnonzero(~active.columns), np.flatnonzero(active.rows)
        lam = np.where(active.rows, point.lam, 0.0)
        curve = self._slopes.curve(point.x, p, lam)[free][:, free]
        part = self._slopes.rows(point.x, p)[1][rows][:, free]
        shift = _REGULAR * eye_array(free.size), -_REGULAR * eye_array(rows.size)
        return splu(csc_array(block_array([[curve + shift[0], part.T], [part, shift[1]]], format="csc")))


def _mended(end: _End, active: Active, box: Box) -> Active | None:
    """Limits that are passed become active, those whose multiplier has turned are let go; None if all is well."""
    x, lam, pull, value = end.point.x, end.point.lam, end.pull, end.value
    under, over = x < box.low - _PASSED, x > box.high + _PASSED
    row_under, row_over = value < box.row_low - _PASSED, value > box.row_high + _PASSED
    wrong = active.columns & (box.low < box.high) & (np.where(active.columns_high, -pull, pull) < -_TURNED)
    row_wrong = active.rows & (box.row_low < box.row_high) & (np.where(active.rows_high, lam, -lam) < -_TURNED)
    new, row_new = (under | over) & ~active.columns, (row_under | row_over) & ~active.rows
    if not (new.any() or row_new.any() or wrong.any() or row_wrong.any()):
        return None
    return Active(
        (active.columns | new) & ~wrong,
        np.where(new, over, active.columns_high),
        (active.rows | row_new) & ~row_wrong,
        np.where(row_new, row_over, active.rows_high),
    )


def active_limits(base: Raw, value: Array, box: Box) -> Active:
    """Columns held at a limit, and rows that are equations or held at a limit, all scaled [-]."""
    push, row_push = (np.maximum(np.abs(lam), _LEAST_TOUCH) for lam in (base.lam_x, base.lam_g))
    columns = (box.low == box.high) | (np.minimum(base.x - box.low, box.high - base.x) < push)
    room = np.minimum(value - box.row_low, box.row_high - value)
    return Active(
        columns,
        np.abs(box.high - base.x) < np.abs(base.x - box.low),
        (box.row_low == box.row_high) | (room < row_push),
        np.abs(box.row_high - value) < np.abs(value - box.row_low),
    )


def symmetric(upper: csc_array) -> csc_array:
    """The symmetric matrix (n, n) [-] of its upper triangle."""
    return csc_array(upper + upper.T - diags_array(upper.diagonal()))


class _Slopes:
    """Values and derivatives of a program as arrays, written by the compiled functions without a copy in between."""

    def __init__(self, functions: Functions) -> None:
        self._gradient = _Evaluated(functions.gradient)
        self._jacobian = _Evaluated(functions.jacobian)
        self._hessian = _Evaluated(functions.hessian)

    def cost(self, x: Array, p: Array) -> Array:
        """Gradient (n,) of the cost."""
        return self._gradient(x, p)[1]

    def rows(self, x: Array, p: Array) -> tuple[Array, csc_array]:
        """Rows (m,) and their derivative (m, n)."""
        value, entries = self._jacobian(x, p)
        return value, self._jacobian.matrix(1, entries)

    def curve(self, x: Array, p: Array, lam: Array) -> csc_array:
        """Second derivative (n, n) of the Lagrangian."""
        return symmetric(self._hessian.matrix(0, self._hessian(x, p, np.ones(1), lam)[0]))


class _Evaluated:
    """A compiled function on arrays; results are the nonzeros of its outputs."""

    def __init__(self, function: ca.Function) -> None:
        # CasADi's stubs ask for a size that the memory view carries.
        buffer, run = function.buffer()
        self._buffer: Any = buffer
        self._run = run
        count = function.n_out()
        self._outputs = [np.zeros(function.nnz_out(i)) for i in range(count)]
        for i, output in enumerate(self._outputs):
            self._buffer.set_res(i, output.data)
        patterns = [function.sparsity_out(i) for i in range(count)]
        self._shapes = [(pattern.size1(), pattern.size2()) for pattern in patterns]
        self._rows = [np.asarray(pattern.row(), dtype=np.int64) for pattern in patterns]
        self._starts = [np.asarray(pattern.colind(), dtype=np.int64) for pattern in patterns]

    def __call__(self, *arguments: Array) -> list[Array]:
        kept = [np.ascontiguousarray(argument, dtype=float) for argument in arguments]
        for i, argument in enumerate(kept):
            self._buffer.set_arg(i, argument.data)
        self._run()
        return [output.copy() for output in self._outputs]

    def matrix(self, output: int, entries: Array) -> csc_array:
        """An output as a matrix, from its nonzeros."""
        return csc_array((entries, self._rows[output], self._starts[output]), shape=self._shapes[output])
