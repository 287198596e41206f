"""Newton's equations of a program as one sparse symmetric system, factored without pivoting.

Equations give way by a little for their multipliers and columns are a little stiff, so that any order of elimination
has pivots (quasidefinite systems: Vanderbei, Symmetric quasidefinite matrices, SIAM Journal on Optimization 5, 1995).
What a step misses by this the next one mends.

The signs of the pivots say whether the Lagrangian curves upwards along all that the equations leave free (Gould, On
practical conditions for the existence and uniqueness of solutions to the general equality quadratic programming
problem, Mathematical Programming 32, 1985).
"""

from __future__ import annotations

import io
import threading
from contextlib import redirect_stderr
from dataclasses import dataclass
from typing import Any

import casadi as ca
import numpy as np

from optdescent.buffered import Buffered
from optdescent.ocp.basis import Array, Flags
from optdescent.ocp.pattern import Pattern, counted

_STIFF, _GIVES = 1e-8, 1e-7
"""Added to the curvature of each column; what each equation gives way for its multiplier."""
_SOFTEST = 1e-12
"""Inequalities are at least as stiff as that: those without a limit have no stiffness at all."""
_ONE_AT_A_TIME = threading.Lock()
"""Two threads that each redirect a stream may leave it redirected."""


class Unsuited(Exception):
    """The program has nothing free, its system no minimum, or a step is not finite."""


@dataclass(frozen=True)
class Matrices:
    """Nonzeros of the Jacobian and of the curvature; stiffness (n,) of columns, added to the diagonal of the latter.

    ``softness`` (m,) is the stiffness of inequalities and 0 for equations; ``miss`` (m,) is what the rows lack; all
    scaled [-].
    """

    slope: Array
    curve: Array
    stiffness: Array
    softness: Array
    miss: Array


@dataclass(frozen=True)
class Move:
    """Steps of columns (n,), of the rows' own values (m,) and of their multipliers (m,), all scaled [-]."""

    columns: Array
    rows: Array
    multipliers: Array


class Saddle:
    """The equations of one program for one set of fixed columns (n,) and of equations among the rows (m,).

    Unknowns are the columns and the multipliers of all rows.
    """

    def __init__(self, slope: Pattern, curve: Pattern, fixed: Flags, equal: Flags) -> None:
        """Raises Unsuited: nothing is free."""
        if fixed.all():
            raise Unsuited
        self._slope = slope
        self._free, self._stiff = np.where(fixed, 0.0, 1.0), np.where(fixed, 1.0, _STIFF)
        self._least = np.where(equal, 1.0 / _GIVES, _SOFTEST)
        size = fixed.size + equal.size
        # The diagonal but for the curvature's: stiffness of columns, what rows give way.
        self._own = np.zeros(size)
        curving = np.flatnonzero(~fixed[curve.rows] & ~fixed[curve.columns])
        sloping = np.flatnonzero(~fixed[slope.columns])
        row, column, diagonal = fixed.size + slope.rows[sloping], slope.columns[sloping], counted(size)
        rows = np.concatenate([curve.rows[curving], row, column, diagonal])
        columns = np.concatenate([curve.columns[curving], column, row, diagonal])
        pattern = Pattern.of(rows, columns, (size, size))
        self._diagonal = pattern.place[-size:]
        # Where each nonzero comes from: curvature, derivatives, or a zero to which the diagonal is added.
        self._source = np.full(pattern.count, curve.count + slope.count, dtype=np.int64)
        source = [curving, curve.count + sloping, curve.count + sloping]
        self._source[pattern.place[:-size]] = np.concatenate(source)
        sparsity = ca.Sparsity(size, size, pattern.starts.tolist(), pattern.rows.tolist())
        self._matrix, self._factors = _Given(sparsity), ca.Linsol("saddle", "ldl", sparsity)
        self._factors.sfact(self._matrix.matrix())
        self._right, self._found = np.zeros(size), np.zeros(size)
        matrix, right = ca.MX.sym("matrix", sparsity), ca.MX.sym("right", size)
        # It factors anew every time: CasADi has no solve without, and this one takes arrays as they are.
        function = ca.Function("solve", [matrix, right], [self._factors.solve(matrix, right)])
        self._solve = Buffered(function, [self._matrix.values, self._right], [self._found])

    def factor(self, at: Matrices) -> None:
        """Take the matrices at a point.

        Raises
        ------
        Unsuited : they have no minimum.
        """
        self._at, values, columns = at, self._matrix.values, at.stiffness.size
        self._gives = 1.0 / np.maximum(at.softness, self._least)
        self._own[:columns], self._own[columns:] = at.stiffness + self._stiff, -self._gives
        values[:] = np.concatenate([at.curve, at.slope, [0.0]])[self._source]
        values[self._diagonal] += self._own
        matrix = self._matrix.matrix()
        # CasADi warns of pivots that are zero, which are counted here.
        with _ONE_AT_A_TIME, redirect_stderr(io.StringIO()):
            self._factors.nfact(matrix)
        if self._factors.rank(matrix) < self._own.size or self._factors.neig(matrix) != self._own.size - columns:
            raise Unsuited

    def moved(self, pull: Array, push: Array) -> Move:
        """The step of columns, rows and multipliers.

        ``pull`` (n,) [-] is the slope of the Lagrangian with the barrier's; ``push`` (m,) [-] is that of the
        inequalities' own values, 0 for equations.

        Raises
        ------
        Unsuited : it is not finite.
        """
        at, first = self._at, pull.size
        np.concatenate([pull * self._free, at.miss + self._gives * push], out=self._right)
        self._found.fill(np.nan)
        self._solve.run()
        if not np.isfinite(self._found.sum()):
            raise Unsuited
        columns = -self._found[:first]
        return Move(columns, at.miss + self._slope.times(at.slope, columns), -self._found[first:])


class _Given(ca.Callback):
    """Values as one of CasADi's matrices: taken from an array at once, where a list takes twenty times as long."""

    def __init__(self, sparsity: ca.Sparsity) -> None:
        super().__init__()
        self._sparsity, self.values = sparsity, np.zeros(sparsity.nnz())
        self.construct("given", {})

    def matrix(self) -> ca.DM:
        """The matrix of the ``values`` [-] as they are."""
        return self.call([])[0]

    def get_n_in(self) -> int:
        return 0

    def get_n_out(self) -> int:
        return 1

    def get_sparsity_out(self, i: int) -> ca.Sparsity:
        return self._sparsity

    def has_eval_buffer(self) -> bool:
        return True

    def eval_buffer(self, arg: Any, res: Any) -> int:
        np.frombuffer(res[0])[:] = self.values
        return 0
