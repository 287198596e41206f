"""The cases in yapss's own words (``pip install yapss``): callbacks, bounds as arrays, multi-phase, LG collocation.

A changed parameter is a changed bound or value in ``auxdata``, then ``guess.from_solution`` and ``solve`` again, which
builds its functions again. IPOPT's iterations are counted in a run of their own, from the log file it writes.
"""

from __future__ import annotations

import contextlib
import re
import tempfile
import warnings
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from benchmarks.peers.adapter import Answer
from benchmarks.peers.cases import Case
from benchmarks.peers.statement import Place, Statement, read


@dataclass
class _Held:
    case: Case
    ocp: Any
    statement: Statement
    log: Path | None = None

    def first(self) -> Answer:
        return self._solve()

    def again(self, value: float, before: Answer) -> Answer:
        _set_bounds(self.ocp, self._state(value))
        self.ocp.guess.from_solution(before.kept)
        return self._solve()

    def _state(self, value: float) -> Statement:
        problem, guess = self.case.shared
        self.statement = read(problem, guess, {self.case.parameter: value})
        self.ocp.auxdata.arcs = self.statement.arcs
        return self.statement

    def count(self) -> None:
        """From now on let IPOPT write the log from which iterations are read (slower)."""
        self.log = Path(tempfile.mkdtemp()) / "ipopt.txt"
        self.ocp.ipopt_options.output_file = str(self.log)
        self.ocp.ipopt_options.file_print_level = 3

    def _solve(self) -> Answer:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            found = self.ocp.solve()
        status = found.nlp_info.ipopt_status
        iterations = -1
        if self.log is not None and self.log.exists():
            counts = re.findall(r"Number of Iterations\.*: (\d+)", self.log.read_text())
            iterations = int(counts[-1]) if counts else -1
            self.log.unlink()
        told = str(found.nlp_info.ipopt_status_message).split("(")[0].strip()[:60]
        return Answer(status in (0, 1), float(found.objective), iterations, told, found)


def _set_bounds(ocp: Any, statement: Statement) -> None:
    for number, arc in enumerate(statement.arcs):
        bounds = ocp.bounds.phase[number]
        bounds.initial_time.lower, bounds.initial_time.upper = arc.start
        bounds.final_time.lower, bounds.final_time.upper = arc.end
        bounds.state.lower[:] = [arc.low[n] for n in arc.states]
        bounds.state.upper[:] = [arc.high[n] for n in arc.states]
        if arc.controls:
            bounds.control.lower[:] = [arc.low[n] for n in arc.controls]
            bounds.control.upper[:] = [arc.high[n] for n in arc.controls]
        if arc.path:
            bounds.path.lower[:] = [row.lower for row in arc.path]
            bounds.path.upper[:] = [row.upper for row in arc.path]
        for index, name in enumerate(arc.states):
            for place, edge in ((Place.START, bounds.initial_state), (Place.END, bounds.final_state)):
                fixed = arc.fixed.get((place, name))
                if fixed is not None:
                    edge.lower[index] = edge.upper[index] = fixed


def _continuous(arg: Any) -> None:
    """Rates, path functions and integrand of every phase.

    The callback's arguments are CasADi symbols in yapss's wrapper; the statement takes them bare.
    """
    from yapss.math.wrapper import SXW  # noqa: PLC0415

    for number in arg.phase_list:
        arc, phase = arg.auxdata.arcs[number], arg.phase[number]
        symbols = (*phase.state, *phase.control)
        point = {n: _bare(s) for n, s in zip((*arc.states, *arc.controls), symbols, strict=True)}
        phase.dynamics[:] = [SXW(r) for r in arc.rates(point)]
        if arc.path:
            phase.path[:] = [SXW(row.function(point)) for row in arc.path]
        if arc.integrand is not None:
            phase.integrand[:] = (SXW(arc.integrand(point)),)


def _bare(symbol: Any) -> Any:
    """CasADi's symbol within yapss's wrapper (there is no public way back)."""
    while hasattr(symbol, "item"):
        symbol = symbol.item()
    return getattr(symbol, "_value", symbol)


def _objective(statement: Statement) -> Any:
    cost = statement.cost
    number = [a.name for a in statement.arcs].index(cost.phase)
    states = statement.arcs[number].states

    def objective(arg: Any) -> None:
        phase = arg.phase[number]
        if cost.place is Place.INTEGRAL:
            arg.objective = cost.sign * phase.integral[0]
        elif cost.name:
            arg.objective = cost.sign * phase.final_state[states.index(cost.name)]
        else:
            arg.objective = cost.sign * phase.final_time

    return objective


def _discrete(count: int) -> Any:
    def discrete(arg: Any) -> None:
        rows: list[Any] = []
        for k in range(count - 1):
            before, after = arg.phase[k], arg.phase[k + 1]
            rows.append(before.final_time - after.initial_time)
            rows.extend(before.final_state - after.initial_state)
        arg.discrete = rows

    return discrete


class Yapss:
    """yapss with Legendre-Gauss points and its automatic second derivatives."""

    name = "yapss"
    distribution = "yapss"
    way = "new bounds, guess from the solution; builds again"

    def __init__(self) -> None:
        import yapss  # noqa: PLC0415

        self.library: Any = yapss

    def pose(self, case: Case, elements: int, degree: int) -> _Held:
        """State the problem; yapss builds when it solves."""
        problem, guess = case.shared
        statement = read(problem, guess, {case.parameter: case.nominal})
        arcs = statement.arcs
        links = (len(arcs) - 1) * (len(arcs[0].states) + 1)
        ocp = self.library.Problem(
            name=case.name,
            nx=[len(a.states) for a in arcs],
            nu=[len(a.controls) for a in arcs],
            nq=[int(a.integrand is not None) for a in arcs],
            nh=[len(a.path) for a in arcs],
            nd=links,
        )
        ocp.auxdata.arcs = arcs
        ocp.functions.objective = _objective(statement)
        ocp.functions.continuous = _continuous
        if links:
            ocp.functions.discrete = _discrete(len(arcs))
            ocp.bounds.discrete.lower[:] = ocp.bounds.discrete.upper[:] = 0.0
        _set_bounds(ocp, statement)
        for number, arc in enumerate(arcs):
            ocp.guess.phase[number].time = list(arc.times)
            ocp.guess.phase[number].state = [arc.line[n] for n in arc.states]
            ocp.guess.phase[number].control = [arc.line[n] for n in arc.controls]
            ocp.mesh.phase[number].collocation_points = (degree,) * elements
            ocp.mesh.phase[number].fraction = (1.0 / elements,) * elements
            size = [arc.scale[n] for n in arc.states]
            ocp.scale.phase[number].state = ocp.scale.phase[number].dynamics = size
        ocp.spectral_method = "lg"
        ocp.derivatives.method, ocp.derivatives.order = "auto", "second"
        ocp.ipopt_options.print_level = 0
        ocp.ipopt_options.sb = "yes"
        ocp.ipopt_options.max_iter = 1000
        with contextlib.suppress(AttributeError):
            ocp.catch_keyboard_interrupt = False
        return _Held(case, ocp, statement)
