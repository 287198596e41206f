"""Rules of thumb flown in each case of a sweep: what each used, and whether it arrived stable, or why not."""

from __future__ import annotations

import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import InputFault
from optdescent.results import Flight
from optdescent.results.kept_flight import DISTANCE, kept_column, kept_coordinate, kept_values
from optdescent.results.schema import Column
from optdescent.results.sweep import Content, Status, SweepColumn
from optdescent.rules.fleet import Fleet
from optdescent.rules.fly import Pilot, flown_by, pilot_of
from optdescent.rules.judged import Judged
from optdescent.rules.parts import Rule
from optdescent.rules.startable import why_not_started, whys_not_started
from optdescent.scenario import Scenario
from optdescent.sweep.question import Answer, Asked, Case, Layout, Preparation, Value

_FLAG = ("no", "yes")
_RULE = ("rule",)
_NUMBERS = (
    Column("rule_fuel", "kg", "fuel that the rule uses from the start to the threshold", "kg"),
    Column("rule_time", "s", "time that the rule takes from the start to the threshold", "min"),
    Column("rule_top_of_descent", "m", "distance to go at the rule's top of descent", "nm"),
    Column("rule_thrust_distance", "m", "distance with thrust above idle after the rule's top of descent", "nm"),
    Column("rule_thrust_fuel", "kg", "fuel the rule burns above idle after its top of descent", "kg"),
    Column("rule_brake_distance", "m", "distance with the rule's speed brake out", "nm"),
    Column("rule_gate_speed", "m s-1", "calibrated airspeed of the rule at the gate", "kt"),
    Column("rule_gate_above_reference", "m s-1", "calibrated airspeed above the reference speed there", "kt"),
    Column("rule_gate_sink", "m s-1", "sink rate of the rule at the gate", "ft_per_min"),
)
_STABLE = SweepColumn(Column("rule_stable", "", "rule stable at the gate", ""), Content.FLAG, _RULE, _FLAG)
_LIMITS_KEPT = "rule_limits_kept"
_KEPT = {
    together: SweepColumn(Column(_LIMITS_KEPT, "", told, ""), Content.FLAG, _RULE, _FLAG)
    for together, told in (
        (False, "every limit and demand kept by the rule"),
        (True, "speeds, sink rates, windows, hold-downs, floor, capture and further gates kept by the rule"),
    )
}
"""By whether flights are judged together (`rules.judged`), which leaves the brake's limits and handling out."""
_REASONS = SweepColumn(
    Column("rule_reasons", "", "why the rule is not stable, and what it did not keep", ""), Content.TEXT, _RULE
)
_Values: TypeAlias = dict[str, Value]
_MOST_PILOTS = 24
"""Compiled pilots a worker keeps: where an axis moves what is compiled, their number would grow with the cases."""


@dataclass(frozen=True)
class RulesQuestion:
    """Each rule flown by a crew in each case; how a case ends is left to the other questions.

    With `together` the flights of a block are taken at once and judged by `rules.judged`, which says what limits on the
    way those are. Where a rule cannot start it is not flown. ``flights`` names the columns kept of each flight over
    ``distances`` to go [m]; flights taken at once are not kept.
    """

    rules: tuple[Rule, ...]
    together: bool = False
    flights: tuple[str, ...] = ()
    distances: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        if self.together and self.flights:
            raise ValueError("flights taken at once are not kept")

    def layout(self, asked: Asked) -> Layout:
        """Columns [SI] over the dimension `rule`, whose attributes hold titles and sources as JSON."""
        columns = (*(SweepColumn(column, dims=_RULE) for column in _NUMBERS), _STABLE, _KEPT[self.together], _REASONS)
        names = np.array([rule.name for rule in self.rules], dtype=object)
        attributes = {
            "long_name": "rule of thumb",
            "titles": json.dumps([rule.title for rule in self.rules], ensure_ascii=False),
            "sources": json.dumps([rule.source for rule in self.rules], ensure_ascii=False),
        }
        coordinates = {"rule": (names, attributes)}
        if self.flights:
            coordinates[DISTANCE] = kept_coordinate(self.distances)
        return Layout((*columns, *(kept_column(name, _RULE) for name in self.flights)), coordinates)

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """Nothing [-]: a pilot is compiled where it flies."""
        return None

    def hold(self, prepared: object) -> RulesHeld:
        """What a worker keeps: its compiled pilots [-]."""
        return RulesHeld(self)


@dataclass
class RulesHeld:
    """Compiled pilots, shared by all cases that differ only in parameters of their step."""

    question: RulesQuestion
    _pilots: dict[Pilot, Pilot] = field(default_factory=dict[Pilot, Pilot])
    _fleets: dict[str, Fleet] = field(default_factory=dict[str, Fleet])

    def session(self) -> RulesSession:
        """A session for one block."""
        return RulesSession(self)

    def fleet(self, rule: Rule) -> Fleet:
        """Who flies a rule in many scenarios at once."""
        return self._fleets.setdefault(rule.name, Fleet(rule))

    def flight(self, scenario: Scenario, rule: Rule) -> Flight:
        """Flight of a rule [SI]."""
        wanted = pilot_of(scenario, rule)
        pilot = self._pilots.pop(wanted, wanted)
        self._pilots[pilot] = pilot  # the one used last stands last
        if len(self._pilots) > _MOST_PILOTS:
            del self._pilots[next(iter(self._pilots))]
        return flown_by(pilot, scenario)


