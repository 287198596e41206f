"""Values and derivatives of a program as arrays: every piece is called by itself, and its entries are added up.

Nothing is built for this but where the entries go; the interior point's own functions (`assemble`) are not needed.
What is read and written stands in the program's own arrays: one program is not for two threads at a time.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import casadi as ca
import numpy as np
from scipy.sparse import csc_array

from optdescent.buffered import Buffered
from optdescent.ocp.basis import Array, Index
from optdescent.ocp.pattern import Entries, Pattern, added, counted
from optdescent.ocp.piece import Piece


@dataclass(frozen=True)
class Around:
    """Cost [-] and rows (m,) [-] at a point, the gradient (n,) [-] of the cost.

    ``entries`` are the nonzeros [-] of the rows' derivative (m, n), in the order of its ``pattern``.
    """

    cost: float
    value: Array
    gradient: Array
    entries: Array
    pattern: Pattern

    @cached_property
    def slope(self) -> csc_array:
        """The rows' derivative (m, n) [-]."""
        return self.pattern.matrix(self.entries)

    def pull(self, lam: Array) -> Array:
        """Gradient (n,) [-] of the Lagrangian for multipliers (m,) [-]."""
        return self.gradient + self.pattern.across(self.entries, lam)


class Slopes:
    """The rows ``linear @ x`` plus the outputs of ``pieces``, the cost among these, and their derivatives."""

    def __init__(self, linear: Entries, pieces: tuple[Piece, ...]) -> None:
        self._linear, self._pieces = linear, pieces
        self._rows, self._columns = linear.shape
        self._target = np.concatenate([piece.rows.T.ravel() for piece in pieces])
        self._target[self._target < 0] = self._rows

    @property
    def slope_pattern(self) -> Pattern:
        """Of the rows' derivative."""
        return self._slope.pattern

    @property
    def curve_pattern(self) -> Pattern:
        """Of the Lagrangian's second derivative, both triangles."""
        return self._curve[0]

    def values(self, x: Array, p: Array) -> tuple[float, Array]:
        """Cost and rows (m,) at a point, all scaled [-]."""
        return self._summed(x, self._first(x, p)[0])

    def around(self, x: Array, p: Array) -> Around:
        """Cost and rows with their first derivatives at a point, all scaled [-]."""
        outputs, slopes = self._first(x, p)
        entries, gradient = self._slope.summed(slopes)
        return Around(*self._summed(x, outputs), gradient, entries, self._slope.pattern)

    def pull(self, x: Array, p: Array, lam: Array) -> tuple[Array, Array]:
        """Rows (m,) [-] and the gradient (n,) [-] of the Lagrangian."""
        around = self.around(x, p)
        return around.value, around.pull(lam)

    def curve(self, x: Array, p: Array, lam: Array) -> csc_array:
        """Second derivative (n, n) [-] of the Lagrangian."""
        return self.curve_pattern.matrix(self.bent(x, p, lam))

    def bent(self, x: Array, p: Array, lam: Array) -> Array:
        """Nonzeros of the second derivative [-] of the Lagrangian, in the order of ``curve_pattern``."""
        entries = self._second(x, p, np.append(lam, 1.0)[self._target])[0]
        pattern, source = self._curve
        return pattern.summed(entries[source])

    def not_finite(self, x: Array, p: Array) -> tuple[dict[int, int], dict[int, int]]:
        """Row -> first of its points at which what is added up there is not finite: values, then their derivatives.

        The cost's row is the last.
        """
        outputs, slopes = self._first(x, p)
        heights = [piece.rows.shape[0] for piece in self._pieces]
        entries = [piece.kernel.slope_at[0] for piece in self._pieces]
        target = np.concatenate([piece.rows[i].T.ravel() for piece, i in zip(self._pieces, entries, strict=True)])
        target[target < 0] = self._rows
        return (
            _first_bad(outputs, self._target, self._points(heights)),
            _first_bad(slopes, target, self._points([i.size for i in entries])),
        )

    def bend_not_finite(self, x: Array, p: Array) -> dict[int, int]:
        """First row of a piece -> first of its points at which a second derivative of any output is not finite."""
        sizes = [piece.kernel.curve_at[0].size for piece in self._pieces]
        entries = self._second(x, p, np.ones(self._target.size))[0]
        counts = [piece.points * size for piece, size in zip(self._pieces, sizes, strict=True)]
        firsts = [int(piece.rows[0, 0]) for piece in self._pieces]
        return _first_bad(entries, np.repeat(firsts, counts), self._points(sizes))

    def _points(self, sizes: list[int]) -> Index:
        """Which of its piece's points each entry belongs to, for pieces of so many entries a point."""
        pairs = zip(self._pieces, sizes, strict=True)
        return np.concatenate([np.repeat(counted(piece.points), size) for piece, size in pairs])

    def _summed(self, x: Array, outputs: Array) -> tuple[float, Array]:
        total = added(self._target, outputs, self._rows + 1)
        return float(total[-1]), total[:-1] + self._slope.straight(x)

    @cached_property
    def _first(self) -> _Calls:
        return _Calls(self._pieces, [piece.kernel.slope_over(piece.points) for piece in self._pieces])

    @cached_property
    def _second(self) -> _Calls:
        return _Calls(self._pieces, [piece.kernel.curve_over(piece.points) for piece in self._pieces])

    @cached_property
    def _slope(self) -> _Slope:
        return _Slope(self._linear, self._pieces)

    @cached_property
    def _curve(self) -> tuple[Pattern, Index]:
        """Where the entries of both triangles sit, and which of the pieces' entries, upper triangles, each is."""
        rows: list[Index] = []
        columns: list[Index] = []
        sources: list[Index] = []
        first = 0
        for piece in self._pieces:
            i, j = piece.kernel.curve_at
            number = first + counted(i.size * piece.points).reshape(piece.points, i.size)
            first += number.size
            off = np.flatnonzero(i != j)
            where = piece.where
            rows += [where[i].T.ravel(), where[j[off]].T.ravel()]
            columns += [where[j].T.ravel(), where[i[off]].T.ravel()]
            sources += [number.ravel(), number[:, off].ravel()]
        shape = self._columns, self._columns
        pattern = Pattern.of(np.concatenate(rows), np.concatenate(columns), shape)
        return pattern, np.concatenate(sources)


