"""The optimum asked of each case of a sweep: summary, certificate, slopes and, if wanted, the flight itself."""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import InputFault
from optdescent.ocp import Guess, Memory, ProblemFault, Solution
from optdescent.optimum.beside import (
    BESIDE,
    CLOSE,
    Accuracy,
    Programs,
    family,
    finished,
    ordered_anew,
    solved_beside,
)
from optdescent.optimum.columns import CERTIFICATE, REFLIGHT, SLOPES, SUMMARY, flown_column
from optdescent.optimum.conflict import DemandsConflict, NotConverged
from optdescent.optimum.events import Order
from optdescent.optimum.optimise import flight_of, found_cold
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.pose import Pose
from optdescent.optimum.progress import silent
from optdescent.optimum.report import QUANTITIES, cost_column, directions, regularisation
from optdescent.optimum.structure import world
from optdescent.optimum.trajectory import refly
from optdescent.optimum.trial import Trial
from optdescent.results import Flight
from optdescent.results.schema import COLUMNS
from optdescent.results.sweep import Status, SweepColumn
from optdescent.scenario import Level, Scenario
from optdescent.sweep.question import Answer, Asked, Case, Layout, Say, Value
from optdescent.units import UNITS

Array = NDArray[np.float64]

_NEAR = 0.15
"""Part of the study's ranges within which one case says something of another's family of orders."""
_AT_ITS_END = 1.0
"""Distance [m] by which rounding may set a flight's end off the threshold or the start."""
_PROMISE = 0.2
"""Cost [kg] that another family must promise to be tried once more."""
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

    @property
    def accuracy(self) -> Accuracy:
        """How far optima are refined."""
        return Accuracy(self.local_error)

    def layout(self, asked: Asked) -> Layout:
        """Columns and coordinates [SI] of the answers."""
        columns = [*SUMMARY, *CERTIFICATE]
        coordinates: dict[str, tuple[NDArray[Any], dict[str, str]]] = {}
        if self.refly_one_in:
            columns += REFLIGHT
        if self.with_slopes:
            columns += SLOPES
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
        anchors = list[_Anchor]()
        for number, case in enumerate(cases, 1):
            say(f"optimum {number} of {len(cases)} to start from")
            try:
                trial = found_cold(case.scenario, silent, Memory(), self.accuracy.first)
            except (InputFault, DemandsConflict, NotConverged):
                continue  # its neighbours begin cold, and say why if they fail too
            data = (trial.pose.order, trial.guess, trial.solution, trial.orders)
            anchors.append(_Anchor(_apart(case), case.place, case.scenario, *data))
        return tuple(anchors)

    def hold(self, prepared: object) -> OptimumHeld:
        """What a worker keeps: the anchors, posed when they are first used, and what was compiled [-]."""
        return OptimumHeld(self, cast(tuple[_Anchor, ...], prepared))


@dataclass(frozen=True)
class _Anchor:
    """A solved scenario as it travels to workers: everything that is data."""

    apart: tuple[object, ...]
    place: Array
    scenario: Scenario
    order: Order
    guess: Guess
    solution: Solution
    orders: tuple[str, ...]

    def trial(self, memory: Memory) -> Trial:
        """Posed again, with nothing known of other orders."""
        pose = Pose(self.scenario, self.order, memory)
        return Trial(pose, pose.problem(), self.guess, self.solution, self.orders)


@dataclass(frozen=True)
class _Start:
    """A solved case as a start for its neighbours.

    ``place`` (axes,) is where it lies on the axes, 0 to 1 [-]; ``to_levels`` the slopes of its cost to its ``levels``.
    """

    trial: Trial
    place: Array
    levels: tuple[Level, ...] = ()
    to_levels: Array | None = None

    def promise(self, case: Case) -> float:
        """Cost [kg] that the slopes promise for another case: to first order, ordered axes only."""
        assert self.to_levels is not None
        moved = [
            float(there) - float(here) if axis.is_ordered else 0.0
            for axis, here, there in zip(case.asked.conditions.axes, self.levels, case.levels, strict=True)
        ]
        return self.trial.solution.cost + float(np.nan_to_num(self.to_levels) @ np.array(moved))


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

    def near(self, case: Case) -> tuple[_Start, ...]:
        """Anchors of a case, the nearest first: those of its own levels where levels are apart come before others."""
        own = _apart(case)
        found = [(anchor.apart != own, float(np.linalg.norm(anchor.place - case.place))) for anchor in self.anchors]
        return tuple(self._posed(index) for index in sorted(range(len(found)), key=found.__getitem__))

    def _posed(self, index: int) -> _Start:
        anchor = self.anchors[index]
        if index not in self._trials:
            self._trials[index] = anchor.trial(self.memory(anchor.scenario))
        return _Start(self._trials[index], anchor.place)


