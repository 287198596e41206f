"""The elements of a phase as a chain: what its states do for a step of where it begins, its controls and its length.

Within an element the rows of the dynamics give the states at its nodes from those at its left end; its right end is the
left end of the next. All elements are eliminated at once, and the chain is one triangular band.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.linalg.lapack import dtbtrs

from optdescent.ocp.basis import Array, Family, Index
from optdescent.ocp.layout import PhaseLayout
from optdescent.ocp.mesh import PhaseMesh
from optdescent.ocp.pattern import Pattern, added, counted


class Unsuited(Exception):
    """The program has a shape that cannot be condensed, or a system without a minimum."""


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


class Chain:
    """One phase with elements of one degree.

    ``own`` (p,) columns of the program that its states follow from: the common ones (start, end, statics), where it
    begins, all controls. ``after`` (elements x inner,) : columns that follow, node by node; ``by``: the rows that they
    follow from; ``path``: rows that act by their stiffness. ``columns`` (n,) and ``curving`` : which columns' stiffness
    and which entries of the curvature it takes care of.

    An element's columns are the common ones, its left end, its controls, and its other nodes, in this order.
    """

    def __init__(self, place: PhaseLayout, grid: PhaseMesh, statics: Index, slope: Pattern, curve: Pattern) -> None:
        if len(set(grid.degrees)) > 1:
            raise Unsuited
        (states, nodes), (controls, points) = place.states.shape, place.controls.shape
        count, size = len(grid.degrees), slope.shape[1]
        degree, step = points // count, (nodes - 1) // count
        common = np.concatenate([[place.start, place.end], statics]).astype(np.int64)
        self._count, self._states, self._inner = count, states, step * states
        self._first, self._inputs = common.size, degree * controls
        self._begins = common.size + states
        self._free = self._begins + self._inputs
        self._local = self._free + self._inner
        self.own = np.concatenate([common, place.states[:, 0], place.controls.T.ravel()])
        # Column c is the local one offset[c] - e stride[c] of element e; each but the common belongs to one element.
        offset, stride, element = (np.full(size, -1, dtype=np.int64) for _ in range(3))
        node, where = counted(nodes), place.states.T.ravel()
        # What is collocated at a joint is collocated in the element that the joint belongs to.
        belongs = node // step if grid.family is Family.STANDARD else (node - 1) // step
        belongs = np.clip(belongs, 0, count - 1)
        element[where] = np.repeat(belongs, states)
        offset[where], stride[where] = self._free - states + counted(where.size), step * states
        self._is_state = np.zeros(size, dtype=np.bool_)
        self._is_state[where] = True
        where = place.controls.T.ravel()
        offset[where], stride[where] = self._begins + counted(where.size), self._inputs
        element[where] = np.repeat(counted(points) // degree, controls)
        offset[common], stride[common] = counted(common.size), 0
        self._offset, self._stride, self._element = offset, stride, element
        self.after = place.states[:, 1:].T.ravel()
        self.by = np.hstack([place.defects.T.reshape(count, -1), place.closures.T.reshape(count, -1)])
        self._take_slope(slope)
        self._take_path(place, belongs[grid.open_nodes], degree, slope)
        self._take_curve(curve)
        self._make_room()

    def _at(self, element: Index, column: Index) -> Index:
        """Local place of a column in an element: a joint stands last in the element before, first in the one after."""
        place = self._offset[column] - element * self._stride[column]
        is_left = self._is_state[column] & (place < self._free)
        return np.where(is_left, place + self._begins - self._free, place)

    def _take_slope(self, slope: Pattern) -> None:
        rows = np.full(slope.shape[0], -1, dtype=np.int64)
        rows[self.by] = counted(self.by.size).reshape(self.by.shape)
        self._from_slope = np.flatnonzero(rows[slope.rows] >= 0)
        row, column = rows[slope.rows[self._from_slope]], slope.columns[self._from_slope]
        self._slope_place = row * self._local + self._at(row // self._inner, column)

    def _take_path(self, place: PhaseLayout, at_nodes: Index, degree: int, slope: Pattern) -> None:
        """Path rows, sorted by element, with as many places in each as the fullest needs."""
        row = np.concatenate([place.path.ravel(), place.open_path.ravel()]).astype(np.int64)
        at_points = counted(place.path.shape[1]) // degree
        element = np.concatenate(
            [np.tile(at_points, place.path.shape[0]), np.tile(at_nodes, place.open_path.shape[0])]
        ).astype(np.int64)
        order = np.argsort(element, kind="stable")
        row, element = row[order], element[order]
        slot = counted(row.size) - np.searchsorted(element, element)
        self._slots = int(np.max(slot, initial=-1)) + 1
        self.path, self._path_place = row, element * self._slots + slot
        places, elements = (np.full(slope.shape[0], -1, dtype=np.int64) for _ in range(2))
        places[row], elements[row] = self._path_place, element
        self._from_path = np.flatnonzero(places[slope.rows] >= 0)
        row, column = slope.rows[self._from_path], slope.columns[self._from_path]
        self._path_entry = places[row] * self._local + self._at(elements[row], column)

    def _take_curve(self, curve: Pattern) -> None:
        one, two = self._element[curve.rows], self._element[curve.columns]
        inside = (self._offset[curve.rows] >= 0) & (self._offset[curve.columns] >= 0)
        element = np.maximum(one, two)
        self.curving = inside & (element >= 0) & ((one == two) | (np.minimum(one, two) < 0))
        self._from_curve = np.flatnonzero(self.curving)
        element = element[self._from_curve]
        row, column = curve.rows[self._from_curve], curve.columns[self._from_curve]
        square = self._local * self._local
        at = element * square + self._at(element, row) * self._local + self._at(element, column)
        self.columns = self._element >= 0
        self._from_column = np.flatnonzero(self.columns)
        element = self._element[self._from_column]
        own = self._at(element, self._from_column)
        self._curve_place = np.concatenate([at, element * square + own * (self._local + 1)])

    def _make_room(self) -> None:
        count, states, inputs, size = self._count, self._states, self._inputs, self.own.size
        rows, begins = count * states, self._begins
        # How an element's columns follow from the common ones, its left end and its controls.
        self._lift = np.zeros((count, self._local, self._free))
        self._lift[:, : self._free] = np.eye(self._free)
        block = counted(count)[:, None, None]
        one, two = counted(states)[None, :, None], counted(states)[None, None, :]
        self._band = np.zeros((2 * states, rows))
        self._band_place = ((states + one - two) * rows + (block[1:] - 1) * states + two).ravel()
        first = begins + counted(count)[:, None] * inputs + counted(inputs)[None, :]
        self._block = (first[:, :, None] * size + first[:, None, :]).ravel()
        self._across = (first[:, None, :] * rows + counted(rows).reshape(count, states, 1)).ravel()
        self._beside = (counted(count * begins).reshape(count, begins, 1) * size + first[:, None, :]).ravel()
        inner = counted(count * self._inner).reshape(count, self._inner, 1)
        self._under = (inner * (size + 1) + first[:, None, :]).ravel()
        # The common columns and the left ends of all elements, from the own columns and, last, from what is missed.
        self._left = np.zeros((count, begins, size + 1))
        self._left[:, : self._first, : self._first] = np.eye(self._first)
        self._left[0, self._first :, self._first : begins] = np.eye(states)

    def factor(self, at: Matrices) -> tuple[Array, Array]:
        """Take the matrices at a point.

        Returns the curvature condensed (p, p), and what follows, ``after``, from the own columns and, in a last column,
        from what the rows lack (-, p + 1); all scaled [-].

        Raises
        ------
        Unsuited : the states do not follow.
        """
        count, inner, free, begins = self._count, self._inner, self._free, self._begins
        whole = added(self._slope_place, at.slope[self._from_slope], count * inner * self._local)
        whole = whole.reshape(count, inner, self._local)
        try:
            self._inverse = np.linalg.inv(whole[:, :, free:])
        except np.linalg.LinAlgError as error:
            raise Unsuited from error
        lift = self._lift
        follow = lift[:, free:]
        np.matmul(self._inverse, -whole[:, :, :free], out=follow)
        toward = (self._inverse @ -at.miss[self.by][:, :, None])[:, :, 0]
        entries = np.concatenate([at.curve[self._from_curve], at.stiffness[self._from_column]])
        bent = added(self._curve_place, entries, count * self._local**2).reshape(count, self._local, self._local)
        if self._slots:
            path = added(self._path_entry, at.slope[self._from_path], count * self._slots * self._local)
            path = path.reshape(count, self._slots, self._local)
            soft = np.zeros(count * self._slots)
            soft[self._path_place] = at.softness[self.path]
            bent += path.transpose(0, 2, 1) @ (soft.reshape(count, self._slots, 1) * path)
        reduced = lift.transpose(0, 2, 1) @ (bent @ lift)
        left = self._run_along(follow[:, -self._states :], toward[:, -self._states :])
        size = self.own.size
        along = left[:, :, :size].reshape(count * begins, size)
        pulled = (0.5 * reduced[:, :begins, :begins] @ left[:, :, :size]).reshape(count * begins, size)
        pulled.ravel()[self._beside] += reduced[:, :begins, begins:].ravel()
        matrix = along.T @ pulled
        matrix = matrix + matrix.T
        matrix.ravel()[self._block] += reduced[:, begins:, begins:].ravel()
        after = follow[:, :, :begins] @ left
        after[:, :, size] += toward
        after.ravel()[self._under] += follow[:, :, begins:].ravel()
        return matrix, after.reshape(count * inner, size + 1)

    def _run_along(self, ends: Array, toward: Array) -> Array:
        """The common columns and left ends of all elements, from the right end (count, states, -) of each."""
        states, first, begins = self._states, self._first, self._begins
        rows = toward.size
        self._band.ravel()[self._band_place] = -ends[1:, :, first:begins].ravel()
        right = np.zeros((self.own.size + 1, rows))
        right[:first] = ends[:, :, :first].reshape(rows, first).T
        right[first:begins, :states] = ends[0, :, first:begins].T
        right.ravel()[self._across] = ends[:, :, begins:].ravel()
        right[-1] = toward.ravel()
        found, _ = dtbtrs(self._band, right.T, uplo="L", diag="U")
        self._left[1:, first:] = found[:-states].reshape(self._count - 1, states, self.own.size + 1)
        return self._left

    def costates(self, slope: Array) -> Array:
        """(elements, -) multipliers of the own rows that leave no slope (n,) [-] to the states that follow."""
        pull = slope[self.after].reshape(self._count, self._inner)
        ends = self._lift[:, self._free :, self._first : self._begins]
        back = (pull[:, None, :] @ ends)[:, 0]
        right = np.zeros(back.size)
        right[: -self._states] = back[1:].ravel()
        found, _ = dtbtrs(self._band, right, uplo="L", trans="T", diag="U")
        pull[:, -self._states :] += found.reshape(back.shape)
        return -(pull[:, None, :] @ self._inverse)[:, 0]
