"""The order of events sought, trial by trial, until no phase runs backwards and no two events ask to change places."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optdescent.arrival import Capture
from optdescent.ocp import Memory, Outcome, SolverSettings
from optdescent.optimum.conflict import DemandsConflict, NotConverged, least_size, relaxed, telling
from optdescent.optimum.events import Event, Order
from optdescent.optimum.order import reordered, with_other_choices
from optdescent.optimum.parameters import settled_values
from optdescent.optimum.persisted import persisted
from optdescent.optimum.progress import Progress
from optdescent.optimum.trial import (
    AT_LENGTH,
    FLOWN,
    GAIN,
    OTHERWISE,
    Trial,
    again_from,
    beyond_the_gate,
    in_sequence,
    told,
    tried,
    tried_again,
)
from optdescent.results import Flight
from optdescent.scenario import Scenario

_MOST_ORDERS = 8
_MOST_EXCHANGES = 6
_MOST_IN_VAIN = 3
_SMALL = 10.0
"""Size [-] of a conflict that another order may resolve: 1000 ft, or 30 kt."""
_AS_IT_IS = replace(OTHERWISE, iterations=0)
_LESS = 0.999
"""What a size is less than, apart from rounding."""
_NO_LARGER = 1.01
"""Sizes that are no larger than the least possible, within what a relaxation and its fuel leave."""


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
    it shall be are not tried. `is_firm` : see `Pose`.

    Raises
    ------
    DemandsConflict
        No order is without overlap, and a relaxation of the demands is: the smallest one found.
    NotConverged
        Neither.
    """
    search = _Search(scenario, flight, places, memory or Memory(), progress, is_firm, frozenset(without))
    search.seen.add(order)
    progress("optimum on a first mesh")
    trial = first = search.tried(flight, order, places)
    if search.least > 0.0 and not trial.is_orderly:
        search.relaxed(first)
    if trial.solution.outcome is Outcome.ITERATIONS:
        trial = search.with_another_choice(trial)
    trial = search.without_overlap(trial)
    if not trial.is_orderly:
        basis = search.relaxed(first)
        trial = search.followed(basis) if basis.is_feasible else trial
    if not trial.is_orderly:
        trial = search.beside_the_smallest_conflict(trial)
    if not trial.is_orderly:
        feasible = next((other for other in search.elastic.values() if other.is_feasible), None)
        if search.conflicts and feasible is None:
            raise telling(*search.conflicts)
        progress("no conflict found: following the descent from still air and open windows, then from changed guesses")
        trial = persisted(feasible or trial, flight, search.log)
    trial = search.exchanged(trial)
    other = search.with_another_choice(trial)
    if other is not trial and other.price < trial.price - GAIN:
        trial = search.exchanged(other)
    return replace(trial, orders=tuple(search.log), seen=frozenset(search.seen))


