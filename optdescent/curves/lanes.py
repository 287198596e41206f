"""A compiled function of scalars evaluated for many lanes at once, one array operation for each of its instructions.

CasADi evaluates a function point by point; for thousands of points the same list of instructions is cheaper taken with
arrays over the points, as long as these stay in the processor's cache. The results are those of CasADi but for
rounding. What depends only on inputs that are known beforehand, and are the same in every lane or at every call, is
found once, by the same operations: no result depends on which lanes are taken together.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.curves.assembly import Assembly, Values, operations, unwritten
from optdescent.curves.instructions import Instructions, Node, instructions

Array = NDArray[np.float64]
_NOTHING: Mapping[int, Array] = MappingProxyType({})


@dataclass(frozen=True)
class Known:
    """Inputs that are known before the calls, by their index, in the function's units [-].

    `lanes` (row, lane) are the same at every call, `calls` (call,) of one row the same in every lane.
    """

    lanes: Mapping[int, Array] = field(default_factory=dict[int, Array])
    calls: Mapping[int, Array] = field(default_factory=dict[int, Array])


class Lanes:
    """A function of columns of scalars, for a fixed number of lanes.

    Parameters
    ----------
    function : casadi.Function
        Expanded function (SX) whose inputs are columns.
    lanes : int
        Number of lanes [-].
    known : Known
        Inputs that are known before the calls; they are not given at the calls.
    read : Mapping of int to Array
        Arrays (row, lane) from which other inputs are read where they are, by index; they are not given either.
    then : Mapping of int to Callable
        What is done with the place of the call as soon as an output is found, by its index, in this order. It may fill
        arrays of `read` that this output and those before it do not depend on.

    Raises
    ------
    ValueError
        The function is not expanded, or has an instruction that is not known here.
    """

    def __init__(
        self,
        function: ca.Function,
        lanes: int,
        known: Known | None = None,
        read: Mapping[int, Array] = _NOTHING,
        then: Mapping[int, Callable[[int], object]] | None = None,
    ) -> None:
        known, then = known or Known(), then or {}
        found = instructions(function)
        rest = [index for index in range(function.n_in()) if index not in {*known.lanes, *known.calls}]
        inputs = {index: np.zeros((function.size1_in(index), lanes)) for index in rest} | dict(read)
        self._given = [inputs[index] for index in rest if index not in read]
        self.outputs = [np.zeros((function.size1_out(i), lanes)) for i in range(function.n_out())]
        self._tables, values = _placed(_folded(found, known))
        for at, node in enumerate(found.nodes):
            if node.kind == ca.OP_INPUT and at not in values:
                index, row = node.place
                values[at] = inputs[index][row]
        assembly = Assembly(found, values, self.outputs, list(then))
        self._parts = list(zip(assembly.parts, [*then.values(), None], strict=True))

    def __call__(self, *inputs: Array, call: int = 0) -> list[Array]:
        """Outputs (row, lane) for inputs (row, lane) that are not known, in the function's units [-].

        The next call overwrites them. `call` is the place of this call in what is known of each.
        """
        for own, given in zip(self._given, inputs, strict=True):
            own[...] = given
        for current, table in self._tables:
            current[...] = table[call]
        with np.errstate(all="ignore"):
            for calls, action in self._parts:
                for operation, arguments in calls:
                    operation(*arguments)
                if action is not None:
                    action(call)
        return self.outputs


def _folded(given: Instructions, known: Known) -> dict[int, Values]:
    """Values (call, lane) of the nodes that are known before the calls, each as small as it can be."""
    found: dict[int, Values] = {}
    for at, node in enumerate(given.nodes):
        index, row = node.place
        if node.kind == ca.OP_CONST:
            found[at] = np.full((1, 1), node.constant)
        elif node.kind == ca.OP_INPUT and index in known.lanes:
            values = known.lanes[index][row][None]
            found[at] = values[:, :1] if np.all(values == values[:, :1]) else values
        elif node.kind == ca.OP_INPUT and index in known.calls:
            found[at] = known.calls[index][:, None]
        elif node.operands and all(operand in found for operand in node.operands):
            operands = [found[operand] for operand in node.operands]
            shape = np.broadcast_shapes(*(values.shape for values in operands))
            if 1 in shape:
                found[at] = _value(node, operands, shape)
    return found


def _value(node: Node, operands: list[Values], shape: tuple[int, ...]) -> Values:
    into = unwritten(node, shape)
    with np.errstate(all="ignore"):
        for operation, arguments in operations(node.kind, operands, into):
            operation(*arguments)
    return into


def _placed(folded: Mapping[int, Values]) -> tuple[list[tuple[Values, Values]], dict[int, Values]]:
    """Rows that are filled anew at each call with their tables (call, place), and where each known node stands.

    That is an array over lanes, a single value, or a place in a row. One row is of numbers, one of conditions.
    """
    values = {at: np.squeeze(known, axis=0) for at, known in folded.items() if known.shape[0] == 1}
    values = {at: known if known.size > 1 else known.reshape(()) for at, known in values.items()}
    tables: list[tuple[Values, Values]] = []
    for dtype in (np.dtype(np.float64), np.dtype(np.bool_)):
        moving = [at for at, known in folded.items() if known.shape[0] > 1 and known.dtype == dtype]
        if moving:
            current = np.empty(len(moving), dtype=dtype)
            tables.append((current, np.concatenate([folded[at] for at in moving], axis=1)))
            values |= {at: current[place : place + 1].reshape(()) for place, at in enumerate(moving)}
    return tables, values