def _first_bad(values: Array, rows: Index, points: Index) -> dict[int, int]:
    """Row -> first point of values that are not finite."""
    bad = np.flatnonzero(~np.isfinite(values))[::-1]
    return dict(zip(rows[bad].tolist(), points[bad].tolist(), strict=True))


class _Slope:
    """The rows' derivative and the cost's gradient from the entries of all pieces."""

    def __init__(self, linear: Entries, pieces: tuple[Piece, ...]) -> None:
        rows: list[Index] = []
        columns: list[Index] = []
        for piece in pieces:
            i, j = piece.kernel.slope_at
            rows.append(piece.rows[i].T.ravel())
            columns.append(piece.where[j].T.ravel())
        row, column = np.concatenate(rows), np.concatenate(columns)
        of_rows = row >= 0
        self._linear = linear
        self.pattern = Pattern.of(
            np.concatenate([row[of_rows], linear.row]),
            np.concatenate([column[of_rows], linear.column]),
            linear.shape,
        )
        own = self.pattern.place[: np.count_nonzero(of_rows)]
        self._straight = added(self.pattern.place[own.size :], linear.values, self.pattern.count)
        self._place = self.pattern.count + column
        self._place[of_rows] = own
        self._size = self.pattern.count + linear.shape[1]

    def straight(self, x: Array) -> Array:
        """The rows' linear part (m,) at x, scaled [-]."""
        linear = self._linear
        return added(linear.row, linear.values * x[linear.column], linear.shape[0])

    def summed(self, slopes: Array) -> tuple[Array, Array]:
        """Nonzeros of the rows' derivative, and the gradient (n,) of the cost, all scaled [-]."""
        total = added(self._place, slopes, self._size)
        return total[: self.pattern.count] + self._straight, total[self.pattern.count :]


class _Call:
    """One piece's function on arrays that it holds; what it gives is written into ``results``, without a copy."""

    def __init__(self, piece: Piece, function: ca.Function, results: list[Array]) -> None:
        own, common, shared = (np.zeros(part.size) for part in (piece.columns, piece.common, piece.shared))
        self._own, self._common, self._shared = own, common, shared
        self._own_at, self._common_at, self._shared_at = piece.columns.T.ravel(), piece.common, piece.shared
        self.weights = np.zeros(piece.rows.size)
        places = np.ascontiguousarray(piece.places.T).ravel()
        arguments = [own, common, places, shared, self.weights][: function.n_in()]
        self._function = Buffered(function, arguments, results)

    def __call__(self, x: Array, p: Array) -> None:
        self._own[:] = x[self._own_at]
        self._common[:] = x[self._common_at]
        self._shared[:] = p[self._shared_at]
        self._function.run()


class _Calls:
    """Functions of all pieces, one by one; their outputs stand one below the other."""

    def __init__(self, pieces: tuple[Piece, ...], functions: list[ca.Function]) -> None:
        outputs = range(functions[0].n_out())
        sizes = np.array([[function.nnz_out(i) for i in outputs] for function in functions])
        last = np.cumsum(sizes, axis=0)
        self._results = [np.zeros(size) for size in last[-1]]
        self._calls = [
            _Call(piece, function, [all_of[b - a : b] for all_of, a, b in zip(self._results, size, end, strict=True)])
            for piece, function, size, end in zip(pieces, functions, sizes.tolist(), last.tolist(), strict=True)
        ]

    def __call__(self, x: Array, p: Array, weights: Array | None = None) -> list[Array]:
        """Outputs, each of all pieces [-]; ``weights`` of all pieces' outputs, point by point."""
        first = 0
        for call in self._calls:
            if weights is not None:
                call.weights[:] = weights[first : first + call.weights.size]
                first += call.weights.size
            call(x, p)
        return [result.copy() for result in self._results]
