"""The cases in rockit's own words (``pip install rockit-meco``): stages, symbols, constraints at both ends.

One phase: ``to_function`` makes a function of the parameter and of the initial values, which is called again with the
last solution. Several phases, for which that does not exist: ``set_value`` and ``solve``, from the straight guess
each time. rockit holds a control constant over each of its intervals, so every collocation point of the other
libraries becomes one interval. Its scaling of states is left out: with it ``to_function`` fails (version 0.6.7).
"""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass
from typing import Any

import casadi as ca
import numpy as np

from benchmarks.peers.adapter import Answer
from benchmarks.peers.cases import Case
from benchmarks.peers.statement import Arc, Place, Quantity, read


@dataclass(frozen=True)
class _Stage:
    arc: Arc
    stage: Any
    symbols: dict[str, Any]
    intervals: int


@dataclass(frozen=True)
class _Function:
    """One phase, as a function of the parameter and the start."""

    case: Case
    function: Any
    held: _Stage

    def first(self) -> Answer:
        arc, count = self.held.arc, self.held.intervals
        at = np.linspace(0.0, 1.0, count + 1)
        states = np.array([arc.guessed(n, at) for n in arc.states])
        controls = np.array([arc.guessed(n, at[:-1]) for n in arc.controls])
        return self._call(self.case.nominal, (states, controls, arc.times[1] - arc.times[0]))

    def again(self, value: float, before: Answer) -> Answer:
        return self._call(value, before.kept)

    def count(self) -> None:
        """A function tells no iterations."""

    def _call(self, value: float, start: Any) -> Answer:
        given = start if _is_free(self.held.arc.end) else start[:2]
        cost, *found = self.function(value, *given)
        return Answer(math.isfinite(float(cost)), float(cost), -1, "no status from a function", tuple(found))


@dataclass(frozen=True)
class _Stages:
    """Several phases."""

    ocp: Any
    parameter: Any
    stages: tuple[_Stage, ...]
    cost: Any

    def first(self) -> Answer:
        for held in self.stages:
            begin, end = held.arc.times
            for name in (*held.arc.states, *held.arc.controls):
                first, last = held.arc.line[name]
                line = first + (last - first) * (held.stage.t - begin) / (end - begin)
                held.stage.set_initial(held.symbols[name], line)
        return self._solve()

    def again(self, value: float, before: Answer) -> Answer:
        self.ocp.set_value(self.parameter, value)
        return self._solve()

    def count(self) -> None:
        """Iterations are always told."""

    def _solve(self) -> Answer:
        try:
            found = self.ocp.solve()
        except RuntimeError as fault:
            return Answer(False, math.nan, -1, str(fault).strip().splitlines()[-1][-60:])
        count = int(found.stats["iter_count"])
        return Answer(True, float(found.value(self.cost)), count, str(found.stats["return_status"]), found)


def _is_free(span: tuple[Any, Any]) -> bool:
    return bool(span[0] != span[1])


def _span(library: Any, arc: Arc) -> tuple[Any, Any]:
    """Start and length of a phase, free with their guesses or fixed."""
    begin, end = arc.times
    start = library.FreeTime(begin) if _is_free(arc.start) else float(arc.start[0])
    free = _is_free(arc.start) or _is_free(arc.end)
    return start, library.FreeTime(end - begin) if free else float(arc.end[0]) - float(arc.start[0])


