"""Newton's equations of a program in its few degrees of freedom: the states, which follow, are eliminated.

Given where the phases begin, their controls and lengths and the static parameters, the rows of the dynamics have one
solution for the states. What is left is a small dense system in these free columns (the reduced-space or null-space
method: Biegler, Cervantes, Waechter, Advances in simultaneous strategies for dynamic process optimization, Chemical
Engineering Science 57, 2002). Its inertia says whether the Lagrangian curves upwards along all that the equations
leave free (Gould, On practical conditions for the existence and uniqueness of solutions to the general equality
quadratic programming problem, Mathematical Programming 32, 1985).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dsytrf, dsytrs

from optdescent.ocp.basis import Array, Flags, Index
from optdescent.ocp.chain import Chain, Matrices, Unsuited
from optdescent.ocp.layout import Layout
from optdescent.ocp.mesh import PhaseMesh
from optdescent.ocp.pattern import Pattern, added, counted

_DEPENDENT = 1e-10
"""What equations may give way for their multipliers where one says what others say."""


@dataclass(frozen=True)
class Move:
    """Steps of columns (n,) and of the rows' own values (m,), and what else was found, all scaled [-]."""

    columns: Array
    rows: Array
    found: Array


class Condensed:
    """The equations of one program for one set of fixed columns (n,) and of equations among the rows (m,)."""

    def __init__(
        self,
        layout: Layout,
        grids: Sequence[PhaseMesh],
        slope: Pattern,
        curve: Pattern,
        fixed: Flags,
        equal: Flags,
    ) -> None:
        """Raises Unsuited: nothing is free, states are fixed but at an end, degrees differ, paths are equations."""
        self._slope, self._curve = slope, curve
        phases = zip(layout.phases, grids, strict=True)
        self._chains = [Chain(place, grid, layout.statics, slope, curve) for place, grid in phases]
        self._after = np.concatenate([chain.after for chain in self._chains])
        follows = _flags(fixed.size, self._after)
        path = _flags(equal.size, np.concatenate([chain.path for chain in self._chains]))
        integrals = [place for place in layout.phases if place.has_integrand]
        self._quadratures = np.array([place.quadrature for place in integrals], dtype=np.int64)
        self._integrals = [np.flatnonzero(slope.rows == row) for row in self._quadratures]
        rest = ~path & ~_flags(equal.size, np.concatenate([chain.by.ravel() for chain in self._chains]))
        rest[self._quadratures] = False
        self._held, self._soft = np.flatnonzero(rest & equal), np.flatnonzero(rest & ~equal)
        self._equations = np.concatenate([self._held, self._quadratures])
        self._direct = _in_turn([*(chain.own for chain in self._chains), np.flatnonzero(~follows)])
        self._keeps = np.flatnonzero(~fixed[self._direct])
        self._stopped = np.flatnonzero(follows & fixed)
        ends = [np.concatenate([p.states[:, 0], p.states[:, -1], [p.start, p.end]]) for p in layout.phases]
        ends += [layout.statics, np.array([place.integral for place in integrals], dtype=np.int64)]
        self._edges = np.unique(np.concatenate(ends))
        self._edge = _ranks(fixed.size, self._edges)
        if not self.free or np.any(path & equal) or np.any(self._edge[self._stopped] < 0):
            raise Unsuited
        self._take_rest(slope, curve, rest)
        direct, after = _ranks(fixed.size, self._direct), _ranks(fixed.size, self._after)
        self._own = [_span(direct[chain.own]) for chain in self._chains]
        self._lift = np.zeros((self._edges.size, self._direct.size))
        straight = np.flatnonzero(direct[self._edges] >= 0)
        self._lift[straight, direct[self._edges[straight]]] = 1.0
        self._bent_edge = np.flatnonzero(after[self._edges] >= 0)
        self._bent_from = after[self._edges[self._bent_edge]]
        self._all = np.zeros((self._after.size, self._direct.size + 1))

    def _take_rest(self, slope: Pattern, curve: Pattern, rest: Flags) -> None:
        """Entries that no chain takes: they must join ends, lengths, integrals and statics only."""
        count, edge = self._edges.size, self._edge
        rank = _ranks(rest.size, np.concatenate([self._held, self._soft]))
        self._from_slope = np.flatnonzero(rest[slope.rows])
        column = edge[slope.columns[self._from_slope]]
        self._slope_place = rank[slope.rows[self._from_slope]] * count + column
        self._from_curve = np.flatnonzero(~np.any([chain.curving for chain in self._chains], axis=0))
        one, two = edge[curve.rows[self._from_curve]], edge[curve.columns[self._from_curve]]
        self._from_columns = np.flatnonzero(~np.any([chain.columns for chain in self._chains], axis=0))
        diagonal = edge[self._from_columns]
        self._curve_place = np.concatenate([one * count + two, diagonal * (count + 1)])
        if min(int(np.min(part, initial=0)) for part in (column, one, two, diagonal)) < 0:
            raise Unsuited

    @property
    def free(self) -> int:
        """Number of columns that are neither fixed nor follow from others."""
        return self._keeps.size

    def factor(self, at: Matrices) -> None:
        """Take the matrices at a point.

        Raises
        ------
        Unsuited : they have no minimum.
        """
        count, edges, lift = self._direct.size, self._edges.size, self._lift
        whole = np.zeros((count, count))
        first = 0
        for chain, own in zip(self._chains, self._own, strict=True):
            matrix, after = chain.factor(at)
            if isinstance(own, slice):
                whole[own, own] += matrix
            else:
                whole[own[:, None], own] += matrix
            last = first + after.shape[0]
            self._all[first:last, own] = after[:, :-1]
            self._all[first:last, -1] = after[:, -1]
            first = last
        self._follow = self._all[:, :-1]
        lift[self._bent_edge] = self._follow[self._bent_from]
        entries = np.concatenate([at.curve[self._from_curve], at.stiffness[self._from_columns]])
        curve = added(self._curve_place, entries, edges * edges).reshape(edges, edges)
        held = self._held.size
        slope = added(self._slope_place, at.slope[self._from_slope], (held + self._soft.size) * edges)
        slope = slope.reshape(-1, edges)
        curve += slope[held:].T @ (at.softness[self._soft][:, None] * slope[held:])
        whole += lift.T @ (curve @ lift)
        stopped = held + len(self._integrals)
        equations = np.empty((stopped + self._stopped.size, count))
        equations[:held] = slope[:held] @ lift
        for i, entries in enumerate(self._integrals):
            row = np.zeros(self._edge.size)
            row[self._slope.columns[entries]] = at.slope[entries]
            equations[held + i] = self._gathered(row)
        equations[stopped:] = lift[self._edge[self._stopped]]
        self._factor(whole[self._keeps].take(self._keeps, axis=1), equations.take(self._keeps, axis=1))
        self._at = at
        self._home = np.zeros(self._edge.size)
        self._home[self._after] = self._all[:, -1]
        self._home_miss = at.miss + self._slope.times(at.slope, self._home)
        self._home_pull = self._curved(self._home)

    def _factor(self, matrix: Array, equations: Array) -> None:
        size, count = matrix.shape[0], matrix.shape[0] + equations.shape[0]
        for give in (0.0, _DEPENDENT):
            whole = np.zeros((count, count), order="F")
            whole[:size, :size], whole[size:, :size] = matrix, equations
            if give:
                whole[range(size, count), range(size, count)] = -give
            self._factors, self._pivots, fault = dsytrf(whole, lower=1, overwrite_a=1)
            pivots = self._factors.diagonal()
            # A pair of pivots is one positive and one negative; a single one is what it is.
            single = self._pivots > 0
            negative = np.count_nonzero(single & (pivots < 0.0)) + (count - np.count_nonzero(single)) // 2
            if not fault and negative == equations.shape[0] and np.isfinite(pivots.sum()):
                return
        raise Unsuited

    def moved(self, pull: Array, push: Array) -> Move:
        """The step of columns and rows.

        ``pull`` (n,) [-] is the slope of the Lagrangian with the barrier's; ``push`` (m,) [-] is that of the
        inequalities' own values, 0 for equations.
        """
        at, size = self._at, self._keeps.size
        slope = pull + self._home_pull + self._slope.across(at.slope, at.softness * self._home_miss + push)
        right = np.concatenate(
            [self._gathered(slope)[self._keeps], self._home_miss[self._equations], self._home[self._stopped]]
        )
        found, _ = dsytrs(self._factors, self._pivots, -right, lower=1)
        free = np.zeros(self._direct.size)
        free[self._keeps] = found[:size]
        columns = self._home.copy()
        columns[self._after] += self._follow @ free
        columns[self._direct] = free
        columns[self._stopped] = 0.0
        return Move(columns, at.miss + self._slope.times(at.slope, columns), found[size:])

    def multipliers(self, move: Move, pull: Array, push: Array) -> Array:
        """The step of the multipliers (m,) [-] that goes with a step of the columns, for the same slopes [-]."""
        at, count = self._at, self._equations.size
        rows = at.softness * move.rows + push
        rows[self._equations] = move.found[:count]
        left = pull + self._curved(move.columns) + self._slope.across(at.slope, rows)
        left[self._stopped] += move.found[count:]
        for chain in self._chains:
            rows[chain.by] = chain.costates(left)
        return rows

    def _curved(self, columns: Array) -> Array:
        return self._curve.across(self._at.curve, columns) + self._at.stiffness * columns

    def _gathered(self, slope: Array) -> Array:
        """Slope to the columns that do not follow, through those that do."""
        return slope[self._direct] + self._follow.T @ slope[self._after]


def _flags(size: int, where: Index) -> Flags:
    flags = np.zeros(size, dtype=np.bool_)
    flags[where] = True
    return flags


def _in_turn(parts: list[Index]) -> Index:
    """All numbers in the order in which they first come."""
    every = np.concatenate(parts)
    return every[np.sort(np.unique(every, return_index=True)[1])]


def _span(index: Index) -> slice | Index:
    """A slice where the numbers follow each other: it takes no copy."""
    first, last = int(index[0]), int(index[0]) + index.size
    return slice(first, last) if np.array_equal(index - first, counted(index.size)) else index


def _ranks(size: int, where: Index) -> Index:
    """Place in ``where`` of each of so many numbers, -1 for those not in it."""
    ranks = np.full(size, -1, dtype=np.int64)
    ranks[where] = counted(where.size)
    return ranks
