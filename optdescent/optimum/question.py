"""The optimum asked of each case of a sweep: summary, certificate, slopes and, if wanted, the flight itself."""

from __future__ import annotations

from collections.abc import Hashable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import InputFault
from optdescent.ocp import Memory, Outcome, ProblemFault
from optdescent.optimum.beside import (
    CLOSE,
    FARTHER,
    Accuracy,
    Programs,
    family,
    finished,
    ordered_anew,
    solved_beside,
)
from optdescent.optimum.cold import found_cold
from optdescent.optimum.columns import (
    AFTER_AN_ERROR,
    CERTIFICATE,
    FIRST_FLIGHT,
    NEIGHBOUR,
    REFLIGHT,
    SLOPES,
    SUMMARY,
)
from optdescent.optimum.conflict import DemandsConflict, NotConverged
from optdescent.optimum.events import Event
from optdescent.optimum.glide import first_flight
from optdescent.optimum.optimise import flight_of
from optdescent.optimum.order import on_the_other_side, order_of
from optdescent.optimum.progress import silent
from optdescent.optimum.report import QUANTITIES
from optdescent.optimum.starts import MOST_WORLDS, Anchor, Latest, Own, Shared, Start
from optdescent.optimum.stored import certificate_values, reflight_values, slopes, summary_values
from optdescent.optimum.structure import world
from optdescent.optimum.trial import Trial, beyond_the_gate
from optdescent.results import Flight
from optdescent.results.kept_flight import DISTANCE, kept_column, kept_coordinate, kept_values
from optdescent.results.sweep import Status
from optdescent.sweep.question import Answer, Asked, Case, Label, Layout, Preparation
from optdescent.units import UNITS

Array = NDArray[np.float64]

_NEAR = 0.15
"""Part of the study's ranges within which one case says something of another's family of orders."""
_UNKNOWN = 0.3
"""Part of the study's ranges beyond which nothing is known of a family that was tried nowhere nearer."""
_TURNED, _BESIDE = 1.0, 0.05
"""Cost [kg] above what slopes promise from which on a family has come to an end: another one is tried then that was
tried nowhere nearer than this part of the study's ranges."""
_ORDERS = 2
"""Orders of a family that Newton's method is tried from."""
_PROMISE = 0.2
"""Cost [kg] that another family must promise to be tried once more."""
_WORTH = 0.5
"""Cost [kg] that the nearest family must promise to be sought by the interior point beside another one."""


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
        labels: dict[str, Label] = {}
        if self.refly_one_in:
            columns += REFLIGHT
        if self.with_slopes:
            columns += SLOPES
            axes = asked.conditions.axes
            coordinates["axis"] = _words([axis.name for axis in axes]), {"long_name": "axis of the study"}
            quantities = _words([f"{name} [{UNITS[unit].symbol}]" for name, unit in QUANTITIES])
            coordinates["quantity"] = quantities, {"long_name": "quantity, and the unit it is counted in"}
            labels = {
                "axis_unit": Label(
                    "axis",
                    _words([axis.unit.udunits if axis.is_ordered else "" for axis in axes]),
                    {"long_name": "unit of the axis, empty where its levels have no order"},
                ),
                "quantity_unit": Label(
                    "quantity",
                    _words([UNITS[unit].udunits for _, unit in QUANTITIES]),
                    {"long_name": "unit that the quantity is counted in"},
                ),
            }
        if self.flights:
            columns += [kept_column(name) for name in self.flights]
            coordinates[DISTANCE] = kept_coordinate(self.distances)
        return Layout(tuple(columns), coordinates, labels)

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """An optimum found cold in each kind of case, for workers to start from [-]."""
        found = preparation.each(self.anchor, cases, "optima to start from")
        return tuple(anchor for anchor in found if anchor is not None)

    def anchor(self, case: Case) -> Anchor | None:
        """The optimum of a case, found cold; without one its neighbours begin cold, and say why if they fail too.

        One whose speeds are kept without room is no start: neighbours that need none cost less in other orders.
        """
        try:
            trial = found_cold(case.scenario, silent, Memory(), self.accuracy.first)
        except (InputFault, ProblemFault, DemandsConflict, NotConverged):
            return None
        if trial.pose.is_firm:
            return None
        data = (trial.pose.order, trial.guess, trial.solution, trial.orders)
        return Anchor(_apart(case), case.place, case.scenario, *data)

    def hold(self, prepared: object) -> OptimumHeld:
        """What a worker keeps: the anchors, posed when they are first used, and what was compiled [-]."""
        return OptimumHeld(self, cast(tuple[Anchor, ...], prepared))


