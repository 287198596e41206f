"""One order of events, solved on a first mesh: what its solution says of the order, and other orders from there."""

from __future__ import annotations

from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optdescent.motion import record
from optdescent.ocp import (
    Guess,
    Memory,
    PhaseError,
    Problem,
    Settings,
    Solution,
    SolverSettings,
    largest_error,
    local_errors,
    refined,
    transcribe,
)
from optdescent.optimum.conflict import DemandsConflict
from optdescent.optimum.events import COLLAPSED, Event, EventKind, Order
from optdescent.optimum.guess import guess_from, mesh_for
from optdescent.optimum.limits import LEAST_SPEED, SPEED_HELD
from optdescent.optimum.order import on_the_other_side, reordered
from optdescent.optimum.parameters import parameter_values, settled_values
from optdescent.optimum.pose import Pose, in_order, overlap
from optdescent.optimum.trajectory import trajectory_of
from optdescent.optimum.words import spoken
from optdescent.results import Flight, Kind
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import Selection
from optdescent.units import NAUTICAL_MILE

GAIN = 0.01
"""Cost [kg] that another order of events must save to be taken."""
_WORTH = 5e-4
_ALIKE = 0.5
"""Cost [kg] of an order with a selection that coincides with the capture, beside what its descent costs."""
_BY_ROOM = 1.0
"""Cost [kg] that an optimum may owe to the room of its least speeds by their multipliers; it has been seen to be twice
that."""
FLOWN = SolverSettings(push=1e-2, barrier=3e-5, iterations=130)
"""For a guess that is a flight: orders that suit took 34 to 90 iterations in 40 cases drawn from a sweep, when the
barrier began at 1e-3; a fifth fewer since."""
OTHERWISE = SolverSettings(push=1e-2, barrier=1e-3, iterations=90)
"""For an order that is tried where another failed: those that suit took 32 to 49."""
_NEARBY = SolverSettings(push=1e-3, barrier=1e-4, iterations=90)
"""From a solved trial: 24 to 66 iterations where there is such a descent, in 80 cases drawn from a sweep."""
AT_LENGTH = replace(_NEARBY, iterations=180)
"""The same where events have to move far: up to 131 iterations, where a device comes later by miles."""
_FAR = 1.5 * NAUTICAL_MILE
"""Distance [m] by which an event changes place: orders whose events move less took 66 iterations or fewer."""


@dataclass(frozen=True)
class Trial:
    """One order of events, solved on a mesh: `orders` that were tried in words, those `seen` as they are.

    `is_elastic` : it was solved with demands that may give way, as its `conflict` says; None if none does.
    """

    pose: Pose
    problem: Problem
    guess: Guess
    solution: Solution
    orders: tuple[str, ...] = ()
    seen: frozenset[Order] = frozenset()
    is_elastic: bool = False
    conflict: DemandsConflict | None = None

    @cached_property
    def errors(self) -> dict[str, PhaseError]:
        """Local errors of each phase, by element."""
        return local_errors(self.problem, self.solution)

    @property
    def largest_error(self) -> float:
        """Largest local error [scaled, -]."""
        return largest_error(self.errors)

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
        """Whether it is solved, keeps all demands and no phase runs backwards."""
        return not self.is_elastic and self._is_whole

    @property
    def is_feasible(self) -> bool:
        """Whether demands that may give way do not, so that its order has a descent."""
        return self.is_elastic and self.conflict is None and self._is_whole

    @property
    def _is_whole(self) -> bool:
        return self.solution.is_usable and self.overlap < COLLAPSED

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
        beside = self.coinciding
        also = [] if beside is None or beside in pressing else [beside]
        return [*sorted(pressing, key=lambda event: -pressing[event]), *also]

    @property
    def coinciding(self) -> Event | None:
        """The device selected on the schedule just as the path is met: where speeds are firm it is better ahead of it.

        On the path the speed may rise, so that an order with it behind the capture has no other descent than this.
        """
        is_met = Event(EventKind.CAPTURE)
        leg = next(
            (leg for leg in self.pose.legs if leg.begins == is_met and leg.ends.kind is EventKind.SELECTED), None
        )
        is_apart = leg is None or abs(self.solution[leg.name].length) >= COLLAPSED
        return None if leg is None or is_apart or not self.pose.is_firm else leg.ends

    @property
    def lives_by_room(self) -> bool:
        """Whether it saves fuel by passing speeds of selections by their room, as far as multipliers tell."""
        if self.pose.is_firm or self.pose.scenario.handling.configuration is not Selection.SCHEDULED:
            return False
        held, selected = self.solution.multipliers.path_totals, EventKind.SELECTED
        names = [leg.name for leg in self.pose.legs if leg.pending and leg.ends.kind is not selected]
        return SPEED_HELD * sum(float(np.abs(held.get((name, LEAST_SPEED), 0.0)).sum()) for name in names) > _BY_ROOM

    @property
    def price(self) -> float:
        """Cost [kg] by which orders are compared: of two alike the one without coinciding events."""
        return self.solution.cost + (0.0 if self.coinciding is None else _ALIKE)