@dataclass
class RulesSession:
    """Rules flown case after case, or in all cases of a block at once; none starts from a neighbour."""

    held: RulesHeld
    _known: dict[int, list[_Values]] = field(default_factory=dict[int, "list[_Values]"])

    def begin(self, cases: Sequence[Case]) -> None:
        """Flights of all cases at once, where the question asks for it; those without a scenario say so later."""
        if not self.held.question.together:
            return
        sound: list[tuple[int, Scenario]] = []
        for case in cases:
            with suppress(InputFault):
                sound.append((case.number, case.scenario))
        scenarios, rules = [scenario for _, scenario in sound], self.held.question.rules
        reasons = whys_not_started(scenarios, rules)
        columns = [self._together(scenarios, rule, [own[index] for own in reasons]) for index, rule in enumerate(rules)]
        self._known = {number: [own[index] for own in columns] for index, (number, _) in enumerate(sound)}

    def _together(self, scenarios: Sequence[Scenario], rule: Rule, reasons: Sequence[str]) -> list[_Values]:
        """Values by column [SI] of a rule in scenarios, flown at once where no reason says that it cannot start."""
        flown = [scenario for scenario, reason in zip(scenarios, reasons, strict=True) if not reason]
        found = iter(_together(self.held.fleet(rule).judged(flown)) if flown else ())
        return [_not_flown(reason) if reason else next(found) for reason in reasons]

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        """What each rule used, and whether it arrived stable, or why not [SI]."""
        layout = self.held.question.layout(case.asked)
        known = self._known.get(case.number)
        each = known or [self._values(case.scenario, rule) for rule in self.held.question.rules]
        values: dict[str, Value] = {
            column.name: _stacked(column, [own.get(column.name, column.content.missing) for own in each])
            for column in layout.columns
            if any(column.name in own for own in each)
        }
        return Answer(Status.SOLVED, "", values)

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        """None: what a rule uses does not depend on its neighbours."""
        return None

    def _values(self, scenario: Scenario, rule: Rule) -> _Values:
        try:
            if reason := why_not_started(scenario, rule):
                return _not_flown(reason)
            flight = self.held.flight(scenario, rule)
        except Exception as error:
            # What one rule cannot fly must not lose the answers of the others; its reasons say what to look at.
            return {_REASONS.name: f"could not be flown: {type(error).__name__}: {error}"}
        question, summary = self.held.question, flight.summary
        gate = summary.gate
        numbers = (
            summary.fuel,
            summary.time,
            summary.top_of_descent,
            summary.thrust_distance,
            summary.thrust_fuel,
            summary.brake_distance,
            gate.calibrated_airspeed,
            gate.calibrated_airspeed - gate.reference_speed,
            gate.sink,
        )
        reasons = (*gate.reasons, *(breach.sentence for breach in summary.breaches))
        return {
            **{column.name: number for column, number in zip(_NUMBERS, numbers, strict=True)},
            _STABLE.name: int(gate.stable),
            _LIMITS_KEPT: int(summary.keeps_every_limit),
            _REASONS.name: "; ".join(reasons),
            **{
                kept_column(name, _RULE).name: kept_values(flight, name, question.distances)
                for name in question.flights
            },
        }


def _stacked(column: SweepColumn, values: Sequence[Value]) -> NDArray[Any]:
    """Values (rule,) of a column [SI], or (rule, distance) of one that is kept along a flight; some may be missing."""
    if column.content is Content.TEXT:
        return np.array(values, dtype=object)
    return np.array(np.broadcast_arrays(*values), dtype=column.content.value)


def _not_flown(reason: str) -> _Values:
    """Values of a rule that cannot start: none but why."""
    return {_REASONS.name: f"not flown: {reason}"}


def _together(found: Judged) -> list[_Values]:
    """Values by column [SI] of flights judged together, flight by flight."""
    numbers = (
        found.fuel,
        found.time,
        found.top_of_descent,
        found.thrust_distance,
        found.thrust_fuel,
        found.brake_distance,
        found.gate_speed,
        found.above_reference,
        found.gate_sink,
    )
    rows = zip(*(array.tolist() for array in numbers), strict=True)
    flags = zip(found.stable.tolist(), found.limits_kept.tolist(), found.reasons, strict=True)
    names = [column.name for column in _NUMBERS]
    return [
        {
            **dict(zip(names, row, strict=True)),
            _STABLE.name: int(stable),
            _LIMITS_KEPT: int(kept),
            _REASONS.name: reason,
        }
        for row, (stable, kept, reason) in zip(rows, flags, strict=True)
    ]