class OptimumHeld:
    """What a worker keeps from block to block: posed anchors and what was compiled, for the latest few worlds."""

    def __init__(self, question: OptimumQuestion, anchors: tuple[Anchor, ...]) -> None:
        self.question, self.anchors = question, anchors
        self._worlds = Latest[Shared](MOST_WORLDS)

    def session(self) -> OptimumSession:
        """A session for one block."""
        return OptimumSession(self.question, self)

    def shared(self, name: Hashable) -> Shared:
        """What is kept in a world."""
        return self._worlds.get(name) or self._worlds.put(name, Shared())

    def near(self, case: Case, name: Hashable) -> tuple[Start, ...]:
        """Anchors in the world of a case, the nearest first: those of its own levels, where levels are apart, first."""
        own = _apart(case)
        found = {
            index: (anchor.apart != own, float(np.linalg.norm(anchor.place - case.place)))
            for index, anchor in enumerate(self.anchors)
            if anchor.world == name
        }
        return tuple(self._posed(index, name) for index in sorted(found, key=found.__getitem__))

    def _posed(self, index: int, name: Hashable) -> Start:
        anchor, shared = self.anchors[index], self.shared(name)
        if index not in shared.anchors:
            shared.anchors[index] = anchor.trial(shared.memory)
        return Start(shared.anchors[index], anchor.place)


