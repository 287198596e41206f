"""The optimality system of a quadratic program, factored once and solved for many working sets.

The unknowns are the variables and the multipliers of the rows. An unknown is *live* where its equation holds (a free
variable; the multiplier of a row that is held at a limit) and *dead* where its value is given (a variable at its limit;
the multiplier of a row that is not). A working set is what is live. The sparse matrix is factored for one working set;
others differ from it by a few unknowns, which stand in a border of that matrix (the Schur-complement method: Gill,
Murray, Saunders, Wright, A Schur-complement method for sparse quadratic programming, in Reliable Numerical Computation,
1990). Unknowns that nearly every equation sees, such as the length of a phase, stand in the border from the beginning,
because any order of elimination that meets them early fills the factors.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csc_array
from scipy.sparse.linalg import splu

from optdescent.ocp.basis import Array, Index
from optdescent.ocp.pattern import Entries, counted

_CROWD = 40
"""An unknown that is seen by more equations than this, and by ten times the median, is crowded."""
_LARGEST_BORDER = 120
_MOST_CROWDED = 60
"""Crowded unknowns that begin in the border, those seen by most: the rest of it is for changes of the working set."""
_MOST_ANSWERS = 400
"""The factored part's answers to columns of the border are kept: neighbours of one solution differ in the same few."""


def _whole(curve: csc_array, slope: csc_array, diagonal: Array) -> csc_array:
    """The matrix with this diagonal added, from its entries: that takes less than half of the time of blocks."""
    size, own = int(curve.shape[0]), counted(diagonal.size)
    bent, sloping = (np.repeat(own[:size], np.diff(matrix.indptr)) for matrix in (curve, slope))
    low = size + slope.indices.astype(np.int64)
    row = np.concatenate([curve.indices.astype(np.int64), low, sloping, own])
    column = np.concatenate([bent, sloping, low, own])
    values = np.concatenate([curve.data, slope.data, slope.data, diagonal])
    return Entries(row, column, values, (diagonal.size, diagonal.size)).matrix()


class BorderTooLarge(Exception):
    """The working set is too far from the one that was factored."""


