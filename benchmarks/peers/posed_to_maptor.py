"""The cases in maptor's own words (``pip install maptor``): phases, symbolic variables, Legendre-Gauss-Radau mesh.

maptor builds its program at every solve: a changed value means a new problem, guessed from the last solution.
"""

from __future__ import annotations

import itertools
import logging
import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from benchmarks.peers.adapter import Answer
from benchmarks.peers.cases import Case
from benchmarks.peers.statement import Arc, Place, Statement, read

_OPTIONS = {"ipopt.print_level": 0, "ipopt.sb": "yes", "print_time": 0, "ipopt.max_iter": 1000}


@dataclass(frozen=True)
class _Held:
    case: Case
    library: Any
    elements: int
    degree: int
    built: Any
    statement: Statement

    def first(self) -> Answer:
        for k, arc in enumerate(self.statement.arcs):
            begin, end = arc.times
            at = np.linspace(-1.0, 1.0, self.elements + 1) / 2 + 0.5
            states, controls = [], []
            for low, high in itertools.pairwise(at):
                inside = np.linspace(low, high, self.degree + 1)
                states.append(np.array([arc.guessed(n, inside) for n in arc.states]))
                controls.append(np.array([arc.guessed(n, inside[:-1]) for n in arc.controls]))
            phase = self.built[1][k]
            phase.guess(states=states, controls=controls, **_times(begin, end), **_integral(arc, 0.0))
        return _solve(self.library, self.built, self.statement)

    def again(self, value: float, before: Answer) -> Answer:
        statement = _statement(self.case, value)
        built = _build(self.library, statement, self.elements, self.degree)
        solution: Any = before.kept
        for k, arc in enumerate(statement.arcs):
            x = np.array([solution[k + 1, n] for n in arc.states])
            u = np.array([solution[k + 1, n] for n in arc.controls])
            firsts = range(0, self.elements * self.degree, self.degree)
            states = [x[:, i : i + self.degree + 1] for i in firsts]
            controls = [u[:, i : i + self.degree] for i in firsts]
            times = solution.phases[k + 1]["times"]
            found = solution.phases[k + 1].get("integrals")
            integral = float(np.atleast_1d(found)[0]) if found is not None and arc.integrand is not None else 0.0
            built[1][k].guess(
                states=states,
                controls=controls,
                **_times(float(times["initial"]), float(times["final"])),
                **_integral(arc, integral),
            )
        return _solve(self.library, built, statement)

    def count(self) -> None:
        """Its solution tells no iterations."""


def _times(begin: float, end: float) -> dict[str, float]:
    return {"initial_time": begin, "terminal_time": end}


def _integral(arc: Arc, value: float) -> dict[str, float]:
    return {"integrals": value} if arc.integrand is not None else {}


def _solve(library: Any, built: Any, statement: Statement) -> Answer:
    found = library.solve_fixed_mesh(built[0], nlp_options=_OPTIONS, show_summary=False)
    succeeded = bool(found.status["success"])
    cost = float(found.status["objective"]) if succeeded else math.nan
    return Answer(succeeded, cost, -1, str(found.status["message"])[:60], found)


def _statement(case: Case, value: float) -> Statement:
    problem, guess = case.shared
    return read(problem, guess, {case.parameter: value})


def _range(low: float, high: float) -> Any:
    if low == high:
        return low
    ends = tuple(v if math.isfinite(v) else None for v in (low, high))
    return None if ends == (None, None) else ends


def _box(low: float, high: float) -> tuple[float | None, float | None] | None:
    """Bounds along a phase, which maptor takes as a pair even when they are equal."""
    bounds = _range(low, high)
    return bounds if bounds is None or isinstance(bounds, tuple) else (low, high)


def _build(library: Any, statement: Statement, elements: int, degree: int) -> tuple[Any, list[Any]]:
    problem = library.Problem(statement.name)
    phases: list[Any] = []
    cost: Any = None
    before: dict[str, Any] = {}
    for k, arc in enumerate(statement.arcs):
        phase = problem.set_phase(k + 1)
        clock = phase.time(initial=before["time"].final if before else _range(*arc.start), final=_range(*arc.end))
        symbols: dict[str, Any] = {}
        for name in arc.states:
            initial = before[name].final if before else arc.fixed.get((Place.START, name))
            final = arc.fixed.get((Place.END, name))
            bounds = _range(arc.low[name], arc.high[name])
            symbols[name] = phase.state(name, initial=initial, final=final, boundary=bounds)
        before = {**symbols, "time": clock}
        symbols |= {n: phase.control(n, boundary=_box(arc.low[n], arc.high[n])) for n in arc.controls}
        phase.dynamics({symbols[n]: r for n, r in zip(arc.states, arc.rates(symbols), strict=True)})
        for row in arc.path:
            phase.path_constraints(row.function(symbols) <= row.upper)
        if arc.name == statement.cost.phase:
            cost = _cost(statement, arc, phase, symbols, clock)
        phase.mesh([degree] * elements, np.linspace(-1.0, 1.0, elements + 1))
        phases.append(phase)
    problem.minimize(cost)
    return problem, phases


def _cost(statement: Statement, arc: Arc, phase: Any, symbols: dict[str, Any], clock: Any) -> Any:
    cost = statement.cost
    if cost.place is Place.INTEGRAL and arc.integrand is not None:
        return cost.sign * phase.add_integral(arc.integrand(symbols))
    return cost.sign * (symbols[cost.name].final if cost.name else clock.final)


class Maptor:
    """maptor on a fixed mesh of Legendre-Gauss-Radau intervals."""

    name = "maptor"
    distribution = "maptor"
    way = "builds again; guess from the solution"

    def __init__(self) -> None:
        import maptor  # noqa: PLC0415

        logging.getLogger("maptor").setLevel(logging.CRITICAL)
        self.library: Any = maptor

    def pose(self, case: Case, elements: int, degree: int) -> _Held:
        """State the problem; maptor builds its program when it solves."""
        statement = _statement(case, case.nominal)
        return _Held(case, self.library, elements, degree, _build(self.library, statement, elements, degree), statement)
