"""Values and derivatives of a program as arrays, written by the compiled functions without a copy in between."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import casadi as ca
import numpy as np
from scipy.sparse import csc_array, diags_array

from optdescent.ocp.assemble import Functions
from optdescent.ocp.basis import Array


@dataclass(frozen=True)
class Around:
    """Rows (m,) [-] at a point, their derivative (m, n) [-] and the gradient (n,) [-] of the cost."""

    value: Array
    slope: csc_array
    gradient: Array

    def pull(self, lam: Array) -> Array:
        """Gradient (n,) [-] of the Lagrangian for multipliers (m,) [-]."""
        return np.asarray(self.gradient + self.slope.T @ lam)


class Slopes:
    """The compiled functions of a program, called with arrays."""

    def __init__(self, functions: Functions) -> None:
        self._gradient = _Evaluated(functions.gradient)
        self._jacobian = _Evaluated(functions.jacobian)
        self._hessian = _Evaluated(functions.hessian)
        # The transposed Jacobian, its entries written anew at every point: making a matrix takes longer than using it.
        self._across = self._jacobian.matrix(1, np.zeros(functions.jacobian.nnz_out(1))).T

    def pull(self, x: Array, p: Array, lam: Array) -> tuple[Array, Array]:
        """Rows (m,) [-] and the gradient (n,) [-] of the Lagrangian."""
        value, entries = self._jacobian(x, p)
        self._across.data[:] = entries
        return value, self._gradient(x, p)[1] + self._across @ lam

    def rows(self, x: Array, p: Array) -> tuple[Array, csc_array]:
        """Rows (m,) [-] and their derivative (m, n) [-]."""
        value, entries = self._jacobian(x, p)
        return value, self._jacobian.matrix(1, entries)

    def around(self, x: Array, p: Array) -> Around:
        """Rows and first derivatives at a point, all scaled [-]."""
        return Around(*self.rows(x, p), self._gradient(x, p)[1])

    def curve(self, x: Array, p: Array, lam: Array) -> csc_array:
        """Second derivative (n, n) [-] of the Lagrangian."""
        return _symmetric(self._hessian.matrix(0, self._hessian(x, p, np.ones(1), lam)[0]))


def _symmetric(upper: csc_array) -> csc_array:
    """The symmetric matrix (n, n) of its upper triangle."""
    return csc_array(upper + upper.T - diags_array(upper.diagonal()))


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
        self._rows = [np.asarray(pattern.row(), dtype=np.int32) for pattern in patterns]
        self._starts = [np.asarray(pattern.colind(), dtype=np.int32) for pattern in patterns]

    def __call__(self, *arguments: Array) -> list[Array]:
        kept = [np.ascontiguousarray(argument, dtype=float) for argument in arguments]
        for i, argument in enumerate(kept):
            self._buffer.set_arg(i, argument.data)
        self._run()
        return [output.copy() for output in self._outputs]

    def matrix(self, output: int, entries: Array) -> csc_array:
        """An output as a matrix, from its nonzeros."""
        return csc_array((entries, self._rows[output], self._starts[output]), shape=self._shapes[output])