@dataclass
class OptimumSession:
    """Optima of one block; programs live as long as it does, so that a block begins the same in every worker.

    Orders of events come in families between which no solution shows the way (`beside.family`). A family other than the
    nearest neighbour's is tried where it was better at the nearest place at which it was tried, or was tried nowhere
    near; so the border between two families is found from both sides. One that no start has is tried from the optimum
    found, as a cold search does, where it was tried nowhere near: a sweep of few cases may have no neighbour of it.
    So is one tried not far off where the family at hand costs more than its slopes promised: there it comes to its end.

    Solved cases are kept by world, and go with what was compiled when too many others have been met since: one of
    another world is no start. So what travels as the start of an answer is the number of its case.
    """

    question: OptimumQuestion
    held: OptimumHeld
    _worlds: Latest[Own] = field(default_factory=lambda: Latest[Own](MOST_WORLDS))
    _tried: dict[Hashable, list[tuple[Array, bool]]] = field(default_factory=dict[Hashable, list[tuple[Array, bool]]])
    _refused: dict[int, float] = field(default_factory=dict[int, float])

    def begin(self, cases: Sequence[Case]) -> None:
        """Nothing: a case is solved from its neighbours, one after the other."""

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        """Optimum of a case: from its neighbours, else cold, else the reason why there is none."""
        name = world(case.scenario)
        own = self._own(name)
        starts = (*_starts(near, own), *self.held.near(case, name))
        begun = FIRST_FLIGHT
        try:
            found = _whole(self._beside(case, starts, own.programs))
            if found is not None:
                return self._told(case, *found, own, NEIGHBOUR)
        except Exception:
            # whatever fails beside a neighbour is tried cold, which says why if that fails too
            begun = AFTER_AN_ERROR
        try:
            trial = found_cold(case.scenario, silent, own.programs.memory, self.question.accuracy.first)
        except (DemandsConflict, NotConverged) as failure:
            status = Status.INFEASIBLE if isinstance(failure, DemandsConflict) else Status.NOT_CONVERGED
            return Answer(status, str(failure), {"start": begun, "iterations": failure.iterations})
        if trial.solution.outcome is Outcome.COARSE and trial.largest_error > self.question.local_error:
            reason = f"{Outcome.COARSE.value} Largest local error {trial.largest_error:.1e}."
            return Answer(Status.NOT_CONVERGED, reason, {"start": begun, "iterations": trial.solution.iterations})
        self._note(case, {family(order): np.inf for order in trial.seen} | {family(trial.pose.order): 0.0})
        return self._told(case, trial, flight_of(trial), own, begun)

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        """A cheaper optimum, where a neighbour of another family promises one by its slopes and keeps the promise."""
        own = self._own(world(case.scenario))
        mine = own.solved.get(case.number)
        starts = [start for start in _starts(near, own) if start.to_levels is not None]
        here = None if mine is None else family(mine.trial.pose.order)
        other = next((start for start in starts if family(start.trial.pose.order) != here), None)
        away = np.inf if other is None else float(np.linalg.norm(other.place - case.place))
        is_forgotten = mine is None and answer.status is Status.SOLVED
        if other is None or is_forgotten or away >= min(self._refused.get(case.number, np.inf), _NEAR):
            return None
        self._refused[case.number] = away
        if mine is not None and other.promise(case) > mine.trial.solution.cost - _PROMISE:
            return None
        trial = solved_beside(case.scenario, other.trial, own.programs, CLOSE)
        if trial is None or (mine is not None and trial.solution.cost > mine.trial.solution.cost - _PROMISE):
            return None
        found = _whole(finished(trial, own.programs, self.question.accuracy))
        return None if found is None else self._told(case, *found, own, NEIGHBOUR)

    def _own(self, name: Hashable) -> Own:
        """What this block keeps in a world; a world that is the latest here is so for the worker too."""
        shared = self.held.shared(name)
        return self._worlds.get(name) or self._worlds.put(name, Own(Programs(shared.memory)))

    def _told(self, case: Case, trial: Trial, flight: Flight, own: Own, start: int) -> Answer:
        """What is stored of an optimum, which is kept as a start for others."""
        question = self.question
        values = {**summary_values(trial, flight), **certificate_values(trial), "start": start}
        if question.refly_one_in and case.number % question.refly_one_in == 0:
            values |= reflight_values(trial)
        found = slopes(case, trial, own.programs) if question.with_slopes else None
        if found is not None:
            values |= {"cost_slope": found[0], "cost_per": found[1]}
        for name in question.flights:
            values[kept_column(name).name] = kept_values(flight, name, question.distances)
        if not trial.pose.is_firm:
            own.solved[case.number] = Start(trial, case.place, case.levels, None if found is None else found[0])
        return Answer(Status.SOLVED, "", values, case.number)

    def _beside(self, case: Case, starts: tuple[Start, ...], programs: Programs) -> Trial | None:
        """The best optimum from the nearest start of each family that may be best here; None if none leads there."""
        if not starts:
            return None
        by_family = _by_family(starts, case.place)
        found = self._from_each(case, by_family, programs)
        costs = {own: np.inf if trial is None else trial.solution.cost for own, trial in found.items()}
        best = _cheapest(found)
        if best is not None:
            best = ordered_anew(best, [start.trial for start in starts], programs)
            best = finished(best, programs, self.question.accuracy)
        if best is not None:
            costs.setdefault(family(best.pose.order), best.solution.cost)
            with suppress(ProblemFault):
                # the optimum at hand stays where another choice cannot even be posed
                nearest = by_family.get(family(best.pose.order))
                has_turned = nearest is not None and best.solution.cost > nearest[0].promise(case) + _TURNED
                best = self._otherwise(case, best, costs, programs, _BESIDE if has_turned else _UNKNOWN)
            self._note(case, costs)
        return best

    def _from_each(
        self, case: Case, starts: Mapping[Hashable, Sequence[Start]], programs: Programs
    ) -> dict[Hashable, Trial | None]:
        """What the nearest starts of families lead to; None for what leads nowhere, or is not worth the time to see it.

        Newton's method comes first: from the nearest family and the promising ones, else from the others. The interior
        point, which takes five times as long and more where it ends in nothing, is asked where that finds nothing, and
        of families of which nothing is known yet or from which the nearest case promises less.
        """
        nearest = next(iter(starts))
        found = dict[Hashable, Trial | None]()
        likely = [own for own in starts if own == nearest or self._is_promising(own, case.place)]
        for own in (*likely, *(own for own in starts if own not in likely)):
            if own not in likely and _cheapest(found) is not None:
                break
            trials = (solved_beside(case.scenario, start.trial, programs, CLOSE) for start in starts[own])
            found[own] = next((trial for trial in trials if trial is not None), None)
        for own in [own for own in found if found[own] is None]:
            best, start = _cheapest(found), starts[own][0]
            is_open = best is None or (
                start.promise(case) < best.solution.cost - _WORTH if own == nearest else not self._tried.get(own)
            )
            if is_open:
                found[own] = solved_beside(case.scenario, start.trial, programs, FARTHER)
        return found

    def _otherwise(
        self, case: Case, best: Trial, costs: dict[Hashable, float], programs: Programs, within: float
    ) -> Trial:
        """The best optimum, or a cheaper one of another family that was tried nowhere `within` a distance [-]."""
        order = next(iter(on_the_other_side(case.scenario, best.pose.order)), None)
        if order is None or np.isfinite(costs.get(family(order), np.inf)):
            return best
        away = [float(np.linalg.norm(other - case.place)) for other, _ in self._tried.get(family(order), [])]
        if min(away, default=np.inf) <= within:
            return best
        costs[family(order)] = np.inf

        def begin() -> tuple[Flight, Mapping[Event, float]]:
            flight = first_flight(case.scenario)
            return flight, order_of(case.scenario, flight)[1]

        trials = beyond_the_gate(case.scenario, programs.memory, best, begin, ())
        other = next((trial for trial in trials if trial.is_orderly), None)
        if other is None or other.solution.cost > best.solution.cost - _PROMISE:
            return best
        found = finished(other, programs, self.question.accuracy)
        if found is None or found.solution.cost > best.solution.cost - _PROMISE:
            return best
        costs[family(found.pose.order)] = found.solution.cost
        return found

    def _note(self, case: Case, costs: Mapping[Hashable, float]) -> None:
        """Remember which families were tried at a case, and which was the best."""
        least = min(costs.values())
        for own, cost in costs.items():
            self._tried.setdefault(own, []).append((case.place, cost <= least))

    def _is_promising(self, own: Hashable, place: Array) -> bool:
        """Whether a family was the best at the nearest place where it was tried, or was tried nowhere near."""
        tried = self._tried.get(own, [])
        away = [float(np.linalg.norm(other - place)) for other, _ in tried]
        return not tried or tried[int(np.argmin(away))][1] or min(away) > _NEAR