def _stage(stage: Any, library: Any, arc: Arc, intervals: int) -> _Stage:
    symbols = {n: stage.state() for n in arc.states} | {n: stage.control() for n in arc.controls}
    for name, rate in zip(arc.states, arc.rates(symbols), strict=True):
        stage.set_der(symbols[name], rate)
    for name in (*arc.states, *arc.controls):
        _between(stage, symbols[name], arc.low[name], arc.high[name])
    for row in arc.path:
        _between(stage, row.function(symbols), row.lower, row.upper)
    for (place, name), value in arc.fixed.items():
        at = stage.at_t0 if place is Place.START else stage.at_tf
        stage.subject_to(at(symbols[name]) == value)
    if _is_free(arc.start) or _is_free(arc.end):
        stage.subject_to(stage.T >= 0)
        if _is_free(arc.end):
            _between(stage, stage.tf, *arc.end)
        else:
            stage.subject_to(stage.tf == arc.end[0])
    stage.method(library.DirectCollocation(N=intervals, M=1, degree=2))
    return _Stage(arc, stage, symbols, intervals)


def _between(stage: Any, what: Any, low: Any, high: Any) -> None:
    if not isinstance(low, ca.MX) and not isinstance(high, ca.MX) and low == high:
        stage.subject_to(what == low)
        return
    if isinstance(low, ca.MX) or math.isfinite(low):
        stage.subject_to(what >= low)
    if isinstance(high, ca.MX) or math.isfinite(high):
        stage.subject_to(what <= high)


def _cost(stages: tuple[_Stage, ...], cost: Quantity) -> Any:
    held = next(s for s in stages if s.arc.name == cost.phase)
    if cost.place is Place.INTEGRAL and held.arc.integrand is not None:
        return cost.sign * held.stage.integral(held.arc.integrand(held.symbols))
    if cost.name:
        return cost.sign * held.stage.at_tf(held.symbols[cost.name])
    return cost.sign * held.stage.tf


class Rockit:
    """rockit with direct collocation of degree 2 and as many intervals as the others have collocation points."""

    name = "rockit"
    distribution = "rockit-meco"
    way = "parameter; initial values from the solution"

    def __init__(self) -> None:
        import rockit  # noqa: PLC0415

        self.library: Any = rockit

    def pose(self, case: Case, elements: int, degree: int) -> _Function | _Stages:
        """State the problem; for one phase, make the function."""
        problem, guess = case.shared
        first = read(problem, guess, {case.parameter: case.nominal}).arcs
        begin, length = _span(self.library, first[0])
        ocp = self.library.Ocp(t0=begin, T=length) if len(first) == 1 else self.library.Ocp()
        parameter = ocp.parameter()
        statement = read(problem, guess, {case.parameter: parameter})
        places = [ocp] if len(first) == 1 else [_new_stage(ocp, self.library, a) for a in first]
        stages = tuple(
            _stage(s, self.library, a, elements * degree) for s, a in zip(places, statement.arcs, strict=True)
        )
        for before, after in itertools.pairwise(stages):
            ocp.subject_to(before.stage.tf == after.stage.t0)
            for name in before.arc.states:
                ocp.subject_to(before.stage.at_tf(before.symbols[name]) == after.stage.at_t0(after.symbols[name]))
        cost = _cost(stages, statement.cost)
        ocp.add_objective(cost)
        ocp.set_value(parameter, case.nominal)
        ocp.solver("ipopt", {"ipopt.print_level": 0, "ipopt.sb": "yes", "print_time": False, "ipopt.max_iter": 1000})
        if len(stages) > 1:
            return _Stages(ocp, parameter, stages, cost)
        return _Function(case, _function(ocp, parameter, cost, stages[0]), stages[0])


def _new_stage(ocp: Any, library: Any, arc: Arc) -> Any:
    start, length = _span(library, arc)
    return ocp.stage(t0=start, T=length)


def _function(ocp: Any, parameter: Any, cost: Any, held: _Stage) -> Any:
    states = ca.vertcat(*(held.symbols[n] for n in held.arc.states))
    controls = ca.vertcat(*(held.symbols[n] for n in held.arc.controls))
    start = [ocp.sample(states, grid="control")[1], ocp.sample(controls, grid="control-")[1]]
    if _is_free(held.arc.end):
        start.append(ocp.value(ocp.T))
    return ocp.to_function("solve", [ocp.value(parameter), *start], [ocp.value(cost), *start])
