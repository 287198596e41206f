"""The cases in mpopt's own words (``pip install mpopt``): lists of functions per phase, pseudospectral segments.

mpopt has no parameters that are changed without building again: a changed value means a new problem and solver,
started from the last solution's variables and multipliers.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchmarks.peers.adapter import Answer
from benchmarks.peers.cases import Case
from benchmarks.peers.statement import Arc, Place, Statement, Values, read

_SUCCESS = ("Solve_Succeeded", "Solved_To_Acceptable_Level")


@dataclass(frozen=True)
class _Held:
    case: Case
    library: Any
    elements: int
    degree: int
    built: Any

    def first(self) -> Answer:
        return _solve(self.built, None)

    def again(self, value: float, before: Answer) -> Answer:
        return _solve(_build(self.library, self.case, value, self.elements, self.degree), before.kept)

    def count(self) -> None:
        """Iterations are always told."""


def _solve(built: Any, start: Any) -> Answer:
    options = {"ipopt.max_iter": 1000, "ipopt.print_level": 0, "print_time": 0, "ipopt.sb": "yes"}
    found = built.solve(start, nlp_solver_options=options)
    stats = built.nlp_solver.stats()
    status = stats["return_status"]
    return Answer(status in _SUCCESS, float(found["f"]), int(stats["iter_count"]), status, found)


def _build(library: Any, case: Case, value: float, elements: int, degree: int) -> Any:
    problem, guess = case.shared
    statement = read(problem, guess, {case.parameter: value})
    arcs = statement.arcs
    states, controls = arcs[0].states, arcs[0].controls
    ocp = library.OCP(n_states=len(states), n_controls=len(controls), n_phases=len(arcs))
    ocp.scale_x = np.array([1.0 / arcs[0].scale[n] for n in states])
    for k, arc in enumerate(arcs):
        ocp.dynamics[k] = _of_point(arc, arc.rates)
        if arc.integrand is not None:
            ocp.running_costs[k] = _of_point(arc, arc.integrand)
        if arc.path:
            ocp.path_constraints[k] = _of_point(arc, _below_zero(arc))
        _set_bounds_and_guess(ocp, k, arc)
        ends = [(states.index(n), v) for (place, n), v in arc.fixed.items() if place is Place.END]
        if ends:
            ocp.terminal_constraints[k] = lambda xf, tf, x0, t0, a=None, ends=ends: [xf[i] - v for i, v in ends]
    _set_cost(ocp, statement)
    built = library.mpopt(ocp, n_segments=elements, poly_orders=[degree] * elements, scheme="LGR")
    built._MUTE_ = True
    return built


def _of_point(arc: Arc, function: Callable[[Values], Any]) -> Callable[..., Any]:
    def told(x: Any, u: Any, t: Any, a: Any = None) -> Any:
        point = {n: x[i] for i, n in enumerate(arc.states)}
        point |= {n: u[i] for i, n in enumerate(arc.controls)}
        return function(point)

    return told


def _below_zero(arc: Arc) -> Callable[[Values], list[Any]]:
    """Mpopt's path constraints are at most zero; every row of the cases has an upper limit only."""
    return lambda point: [row.function(point) - row.upper for row in arc.path]


def _set_bounds_and_guess(ocp: Any, k: int, arc: Arc) -> None:
    ocp.lbx[k], ocp.ubx[k] = [arc.low[n] for n in arc.states], [arc.high[n] for n in arc.states]
    ocp.lbu[k], ocp.ubu[k] = [arc.low[n] for n in arc.controls], [arc.high[n] for n in arc.controls]
    ocp.lbt0[k], ocp.ubt0[k] = arc.start
    ocp.lbtf[k], ocp.ubtf[k] = arc.end
    ocp.t00[k], ocp.tf0[k] = arc.times
    ocp.x00[k] = [float(arc.fixed.get((Place.START, n), arc.line[n][0])) for n in arc.states]
    ocp.xf0[k] = [arc.line[n][1] for n in arc.states]
    ocp.u00[k], ocp.uf0[k] = [arc.line[n][0] for n in arc.controls], [arc.line[n][1] for n in arc.controls]


def _set_cost(ocp: Any, statement: Statement) -> None:
    cost = statement.cost
    if cost.place is Place.INTEGRAL:
        return
    k = [a.name for a in statement.arcs].index(cost.phase)
    index = statement.arcs[k].states.index(cost.name) if cost.name else -1
    ocp.terminal_costs[k] = lambda xf, tf, x0, t0, a=None: cost.sign * (xf[index] if cost.name else tf)


class Mpopt:
    """mpopt with flipped Legendre-Gauss-Radau segments, its default."""

    name = "mpopt"
    distribution = "mpopt"
    way = "builds again; variables and multipliers from the solution"

    def __init__(self) -> None:
        from mpopt import mp  # noqa: PLC0415

        self.library: Any = mp

    def pose(self, case: Case, elements: int, degree: int) -> _Held:
        """State the problem; mpopt makes its solver when it solves."""
        return _Held(case, self.library, elements, degree, _build(self.library, case, case.nominal, elements, degree))