@dataclass
class OptimumSession:
    """Optima of one block; programs live as long as it does, so that a block begins the same in every worker.

    Orders of events come in families between which no solution shows the way (`beside.family`). A family other than the
    nearest neighbour's is tried where it was better at the nearest place at which it was tried, or was tried nowhere
    near; so the border between two families is found from both sides.
    """

    question: OptimumQuestion
    held: OptimumHeld
    _programs: dict[int, Programs] = field(default_factory=dict[int, Programs])
    _tried: dict[Hashable, list[tuple[Array, bool]]] = field(default_factory=dict[Hashable, list[tuple[Array, bool]]])
    _refused: dict[int, float] = field(default_factory=dict[int, float])

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        """Optimum of a case: from its neighbours, else cold, else the reason why there is none."""
        scenario, programs = case.scenario, self._programs_of(case.scenario)
        starts = (*cast(tuple[_Start, ...], near), *self.held.near(case))
        found = self._unbroken(case, starts, programs)
        is_beside = found is not None
        if found is None:
            try:
                trial = found_cold(scenario, silent, programs.memory, self.question.accuracy.first)
            except DemandsConflict as conflict:
                return Answer(Status.INFEASIBLE, str(conflict))
            except NotConverged as failure:
                return Answer(Status.NOT_CONVERGED, str(failure))
            self._tried.setdefault(family(trial.pose.order), []).append((case.place, True))
            found = trial, flight_of(trial)
        return self._told(case, *found, programs, int(is_beside))

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        """A cheaper optimum, where a neighbour of another family promises one by its slopes and keeps the promise."""
        own = cast(_Start | None, answer.start)
        starts = [start for start in cast(tuple[_Start, ...], near) if start.to_levels is not None]
        mine = None if own is None else family(own.trial.pose.order)
        other = next((start for start in starts if family(start.trial.pose.order) != mine), None)
        away = np.inf if other is None else float(np.linalg.norm(other.place - case.place))
        if other is None or away >= min(self._refused.get(case.number, np.inf), _NEAR):
            return None
        self._refused[case.number] = away
        if own is not None and other.promise(case) > own.trial.solution.cost - _PROMISE:
            return None
        programs = self._programs_of(case.scenario)
        trial = solved_beside(case.scenario, other.trial, programs, CLOSE)
        if trial is None or (own is not None and trial.solution.cost > own.trial.solution.cost - _PROMISE):
            return None
        found = _whole(finished(trial, programs, self.question.accuracy))
        return None if found is None else self._told(case, *found, programs, 1)

    def _programs_of(self, scenario: Scenario) -> Programs:
        memory = self.held.memory(scenario)
        return self._programs.setdefault(id(memory), Programs(memory))

    def _unbroken(self, case: Case, starts: tuple[_Start, ...], programs: Programs) -> tuple[Trial, Flight] | None:
        """The best optimum beside a case with its flight; None where it has to be found cold."""
        try:
            return _whole(self._beside(case, starts, programs))
        except ProblemFault:
            return None

    def _told(self, case: Case, trial: Trial, flight: Flight, programs: Programs, start: int) -> Answer:
        """What is stored of an optimum."""
        values = {**_summary(trial, flight), **_certificate(trial), "start": start}
        if self.question.refly_one_in and case.number % self.question.refly_one_in == 0:
            again = refly(trial.pose, trial.solution)
            flown = (again.altitude, again.speed, again.fuel)
            values |= {column.name: value for column, value in zip(REFLIGHT, flown, strict=True)}
        to_levels = None
        if self.question.with_slopes:
            to_levels, to_quantities = _slopes(case, trial, programs)
            values |= {"cost_slope": to_levels, "cost_per": to_quantities}
        for name in self.question.flights:
            values[flown_column(name).name] = _kept(flight, name, self.question.distances)
        return Answer(Status.SOLVED, "", values, _Start(trial, case.place, case.levels, to_levels))

    def _beside(self, case: Case, starts: tuple[_Start, ...], programs: Programs) -> Trial | None:
        """The best optimum from the nearest start of each family that may be best here; None if none leads there."""
        nearest: dict[Hashable, _Start] = {}
        for start in starts:
            nearest.setdefault(family(start.trial.pose.order), start)
        best, costs = None, dict[Hashable, float]()
        for number, (own, start) in enumerate(nearest.items()):
            if number and best is not None and not self._is_promising(own, case.place):
                continue
            settings = CLOSE if self._tried.get(own) and best is not None else BESIDE
            trial = solved_beside(case.scenario, start.trial, programs, settings)
            costs[own] = np.inf if trial is None else trial.solution.cost
            if trial is not None and (best is None or trial.solution.cost < best.solution.cost):
                best = trial
        if best is not None:
            best = ordered_anew(best, [start.trial for start in starts], programs)
            best = finished(best, programs, self.question.accuracy)
        if best is not None:
            costs.setdefault(family(best.pose.order), best.solution.cost)
            for own, cost in costs.items():
                self._tried.setdefault(own, []).append((case.place, cost <= min(costs.values())))
        return best

    def _is_promising(self, own: Hashable, place: Array) -> bool:
        """Whether a family was the best at the nearest place where it was tried, or was tried nowhere near."""
        tried = self._tried.get(own, [])
        away = [float(np.linalg.norm(other - place)) for other, _ in tried]
        return not tried or tried[int(np.argmin(away))][1] or min(away) > _NEAR


