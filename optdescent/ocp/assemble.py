"""Functions of a nonlinear program and their derivatives, put together from small compiled pieces.

Every phase is one pointwise function mapped over its points; its Jacobian and Hessian are derived once, at one
point, and scattered into the sparse matrices of the program. Building is then independent of the mesh size but
for index arithmetic, and nothing is unrolled.
"""

from __future__ import annotations

from dataclasses import dataclass

import casadi as ca
import numpy as np
from scipy.sparse import csc_array

from optdescent.ocp.basis import Index
from optdescent.ocp.pattern import Entries, Pattern, counted
from optdescent.ocp.piece import Piece


@dataclass(frozen=True)
class Functions:
    """Compiled functions of (x, p), with sparse first and second derivatives."""

    nlp: ca.Function
    gradient: ca.Function
    jacobian: ca.Function
    hessian: ca.Function


def _sparse(matrix: csc_array) -> ca.DM:
    """The same matrix for CasADi (its own conversion goes through a dense one)."""
    matrix.sum_duplicates()
    matrix.sort_indices()
    sparsity = ca.Sparsity(*matrix.shape, matrix.indptr.tolist(), matrix.indices.tolist())
    return ca.DM(sparsity, matrix.data.tolist())


class _Scatter:
    """Collects entries (row, column) of one stacked vector and sums them into a sparse matrix."""

    def __init__(self, rows: int, columns: int) -> None:
        self.shape = (rows, columns)
        self.row: list[Index] = []
        self.column: list[Index] = []
        self.values: list[ca.MX] = []

    def add(self, row: Index, column: Index, values: ca.MX) -> None:
        """Entries in the order of the nonzeros of the dense column ``values``."""
        if row.size:
            self.row.append(row)
            self.column.append(column)
            self.values.append(values)

    def matrix(self) -> ca.MX:
        """The sparse sum of all entries."""
        if not self.values:
            return ca.MX(*self.shape)
        stacked = ca.vertcat(*self.values)
        if self.shape == (1, 1):
            return ca.sum1(stacked)
        pattern = Pattern.of(np.concatenate(self.row), np.concatenate(self.column), self.shape)
        sparsity = ca.Sparsity(*self.shape, pattern.starts.tolist(), pattern.rows.tolist())
        # Most places get one entry, which is taken as it is; only the few others need a sum.
        place = pattern.place
        taken = np.empty(pattern.count, dtype=np.int64)
        taken[place] = counted(place.size)
        count = np.bincount(place, minlength=pattern.count)
        many = np.flatnonzero(count > 1)
        if many.size:
            shared = np.flatnonzero(count[place] > 1)
            rank = np.searchsorted(many, place[shared]).astype(np.int64)
            entries = np.ones(shared.size), (rank, counted(shared.size))
            adding = _sparse(csc_array(entries, shape=(many.size, shared.size)))
            taken[many] = place.size + counted(many.size)
            stacked = ca.vertcat(stacked, ca.mtimes(adding, stacked[shared.tolist()]))
        return ca.MX(sparsity, stacked[taken.tolist()])


def assemble(parameters: int, linear: Entries, pieces: tuple[Piece, ...]) -> Functions:
    """Functions whose rows are ``linear @ x`` plus the outputs of ``pieces``."""
    rows, columns = linear.shape
    x, p = ca.MX.sym("x", columns), ca.MX.sym("p", parameters)
    lam_f, lam_g = ca.MX.sym("lam_f"), ca.MX.sym("lam_g", rows)
    weights = ca.vertcat(lam_g, lam_f)
    into = _Targets(
        cost=_Scatter(1, 1),
        gradient=_Scatter(columns, 1),
        value=_Scatter(rows, 1),
        beside=_Scatter(rows, 1),
        slope=_Scatter(rows, columns),
        curve=_Scatter(columns, columns),
    )
    for piece in pieces:
        _add_piece(piece, x, p, weights, into)
    coefficients = _sparse(linear.matrix())
    into.slope.add(linear.row, linear.column, ca.MX(ca.DM(linear.values)))
    cost = ca.densify(into.cost.matrix())
    straight = ca.mtimes(coefficients, x)
    values = straight + ca.densify(into.value.matrix())
    beside = straight + ca.densify(into.beside.matrix())
    gradient = ca.densify(into.gradient.matrix())
    names = ["x", "p"]
    return Functions(
        ca.Function("nlp", [x, p], [cost, values], names, ["f", "g"]),
        ca.Function("nlp_grad_f", [x, p], [cost, gradient], names, ["f", "grad_f_x"]),
        ca.Function("nlp_jac_g", [x, p], [beside, into.slope.matrix()], names, ["g", "jac_g_x"]),
        ca.Function(
            "nlp_hess_l",
            [x, p, lam_f, lam_g],
            [into.curve.matrix()],
            [*names, "lam_f", "lam_g"],
            ["triu_hess_gamma_x_x"],
        ),
    )


@dataclass(frozen=True)
class _Targets:
    """The cost is kept apart from the rows, so that asking for it alone evaluates nothing else.

    ``beside`` are the rows again, as they come with their slopes.
    """

    cost: _Scatter
    gradient: _Scatter
    value: _Scatter
    beside: _Scatter
    slope: _Scatter
    curve: _Scatter


def _add_piece(piece: Piece, x: ca.MX, p: ca.MX, weights: ca.MX, into: _Targets) -> None:
    kernel, rows, where, points = piece.kernel, piece.rows, piece.where, piece.points
    value, slope, curve = kernel.value_over(points), kernel.slope_over(points), kernel.curve_over(points)
    each = ca.reshape(x[piece.columns.T.ravel().tolist()], kernel.own, points)
    arguments = [each, x[piece.common.tolist()], ca.DM(piece.places), p[piece.shared.tolist()]]
    target = rows.T.ravel()
    only = np.zeros(target.size, dtype=np.int64)
    _split(target, only, ca.vec(value(*arguments)), into.value, into.cost)
    i, j = kernel.slope_at
    found, slopes = slope(*arguments)
    _split(target, only, ca.vec(found), into.beside, None)
    if i.size:
        _split(rows[i].T.ravel(), where[j].T.ravel(), ca.vec(slopes), into.slope, into.gradient)
    i, j = kernel.curve_at
    if i.size:
        last = weights.size1() - 1
        pull = ca.reshape(weights[np.where(target < 0, last, target).tolist()], kernel.outputs, points)
        low, high = np.minimum(where[i], where[j]), np.maximum(where[i], where[j])
        into.curve.add(low.T.ravel(), high.T.ravel(), ca.vec(curve(*arguments, pull)))


def _split(row: Index, column: Index, entries: ca.MX, rows: _Scatter, cost: _Scatter | None) -> None:
    """Entries of real rows to ``rows``; those of the cost, by column, to ``cost`` (its one column), if it is given."""
    own, rest = np.flatnonzero(row < 0), np.flatnonzero(row >= 0)
    if own.size == 0:
        rows.add(row, column, entries)
        return
    if cost is not None:
        cost.add(column[own], np.zeros(own.size, dtype=np.int64), entries[own.tolist()])
    rows.add(row[rest], column[rest], entries[rest.tolist()])