def _by_family(starts: Sequence[Start], place: Array) -> dict[Hashable, list[Start]]:
    """The nearest start of each family, and one near a place that has another order, the nearest family first."""
    found: dict[Hashable, list[Start]] = {}
    for start in starts:
        own = found.setdefault(family(start.trial.pose.order), [])
        is_other = all(start.trial.pose.order != other.trial.pose.order for other in own)
        if not own or (is_other and len(own) < _ORDERS and float(np.linalg.norm(start.place - place)) < _NEAR):
            own.append(start)
    return found


def _cheapest(found: Mapping[Hashable, Trial | None]) -> Trial | None:
    """The trial that costs least, if there is any."""
    trials = [trial for trial in found.values() if trial is not None]
    return min(trials, key=lambda trial: trial.solution.cost, default=None)


def _whole(trial: Trial | None) -> tuple[Trial, Flight] | None:
    """A neighbour's optimum and its flight, if that breaks nothing.

    What a neighbour's phases do not ask because it kept it anyway, such as a window in its cruise, shows only here.
    """
    if trial is None:
        return None
    flight = flight_of(trial)
    return None if flight.summary.breaches else (trial, flight)


def _starts(near: tuple[object, ...], own: Own) -> list[Start]:
    """Neighbours by their numbers, as far as they are of one world and still kept."""
    return [own.solved[number] for number in cast(tuple[int, ...], near) if number in own.solved]


def _words(found: Sequence[str]) -> NDArray[Any]:
    return np.array(found, dtype=object)


def _apart(case: Case) -> tuple[object, ...]:
    axes = case.asked.conditions.axes
    return tuple(level for axis, level in zip(axes, case.levels, strict=True) if axis.is_apart)
