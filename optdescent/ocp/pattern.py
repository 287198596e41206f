"""Which entries of a list sit at which place of a sparse matrix, found once and then added up many times."""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.sparse import csc_array

from optdescent.ocp.basis import Array, Index


def added(place: Index, entries: Array, size: int) -> Array:
    """(size,) sums [-] of the entries, each added to its place."""
    return np.asarray(np.bincount(place, entries, size), dtype=float)


def counted(size: int) -> Index:
    """0, 1, ... below ``size``."""
    return np.arange(size, dtype=np.int64)


@dataclass(frozen=True)
class Entries:
    """Rows, columns and values [-] of the entries of a sparse matrix of ``shape``."""

    row: Index
    column: Index
    values: Array
    shape: tuple[int, int]

    def matrix(self) -> csc_array:
        """The matrix itself [-]."""
        return csc_array((self.values, (self.row, self.column)), shape=self.shape)


@dataclass(frozen=True)
class Pattern:
    """A sparse matrix of ``shape`` whose entries are sums: ``place`` (entries,) says which nonzero each is added to.

    ``starts`` (columns + 1,) and ``rows`` (nonzeros,) are those of a matrix kept column by column.
    """

    shape: tuple[int, int]
    starts: Index
    rows: Index
    place: Index

    @staticmethod
    def of(row: Index, column: Index, shape: tuple[int, int]) -> Pattern:
        """From the row and column of every entry."""
        key = column * shape[0] + row
        # Entries come in long ascending runs, which a stable sort makes use of.
        order = np.argsort(key, kind="stable")
        key = key[order]
        is_first = np.ones(key.size, dtype=np.bool_)
        is_first[1:] = key[1:] != key[:-1]
        place = np.empty(key.size, dtype=np.int64)
        place[order] = np.cumsum(is_first) - 1
        key = key[is_first]
        starts = np.searchsorted(key, np.arange(shape[1] + 1) * shape[0]).astype(np.int64)
        return Pattern(shape, starts, key % shape[0], place)

    @property
    def count(self) -> int:
        """Number of nonzeros."""
        return self.rows.size

    def summed(self, entries: Array) -> Array:
        """The nonzeros [-] from the entries."""
        return added(self.place, entries, self.count)

    def matrix(self, nonzeros: Array) -> csc_array:
        """The matrix of these nonzeros [-]. All matrices of a pattern share their indices."""
        matrix = copy(self._like)
        matrix.data = nonzeros
        return matrix

    def across(self, nonzeros: Array, vector: Array) -> Array:
        """The transposed matrix of these nonzeros times a vector [-]."""
        return added(self.columns, nonzeros * vector[self.rows], self.shape[1])

    def times(self, nonzeros: Array, vector: Array) -> Array:
        """The matrix of these nonzeros times a vector [-]."""
        return added(self.rows, nonzeros * vector[self.columns], self.shape[0])

    @cached_property
    def _like(self) -> csc_array:
        # A matrix made from another takes a tenth of the time of one made from its indices.
        return csc_array((np.zeros(self.count), self.rows, self.starts), shape=self.shape)

    @cached_property
    def columns(self) -> Index:
        """Column of every nonzero."""
        return np.repeat(counted(self.shape[1]), np.diff(self.starts))
