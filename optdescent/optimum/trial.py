"""Orders of events tried on a first mesh until no phase runs backwards and no two events ask to change places."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from optdescent.arrival import Capture
from optdescent.motion import record
from optdescent.ocp import (
    Guess,
    Memory,
    Outcome,
    PhaseError,
    Problem,
    Solution,
    SolverSettings,
    local_errors,
    persist,
    transcribe,
)
from optdescent.optimum.conflict import DemandsConflict, NotConverged, relaxed
from optdescent.optimum.events import COLLAPSED, Event, Order
from optdescent.optimum.guess import guess_from, mesh_for
from optdescent.optimum.order import reordered, with_other_choices
from optdescent.optimum.parameters import parameter_values
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
    """One order of events, solved on a mesh: `orders` that were tried in words, those `seen` as they are."""

    pose: Pose
    problem: Problem
    guess: Guess
    solution: Solution
    orders: tuple[str, ...] = ()
    seen: frozenset[Order] = frozenset()

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
        return sorted(pressing, key=lambda event: -pressing[event])


def _tried(
    scenario: Scenario,
    memory: Memory,
    flight: Flight,
    order: Order,
    places: Mapping[Event, float],
    settings: SolverSettings = FLOWN,
) -> Trial:
    pose = Pose(scenario, order, memory)
    problem = pose.problem()
    guess = guess_from(flight, pose.legs, places)
    mesh = mesh_for(problem, pose.legs, guess)
    solution = transcribe(problem, mesh).solve(parameter_values(scenario), guess, settings)
    return Trial(pose, problem, guess, solution)


def in_right_order(
    scenario: Scenario,
    flight: Flight,
    order: Order,
    places: Mapping[Event, float],
    progress: Progress,
    memory: Memory | None = None,
) -> Trial:
    """The best order found [SI]: overlapping neighbours change places, then collapsed ones as long as it helps.

    Scenarios of one airframe and one form of arrival may share a `memory` of what was compiled.

    Raises
    ------
    DemandsConflict
        No order is without overlap, and a relaxation of the demands is.
    NotConverged
        Neither.
    """
    progress("optimum on a first mesh")
    memory = memory or Memory()
    trial = first = _tried(scenario, memory, flight, order, places)
    seen = {order}
    log = [_told(trial)]
    if trial.solution.outcome is Outcome.ITERATIONS:
        trial = _with_another_choice(scenario, memory, flight, trial, seen, log)
    trial = _without_overlap(scenario, memory, flight, trial, seen, log, progress)
    if not trial.is_orderly:
        _, conflict = _with_relaxed_demands(first, progress)
        if conflict is not None:
            raise conflict
        progress("no conflict found: following the descent from still air, then from changed guesses")
        trial = _persisted(trial, log)
    trial = _exchanged(scenario, memory, flight, trial, seen, log)
    other = _with_another_choice(scenario, memory, flight, trial, seen, log)
    if other is not trial and other.solution.cost < trial.solution.cost - GAIN:
        trial = _exchanged(scenario, memory, flight, other, seen, log)
    return replace(trial, orders=tuple(log), seen=frozenset(seen))


def _with_another_choice(
    scenario: Scenario, memory: Memory, flight: Flight, trial: Trial, seen: set[Order], log: list[str]
) -> Trial:
    """The first orderly trial that makes another choice, else the one given.

    From a solved trial only the side of the gate on which the approach speed is reached is tried: whether the path is
    met first shows by events that collapse.
    """
    choices = with_other_choices(scenario, trial.pose.order)
    for order in choices[:1] if trial.solution.is_usable else choices:
        if order in seen:
            continue
        seen.add(order)
        found = tried_again(scenario, memory, trial, flight, order)
        log.append(_told(found))
        if found.is_orderly:
            return found
    return trial


def _exchanged(
    scenario: Scenario, memory: Memory, flight: Flight, trial: Trial, seen: set[Order], log: list[str]
) -> Trial:
    """The trial with collapsed events exchanged as long as it helps."""
    for _ in range(_MOST_EXCHANGES):
        new = trial.exchanges(seen)
        if not new:
            break
        seen.add(new[0])
        found = tried_again(scenario, memory, trial, flight, new[0])
        log.append(_told(found))
        if found.is_orderly and found.solution.cost < trial.solution.cost - GAIN:
            trial = found
    return trial


def tried_again(scenario: Scenario, memory: Memory, trial: Trial, flight: Flight, order: Order) -> Trial:
    """Another order on its first mesh, from the descent of a solved trial or else from a flight [SI]."""
    begin, order, places = _again(trial, flight, order)
    settings = _OTHERWISE
    if trial.solution.is_usable:
        before = trial.places
        is_far = max(abs(places[event] - before[event]) for event in order) > _FAR
        settings = _FARTHER if is_far else _NEARBY
    return _tried(scenario, memory, begin, order, places, settings)


def _without_overlap(
    scenario: Scenario,
    memory: Memory,
    flight: Flight,
    trial: Trial,
    seen: set[Order],
    log: list[str],
    progress: Progress,
) -> Trial:
    """The first trial whose phases do not run backwards; the last one tried if there is none.

    Raises
    ------
    DemandsConflict
        The order cannot be mended, and a relaxation of the demands is what its descent lacks.
    """
    for _ in range(_MOST_ORDERS):
        if trial.is_orderly:
            break
        basis, conflict = (trial, None) if trial.solution.is_usable else _with_relaxed_demands(trial, progress)
        order = reordered(scenario, basis.pose.order, basis.places, basis.asking)
        if order in seen:
            # From below the other choices have been tried.
            is_open = scenario.arrival.glide_path.capture is Capture.ABOVE
            choices = with_other_choices(scenario, trial.pose.order) if is_open else []
            other = next((new for new in choices if new not in seen), None)
            if other is None and conflict is not None:
                raise conflict
            if other is None:
                break
            order, basis = other, trial
        seen.add(order)
        trial = _tried(scenario, memory, *_again(basis, flight, order))
        log.append(_told(trial))
    return trial


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
    again = in_right_order(scenario, trial.flight, order, places, progress, memory)
    return replace(again, orders=(*trial.orders, _told(trial), *again.orders))


def _with_relaxed_demands(trial: Trial, progress: Progress) -> tuple[Trial, DemandsConflict | None]:
    """A trial with the smallest relaxation of its demands, if one is found, and the conflict if there is one."""
    progress("no descent found: looking for the demands that conflict")
    found = relaxed(trial.pose, trial.problem, trial.guess, trial.solution)
    return (trial, None) if found is None else (replace(trial, solution=found.solution), found.conflict)


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
