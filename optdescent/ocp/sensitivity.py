"""How the optimum changes with the parameters: the cost from the multipliers, the trajectory from the KKT system.

The derivative of the optimal cost holds the multipliers of parametric bounds as well as those of the equations
(Fiacco, Introduction to Sensitivity and Stability Analysis in Nonlinear Programming, 1983). The derivative of the
trajectory keeps the limits that are active at the solution active; it is one-sided where one is just about to change.
Along a singular arc optima of nearly the same cost lie beside each other, with other limits active: it is the
derivative of the one that is given.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optdescent.ocp.basis import Array
from optdescent.ocp.bordered import Bordered
from optdescent.ocp.form import parameter_column
from optdescent.ocp.limits import bounds, limit_places, limit_values, row_scales
from optdescent.ocp.neighbour import active_limits
from optdescent.ocp.nlp import NonlinearProgram
from optdescent.ocp.piece import Piece
from optdescent.ocp.problem import Problem
from optdescent.ocp.scale import column_scales
from optdescent.ocp.solution import Raw, Solution

_REGULAR = 1e-11
_REFINEMENTS = 3


@dataclass(frozen=True)
class TrajectorySensitivity:
    """Derivatives to every entry of the parameter column, or along k directions in it, in physical units.

    columns (n, k), rows (m, k) : of the program's own (scaled) variables and row multipliers.
    states, controls : (phase, name) -> (nodes or points, k) at fixed place in the mesh.
    edges : phase -> (2, k) of its start and end. statics : name -> (k,).
    """

    columns: Array
    rows: Array
    states: Mapping[tuple[str, str], Array]
    controls: Mapping[tuple[str, str], Array]
    edges: Mapping[str, Array]
    statics: Mapping[str, Array]


def cost_sensitivity(program: NonlinearProgram, solution: Solution) -> dict[str, Array]:
    """Derivative of the optimal cost to every parameter: name -> (size,)."""
    state = _State(program, solution)
    change = state.cost_push() - state.raw.lam_g @ state.bound_slopes[1] - state.raw.lam_x @ state.bound_slopes[0]
    return _by_parameter(program.problem, state.raw.scales[0] * change)


def trajectory_sensitivity(
    program: NonlinearProgram, solution: Solution, along: Array | None = None
) -> TrajectorySensitivity:
    """Derivative of the trajectory to every parameter by one factorisation of the KKT system.

    With directions ``along`` (parameters, k) [the parameters' units] it is found for these alone: each is a solve.
    """
    state = _State(program, solution)
    size = program.columns
    around = program.slopes.around(state.raw.x, state.p)
    curve = program.slopes.curve(state.raw.x, state.p, state.raw.lam_g)
    active, _ = active_limits(state.raw, around.value, state.box)
    held = active[:size]
    live = np.concatenate([~held, active[size:]])
    system = Bordered(curve, around.slope, live, _REGULAR)
    given = np.vstack([np.where(held[:, None], state.bound_slopes[0], 0.0), np.zeros_like(state.bound_slopes[1])])
    right = np.vstack([-state.cross(), state.bound_slopes[1] - state.row_slopes()])
    if along is not None:
        given, right = given @ along, right @ along
    found = np.column_stack([_solved(system, r, g, live) for r, g in zip(right.T, given.T, strict=True)])
    return _named(program, found[:size], found[size:], state.unit)


def _solved(system: Bordered, right: Array, given: Array, live: NDArray[np.bool_]) -> Array:
    """Columns and row multipliers (n + m,), refined until the shift that keeps the factors regular shows no more."""
    found = system.solve(right, given)
    for _ in range(_REFINEMENTS):
        found = found + system.solve(np.where(live, right - system.times(found), 0.0), np.zeros_like(given))
    return found


def predict(solution: Solution, change: TrajectorySensitivity, step: Array) -> Solution:
    """``solution`` with its program's vectors moved by ``step`` (k,) of what ``change`` is to, to start warm from."""
    raw = solution.raw
    moved = Raw(raw.x + change.columns @ step, raw.lam_x, raw.lam_g + change.rows @ step, raw.scales)
    return replace(solution, raw=moved)


class _State:
    """What the program's derivatives at a solution are made of."""

    def __init__(self, program: NonlinearProgram, solution: Solution) -> None:
        problem, layout = program.problem, program.layout
        self.program, self.raw = program, solution.raw
        self.parameters = np.asarray(parameter_column(problem, solution.values), dtype=float)
        self.p = np.concatenate([self.parameters, self.raw.scales])
        self.limits = limit_values(problem, self.parameters)
        self.unit = column_scales(layout, self.raw.scales)
        self.box = bounds(problem, layout, self.limits, self.unit, self.raw.scales)
        self.bound_slopes = self._bound_slopes()

    def cost_push(self) -> Array:
        """Derivative (k,) of the Lagrangian, bounds apart, to the parameters."""
        total = np.zeros(self.parameters.size)
        for piece in self.program.pieces:
            function = piece.kernel.push.map(piece.points, [False, True, False, True, False], [True])
            total += np.asarray(function(*self._arguments(piece), self._weights(piece)).full(), dtype=float).ravel()
        return total

    def row_slopes(self) -> Array:
        """(rows, k) derivative of the rows to the parameters."""
        result = np.zeros((self.program.rows + 1, self.parameters.size))
        for piece in self.program.pieces:
            function, (i, j) = piece.kernel.parameter_slope
            if i.size:
                entries = function.map(piece.points, [False, True, False, True], [False])(*self._arguments(piece))
                target = (piece.rows[i], np.repeat(j[:, None], piece.points, axis=1))
                np.add.at(result, target, np.asarray(entries.full(), dtype=float))
        return result[:-1]

    def cross(self) -> Array:
        """(n, k) derivative of the Lagrangian's gradient to the parameters."""
        result = np.zeros((self.program.columns, self.parameters.size))
        for piece in self.program.pieces:
            function, (i, j) = piece.kernel.cross
            if i.size:
                function = function.map(piece.points, [False, True, False, True, False], [False])
                entries = function(*self._arguments(piece), self._weights(piece))
                target = (piece.where[i], np.repeat(j[:, None], piece.points, axis=1))
                np.add.at(result, target, np.asarray(entries.full(), dtype=float))
        return result

    def _arguments(self, piece: Piece) -> tuple[Array, Array, Array, Array]:
        return self.raw.x[piece.columns], self.raw.x[piece.common], piece.places, self.p[piece.shared]

    def _weights(self, piece: Piece) -> Array:
        return np.append(self.raw.lam_g, 1.0)[piece.rows]

    def _bound_slopes(self) -> tuple[Array, Array]:
        """Derivative of the bound that is pushed against, per column (n, k) and per row (m, k), scaled."""
        problem, layout = self.program.problem, self.program.layout
        slopes = problem.boundary_form.limit_slopes.call([self.parameters])
        low, high = (np.asarray(v.full(), dtype=float) for v in slopes)
        count = self.parameters.size
        columns, rows = np.zeros((layout.columns, count)), np.zeros((layout.rows, count))
        units = row_scales(problem, layout)
        for k, (item, kind, index) in enumerate(limit_places(problem, layout)):
            if kind == "row":
                pushed_up = self.raw.lam_g[index] > 0.0
                rows[index] = np.where(pushed_up[:, None], high[k], low[k]) / units[index][:, None]
                continue
            pushed_up = self.raw.lam_x[index] > 0.0
            limit = np.where(pushed_up, self.limits[item][1], self.limits[item][0]) / self.unit[index]
            binding = np.where(pushed_up, self.box.high[index], self.box.low[index])
            slopes = np.asarray(np.where(pushed_up[:, None], high[k], low[k]), dtype=float)
            slopes = slopes / self.unit[index][:, None]
            columns[index] = np.where((limit == binding)[:, None], slopes, columns[index])
        return columns, rows


def _by_parameter(problem: Problem, column: Array) -> dict[str, Array]:
    found: dict[str, Array] = {}
    offset = 0
    for q in problem.parameters:
        found[q.name] = column[offset : offset + q.size]
        offset += q.size
    return found


def _named(program: NonlinearProgram, scaled: Array, rows: Array, unit: Array) -> TrajectorySensitivity:
    problem, columns = program.problem, scaled * unit[:, None]
    states: dict[tuple[str, str], Array] = {}
    controls: dict[tuple[str, str], Array] = {}
    edges: dict[str, Array] = {}
    for phase, place in zip(problem.phases, program.layout.phases, strict=True):
        states |= {(phase.name, v.name): columns[row] for v, row in zip(phase.states, place.states, strict=True)}
        controls |= {(phase.name, v.name): columns[row] for v, row in zip(phase.controls, place.controls, strict=True)}
        edges[phase.name] = columns[[place.start, place.end]]
    statics = {v.name: columns[i] for v, i in zip(problem.statics, program.layout.statics, strict=True)}
    return TrajectorySensitivity(scaled, rows, states, controls, edges, statics)
