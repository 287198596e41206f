"""The optimum asked of each case of a sweep: summary, certificate, slopes and, if wanted, the flight itself."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import InputFault
from optdescent.ocp import Guess, Memory, Solution, cost_sensitivity
from optdescent.optimum.beside import Accuracy, Programs, found_beside, largest_error
from optdescent.optimum.conflict import DemandsConflict, NotConverged
from optdescent.optimum.events import Order
from optdescent.optimum.optimise import flight_of, found_cold
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.pose import Pose
from optdescent.optimum.progress import silent
from optdescent.optimum.report import QUANTITIES, directions
from optdescent.optimum.structure import world
from optdescent.optimum.trajectory import refly
from optdescent.optimum.trial import Trial
from optdescent.results import Flight
from optdescent.results.schema import COLUMNS, Column
from optdescent.results.sweep import Content, Status, SweepColumn
from optdescent.scenario import Scenario
from optdescent.sweep.question import Answer, Asked, Case, Layout, Say, Value
from optdescent.units import UNITS

Array = NDArray[np.float64]

_SUMMARY = (
    SweepColumn(Column("cost", "kg", "what is minimised: fuel, cost of time, charge for smooth controls", "kg")),
    SweepColumn(Column("fuel", "kg", "fuel from the start to the threshold", "kg")),
    SweepColumn(Column("time", "s", "time from the start to the threshold", "min")),
    SweepColumn(Column("top_of_descent", "m", "distance to go at the top of descent", "nm")),
    SweepColumn(Column("thrust_distance", "m", "distance with thrust above idle after the top of descent", "nm")),
    SweepColumn(Column("thrust_fuel", "kg", "fuel burnt above idle after the top of descent", "kg")),
    SweepColumn(Column("brake_distance", "m", "distance with speed brake out", "nm")),
    SweepColumn(Column("gate_speed", "m s-1", "calibrated airspeed at the gate", "kt")),
    SweepColumn(Column("gate_above_reference", "m s-1", "calibrated airspeed above the reference speed there", "kt")),
    SweepColumn(Column("gate_sink", "m s-1", "sink rate at the gate", "ft_per_min")),
    SweepColumn(Column("stable", "", "stable at the gate", ""), Content.FLAG, meanings=("no", "yes")),
)
_CERTIFICATE = (
    SweepColumn(
        Column("start", "", "what the solve started from", ""), Content.FLAG, meanings=("first_flight", "neighbour")
    ),
    SweepColumn(Column("iterations", "1", "iterations of the last solve", ""), Content.COUNT),
    SweepColumn(Column("optimality", "1", "largest scaled residual of the optimality conditions", "")),
    SweepColumn(Column("constraint_violation", "1", "largest scaled violation of a constraint", "")),
    SweepColumn(Column("local_error", "1", "largest scaled error of an element of the mesh", "")),
    SweepColumn(Column("variables", "1", "variables of the nonlinear program", ""), Content.COUNT),
    SweepColumn(Column("regularisation", "kg", "charged to make controls unique and smooth", "kg")),
    SweepColumn(Column("order", "", "events in their order", ""), Content.TEXT),
)
_REFLIGHT = (
    SweepColumn(Column("reflight_altitude", "m", "largest difference of altitude when flown again", "ft")),
    SweepColumn(Column("reflight_speed", "m s-1", "largest difference of true airspeed when flown again", "kt")),
    SweepColumn(Column("reflight_fuel", "kg", "largest difference of fuel when flown again", "kg")),
)
_SLOPES = (
    SweepColumn(
        Column("cost_slope", "1", "derivative of the cost [kg] to each axis, in its unit", ""),
        dims=("axis",),
    ),
    SweepColumn(
        Column("cost_per", "1", "derivative of the cost [kg] to each quantity, in the unit of its name", ""),
        dims=("quantity",),
    ),
)
_NUDGE = 1e-4
"""Part of an axis by which it is moved to see what it changes of the parameters, which are smooth in it."""


@dataclass(frozen=True)
class OptimumQuestion:
    """The optimal descent of each case.

    ``local_error`` [scaled, -] is the largest an element of a mesh may have. ``flights`` names the columns kept over
    ``distances`` to go [m]. One case in ``refly_one_in`` is flown again by the independent integrator (0: none).
    """

    local_error: float = 1e-4
    with_slopes: bool = True
    flights: tuple[str, ...] = ()
    distances: tuple[float, ...] = ()
    refly_one_in: int = 0

    def layout(self, asked: Asked) -> Layout:
        """Columns and coordinates [SI] of the answers."""
        columns = [*_SUMMARY, *_CERTIFICATE]
        coordinates: dict[str, tuple[NDArray[Any], dict[str, str]]] = {}
        if self.refly_one_in:
            columns += _REFLIGHT
        if self.with_slopes:
            columns += _SLOPES
            names = np.array([axis.name for axis in asked.conditions.axes], dtype=object)
            coordinates["axis"] = names, {"long_name": "axis of the study"}
            quantities = np.array([f"{name} [{UNITS[unit].symbol}]" for name, unit in QUANTITIES], dtype=object)
            coordinates["quantity"] = quantities, {"long_name": "quantity, and the unit it is counted in"}
        if self.flights:
            columns += [SweepColumn(flown_column(name), dims=("distance_to_go",)) for name in self.flights]
            place = COLUMNS["distance_to_go"]
            attributes = {"units": place.unit, "long_name": place.long_name}
            coordinates["distance_to_go"] = np.array(self.distances), attributes
        return Layout(tuple(columns), coordinates)

    def prepare(self, cases: Sequence[Case], say: Say) -> object:
        """An optimum found cold in each kind of case, for workers to start from [-]."""
        accuracy, anchors = Accuracy(self.local_error), list[_Anchor]()
        for number, case in enumerate(cases, 1):
            say(f"optimum {number} of {len(cases)} to start from")
            try:
                trial = found_cold(case.scenario, silent, Memory(), accuracy.first)
            except (InputFault, DemandsConflict, NotConverged):
                continue  # its neighbours begin cold, and say why if they fail too
            apart = _apart(case)
            anchors.append(_Anchor(apart, case.scenario, trial.pose.order, trial.guess, trial.solution, trial.orders))
        return tuple(anchors)

    def hold(self, prepared: object) -> OptimumHeld:
        """What a worker keeps: the anchors, posed when they are first used, and what was compiled [-]."""
        return OptimumHeld(self, cast(tuple[_Anchor, ...], prepared))


def flown_column(name: str) -> Column:
    """Column [SI] of a flight under the name it has in a sweep, where it is one of many."""
    own = COLUMNS[name]
    return replace(own, name=f"flown_{own.name}")


@dataclass(frozen=True)
class _Anchor:
    """A solved scenario as it travels to workers: everything that is data."""

    apart: tuple[object, ...]
    scenario: Scenario
    order: Order
    guess: Guess
    solution: Solution
    orders: tuple[str, ...]

    def trial(self, memory: Memory) -> Trial:
        """Posed again, with nothing known of other orders."""
        pose = Pose(self.scenario, self.order, memory)
        return Trial(pose, pose.problem(), self.guess, self.solution, self.orders)


@dataclass
class OptimumHeld:
    """What a worker keeps from block to block: posed anchors, and what was compiled for each world."""

    question: OptimumQuestion
    anchors: tuple[_Anchor, ...]
    _memories: dict[Hashable, Memory] = field(default_factory=dict[Hashable, Memory])
    _trials: dict[int, Trial] = field(default_factory=dict[int, Trial])

    def session(self) -> OptimumSession:
        """A session for one block."""
        return OptimumSession(self.question, self)

    def memory(self, scenario: Scenario) -> Memory:
        """What was compiled for scenarios of the same world."""
        return self._memories.setdefault(world(scenario), Memory())

    def anchor(self, case: Case) -> Trial | None:
        """The anchor of a case: of its own levels where levels are apart, else any."""
        own = _apart(case)
        ranked = sorted(range(len(self.anchors)), key=lambda index: self.anchors[index].apart != own)
        if not ranked:
            return None
        if ranked[0] not in self._trials:
            anchor = self.anchors[ranked[0]]
            self._trials[ranked[0]] = anchor.trial(self.memory(anchor.scenario))
        return self._trials[ranked[0]]


@dataclass
class OptimumSession:
    """Optima of one block; programs live as long as it does, so that a block begins the same in every worker."""

    question: OptimumQuestion
    held: OptimumHeld
    _programs: dict[int, Programs] = field(default_factory=dict[int, Programs])

    def answer(self, case: Case, near: object) -> Answer:
        """Optimum of a case: from its neighbour, else cold, else the reason why there is none."""
        scenario = case.scenario
        memory = self.held.memory(scenario)
        programs = self._programs.setdefault(id(memory), Programs(memory))
        accuracy = Accuracy(self.question.local_error)
        begin = near if isinstance(near, Trial) else self.held.anchor(case)
        trial = None if begin is None else found_beside(scenario, begin, programs, accuracy)
        is_beside = trial is not None
        if trial is None:
            try:
                trial = found_cold(scenario, silent, memory, accuracy.first)
            except DemandsConflict as conflict:
                return Answer(Status.INFEASIBLE, str(conflict))
            except NotConverged as failure:
                return Answer(Status.NOT_CONVERGED, str(failure))
        flight = flight_of(trial)
        values = {**_summary(scenario, trial, flight), **_certificate(trial), "start": int(is_beside)}
        if self.question.refly_one_in and case.number % self.question.refly_one_in == 0:
            again = refly(trial.pose, trial.solution)
            flown = (again.altitude, again.speed, again.fuel)
            values |= {column.name: value for column, value in zip(_REFLIGHT, flown, strict=True)}
        if self.question.with_slopes:
            values |= _slopes(case, trial, programs)
        x = -np.array(self.question.distances)
        for name in self.question.flights:
            own = np.interp(x, -flight.column("distance_to_go"), flight.column(name), left=np.nan, right=np.nan)
            values[flown_column(name).name] = own
        return Answer(Status.SOLVED, "", values, trial)


def _apart(case: Case) -> tuple[object, ...]:
    axes = case.asked.conditions.axes
    return tuple(level for axis, level in zip(axes, case.levels, strict=True) if axis.is_apart)


def _summary(scenario: Scenario, trial: Trial, flight: Flight) -> dict[str, Value]:
    summary, gate = flight.summary, flight.summary.gate
    return {
        "cost": trial.solution.cost,
        "fuel": summary.fuel,
        "time": summary.time,
        "top_of_descent": summary.top_of_descent,
        "thrust_distance": summary.thrust_distance,
        "thrust_fuel": summary.thrust_fuel,
        "brake_distance": summary.brake_distance,
        "gate_speed": gate.calibrated_airspeed,
        "gate_above_reference": gate.calibrated_airspeed - gate.reference_speed,
        "gate_sink": gate.sink,
        "stable": int(gate.stable),
    }


def _regularisation(trial: Trial) -> float:
    return sum(trial.solution[leg.name].integral for leg in trial.pose.legs)


def _certificate(trial: Trial) -> dict[str, Value]:
    solution = trial.solution
    return {
        "iterations": solution.iterations,
        "optimality": solution.dual_infeasibility,
        "constraint_violation": solution.constraint_violation,
        "local_error": largest_error(trial),
        "variables": solution.raw.x.size,
        "regularisation": _regularisation(trial),
        "order": trial.sentence,
    }


def _slopes(case: Case, trial: Trial, programs: Programs) -> dict[str, Value]:
    """Derivatives of the cost: to each ordered axis in its unit, and to the quantities of a report in theirs."""
    cost = cost_sensitivity(programs.of(trial), trial.solution)
    whole = np.concatenate([cost[parameter.name] for parameter in trial.problem.parameters])
    axes = case.asked.conditions.axes
    to_axes = [_slope(case, index, whole) if axis.is_ordered else np.nan for index, axis in enumerate(axes)]
    found = directions(trial.pose.scenario, trial.problem)
    to_quantities = [float(whole @ direction) * UNITS[unit].factor for _, unit, direction in found]
    return {"cost_slope": np.array(to_axes), "cost_per": np.array(to_quantities)}


def _slope(case: Case, axis: int, whole: Array) -> float:
    """Derivative to an axis, from that to the whole column of parameters and their differences over a small part of it.

    Central, or to one side at the end of what a scenario allows; not a number where neither is a scenario.
    """
    step = _NUDGE * case.asked.conditions.axes[axis].span
    ends = [(by, values) for by in (-step, step) if (values := _parameters(case, axis, by)) is not None]
    if len(ends) == 1:
        ends.append((0.0, np.concatenate(list(parameter_values(case.scenario).values()))))
    if len(ends) < 2 or ends[0][1].size != ends[1][1].size:
        return float("nan")
    return float(whole @ (ends[1][1] - ends[0][1]) / (ends[1][0] - ends[0][0]))


def _parameters(case: Case, axis: int, by: float) -> Array | None:
    try:
        return np.concatenate(list(parameter_values(case.moved(axis, by)).values()))
    except InputFault:
        return None
