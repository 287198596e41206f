"""The instructions of a compiled function, written anew so that few of them are needed over arrays.

Every rewriting keeps the value but for rounding, with missing numbers: a choice is taken as such, and what is not
chosen may have no value.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import lru_cache

import casadi as ca

CHOICE, NUMBER, POWER_7_HALVES = -1, -2, -3
"""Operations of our own: one of two values by a condition, a condition as a number, the power 7/2."""
CONDITIONS = (ca.OP_LT, ca.OP_LE, ca.OP_EQ, ca.OP_NE, ca.OP_AND, ca.OP_OR, ca.OP_NOT)
"""Operations that give truth values."""
_WHOLE = 1e-12


@dataclass(frozen=True)
class Node:
    """A value: an operation on others by their numbers, a constant [-], or row and index of an input."""

    kind: int
    operands: tuple[int, ...] = ()
    constant: float = 0.0
    place: tuple[int, int] = (0, 0)

    @property
    def is_condition(self) -> bool:
        """Whether it is true or false."""
        return self.kind in CONDITIONS


@dataclass(frozen=True)
class Instructions:
    """Nodes in an order in which each follows what it is made of; outputs as index, row and node."""

    nodes: tuple[Node, ...]
    outputs: tuple[tuple[int, int, int], ...]


@lru_cache(maxsize=32)
def instructions(function: ca.Function) -> Instructions:
    """Instructions of an expanded function (SX) of columns [-].

    Raises
    ------
    ValueError
        The function is not expanded.
    """
    if not function.is_a("SXFunction"):
        raise ValueError("the function is not expanded")
    plain = _read(function)
    written = _Writing(plain.nodes)
    found = tuple((index, row, written.number(written.at[node])) for index, row, node in plain.outputs)
    return _needed(Instructions(tuple(written.nodes), found))


def _read(function: ca.Function) -> Instructions:
    """The function as it is, each register written once."""
    nodes: list[Node] = []
    outputs: list[tuple[int, int, int]] = []
    registers: dict[int, int] = {}
    for at in range(function.n_instructions()):
        kind, given = function.instruction_id(at), function.instruction_input(at)
        to = function.instruction_output(at)
        if kind == ca.OP_OUTPUT:
            outputs.append((to[0], function.sparsity_out(to[0]).row()[to[1]], registers[given[0]]))
            continue
        if kind == ca.OP_CONST:
            nodes.append(Node(kind, constant=float(function.instruction_constant(at))))
        elif kind == ca.OP_INPUT:
            nodes.append(Node(kind, place=(given[0], given[1])))
        else:
            nodes.append(Node(kind, tuple(registers[index] for index in given)))
        registers[to[0]] = len(nodes) - 1
    return Instructions(tuple(nodes), tuple(outputs))


class _Writing:
    """Nodes written anew, one after the other; `at` is what each old one became. Equal nodes are written once."""

    def __init__(self, old: Sequence[Node]) -> None:
        self.nodes: list[Node] = []
        self.at: list[int] = []
        self._numbers: dict[tuple[int, tuple[int, ...], str, tuple[int, int]], int] = {}
        for node in old:
            self.at.append(self._rewritten(node, old))

    def _add(self, node: Node) -> int:
        key = node.kind, node.operands, node.constant.hex(), node.place
        if key not in self._numbers:
            self.nodes.append(node)
            self._numbers[key] = len(self.nodes) - 1
        return self._numbers[key]

    def _made(self, kind: int, *operands: int) -> int:
        return self._add(Node(kind, operands))

    def _constant(self, value: float) -> int:
        return self._add(Node(ca.OP_CONST, constant=value))

    def _rewritten(self, node: Node, old: Sequence[Node]) -> int:
        if node.kind in (ca.OP_CONST, ca.OP_INPUT):
            return self._add(node)
        moved = [self.at[operand] for operand in node.operands]
        if node.kind == ca.OP_IF_ELSE_ZERO:
            return self._choice(self._condition(moved[0]), self.number(moved[1]), self._constant(0.0))
        if node.kind in (ca.OP_NOT, ca.OP_AND, ca.OP_OR):
            return self._joined(node.kind, *(self._condition(operand) for operand in moved))
        if (both := _both(node, old)) is not None:
            condition, then, otherwise = (self.at[operand] for operand in both)
            return self._choice(self._condition(condition), self.number(then), self.number(otherwise))
        return self._calculated(node.kind, *(self.number(operand) for operand in moved))

    def number(self, operand: int) -> int:
        """An operand to count with."""
        return self._made(NUMBER, operand) if self.nodes[operand].is_condition else operand

    def _condition(self, operand: int) -> int:
        """An operand to choose by."""
        if (truth := self._truth(operand)) is not None:
            return truth
        return operand if self.nodes[operand].is_condition else self._made(ca.OP_NE, operand, self._constant(0.0))

    def _truth(self, operand: int) -> int | None:
        """The condition that a node is the number of."""
        node = self.nodes[operand]
        return node.operands[0] if node.kind == NUMBER else None

    def _is(self, operand: int, value: float) -> bool:
        """Whether a node is this constant."""
        return self._value(operand) == value

    def _value(self, operand: int) -> float | None:
        node = self.nodes[operand]
        return node.constant if node.kind == ca.OP_CONST else None

    # numbers

    def _calculated(self, kind: int, *operands: int) -> int:
        if (found := self._logical(kind, *operands)) is not None:
            return found
        match kind:
            case ca.OP_TWICE:
                return self._made(ca.OP_MUL, operands[0], self._constant(2.0))
            case ca.OP_CONSTPOW:
                return self._power(*operands)
            case ca.OP_MUL:
                return self._product(*operands)
            case ca.OP_NEG:
                return self._opposite(operands[0])
            case _:
                return self._made(kind, *operands)

    def _opposite(self, number: int) -> int:
        node = self.nodes[number]
        if node.kind == ca.OP_SUB:
            return self._made(ca.OP_SUB, *reversed(node.operands))
        if node.kind == ca.OP_DIV and (value := self._value(node.operands[1])) is not None:
            return self._made(ca.OP_DIV, node.operands[0], self._constant(-value))
        return self._made(ca.OP_NEG, number)

    def _power(self, number: int, exponent: int) -> int:
        """Powers that are not whole numbers share their logarithms; a number below 0 has none of them."""
        value = self.nodes[exponent].constant
        if abs(value - 3.5) < _WHOLE:
            return self._made(POWER_7_HALVES, number)
        if self.nodes[exponent].kind != ca.OP_CONST or value == round(value):
            return self._made(ca.OP_CONSTPOW, number, exponent)
        return self._made(ca.OP_EXP, self._made(ca.OP_MUL, exponent, self._made(ca.OP_LOG, number)))

    def _product(self, first: int, second: int) -> int:
        """Of two exponentials one is taken."""
        for one, other in ((first, second), (second, first)):
            if self.nodes[other].kind != ca.OP_EXP:
                continue
            factors = self.nodes[one].operands if self.nodes[one].kind == ca.OP_MUL else (one,)
            raised = [factor for factor in factors if self.nodes[factor].kind == ca.OP_EXP]
            rest = [factor for factor in factors if factor not in raised]
            if len(raised) == 1:
                powers = self.nodes[raised[0]].operands[0], self.nodes[other].operands[0]
                both = self._made(ca.OP_EXP, self._made(ca.OP_ADD, *powers))
                return self._made(ca.OP_MUL, rest[0], both) if rest else both
        return self._made(ca.OP_MUL, first, second)

    # conditions

    def _logical(self, kind: int, *operands: int) -> int | None:
        """What is counted with numbers of conditions, as a condition; None if it is none."""
        truths = [self._truth(operand) for operand in operands]
        if kind in _LOGICAL and len(truths) == 2 and truths[0] is not None and truths[1] is not None:
            return self.number(self._joined(_LOGICAL[kind], truths[0], truths[1]))
        if kind == ca.OP_SUB and self._is(operands[0], 1.0) and truths[1] is not None:
            return self.number(self._joined(ca.OP_NOT, truths[1]))
        if kind in _UNDECIDED:
            for at, truth in enumerate(truths):
                value = self._value(operands[1 - at])
                if truth is not None and value is not None and _UNDECIDED[kind](at, value):
                    return truth if at == 1 else self._joined(ca.OP_NOT, truth)
        return None

    def _joined(self, kind: int, *conditions: int) -> int:
        if kind == ca.OP_NOT:
            node = self.nodes[conditions[0]]
            return node.operands[0] if node.kind == ca.OP_NOT else self._made(kind, *conditions)
        return conditions[0] if conditions[0] == conditions[1] else self._made(kind, *sorted(conditions))

    def _choice(self, condition: int, then: int, otherwise: int) -> int:
        if self.nodes[condition].kind == ca.OP_NOT:
            return self._choice(self.nodes[condition].operands[0], otherwise, then)
        if then == otherwise:
            return then
        if (truth := self._decided(condition, then, otherwise)) is not None:
            return self.number(truth)
        first, second = self.nodes[then], self.nodes[otherwise]
        if first.kind == second.kind == CHOICE and first.operands[::2] == second.operands[::2]:
            chosen = self._choice(condition, first.operands[1], second.operands[1])
            return self._choice(first.operands[0], chosen, first.operands[2])
        if first.kind == CHOICE and first.operands[2] == otherwise:
            both = self._joined(ca.OP_AND, condition, first.operands[0])
            return self._made(CHOICE, both, first.operands[1], otherwise)
        if second.kind == CHOICE and second.operands[1] == then:
            either = self._joined(ca.OP_OR, condition, second.operands[0])
            return self._made(CHOICE, either, then, second.operands[2])
        return self._made(CHOICE, condition, then, otherwise)

    def _decided(self, condition: int, then: int, otherwise: int) -> int | None:
        """The condition whose number is chosen; None if it is none."""
        first, second = self._truth(then), self._truth(otherwise)
        match self._value(then), self._value(otherwise):
            case 1.0, 0.0:
                return condition
            case 0.0, 1.0:
                return self._joined(ca.OP_NOT, condition)
            case None, 0.0 if first is not None:
                return self._joined(ca.OP_AND, condition, first)
            case 1.0, None if second is not None:
                return self._joined(ca.OP_OR, condition, second)
            case 0.0, None if second is not None:
                return self._joined(ca.OP_AND, self._joined(ca.OP_NOT, condition), second)
            case None, 1.0 if first is not None:
                return self._joined(ca.OP_OR, self._joined(ca.OP_NOT, condition), first)
            case _:
                return None


_LOGICAL = {ca.OP_MUL: ca.OP_AND, ca.OP_FMIN: ca.OP_AND, ca.OP_FMAX: ca.OP_OR}
"""What an operation on numbers of two conditions is."""
_UNDECIDED: dict[int, Callable[[int, float], bool]] = {
    ca.OP_LT: lambda at, value: 0.0 <= value < 1.0 if at == 1 else 0.0 < value <= 1.0,
    ca.OP_LE: lambda at, value: 0.0 < value <= 1.0 if at == 1 else 0.0 <= value < 1.0,
}
"""Whether a comparison of the number of a condition, left (0) or right (1), with a value asks for the condition."""


def _both(node: Node, old: Sequence[Node]) -> tuple[int, int, int] | None:
    """Condition and both values of a sum of what it and its opposite let through; None if the node is none."""
    if node.kind != ca.OP_ADD:
        return None
    first, second = (old[operand] for operand in node.operands)
    if any(part.kind != ca.OP_IF_ELSE_ZERO for part in (first, second)):
        return None
    for one, other in ((first, second), (second, first)):
        opposite = old[other.operands[0]]
        if opposite.kind == ca.OP_NOT and opposite.operands[0] == one.operands[0]:
            return one.operands[0], one.operands[1], other.operands[1]
    return None


def _needed(given: Instructions) -> Instructions:
    """Without what no output depends on."""
    keep = {node for _, _, node in given.outputs}
    for at in reversed(range(len(given.nodes))):
        if at in keep:
            keep |= set(given.nodes[at].operands)
    return _renumbered(given, sorted(keep))


def _renumbered(given: Instructions, order: Sequence[int]) -> Instructions:
    """The nodes of this order only."""
    number = {old: new for new, old in enumerate(order)}
    moved = tuple(
        Node(node.kind, tuple(number[operand] for operand in node.operands), node.constant, node.place)
        for node in (given.nodes[at] for at in order)
    )
    return Instructions(moved, tuple((index, row, number[node]) for index, row, node in given.outputs))
