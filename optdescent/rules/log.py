"""What a crew did on the way, where, and why: read off the steps of a flight."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from optdescent.results import Action, Flight
from optdescent.rules.actions import (
    BRAKE,
    BY_ACTION,
    BY_PLACE,
    FOR_HEIGHT,
    LEVEL,
    SCHEDULE,
    STOWED_FOR_LEAST,
    THRUST_FOR_LEAST,
)
from optdescent.rules.lane import Lane, listed
from optdescent.rules.parts import Rule
from optdescent.rules.words import device_words, when_words
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

if TYPE_CHECKING:
    from optdescent.rules.pilot import Pilot

Array = NDArray[np.float64]
_THRUST_ON = 0.01
_SHORTEST = 5.0
"""Shortest use of brake or thrust [s] that is told."""
_WORTH_TELLING = 1.0
"""Delay of an action [s] that is told."""


def actions_of(pilot: Pilot, flight: Flight, lane: Lane, reasons: Array, late: float) -> tuple[Action, ...]:
    """Every action of a flown rule with its reason, in the order taken [SI].

    `reasons` (look, devices and what stands after them) are those of the steps (`rules.actions`), `late` is the crew's
    delay [s].
    """
    log = _Log(pilot, flight, lane, reasons, late)
    return tuple(sorted((*log.descent(), *log.devices(), *log.brake(), *log.thrust(), *log.level()), key=_first))


def _first(action: Action) -> float:
    return -action.distance_to_go


class _Log:
    def __init__(self, pilot: Pilot, flight: Flight, lane: Lane, reasons: Array, late: float) -> None:
        self._pilot, self._lane, self._reasons, self._late = pilot, lane, reasons, late
        self._to_go, self._time = flight.column("distance_to_go"), flight.column("time")
        self._above = flight.column("height_above_threshold") - flight.column("rule_height")
        self._speed = flight.column("calibrated_airspeed")
        self._over = self._speed - flight.column("rule_speed")
        self._top = flight.summary.top_of_descent

    def _action(self, at: int, what: str, reason: str) -> Action:
        return Action(float(self._to_go[at]), float(self._time[at]), what, reason)

    def descent(self) -> Iterator[Action]:
        """The descent begun."""
        due = np.asarray(self._lane.descent_due)
        taken = np.flatnonzero((due > 0.0) & (due > self._late))
        if taken.size:
            at = max(int(taken[0]) - 1, 0)
            late = f", {self._late:.0f} s late" if self._late > _WORTH_TELLING else ""
            yield self._action(at, "starts down", f"{self._pilot.rule.name} asks for less height{late}")

    def devices(self) -> Iterator[Action]:
        """Each device selected."""
        names = [step.name for step in self._pilot.airframe.steps[1:]] + ["gear"]
        for index, (name, out) in enumerate(zip(names, listed(self._lane.out), strict=True)):
            moving = np.flatnonzero(np.asarray(out) > 0.0)
            given = np.flatnonzero(self._reasons[:, index] > 0.0)
            if moving.size and given.size:
                at, why = max(int(moving[0]) - 1, 0), int(given[0])
                reason = self._device_reason(round(float(self._reasons[why, index])), why)
                late = float(self._time[at] - self._time[why])
                delayed = f", {late:.0f} s late" if late > _WORTH_TELLING else ""
                yield self._action(at, f"selects {name}", reason + delayed)

    def brake(self) -> Iterator[Action]:
        """Speed brake out and in."""
        for first, last in self._spells(self._reasons[:, BRAKE] > 0.0):
            yield self._action(first, "speed brake out", self._brake_reason(first))
            if last < self._to_go.size - 1:
                is_for_least = self._reasons[last, STOWED_FOR_LEAST] > 0.0
                yield self._action(last, "speed brake in", self._least(last) if is_for_least else self._state(last))

    def thrust(self) -> Iterator[Action]:
        """Thrust above idle and idle again, after the top of descent."""
        on = (np.asarray(self._lane.thrust_fraction) > _THRUST_ON) & (self._to_go < self._top - 2.0 * NAUTICAL_MILE)
        for first, last in self._spells(on):
            # the lever was moved at the look before
            is_for_least = self._reasons[max(first - 1, 0), THRUST_FOR_LEAST] > 0.0
            yield self._action(first, "thrust above idle", self._least(first) if is_for_least else self._state(first))
            if last < self._to_go.size - 1:
                yield self._action(last, "thrust idle", self._state(last))

    def level(self) -> Iterator[Action]:
        """Level flight that the rule asks for, and its end."""
        for first, last in self._spells(self._reasons[:, LEVEL] > 0.0):
            part = self._pilot.rule.when[round(float(self._reasons[first, LEVEL])) - BY_ACTION]
            yield self._action(first, "levels off", f"{when_words(part)}: {self._state(first)}")
            if last < self._to_go.size - 1:
                yield self._action(last, "goes down again", self._state(last))

    def _spells(self, on: NDArray[np.bool_]) -> list[tuple[int, int]]:
        """First index of each run of true values, and the one after its last; short ones left out."""
        edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int)))
        last = self._time.size - 1
        found = [(int(first), min(int(end), last)) for first, end in zip(edges[::2], edges[1::2], strict=True)]
        return [(first, end) for first, end in found if self._time[end] - self._time[first] >= _SHORTEST]

    def _least(self, at: int) -> str:
        return f"near the least speed of what is out, at {self._speed[at] / KNOT:.0f} kt"

    def _state(self, at: int) -> str:
        return f"{_feet(self._above[at])}, {_knots(self._over[at])}"

    def _brake_reason(self, at: int) -> str:
        code = round(float(self._reasons[at, BRAKE]))
        if code >= BY_ACTION:
            return f"{when_words(self._pilot.rule.when[code - BY_ACTION])}: {self._state(at)}"
        return _feet(self._above[at]) if code == FOR_HEIGHT else _knots(self._over[at])

    def _device_reason(self, code: int, at: int) -> str:
        rule: Rule = self._pilot.rule
        if code >= BY_ACTION:
            return f"{when_words(rule.when[code - BY_ACTION])}: {self._state(at)}"
        if code >= BY_PLACE:
            return device_words(rule.devices[code - BY_PLACE])
        assert code == SCHEDULE
        return f"airframe's schedule, at {self._speed[at] / KNOT:.0f} kt"


def _feet(above: float) -> str:
    return f"{abs(above) / FOOT:.0f} ft {'above' if above > 0.0 else 'below'} the height to have"


def _knots(over: float) -> str:
    return f"{abs(over) / KNOT:.0f} kt {'above' if over > 0.0 else 'below'} the planned speed"
