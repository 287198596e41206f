"""The smallest disturbance, in spreads of each driver, at which a rule no longer reaches the gate stable.

From the middle of the conditions rays are flown outwards: along each driver both ways, and in directions spread evenly
over the sphere; along each ray the first failure is bracketed and the bracket parted. Around the best ray found the
search goes on in a narrowing cone. What lies between two scanned points is not seen: a failure that a step jumps over
is missed. Axes without an order (anti-ice, soundings, members, crews) stay as the scenario has them meanwhile, and
those of few levels are then put at each of them: the smallest disturbance of all counts. The sentence says how they
stand, and what each of their levels does alone (`margins.unordered`). Where a rule cannot start it does not break.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from copy import copy
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

from optdescent.inputs import InputFault
from optdescent.margins.driver import Driver, breaks_sentence
from optdescent.margins.unordered import LevelsAlone, levels_to_try, phrase, standing, told_alone
from optdescent.rules.fleet import Fleet
from optdescent.rules.startable import why_not_started
from optdescent.scenario import Axis, BelievedWind, Level, Scenario
from optdescent.sweep.question import Asked

Array = NDArray[np.float64]
_FARTHEST, _STEP = 4.0, 0.5
"""Radius to which rays are scanned, and the step between two flights of a ray [spreads]."""
_DIRECTIONS, _CONES, _IN_CONE = 32, (0.35, 0.15), 16
_PARTS, _TIMES = 8, 2
"""A bracket is parted in so many at once, so often: a pass over few flights takes hardly less than one over many."""
_ENDS = 8
"""Halvings that find the end of what a scenario allows along a ray."""
_FEW = 3
"""Most levels of an axis without an order at each of which the drivers are disturbed."""
_SEED = 20
"""Of the directions: the search is the same every time."""


@dataclass(frozen=True)
class Break:
    """Where a rule breaks: at how many spreads from the middle, at which levels (driver,) [file units], and why.

    `radius` is not a number where it holds as far as was searched. `alone` (driver, 2) are the levels up to which it
    holds with one driver disturbed alone, downwards and upwards: not a number where that does not break it.
    `levels_alone` says what each level of an axis without an order does.
    """

    radius: float
    levels: Array
    alone: Array
    reason: str
    sentence: str
    levels_alone: tuple[LevelsAlone, ...]


def drivers(asked: Asked) -> tuple[Driver, ...]:
    """The ordered axes of some conditions, with the middle and the standard deviation of each [file units]."""
    found: list[Driver] = []
    for axis in asked.conditions.axes:
        if axis.is_ordered and (spread := axis.standard_deviation) > 0.0:
            found.append(Driver(axis, float(axis.drawn(0.5)), spread))
    return tuple(found)


class Breaking:
    """The search, with the flights that every rule shares."""

    def __init__(self, asked: Asked) -> None:
        self.drivers = drivers(asked)
        self.unordered = tuple(axis for axis in asked.conditions.axes if not axis.is_ordered)
        fixed = [axis for axis in asked.conditions.axes if axis.is_ordered and axis.standard_deviation == 0.0]
        self._fixed = [axis.drawn(0.5) for axis in fixed]
        self._asked = replace(asked, conditions=replace(asked.conditions, axes=(*self._axes, *fixed), shares=None))
        self._known: dict[bytes, Scenario | None] = {}
        count = len(self.drivers)
        self._directions = _directions(count) if count else np.zeros((0, 0))
        tried = [(axis, levels_to_try(axis)) for axis in self.unordered]
        self._each = [(axis, levels, self._each_alone(axis, levels)) for axis, levels in tried]

    @property
    def _axes(self) -> tuple[Axis, ...]:
        return tuple(driver.axis for driver in self.drivers)

    def of(self, fleet: Fleet) -> Break:
        """Where a rule breaks."""
        middle = self._scenario(np.zeros(len(self.drivers)))
        here, levels = self._in_the_middle(fleet, middle)
        if middle is None:
            return replace(self.unknown("the middle of the conditions makes no scenario"), levels_alone=levels)
        if here is None:
            why = why_not_started(middle, fleet.rule)
            return replace(self.unknown(f"no start in the middle of the conditions: {why}"), levels_alone=levels)
        holds = not here
        if not holds:
            sentence = f"does not hold even without a disturbance: {here}"
            here_levels = self._levels(np.zeros(len(self.drivers)))
            found = replace(self.unknown(sentence), radius=0.0, levels=here_levels, reason=here)
        elif not self.drivers:
            found = self.unknown("no ordered driver to disturb")
        else:
            found = self._at_each_level(fleet, middle, levels, self._disturbed(fleet, middle))
        alone = told_alone(levels, holds_in_the_middle=holds)
        each = f"with the ordered drivers in the middle it {alone}" if alone and self.drivers else alone
        sentence = "; ".join(part for part in (found.sentence, each, self._context(middle)) if part)
        return replace(found, sentence=sentence, levels_alone=levels)

    def _disturbed(self, fleet: Fleet, middle: Scenario) -> Break:
        """Where a rule that holds in the middle breaks."""
        count = len(self.drivers)
        alone = np.full((count, 2), np.nan)
        held, radii = self._first_failures(fleet, self._directions)
        for index in range(2 * count):
            if np.isfinite(radii[index]):
                alone[index // 2, index % 2] = self._levels(held[index] * self._directions[index])[index // 2]
        best, radius = self._narrowed(fleet, radii)
        if not np.isfinite(radius):
            farthest = f"{_FARTHEST:g} spreads or the end of what a scenario allows"
            return replace(self.unknown(f"holds as far as was searched, {farthest}"), alone=alone)
        point = radius * best
        broken = self._scenario(point)
        reason = "" if broken is None else fleet.judged([broken]).reasons[0]
        crew = middle.technique
        sentence = breaks_sentence(self.drivers, alone, point, reason, unforecast=crew.wind is BelievedWind.FORECAST)
        return replace(self.unknown(sentence), radius=radius, levels=self._levels(point), alone=alone, reason=reason)

    def _at_each_level(self, fleet: Fleet, middle: Scenario, levels: Sequence[LevelsAlone], found: Break) -> Break:
        """The smallest disturbance of all, where axes of few levels without an order stand at another than here."""
        for one, (axis, own, scenarios) in zip(levels, self._each, strict=True):
            for level, scenario, breaks in zip(own, scenarios, one.breaks, strict=True):
                if len(own) > _FEW or breaks != 0.0 or scenario is None or scenario.text == middle.text:
                    continue
                there = self._standing_at(axis, level)._disturbed(fleet, scenario)
                if there.radius < (found.radius if np.isfinite(found.radius) else np.inf):
                    found = replace(there, sentence=f"{found.sentence}; {phrase(one, [level])} it {there.sentence}")
        return found

    def _standing_at(self, axis: Axis, level: Level) -> Breaking:
        """The same search with an axis without an order at one of its levels."""
        there, conditions = copy(self), self._asked.conditions
        there._asked = replace(self._asked, conditions=replace(conditions, axes=(*conditions.axes, axis)))
        there._fixed, there._known = [*self._fixed, level], {}
        return there

    def unknown(self, sentence: str) -> Break:
        """No border is known, and why."""
        count = len(self.drivers)
        levels = tuple(LevelsAlone(axis, own, np.full(len(own), np.nan)) for axis, own, _ in self._each)
        return Break(np.nan, np.full(count, np.nan), np.full((count, 2), np.nan), "", sentence, levels)

    def _each_alone(self, axis: Axis, levels: Sequence[Level]) -> list[Scenario | None]:
        """Scenarios with an axis without an order at each of some levels, the drivers at their middle."""
        conditions = self._asked.conditions
        asked = replace(self._asked, conditions=replace(conditions, axes=(*conditions.axes, axis)))
        middle = self._levels(np.zeros(len(self.drivers))).tolist()
        found: list[Scenario | None] = []
        for level in levels:
            try:
                found.append(asked.scenario([*middle, *self._fixed, level]))
            except InputFault:
                found.append(None)
        return found

    def _in_the_middle(self, fleet: Fleet, middle: Scenario | None) -> tuple[str | None, tuple[LevelsAlone, ...]]:
        """Why a rule is unstable in the middle, and what each level of each axis without an order does to it there.

        Empty where it is stable; None where it cannot be flown.
        """
        scenarios = [middle, *(scenario for _, _, own in self._each for scenario in own)]
        sound = [
            (index, scenario)
            for index, scenario in enumerate(scenarios)
            if scenario is not None and not why_not_started(scenario, fleet.rule)
        ]
        breaks = np.full(len(scenarios), np.nan)
        reason = None
        if sound:
            found = fleet.judged([scenario for _, scenario in sound])
            breaks[[index for index, _ in sound]] = ~found.stable
            reason = found.reasons[0] if sound[0][0] == 0 else None
        ends = np.cumsum([1, *(len(levels) for _, levels, _ in self._each)])
        parts = np.split(breaks, ends)[1:]
        each = zip(self._each, parts, strict=False)  # the last part is empty
        return reason, tuple(LevelsAlone(axis, levels, own) for (axis, levels, _), own in each)

    def _narrowed(self, fleet: Fleet, radii: Array) -> tuple[Array, float]:
        """The direction that breaks a rule first, sought in cones about the best one known, and its radius."""
        known = np.where(np.isfinite(radii), radii, np.inf)
        at = int(np.argmin(known))
        best, radius = self._directions[at], float(known[at])
        random = np.random.default_rng(_SEED)
        for width in _CONES if len(self.drivers) > 1 and np.isfinite(radius) else ():
            tried = best + width * random.standard_normal((_IN_CONE, best.size))
            tried /= np.linalg.norm(tried, axis=1, keepdims=True)
            _, found = self._first_failures(fleet, tried, radius)
            found = np.where(np.isfinite(found), found, np.inf)
            if float(found.min()) < radius:
                at = int(np.argmin(found))
                best, radius = tried[at], float(found[at])
        return best, radius

    def _first_failures(self, fleet: Fleet, directions: Array, farthest: float = _FARTHEST) -> tuple[Array, Array]:
        """Radii [spreads] between which each direction first fails: held, failed; not a number where it does not."""
        steps = self._steps(directions, farthest)
        points = (directions[:, None, :] * steps[:, :, None]).reshape(-1, directions.shape[1])
        fails = self._fails(fleet, points).reshape(steps.shape)
        broken = np.flatnonzero(fails.any(axis=1))
        first = np.argmax(fails, axis=1)[broken]
        high: Array = steps[broken, first]
        low: Array = np.where(first > 0, steps[broken, np.maximum(first - 1, 0)], 0.0)
        inside: Array = np.arange(1, _PARTS) / _PARTS
        for _ in range(_TIMES if broken.size else 0):
            tried = low[:, None] + (high - low)[:, None] * inside
            points = (directions[broken][:, None, :] * tried[:, :, None]).reshape(-1, directions.shape[1])
            is_off = self._fails(fleet, points).reshape(tried.shape)
            edges = np.column_stack([low, tried, high])
            upper = np.where(is_off.any(axis=1), np.argmax(is_off, axis=1), inside.size) + 1
            each = np.arange(broken.size)
            low, high = edges[each, upper - 1], edges[each, upper]
        radii = np.full((2, directions.shape[0]), np.nan)
        radii[0, broken], radii[1, broken] = low, high
        return radii[0], radii[1]

    def _steps(self, directions: Array, farthest: float) -> Array:
        """Radii (direction, step) [spreads] to scan; where a scenario ends between two, its end is scanned instead."""
        even: Array = np.linspace(0.0, farthest, max(math.ceil(farthest / _STEP), 1) + 1)[1:]
        steps = np.tile(even, (directions.shape[0], 1))
        for direction, own in zip(directions, steps, strict=True):
            missing = [at for at, radius in enumerate(even) if self._scenario(radius * direction) is None]
            if not missing:
                continue
            low, high = (float(even[missing[0] - 1]) if missing[0] else 0.0), float(even[missing[0]])
            for _ in range(_ENDS):
                half = 0.5 * (low + high)
                low, high = (low, half) if self._scenario(half * direction) is None else (half, high)
            own[missing[0]] = low
        return steps

    def _fails(self, fleet: Fleet, points: Array) -> NDArray[np.bool_]:
        """Whether a rule is unstable at points (point, driver) [spreads]; where there is no flight it is not."""
        scenarios = [self._scenario(point) for point in points]
        there = [(index, scenario) for index, scenario in enumerate(scenarios) if scenario is not None]
        fails = np.zeros(len(points), dtype=np.bool_)
        if there:
            fails[[index for index, _ in there]] = ~fleet.judged([scenario for _, scenario in there]).stable
        for index, scenario in there:
            fails[index] = fails[index] and not why_not_started(scenario, fleet.rule)
        return fails

    def _levels(self, point: Array) -> Array:
        return np.array([one.middle + own * one.spread for one, own in zip(self.drivers, point, strict=True)])

    def _scenario(self, point: Array) -> Scenario | None:
        key = np.round(point, 9).tobytes()
        if key not in self._known:
            try:
                self._known[key] = self._asked.scenario([*self._levels(point).tolist(), *self._fixed])
            except InputFault:
                self._known[key] = None
        return self._known[key]

    def _context(self, middle: Scenario) -> str:
        """At what the drivers were disturbed."""
        others = [standing(axis, middle) for axis in self.unordered if not axis.key.startswith("handling.anti_ice.")]
        mass = f"at {middle.start.mass / 1000.0:.1f} t"
        return ", ".join([mass, f"anti-ice {middle.handling.anti_ice.kind}", *others])


def _directions(count: int) -> Array:
    """Unit vectors (direction, driver) [-]: each driver down and up, then others spread evenly over the sphere."""
    if count == 1:
        return np.array([[-1.0], [1.0]])
    shares = np.clip(np.asarray(qmc.Sobol(count, rng=_SEED).random(_DIRECTIONS)), 1e-6, 1.0 - 1e-6)
    sphere = np.asarray(norm.ppf(shares), dtype=float)
    axes = np.array([sign * row for row in np.eye(count) for sign in (-1.0, 1.0)])
    return np.vstack([axes, sphere / np.linalg.norm(sphere, axis=1, keepdims=True)])
