"""A compiled function of scalars evaluated for many lanes at once, one array operation for each of its instructions.

CasADi evaluates a function point by point; for thousands of points the same list of instructions is cheaper taken with
arrays over the points, as long as these stay in the processor's cache. The results are those of CasADi but for
rounding. A choice between two values is taken as such: what is not chosen may have no value.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any

import casadi as ca
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Operation = Callable[..., Any]
_Operand = int | float
"""A node by its number, or a constant."""

_COMPARISONS: dict[int, Operation] = {
    ca.OP_LT: np.less,
    ca.OP_LE: np.less_equal,
    ca.OP_EQ: np.equal,
    ca.OP_NE: np.not_equal,
    ca.OP_AND: np.logical_and,
    ca.OP_OR: np.logical_or,
    ca.OP_NOT: np.logical_not,
}
_ARITHMETIC: dict[int, Operation] = {
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
_CHOICE, _CAST, _POWER_7_HALVES = -1, -2, -3
"""Operations of our own: a choice of two values, a condition as a number, the power 7/2."""


@dataclass(frozen=True)
class _Node:
    kind: int
    operands: tuple[_Operand, ...]


class Lanes:
    """A function of columns of scalars, for a fixed number of lanes.

    Parameters
    ----------
    function : casadi.Function
        Expanded function (SX) whose inputs are columns.
    lanes : int
        Number of lanes [-].

    Raises
    ------
    ValueError
        The function is not expanded, or has an instruction that is not known here.
    """

    def __init__(self, function: ca.Function, lanes: int) -> None:
        if not function.is_a("SXFunction"):
            raise ValueError("the function is not expanded")
        self.inputs = [np.zeros((function.size1_in(i), lanes)) for i in range(function.n_in())]
        self.outputs = [np.zeros((function.size1_out(i), lanes)) for i in range(function.n_out())]
        plain, ends = _nodes(function)
        rewriting = _Rewriting(plain)
        ended = [(index, row, rewriting.number(operand)) for index, row, operand in ends]
        nodes, found = _needed(rewriting.made, ended)
        self._calls = _calls(nodes, found, self.inputs, self.outputs, lanes)

    def __call__(self, *inputs: Array) -> list[Array]:
        """Outputs (rows, lanes) for inputs (rows, lanes), in the function's units [-]; the next call overwrites them.

        An input that is one of `inputs` of this object already is not copied.
        """
        for own, given in zip(self.inputs, inputs, strict=True):
            if own is not given:
                own[...] = given
        with np.errstate(all="ignore"):
            for operation, arguments in self._calls:
                operation(*arguments)
        return self.outputs


_Outputs = list[tuple[int, int, _Operand]]
"""Index and row of each output with the node it is."""


def _nodes(function: ca.Function) -> tuple[list[_Node], _Outputs]:
    """Instructions as nodes that each have one value; inputs are nodes of index and row."""
    nodes: list[_Node] = []
    found: _Outputs = []
    registers: dict[int, _Operand] = {}
    for at in range(function.n_instructions()):
        kind, given = function.instruction_id(at), function.instruction_input(at)
        to = function.instruction_output(at)
        if kind == ca.OP_OUTPUT:
            found.append((to[0], function.sparsity_out(to[0]).row()[to[1]], registers[given[0]]))
        elif kind == ca.OP_CONST:
            registers[to[0]] = float(function.instruction_constant(at))
        else:
            operands = tuple(given) if kind == ca.OP_INPUT else tuple(registers[index] for index in given)
            nodes.append(_simplified(kind, operands))
            registers[to[0]] = len(nodes) - 1
    return nodes, found


def _simplified(kind: int, operands: tuple[_Operand, ...]) -> _Node:
    if kind == ca.OP_TWICE:
        return _Node(ca.OP_MUL, (operands[0], 2.0))
    if kind == ca.OP_CONSTPOW and abs(float(operands[1]) - 3.5) < 1e-12:
        return _Node(_POWER_7_HALVES, operands[:1])
    return _Node(kind, operands)


class _Rewriting:
    """Nodes written anew: sums of what a condition and its opposite let through become choices of two values.

    Conditions are arrays of truth values, and numbers where they are counted with.
    """

    def __init__(self, nodes: list[_Node]) -> None:
        self.made: list[_Node] = []
        self._numbers: list[int] = []
        for node in nodes:
            self._numbers.append(self._add(self._rewritten(node, nodes)))

    def _rewritten(self, node: _Node, nodes: list[_Node]) -> _Node:
        if node.kind == ca.OP_INPUT:
            return node
        if node.kind == ca.OP_IF_ELSE_ZERO:
            return _Node(_CHOICE, (self._condition(node.operands[0]), self.number(node.operands[1]), 0.0))
        if node.kind in (ca.OP_NOT, ca.OP_AND, ca.OP_OR):
            return _Node(node.kind, tuple(self._condition(operand) for operand in node.operands))
        if (both := _both(node, nodes)) is not None:
            return _Node(_CHOICE, (self._condition(both[0]), self.number(both[1]), self.number(both[2])))
        return _Node(node.kind, tuple(self.number(operand) for operand in node.operands))

    def _add(self, node: _Node) -> int:
        self.made.append(node)
        return len(self.made) - 1

    def _moved(self, operand: _Operand) -> tuple[_Operand, bool]:
        """The operand among the nodes made, and whether it is a condition."""
        if isinstance(operand, float):
            return operand, False
        number = self._numbers[operand]
        return number, self.made[number].kind in _COMPARISONS

    def number(self, operand: _Operand) -> _Operand:
        """An operand to count with."""
        moved, is_condition = self._moved(operand)
        return self._add(_Node(_CAST, (moved,))) if is_condition else moved

    def _condition(self, operand: _Operand) -> _Operand:
        moved, is_condition = self._moved(operand)
        return moved if is_condition else self._add(_Node(ca.OP_NE, (moved, 0.0)))


def _both(node: _Node, nodes: list[_Node]) -> tuple[_Operand, _Operand, _Operand] | None:
    """Condition and both values of a sum of what it and its opposite let through; None if the node is none."""
    if node.kind != ca.OP_ADD or not all(isinstance(operand, int) for operand in node.operands):
        return None
    first, second = (nodes[int(operand)] for operand in node.operands)
    if any(part.kind != ca.OP_IF_ELSE_ZERO for part in (first, second)):
        return None
    for one, other in ((first, second), (second, first)):
        opposite = other.operands[0]
        if isinstance(opposite, int) and nodes[opposite] == _Node(ca.OP_NOT, (one.operands[0],)):
            return one.operands[0], one.operands[1], other.operands[1]
    return None


def _needed(nodes: list[_Node], found: _Outputs) -> tuple[list[_Node], _Outputs]:
    """The nodes that an output depends on."""
    keep = {operand for _, _, operand in found if isinstance(operand, int)}
    for at in reversed(range(len(nodes))):
        if at in keep and nodes[at].kind != ca.OP_INPUT:
            keep |= {operand for operand in nodes[at].operands if isinstance(operand, int)}
    order = sorted(keep)
    number = {old: new for new, old in enumerate(order)}

    def moved(operand: _Operand) -> _Operand:
        return number[operand] if isinstance(operand, int) else operand

    kept = [
        nodes[at]
        if nodes[at].kind == ca.OP_INPUT
        else _Node(nodes[at].kind, tuple(moved(operand) for operand in nodes[at].operands))
        for at in order
    ]
    return kept, [(index, row, moved(operand)) for index, row, operand in found]


def _calls(
    nodes: Sequence[_Node], found: _Outputs, inputs: Sequence[Array], outputs: Sequence[Array], lanes: int
) -> list[tuple[Operation, tuple[Any, ...]]]:
    """Array operations in order, with the arrays that they read and write; an array is used again once it is free."""
    last: dict[int, int] = {}
    for at, node in enumerate(nodes):
        if node.kind != ca.OP_INPUT:
            last |= {operand: at for operand in node.operands if isinstance(operand, int)}
    last |= {operand: len(nodes) for _, _, operand in found if isinstance(operand, int)}
    values: list[Any] = []
    free: dict[bool, list[Any]] = {False: [], True: []}
    calls: list[tuple[Operation, tuple[Any, ...]]] = []

    for at, node in enumerate(nodes):
        if node.kind == ca.OP_INPUT:
            values.append(inputs[int(node.operands[0])][int(node.operands[1])])
            continue
        given = [values[operand] if isinstance(operand, int) else operand for operand in node.operands]
        ended = _ended(node, nodes, last, at)
        is_condition = node.kind in _COMPARISONS
        if node.kind == _CHOICE and isinstance(node.operands[2], int) and node.operands[2] in ended:
            into = given[2]
        elif free[is_condition]:
            into = free[is_condition].pop()
        else:
            into = np.empty(lanes, dtype=np.bool_ if is_condition else np.float64)
        calls += _operations(node.kind, given, into)
        for operand in ended:
            if values[operand] is not into:
                free[nodes[operand].kind in _COMPARISONS].append(values[operand])
        values.append(into)
    for index, row, operand in found:
        calls.append((np.copyto, (outputs[index][row], values[operand] if isinstance(operand, int) else operand)))
    return calls


def _ended(node: _Node, nodes: Sequence[_Node], last: dict[int, int], at: int) -> list[int]:
    """Operands whose arrays nobody reads after this node."""
    read = dict.fromkeys(operand for operand in node.operands if isinstance(operand, int))
    return [operand for operand in read if last[operand] == at and nodes[operand].kind != ca.OP_INPUT]


def _operations(kind: int, given: Sequence[Any], into: Any) -> list[tuple[Operation, tuple[Any, ...]]]:
    if kind == _CHOICE:
        condition, then, otherwise = given
        first = [] if otherwise is into else [(np.copyto, (into, otherwise))]
        return [*first, (np.copyto, (into, then, "same_kind", condition))]
    if kind == _CAST:
        return [(np.copyto, (into, given[0]))]
    if kind == _POWER_7_HALVES:
        return [(np.sqrt, (given[0], into)), *([(np.multiply, (into, given[0], into))] * 3)]
    if kind in _COMPARISONS:
        return [(_COMPARISONS[kind], (*given, into))]
    if kind in _ARITHMETIC:
        return [(_ARITHMETIC[kind], (*given, into))]
    raise ValueError(f"instruction {kind} is not known")
