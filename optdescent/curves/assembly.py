"""Array operations for a list of instructions, and the arrays that they read and write."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Any

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.curves.instructions import CHOICE, NUMBER, POWER_7_HALVES, Instructions, Node

Array = NDArray[np.float64]
Values = NDArray[Any]
"""Numbers or conditions."""
Call = tuple[Callable[..., Any], tuple[Any, ...]]
"""An array operation and its arguments, the array that it writes included."""
_OPERATIONS: dict[int, Callable[..., Any]] = {
    ca.OP_LT: np.less,
    ca.OP_LE: np.less_equal,
    ca.OP_EQ: np.equal,
    ca.OP_NE: np.not_equal,
    ca.OP_AND: np.logical_and,
    ca.OP_OR: np.logical_or,
    ca.OP_NOT: np.logical_not,
    ca.OP_ADD: np.add,
    ca.OP_SUB: np.subtract,
    ca.OP_MUL: np.multiply,
    ca.OP_DIV: np.true_divide,
    ca.OP_FMIN: np.fmin,
    ca.OP_FMAX: np.fmax,
    ca.OP_ATAN2: np.arctan2,
    ca.OP_POW: np.power,
    ca.OP_CONSTPOW: np.power,
    ca.OP_NEG: np.negative,
    ca.OP_SQ: np.square,
    ca.OP_SQRT: np.sqrt,
    ca.OP_EXP: np.exp,
    ca.OP_LOG: np.log,
    ca.OP_SIN: np.sin,
    ca.OP_COS: np.cos,
    ca.OP_TAN: np.tan,
    ca.OP_ASIN: np.arcsin,
    ca.OP_TANH: np.tanh,
    ca.OP_FABS: np.abs,
    ca.OP_FLOOR: np.floor,
    ca.OP_INV: np.reciprocal,
    ca.OP_SIGN: np.sign,
    ca.OP_ASSIGN: np.positive,
}


def unwritten(node: Node, shape: tuple[int, ...]) -> Values:
    """An array for a node: of truth values for a condition, else of numbers [-]."""
    dtype: np.dtype[Any] = np.dtype(np.bool_ if node.is_condition else np.float64)
    return np.empty(shape, dtype=dtype)


def operations(kind: int, given: Sequence[Values], into: Values) -> list[Call]:
    """The calls of an operation on values [-]; `into` may be one of them where one call does, or for a choice.

    Raises
    ------
    ValueError
        The operation is not known.
    """
    if kind in _OPERATIONS:
        return [(_OPERATIONS[kind], (*given, into))]
    if kind == CHOICE:
        condition, then, otherwise = given
        if then is into:
            opposite = np.empty(into.shape, dtype=np.bool_)
            return [(np.logical_not, (condition, opposite)), (np.copyto, (into, otherwise, "same_kind", opposite))]
        first = [] if otherwise is into else [(np.copyto, (into, otherwise))]
        return [*first, (np.copyto, (into, then, "same_kind", condition))]
    if kind == NUMBER:
        return [(np.copyto, (into, given[0]))]
    if kind == POWER_7_HALVES:
        return [(np.sqrt, (given[0], into)), *([(np.multiply, (into, given[0], into))] * 3)]
    raise ValueError(f"instruction {kind} is not known")


class Assembly:
    """Array operations in parts, each of which finds one of the outputs `first` [-], the last one all others.

    `values` are the arrays of nodes: at first those of inputs and of what is known. An array is used again once nobody
    reads it any more. What is an output is written where the output stands.

    Raises
    ------
    ValueError
        An operation is not known.
    """

    def __init__(
        self, given: Instructions, values: dict[int, Values], outputs: Sequence[Array], first: Sequence[int]
    ) -> None:
        self._nodes, self._values, self._lanes = given.nodes, values, outputs[0].shape[1]
        parts = _parts(given, first)
        self._own = dict.fromkeys(at for _, part in parts for at in part if at not in values)
        self._last = {operand: at for at in self._own for operand in given.nodes[at].operands}
        self._last |= {node: len(given.nodes) for _, _, node in given.outputs}
        self._free: dict[bool, list[Values]] = {False: [], True: []}
        self._homes: dict[int, Values] = {}
        copied: dict[int, list[tuple[Array, int]]] = {index: [] for index in range(len(outputs))}
        for index, row, node in given.outputs:
            if node in self._own and node not in self._homes:
                self._homes[node] = outputs[index][row]
            else:
                copied[index].append((outputs[index][row], node))
        self._share_homes()
        self.parts: list[list[Call]] = []
        for found, part in parts:
            calls = [call for at in part if at in self._own for call in self._assembled(at)]
            calls += [(np.copyto, (into, values[node])) for index in found for into, node in copied[index]]
            self.parts.append(calls)

    def _share_homes(self) -> None:
        """The value that a choice is made in stands where the choice will."""
        for at in reversed(self._own):
            if at in self._homes and (changed := self._changed(at)) is not None:
                self._homes[changed] = self._homes[at]

    def _ended(self, at: int) -> list[int]:
        """Operands whose arrays nobody reads after this node."""
        read = dict.fromkeys(self._nodes[at].operands)
        return [operand for operand in read if operand in self._own and self._last[operand] == at]

    def _changed(self, at: int) -> int | None:
        """The value in whose array a choice is made; None if both are read later, or the node is no choice."""
        if self._nodes[at].kind != CHOICE:
            return None
        _, then, otherwise = self._nodes[at].operands
        ended = self._ended(at)
        return next((value for value in (otherwise, then) if value in ended), None)

    def _assembled(self, at: int) -> list[Call]:
        node, changed = self._nodes[at], self._changed(at)
        given = [self._values[operand] for operand in node.operands]
        free = [self._values[one] for one in self._ended(at) if one not in self._homes and one != changed]
        writes_once = node.kind in _OPERATIONS
        if writes_once:
            self._let_go(free)
        into = self._array(at) if changed is None else self._values[changed]
        if not writes_once:
            self._let_go(free)
        self._values[at] = into
        return operations(node.kind, given, into)

    def _array(self, at: int) -> Values:
        """Where a node is written: the array that was free last is the likeliest to be in the cache."""
        is_condition = self._nodes[at].is_condition
        if at in self._homes:
            return self._homes[at]
        if self._free[is_condition]:
            return self._free[is_condition].pop()
        return unwritten(self._nodes[at], (self._lanes,))

    def _let_go(self, arrays: Sequence[Values]) -> None:
        for array in arrays:
            self._free[array.dtype == np.bool_].append(array)


def _parts(given: Instructions, first: Sequence[int]) -> list[tuple[list[int], list[int]]]:
    """Outputs and the nodes to be found for them after those of the parts before, in their order."""
    done: set[int] = set()
    rest = [index for index in dict.fromkeys(index for index, _, _ in given.outputs) if index not in first]
    parts: list[tuple[list[int], list[int]]] = []
    for indices in [*([index] for index in first), rest]:
        needed = {node for index, _, node in given.outputs if index in indices}
        for at in reversed(range(len(given.nodes))):
            if at in needed:
                needed |= set(given.nodes[at].operands)
        parts.append((indices, sorted(needed - done)))
        done |= needed
    return parts