def tried(
    scenario: Scenario,
    memory: Memory,
    flight: Flight,
    order: Order,
    places: Mapping[Event, float],
    settings: SolverSettings = FLOWN,
    values: Mapping[str, NDArray[np.float64]] | None = None,
    is_firm: bool = False,
) -> Trial:
    """An order on its first mesh, from a flight with its events at `places` [m].

    `values` of the parameters are the scenario's unless given. `is_firm` : see `Pose`.
    """
    pose = Pose(scenario, order, memory, is_firm)
    problem = pose.problem()
    guess = guess_from(flight, pose.legs, places)
    mesh = mesh_for(problem, pose.legs, guess)
    solution = transcribe(problem, mesh).solve(values or parameter_values(scenario), guess, settings)
    return Trial(pose, problem, guess, solution)


def tried_again(scenario: Scenario, memory: Memory, trial: Trial, order: Order) -> Trial:
    """Another order on its first mesh, from the descent of a solved trial."""
    before, places = trial.places, in_sequence(order, trial.places)
    is_far = max(abs(places[event] - before[event]) for event in order) > _FAR
    settings = AT_LENGTH if is_far else _NEARBY
    return tried(scenario, memory, trial.flight, order, places, settings, is_firm=trial.pose.is_firm)


def beyond_the_gate(
    scenario: Scenario,
    memory: Memory,
    trial: Trial,
    begin: Callable[[], tuple[Flight, Mapping[Event, float]]],
    seen: Collection[Order],
) -> Iterator[Trial]:
    """Trials, one by one, with the approach speed on the other side of the gate, in orders not seen [SI].

    The likeliest is tried from the solved trial; those that also meet the glide path elsewhere from the flight that
    `begin` gives with the places [m] of its events, for the trial's own lie where the other side has no descent.
    """
    for at, order in enumerate(on_the_other_side(scenario, trial.pose.order)):
        if order in seen:
            continue
        if at == 0:
            yield tried_again(scenario, memory, trial, order)
        else:
            flight, places = begin()
            moved = in_sequence(order, places)
            yield tried(scenario, memory, flight, order, moved, OTHERWISE, is_firm=trial.pose.is_firm)


def told(trial: Trial) -> str:
    """A trial in one line: how it ended, what it costs, its order."""
    ending = f"{trial.solution.cost:.2f} kg" if trial.is_orderly else f"events overlap by {trial.overlap:.0f} m"
    found = f"{trial.solution.outcome.name.lower()} after {trial.solution.iterations} iterations"
    return f"{found}, {ending}: {trial.sentence}"


def again_from(trial: Trial, flight: Flight, order: Order) -> tuple[Flight, Order, dict[Event, float]]:
    """What another order is tried from: the trial's own flight, if it was solved, and its places [m] for the events."""
    return trial.flight if trial.solution.is_usable else flight, order, in_sequence(order, trial.places)


def in_sequence(order: Order, places: Mapping[Event, float]) -> dict[Event, float]:
    """Places [m] along the track given to events as their order asks."""
    return dict(zip(order, sorted(places.values()), strict=True))
