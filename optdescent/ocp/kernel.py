"""A small symbolic function with its sparse derivatives: what is repeated over the points of a phase."""

from __future__ import annotations

from functools import cached_property

import casadi as ca
import numpy as np

from optdescent.ocp.basis import Index

Triplets = tuple[Index, Index]
_MAPS = 4


class Kernel:
    """Outputs of local variables ``z`` (one column) and their derivatives.

    ``own`` : how many leading entries of z differ from point to point; ``place`` : further symbols that do;
    ``shared`` : symbols that are the same at all points, the ``parameters`` first, then the scales.
    All functions take (leading z, rest of z, place, shared) and, where they end in weights, a multiplier per output.
    """

    def __init__(self, z: ca.SX, own: int, outputs: ca.SX, place: ca.SX, shared: ca.SX, parameters: int) -> None:
        outputs = ca.densify(outputs)
        self.own, self.outputs = own, outputs.size1()
        self._z, self._expression, self._parameters = z, outputs, shared[:parameters]
        self._local = [z[:own], z[own:], place, shared]
        self._multiplier = ca.SX.sym("multiplier", self.outputs)
        self._weighed = ca.dot(self._multiplier, outputs)
        jacobian = ca.jacobian(outputs, z)
        hessian = ca.triu(ca.hessian(self._weighed, z)[0])
        # With the values, so that asking for both evaluates what they share once.
        self.slope = ca.Function("slope", self._local, [outputs, _column(jacobian)])
        self.curve = self._entries("curve", hessian, [*self._local, self._multiplier])
        self.slope_at, self.curve_at = _triplets(jacobian), _triplets(hessian)

    @staticmethod
    def _entries(name: str, matrix: ca.SX, arguments: list[ca.SX]) -> ca.Function:
        return ca.Function(name, arguments, [_column(matrix)])

    @cached_property
    def value(self) -> ca.Function:
        """The outputs alone."""
        return ca.Function("value", self._local, [self._expression])

    def value_over(self, points: int) -> ca.Function:
        """The values mapped over so many points."""
        return self._mapped(self.value, points)

    def slope_over(self, points: int) -> ca.Function:
        """Values and entries of the Jacobian, mapped over so many points."""
        return self._mapped(self.slope, points)

    def curve_over(self, points: int) -> ca.Function:
        """Entries of the Hessian, mapped over so many points."""
        return self._mapped(self.curve, points)

    def _mapped(self, function: ca.Function, points: int) -> ca.Function:
        """The latest few are kept: a refinement leaves most phases as they are."""
        if points == 1:
            return function
        kept = self._kept.setdefault(function.name(), {})
        if points not in kept:
            if len(kept) == _MAPS:
                del kept[next(iter(kept))]
            same = [False, True, False, True, False][: function.n_in()]
            kept[points] = function.map(points, same, [False] * function.n_out())
        return kept[points]

    @cached_property
    def _kept(self) -> dict[str, dict[int, ca.Function]]:
        return {}

    @cached_property
    def push(self) -> ca.Function:
        """Derivative (k,) of the weighed outputs to the parameters."""
        slope = ca.gradient(self._weighed, self._parameters)
        return ca.Function("push", [*self._local, self._multiplier], [ca.densify(slope)])

    @cached_property
    def parameter_slope(self) -> tuple[ca.Function, Triplets]:
        """Entries of the derivative (outputs, k) to the parameters, and where they sit."""
        matrix = ca.jacobian(self._expression, self._parameters)
        return self._entries("parameter_slope", matrix, self._local), _triplets(matrix)

    @cached_property
    def cross(self) -> tuple[ca.Function, Triplets]:
        """Entries of the second derivative (z, k) of the weighed outputs, and where they sit."""
        matrix = ca.jacobian(ca.gradient(self._weighed, self._z), self._parameters)
        return self._entries("cross", matrix, [*self._local, self._multiplier]), _triplets(matrix)


def _column(matrix: ca.SX) -> ca.SX:
    """The entries of a matrix: those of a single row come as a row, and a map needs a column."""
    return ca.reshape(matrix.nz[:], matrix.nnz(), 1)


def _triplets(matrix: ca.SX) -> Triplets:
    row, column = matrix.sparsity().get_triplet()
    return np.asarray(row, dtype=np.int64), np.asarray(column, dtype=np.int64)