def _whole(trial: Trial | None) -> tuple[Trial, Flight] | None:
    """A neighbour's optimum and its flight, if that breaks nothing.

    What a neighbour's phases do not ask because it kept it anyway, such as a window in its cruise, shows only here.
    """
    if trial is None:
        return None
    flight = flight_of(trial)
    return None if flight.summary.breaches else (trial, flight)


def _kept(flight: Flight, name: str, distances: Sequence[float]) -> Array:
    """A column of a flight [SI] at distances to go [m]; not a number beyond its ends."""
    x, at = -flight.column("distance_to_go"), -np.array(distances)
    is_flown = (at > x[0] - _AT_ITS_END) & (at < x[-1] + _AT_ITS_END)
    return np.where(is_flown, np.interp(at, x, flight.column(name)), np.nan)


def _apart(case: Case) -> tuple[object, ...]:
    axes = case.asked.conditions.axes
    return tuple(level for axis, level in zip(axes, case.levels, strict=True) if axis.is_apart)


def _summary(trial: Trial, flight: Flight) -> dict[str, Value]:
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


def _certificate(trial: Trial) -> dict[str, Value]:
    solution = trial.solution
    return {
        "iterations": solution.iterations,
        "optimality": solution.dual_infeasibility,
        "constraint_violation": solution.constraint_violation,
        "local_error": trial.largest_error,
        "program_size": solution.raw.x.size,
        "regularisation": regularisation(trial.pose, solution),
        "order": trial.sentence,
    }


def _slopes(case: Case, trial: Trial, programs: Programs) -> tuple[Array, Array]:
    """Derivatives of the cost: to each ordered axis in its unit, and to the quantities of a report in theirs."""
    whole = cost_column(programs.of(trial), trial.solution)
    here = _column(case.scenario)
    axes = case.asked.conditions.axes
    to_axes = [_slope(case, index, whole, here) if axis.is_ordered else np.nan for index, axis in enumerate(axes)]
    found = directions(trial.pose.scenario, trial.problem)
    to_quantities = [float(whole @ direction) * UNITS[unit].factor for _, unit, direction in found]
    return np.array(to_axes), np.array(to_quantities)


def _slope(case: Case, axis: int, whole: Array, here: Array) -> float:
    """Derivative to an axis, from that to the whole column of parameters and their difference over a small part of it.

    The other way at the end of what a scenario allows; not a number where neither is a scenario of the same numbers.
    """
    step = _NUDGE * case.asked.conditions.axes[axis].span
    for by in (step, -step):
        try:
            there = _column(case.moved(axis, by))
        except InputFault:
            continue
        if there.size == here.size:
            return float(whole @ (there - here)) / by
    return float("nan")


def _column(scenario: Scenario) -> Array:
    """Every parameter of a scenario's problem, in their order."""
    return np.concatenate(list(parameter_values(scenario).values()))