class Bordered:
    """[[H + shift, A'], [A, -shift]] factored for the ``live`` (n + m,) unknowns, with a border for what has changed.

    ``curve`` H (n, n) is symmetric, ``slope`` A is (m, n); ``shift`` [-] keeps dependent rows and flat directions
    solvable.
    """

    def __init__(self, curve: csc_array, slope: csc_array, live: NDArray[np.bool_], shift: float) -> None:
        size, rows = int(curve.shape[0]), int(slope.shape[0])
        self._shift = np.repeat([shift, -shift], [size, rows])
        self._matrix = _whole(curve, slope, self._shift)
        # It is symmetric, and row by row a product takes less time than column by column.
        self._rows = self._matrix.T
        seen = np.diff(self._matrix.indptr)
        crowded = np.flatnonzero(live & (seen > max(_CROWD, 10.0 * float(np.median(seen)))))
        apart = np.sort(crowded[np.argsort(-seen[crowded], kind="stable")][:_MOST_CROWDED])
        self._base = np.setdiff1d(np.flatnonzero(live), apart, assume_unique=True)
        self._position = np.full(size + rows, -1, dtype=np.int64)
        self._position[self._base] = np.arange(self._base.size)
        self._factor = splu(csc_array(self._matrix[self._base][:, self._base]))
        self._kept: tuple[Array, Array] | None = None
        self._members: list[int] = []
        self._answers: dict[int, Array] = {}
        # Rows: a member's column of the border, and the factored part's answer to it.
        self._border = np.empty((_LARGEST_BORDER, self._base.size))
        self._solved = np.empty((_LARGEST_BORDER, self._base.size))
        self._complement = np.empty((_LARGEST_BORDER, _LARGEST_BORDER))
        self.prepare(apart)
        for unknown in apart.tolist():
            self._enter(unknown)
        self._first = self._members.copy()

    @property
    def filled(self) -> int:
        """How many entries the factors hold."""
        return int(self._factor.L.nnz + self._factor.U.nnz)

    def reset(self) -> None:
        """Back to the working set that was factored."""
        for unknown in [m for m in self._members if m not in self._first]:
            self._leave(unknown)
        for unknown in [m for m in self._first if m not in self._members]:
            self._enter(unknown)

    def toggle(self, unknown: int) -> None:
        """Make a live unknown dead or a dead one live. Raises BorderTooLarge."""
        if unknown in self._members:
            self._leave(unknown)
        elif len(self._members) == _LARGEST_BORDER:
            raise BorderTooLarge
        else:
            self._enter(unknown)

    def prepare(self, unknowns: Index) -> None:
        """Find the answers to columns that may enter the border, all at once: that takes a third of one by one."""
        new = [u for u in unknowns.tolist() if u not in self._answers][: _MOST_ANSWERS - len(self._answers)]
        if new:
            found = self._factor.solve(np.column_stack([self._column(u)[0] for u in new]))
            self._answers |= {u: found[:, i].copy() for i, u in enumerate(new)}

    def solve(self, right: Array, given: Array) -> Array:
        """All unknowns (n + m,) [-] from the right-hand side of the live ones and the values of the dead ones.

        ``right`` and ``given`` (n + m,); what they hold for unknowns of the other kind does not matter.
        """
        outside = self._position < 0
        result = np.where(outside, given, 0.0)
        rest = right - self._rows @ result if result.any() else right
        found = self._part(rest[self._base])
        count = len(self._members)
        if count:
            members = np.asarray(self._members)
            joined = outside[members]
            wanted = np.where(joined, rest[members], given[members])
            border = np.linalg.solve(self._complement[:count, :count], self._border[:count] @ found - wanted)
            found = found - border @ self._solved[:count]
            result[members[joined]] += border[joined]
        result[self._base] = found
        return result

    def times(self, vector: Array) -> Array:
        """The matrix without its shift times a vector (n + m,) [-]."""
        return self._rows @ vector - self._shift * vector

    def _part(self, right: Array) -> Array:
        """The factored part's own answer, kept because it stays the same while working sets change along a line."""
        if self._kept is None or not np.array_equal(self._kept[0], right):
            self._kept = right, self._factor.solve(right)
        return self._kept[1]

    def _enter(self, unknown: int) -> None:
        count = len(self._members)
        column, beyond = self._column(unknown)
        corner = np.array([beyond.get(m, 0.0) for m in self._members])
        own = beyond.get(unknown, 0.0)
        solved = self._answers.get(unknown)
        if solved is None:
            solved = self._factor.solve(column)
            if len(self._answers) < _MOST_ANSWERS:
                self._answers[unknown] = solved
        self._border[count], self._solved[count] = column, solved
        across = self._border[:count] @ solved - corner
        self._complement[count, :count], self._complement[:count, count] = across, across
        self._complement[count, count] = column @ solved - own
        self._members.append(unknown)

    def _column(self, unknown: int) -> tuple[Array, dict[int, float]]:
        """An unknown's column of the border within the factored part, and its entries beyond."""
        column = np.zeros(self._base.size)
        if self._position[unknown] >= 0:
            column[self._position[unknown]] = 1.0
            return column, {}
        start, end = self._matrix.indptr[unknown], self._matrix.indptr[unknown + 1]
        rows, values = self._matrix.indices[start:end], self._matrix.data[start:end]
        within = self._position[rows] >= 0
        column[self._position[rows[within]]] = values[within]
        return column, dict(zip(rows[~within].tolist(), values[~within].tolist(), strict=True))

    def _leave(self, unknown: int) -> None:
        where, last = self._members.index(unknown), len(self._members) - 1
        self._border[where:last] = self._border[where + 1 : last + 1]
        self._solved[where:last] = self._solved[where + 1 : last + 1]
        kept = np.delete(np.delete(self._complement[: last + 1, : last + 1], where, axis=0), where, axis=1)
        self._complement[:last, :last] = kept
        del self._members[where]