@dataclass
class _Search:
    """Orders tried for a scenario: those `seen`, with those `without` which it shall be, and a `log` in words.

    Those `unclear` were not found from the first flight: from a descent they may be. `elastic` are those of which a
    relaxation was sought, as they were where none was found.
    """

    scenario: Scenario
    flight: Flight
    places: Mapping[Event, float]
    memory: Memory
    progress: Progress
    is_firm: bool
    without: frozenset[Order]
    seen: set[Order] = field(init=False)
    log: list[str] = field(default_factory=list[str])
    unclear: set[Order] = field(default_factory=set[Order])
    elastic: dict[Order, Trial] = field(default_factory=dict[Order, Trial])

    def __post_init__(self) -> None:
        self.seen = set(self.without)

    @cached_property
    def least(self) -> float:
        """Size [-] that a conflict has at least in any order."""
        return least_size(self.scenario)

    @property
    def conflicts(self) -> list[DemandsConflict]:
        """Conflicts that relaxed trials show."""
        return [trial.conflict for trial in self.elastic.values() if trial.conflict is not None]

    def tried(
        self,
        flight: Flight,
        order: Order,
        places: Mapping[Event, float],
        settings: SolverSettings = FLOWN,
        values: Mapping[str, NDArray[np.float64]] | None = None,
    ) -> Trial:
        """An order on its first mesh."""
        made = tried(self.scenario, self.memory, flight, order, places, settings, values, self.is_firm)
        return self._told(made)

    def _unsolved(self, flight: Flight, order: Order, places: Mapping[Event, float]) -> Trial:
        """An order on its first mesh that is not solved."""
        return tried(self.scenario, self.memory, flight, order, places, _AS_IT_IS, is_firm=self.is_firm)

    def followed(self, found: Trial) -> Trial:
        """The order of a trial that relaxes nothing, from its descent: no overlap pays."""
        return self.tried(found.flight, found.pose.order, found.places, AT_LENGTH, settled_values(self.scenario))

    def again(self, trial: Trial, order: Order) -> Trial:
        """Another order, from the descent of a solved trial."""
        self.seen.add(order)
        return self._told(tried_again(self.scenario, self.memory, trial, order))

    def with_another_choice(self, trial: Trial) -> Trial:
        """The first orderly trial that makes another choice, else the one given.

        From a solved trial only the side of the gate on which the approach speed is reached is tried: whether the path
        is met first shows by events that collapse.
        """
        if trial.solution.is_usable:
            seen = self.seen - self.unclear
            sides = beyond_the_gate(self.scenario, self.memory, trial, lambda: (self.flight, self.places), seen)
            for found in sides:
                self.seen.add(found.pose.order)
                if self._told(found).is_orderly:
                    return found
            return trial
        for order in with_other_choices(self.scenario, trial.pose.order):
            if order in self.seen:
                continue
            self.seen.add(order)
            self.unclear.add(order)
            found = self.tried(self.flight, order, in_sequence(order, self.places), OTHERWISE)
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
                # From below other choices are tried beside the smallest conflict.
                is_open = self.scenario.arrival.glide_path.capture is Capture.ABOVE
                choices = with_other_choices(self.scenario, trial.pose.order) if is_open else []
                other = next((new for new in choices if new not in self.seen), None)
                if other is None:
                    break
                order, basis = other, trial
            self.seen.add(order)
            trial = self.tried(*again_from(basis, self.flight, order))
        return trial

    def relaxed(self, trial: Trial) -> Trial:
        """A trial with the smallest relaxation of its demands, if one is found.

        An order is asked once: later its conflict is given again; what relaxes nothing is not, for it was followed.

        Raises
        ------
        DemandsConflict
            It gives way by no more than it must in every order.
        """
        if (before := self.elastic.get(trial.pose.order)) is not None:
            return trial if before.conflict is None else before
        self.progress("no descent found: looking for the demands that conflict")
        found = relaxed(trial.pose, trial.problem, trial.guess, trial.solution)
        if found is not None:
            trial = replace(trial, solution=found.solution, is_elastic=True, conflict=found.conflict)
        self.elastic[trial.pose.order] = trial
        if trial.conflict is not None and trial.conflict.size <= _NO_LARGER * self.least:
            raise trial.conflict
        return trial

    def beside_the_smallest_conflict(self, trial: Trial) -> Trial:
        """A descent in an order beside that of the smallest conflict, if it is small; else the trial given.

        A demand that gives way a little in one order may hold in another, of which no solution gives a sign: what its
        relaxation asks for, then other choices are relaxed in turn, and what relaxes nothing is followed.
        """
        in_vain = 0
        while self.conflicts and in_vain < _MOST_IN_VAIN:
            smallest = min(conflict.size for conflict in self.conflicts)
            if smallest > _SMALL:
                break
            basis = next(own for own in self.elastic.values() if own.conflict and own.conflict.size == smallest)
            choices = with_other_choices(self.scenario, basis.pose.order)
            closed = self.without | self.elastic.keys()
            near = [order for order in (*basis.exchanges(closed), *choices) if order not in closed]
            if not near:
                break
            self.seen.add(near[0])
            found = self.relaxed(self._unsolved(*again_from(basis, self.flight, near[0])))
            if found.is_feasible and (followed := self.followed(found)).is_orderly:
                return followed
            is_less = min(conflict.size for conflict in self.conflicts) < _LESS * smallest
            in_vain = 0 if is_less else in_vain + 1
        return trial

    def _told(self, trial: Trial) -> Trial:
        self.log.append(told(trial))
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
    begun = again_from(trial, trial.flight, order)
    again = in_right_order(scenario, *begun, progress, memory, [trial.pose.order], trial.pose.is_firm)
    return replace(again, orders=(*trial.orders, told(trial), *again.orders))
