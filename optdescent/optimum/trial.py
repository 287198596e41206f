"""Orders of events tried on a first mesh until no phase runs backwards and no two events ask to change places."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optdescent.arrival import Capture
from optdescent.motion import record
from optdescent.ocp import (
    Guess,
    Memory,
    Outcome,
    PhaseError,
    Problem,
    Settings,
    Solution,
    SolverSettings,
    local_errors,
    persist,
    refined,
    transcribe,
)
from optdescent.optimum.conflict import DemandsConflict, NotConverged, relaxed
from optdescent.optimum.events import COLLAPSED, Event, EventKind, Order
from optdescent.optimum.guess import guess_from, mesh_for
from optdescent.optimum.order import reordered, with_other_choices
from optdescent.optimum.parameters import parameter_values, settled_values
from optdescent.optimum.pose import Pose, in_order, overlap
from optdescent.optimum.progress import Progress
from optdescent.optimum.trajectory import trajectory_of
from optdescent.optimum.words import spoken
from optdescent.results import Flight, Kind
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE

_MOST_ORDERS = 8
_MOST_EXCHANGES = 6
GAIN = 0.01
"""Cost [kg] that another order of events must save to be taken."""
_WORTH = 5e-4
_ALIKE = 0.5
"""Cost [kg] of an order with a selection that coincides with the capture, beside what its descent costs."""
FLOWN = SolverSettings(push=1e-2, barrier=1e-3, iterations=130)
"""For a guess that is a flight: orders that suit took 34 to 90 iterations in 40 cases drawn from a sweep."""
_OTHERWISE = SolverSettings(push=1e-2, barrier=1e-3, iterations=90)
"""For an order that is tried where another failed: one that suits takes a third of this."""
_NEARBY = SolverSettings(push=1e-3, barrier=1e-4, iterations=90)
"""From a solved trial: 24 to 66 iterations where there is such a descent, in 80 cases drawn from a sweep."""
_FARTHER = replace(_NEARBY, iterations=180)
"""The same where events have to move far: up to 131 iterations, where a device comes later by miles."""
_FAR = 1.5 * NAUTICAL_MILE
"""Distance [m] by which an event changes place: orders whose events move less took 66 iterations or fewer."""


@dataclass(frozen=True)
class Trial:
    """One order of events, solved on a mesh: `orders` that were tried in words, those `seen` as they are.

    `relaxes_nothing` : it was solved with demands that may give way, and none does.
    """

    pose: Pose
    problem: Problem
    guess: Guess
    solution: Solution
    orders: tuple[str, ...] = ()
    seen: frozenset[Order] = frozenset()
    relaxes_nothing: bool = False

    @cached_property
    def errors(self) -> dict[str, PhaseError]:
        """Local errors of each phase, by element."""
        return local_errors(self.problem, self.solution)

    @property
    def largest_error(self) -> float:
        """Largest local error [scaled, -]."""
        return max(float(np.max(error.state)) for error in self.errors.values())

    @cached_property
    def flight(self) -> Flight:
        """Its descent as a start for other orders, its points by distance where phases run backwards."""
        by_distance = trajectory_of(self.pose, self.solution).sorted_by_distance()
        return record(self.pose.scenario, by_distance, Kind.OPTIMUM, "optimum")

    def exchanges(self, seen: Collection[Order]) -> list[Order]:
        """Orders not seen with one event exchanged that asks for it, the most urgent first."""
        found = [reordered(self.pose.scenario, self.pose.order, self.places, {event}) for event in self.asking]
        return [order for order in found if order not in seen]

    @property
    def sentence(self) -> str:
        """The order of events in words."""
        return ", ".join(spoken(self.pose.scenario, event) for event in self.pose.order)

    @property
    def is_orderly(self) -> bool:
        """Whether it is solved and no phase runs backwards."""
        return self.solution.is_usable and self.overlap < COLLAPSED

    @property
    def is_feasible(self) -> bool:
        """Whether demands that may give way do not, so that its order has a descent."""
        return self.relaxes_nothing and self.is_orderly

    def refined(self, settings: Settings) -> Trial:
        """On meshes fine enough for its order; where speeds are firm, with no overlap that pays."""
        values = settled_values(self.pose.scenario) if self.pose.is_firm else self.solution.values
        return replace(self, solution=refined(self.problem, replace(self.solution, values=values), settings))

    @property
    def overlap(self) -> float:
        """Sum of the distances [m] by which phases run backwards."""
        return sum(self.solution.statics[overlap(leg)] for leg in self.pose.legs)

    @property
    def places(self) -> dict[Event, float]:
        """Where the solution puts each event along the track [m]."""
        return {leg.ends: self.solution[leg.name].end for leg in self.pose.legs}

    @property
    def asking(self) -> list[Event]:
        """Events that would rather come before the event ahead of them, the most urgent first: waiting costs fuel."""
        held = self.solution.multipliers.boundaries
        pressing = {
            leg.ends: abs(held[in_order(leg)])
            for leg in self.pose.legs
            if abs(self.solution[leg.name].length) < COLLAPSED and abs(held[in_order(leg)]) > _WORTH
        }
        return [*sorted(pressing, key=lambda event: -pressing[event]), *self.coinciding.difference(pressing)]

    @property
    def coinciding(self) -> frozenset[Event]:
        """Devices selected on the schedule just as the glide path is met: where speeds are firm better ahead of it.

        On the path the speed may rise, so that an order with them behind it has no other descent than these.
        """
        return frozenset(
            leg.ends
            for leg in self.pose.legs
            if self.pose.is_firm
            and leg.begins == Event(EventKind.CAPTURE)
            and leg.ends.kind is EventKind.SELECTED
            and abs(self.solution[leg.name].length) < COLLAPSED
        )

    @property
    def price(self) -> float:
        """Cost [kg] by which orders are compared: of two alike the one without coinciding events."""
        return self.solution.cost + _ALIKE * len(self.coinciding)


def _tried(
    scenario: Scenario,
    memory: Memory,
    flight: Flight,
    order: Order,
    places: Mapping[Event, float],
    settings: SolverSettings = FLOWN,
    values: Mapping[str, NDArray[np.float64]] | None = None,
    is_firm: bool = False,
) -> Trial:
    pose = Pose(scenario, order, memory, is_firm)
    problem = pose.problem()
    guess = guess_from(flight, pose.legs, places)
    mesh = mesh_for(problem, pose.legs, guess)
    solution = transcribe(problem, mesh).solve(values or parameter_values(scenario), guess, settings)
    return Trial(pose, problem, guess, solution)


def in_right_order(
    scenario: Scenario,
    flight: Flight,
    order: Order,
    places: Mapping[Event, float],
    progress: Progress,
    memory: Memory | None = None,
    without: Collection[Order] = (),
    is_firm: bool = False,
) -> Trial:
    """The best order found [SI]: overlapping neighbours change places, then collapsed ones as long as it helps.

    Scenarios of one airframe and one form of arrival may share a `memory` of what was compiled. Orders `without` which
    it shall be are not tried. `is_firm` : least speeds are held without room.

    Raises
    ------
    DemandsConflict
        No order is without overlap, and a relaxation of the demands is: the smallest one found.
    NotConverged
        Neither.
    """
    search = _Search(scenario, flight, memory or Memory(), progress, is_firm, {order, *without})
    progress("optimum on a first mesh")
    trial = first = search.tried(flight, order, places)
    if trial.solution.outcome is Outcome.ITERATIONS:
        trial = search.with_another_choice(trial)
    trial = search.without_overlap(trial)
    if not trial.is_orderly:
        basis = search.relaxed(first)
        if basis.is_feasible:
            trial = search.followed(basis)
    if not trial.is_orderly:
        if search.conflicts:
            raise min(search.conflicts, key=lambda conflict: conflict.size)
        progress("no conflict found: following the descent from still air, then from changed guesses")
        trial = _persisted(trial, search.log)
    trial = search.exchanged(trial)
    other = search.with_another_choice(trial)
    if other is not trial and other.price < trial.price - GAIN:
        trial = search.exchanged(other)
    return replace(trial, orders=tuple(search.log), seen=frozenset(search.seen))


@dataclass
class _Search:
    """Orders tried for a scenario: those `seen`, a `log` in words, and the `conflicts` of those without a descent."""

    scenario: Scenario
    flight: Flight
    memory: Memory
    progress: Progress
    is_firm: bool
    seen: set[Order]
    log: list[str] = field(default_factory=list[str])
    conflicts: list[DemandsConflict] = field(default_factory=list[DemandsConflict])
    _elastic: set[Order] = field(default_factory=set[Order])

    def tried(
        self,
        flight: Flight,
        order: Order,
        places: Mapping[Event, float],
        settings: SolverSettings = FLOWN,
        values: Mapping[str, NDArray[np.float64]] | None = None,
    ) -> Trial:
        """An order on its first mesh."""
        made = _tried(self.scenario, self.memory, flight, order, places, settings, values, self.is_firm)
        return self._told(made)

    def followed(self, found: Trial) -> Trial:
        """The order of a descent that keeps all demands, from there: no overlap pays."""
        return self.tried(found.flight, found.pose.order, found.places, _FARTHER, settled_values(self.scenario))

    def again(self, trial: Trial, order: Order) -> Trial:
        """Another order, from the descent of a solved trial or else from the first flight."""
        self.seen.add(order)
        return self._told(tried_again(self.scenario, self.memory, trial, self.flight, order))

    def with_another_choice(self, trial: Trial) -> Trial:
        """The first orderly trial that makes another choice, else the one given.

        From a solved trial only the side of the gate on which the approach speed is reached is tried: whether the path
        is met first shows by events that collapse.
        """
        choices = with_other_choices(self.scenario, trial.pose.order)
        for order in choices[:1] if trial.solution.is_usable else choices:
            if order in self.seen:
                continue
            found = self.again(trial, order)
            if found.is_orderly:
                return found
        return trial

    def exchanged(self, trial: Trial) -> Trial:
        """The trial with collapsed events exchanged as long as it helps."""
        for _ in range(_MOST_EXCHANGES):
            new = trial.exchanges(self.seen)
            if not new:
                break
            found = self.again(trial, new[0])
            if found.is_orderly and found.price < trial.price - GAIN:
                trial = found
        return trial

    def without_overlap(self, trial: Trial) -> Trial:
        """The first trial whose phases do not run backwards; the last one tried if there is none."""
        for _ in range(_MOST_ORDERS):
            if trial.is_orderly:
                break
            basis = trial if trial.solution.is_usable else self.relaxed(trial)
            if basis.is_feasible:
                trial = self.followed(basis)
                if trial.is_orderly:
                    break
            order = reordered(self.scenario, basis.pose.order, basis.places, basis.asking)
            if order in self.seen:
                # From below the other choices have been tried.
                is_open = self.scenario.arrival.glide_path.capture is Capture.ABOVE
                choices = with_other_choices(self.scenario, trial.pose.order) if is_open else []
                other = next((new for new in choices if new not in self.seen), None)
                if other is None:
                    break
                order, basis = other, trial
            self.seen.add(order)
            trial = self.tried(*_again(basis, self.flight, order))
        return trial

    def relaxed(self, trial: Trial) -> Trial:
        """A trial with the smallest relaxation of its demands, if one is found; a conflict that it shows is kept."""
        if trial.pose.order in self._elastic:
            return trial
        self._elastic.add(trial.pose.order)
        self.progress("no descent found: looking for the demands that conflict")
        found = relaxed(trial.pose, trial.problem, trial.guess, trial.solution)
        if found is None:
            return trial
        if found.conflict is not None:
            self.conflicts.append(found.conflict)
        return replace(trial, solution=found.solution, relaxes_nothing=found.conflict is None)

    def _told(self, trial: Trial) -> Trial:
        self.log.append(_told(trial))
        return trial


def tried_again(scenario: Scenario, memory: Memory, trial: Trial, flight: Flight, order: Order) -> Trial:
    """Another order on its first mesh, from the descent of a solved trial or else from a flight [SI]."""
    begin, order, places = _again(trial, flight, order)
    settings = _OTHERWISE
    if trial.solution.is_usable:
        before = trial.places
        is_far = max(abs(places[event] - before[event]) for event in order) > _FAR
        settings = _FARTHER if is_far else _NEARBY
    return _tried(scenario, memory, begin, order, places, settings, is_firm=trial.pose.is_firm)


def mended(scenario: Scenario, trial: Trial, progress: Progress, memory: Memory) -> Trial:
    """A trial in which a finer mesh has made phases run backwards, tried again from there in the order this shows [SI].

    Raises
    ------
    DemandsConflict
        No order is without overlap, and a relaxation of the demands is.
    NotConverged
        No other order is open.
    """
    order = reordered(scenario, trial.pose.order, trial.places, trial.asking)
    if order == trial.pose.order or not trial.solution.is_usable:
        raise NotConverged(f"events overlap by {trial.overlap:.0f} m", trial.solution.iterations)
    places = dict(zip(order, sorted(trial.places.values()), strict=True))
    again = in_right_order(
        scenario, trial.flight, order, places, progress, memory, [trial.pose.order], trial.pose.is_firm
    )
    return replace(again, orders=(*trial.orders, _told(trial), *again.orders))


def _persisted(trial: Trial, log: list[str]) -> Trial:
    """The trial's order, reached from its descent in still air or from guesses shaken a little.

    Raises
    ------
    NotConverged
        No attempt succeeded.
    """
    program = transcribe(trial.problem, trial.solution.mesh)
    values = parameter_values(trial.pose.scenario)
    calm = program.solve({**values, "wind": 0.0 * values["wind"]}, trial.guess, FLOWN)
    found, attempts = persist(program, values, trial.guess, calm if calm.is_usable else None, FLOWN)
    trial = replace(trial, solution=found)
    log += [f"{attempt.step.value}: {attempt.outcome.name.lower()}" for attempt in attempts]
    if not trial.is_orderly:
        raise NotConverged(found.outcome.name.lower(), found.iterations)
    return trial


def _told(trial: Trial) -> str:
    """A trial in one line: how it ended, what it costs, its order."""
    ending = f"{trial.solution.cost:.2f} kg" if trial.is_orderly else f"events overlap by {trial.overlap:.0f} m"
    found = f"{trial.solution.outcome.name.lower()} after {trial.solution.iterations} iterations"
    return f"{found}, {ending}: {trial.sentence}"


def _again(trial: Trial, flight: Flight, order: Order) -> tuple[Flight, Order, dict[Event, float]]:
    """What another order is tried from: the trial's own flight, if it was solved, with its events in their places."""
    places = dict(zip(order, sorted(trial.places.values()), strict=True))
    return trial.flight if trial.solution.is_usable else flight, order, places
