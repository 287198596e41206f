"""The smallest disturbance, in spreads of each driver, at which a rule no longer reaches the gate stable.

From the middle of the conditions rays are flown outwards: along each driver both ways, and in directions spread evenly
over the sphere; along each ray the first failure is bracketed and halved. Around the best ray found the search goes on
in a narrowing cone. What lies between two scanned points is not seen: a failure that a step jumps over is missed. Axes
without an order (anti-ice, soundings, members, crews) stay as the scenario has them; the sentence says at which mass
and with which anti-ice the search was made.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.stats import norm, qmc

from optdescent.inputs import InputFault
from optdescent.rules.fleet import Fleet
from optdescent.scenario import ADDED_TAILWIND, Axis, BelievedWind, Scenario
from optdescent.sweep.question import Asked

Array = NDArray[np.float64]
_FARTHEST, _STEP = 4.0, 0.5
"""Radius to which rays are scanned, and the step between two flights of a ray [spreads]."""
_DIRECTIONS, _CONES, _IN_CONE, _HALVINGS = 32, (0.35, 0.15), 16, 6
_AMOUNT = re.compile(r"-?[\d.]+,?|kt|ft")
_SEED = 20
"""Of the directions: the search is the same every time."""


@dataclass(frozen=True)
class Driver:
    """An axis that is disturbed: its middle and its spread [file unit]."""

    axis: Axis
    middle: float
    spread: float

    def told(self, level: float, *, unforecast: bool) -> str:
        """A level [file unit] in words, rounded towards the middle: what is said to hold does."""
        symbol = self.axis.unit.symbol
        if self.axis.key == ADDED_TAILWIND:
            known = "unforecast" if unforecast else "added"
            side = "tailwind" if level >= 0.0 else "headwind"
            return f"{abs(self._inwards(level, 1.0)):.0f} {symbol} of {known} {side}"
        if self.axis.unit.suffix == "kg":
            return f"{self._inwards(level, 100.0) / 1000.0:.1f} t"
        if self.axis.unit.suffix == "k":
            return f"{self._inwards(level, 1.0):+.0f} K from the standard temperature"
        digits = 0 if abs(level) >= 100.0 else 3 if abs(level) < 1.0 else 1
        name = self.axis.name.removesuffix("_" + self.axis.unit.suffix)
        return f"{name} {self._inwards(level, 10.0**-digits):.{digits}f} {symbol}".strip()

    def _inwards(self, level: float, step: float) -> float:
        """Multiple of a step between the middle and a level [file unit]."""
        steps = (level - self.middle) / step
        start = round(self.middle / step)
        return (start + math.trunc(steps)) * step


@dataclass(frozen=True)
class Break:
    """Where a rule breaks: at how many spreads from the middle, at which levels (driver,) [file units], and why.

    `radius` is not a number where it holds as far as was searched. `alone` (driver, 2) are the levels up to which it
    holds with one driver disturbed alone, downwards and upwards: not a number where that does not break it.
    """

    radius: float
    levels: Array
    alone: Array
    reason: str
    sentence: str


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
        fixed = [axis for axis in asked.conditions.axes if axis.is_ordered and axis.standard_deviation == 0.0]
        self._fixed = [axis.drawn(0.5) for axis in fixed]
        self._asked = replace(asked, conditions=replace(asked.conditions, axes=(*self._axes, *fixed), shares=None))
        self._known: dict[bytes, Scenario | None] = {}
        count = len(self.drivers)
        self._directions = _directions(count) if count else np.zeros((0, 0))

    @property
    def _axes(self) -> tuple[Axis, ...]:
        return tuple(driver.axis for driver in self.drivers)

    def of(self, fleet: Fleet) -> Break:
        """Where a rule breaks."""
        count = len(self.drivers)
        middle = self._scenario(np.zeros(count))
        nothing = np.full(count, np.nan)
        alone = np.full((count, 2), np.nan)
        if middle is None or not count:
            return Break(np.nan, nothing, alone, "", "no driver to disturb")
        here = fleet.judged([middle])
        if not here.stable[0]:
            sentence = f"does not hold even without a disturbance: {here.reasons[0]}"
            return Break(0.0, self._levels(np.zeros(count)), alone, here.reasons[0], sentence)
        held, radii = self._first_failures(fleet, self._directions)
        for index in range(2 * count):
            if np.isfinite(radii[index]):
                alone[index // 2, index % 2] = self._levels(held[index] * self._directions[index])[index // 2]
        best, radius = self._narrowed(fleet, radii)
        if not np.isfinite(radius):
            sentence = f"holds as far as was searched, {_FARTHEST:g} spreads or the end of what a scenario allows"
            return Break(np.nan, nothing, alone, "", sentence)
        point = radius * best
        broken = self._scenario(point)
        reason = "" if broken is None else fleet.judged([broken]).reasons[0]
        sentence = self._sentence(middle, alone, point, radius, reason)
        return Break(radius, self._levels(point), alone, reason, sentence)

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
        steps: Array = np.linspace(0.0, farthest, max(math.ceil(farthest / _STEP), 1) + 1)[1:]
        points = (directions[:, None, :] * steps[None, :, None]).reshape(-1, directions.shape[1])
        fails = self._fails(fleet, points).reshape(directions.shape[0], steps.size)
        first = np.argmax(fails, axis=1)
        broken = np.flatnonzero(fails.any(axis=1))
        high: Array = np.asarray(steps[first[broken]], dtype=float)
        low: Array = high - float(steps[0])
        for _ in range(_HALVINGS if broken.size else 0):
            half: Array = 0.5 * (low + high)
            is_off = self._fails(fleet, directions[broken] * half[:, None])
            low, high = np.where(is_off, low, half), np.where(is_off, half, high)
        radii = np.full((2, directions.shape[0]), np.nan)
        radii[0, broken], radii[1, broken] = low, high
        return radii[0], radii[1]

    def _fails(self, fleet: Fleet, points: Array) -> NDArray[np.bool_]:
        """Whether a rule is unstable at points (point, driver) [spreads]; where there is no scenario it is not."""
        scenarios = [self._scenario(point) for point in points]
        there = [index for index, scenario in enumerate(scenarios) if scenario is not None]
        fails = np.zeros(len(points), dtype=np.bool_)
        if there:
            fails[there] = ~fleet.judged([scenario for scenario in scenarios if scenario is not None]).stable
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

    def _sentence(self, middle: Scenario, alone: Array, point: Array, radius: float, reason: str) -> str:
        """What a pilot can use: how much of each driver alone, and what together is least."""
        unforecast = middle.technique.wind is BelievedWind.FORECAST
        tell: Callable[[Driver, float], str] = lambda one, level: one.told(level, unforecast=unforecast)  # noqa: E731
        single = [
            tell(one, float(level))
            for one, pair in zip(self.drivers, alone, strict=True)
            for level in pair
            if np.isfinite(level)
        ]
        large = [
            (abs(own), tell(one, float(level)))
            for one, own, level in zip(self.drivers, point, self._levels(point), strict=True)
            if abs(own) > 0.25 * radius
        ]
        together = ", ".join(words for _, words in sorted(large, reverse=True))
        held = f"holds up to {_listed(single)}; " if single else "no driver alone breaks it; "
        context = f"at {middle.start.mass / 1000.0:.1f} t, anti-ice {middle.handling.anti_ice.kind}"
        return f"{held}breaks first at {radius:.1f} spreads: {together} ({reason_kind(reason)}); {context}"


def reason_kind(reason: str) -> str:
    """A reason without its amounts, which at the border are next to nothing: `1 kt too fast` is `too fast`."""
    words = [word for word in reason.replace(";", " and").split() if not _AMOUNT.fullmatch(word)]
    return " ".join(words).replace("flaps at of not", "flaps not").removesuffix(" ft/min")


def _directions(count: int) -> Array:
    """Unit vectors (direction, driver) [-]: each driver down and up, then others spread evenly over the sphere."""
    shares = np.clip(np.asarray(qmc.Sobol(count, rng=_SEED).random(_DIRECTIONS)), 1e-6, 1.0 - 1e-6)
    sphere = np.asarray(norm.ppf(shares), dtype=float)
    axes = np.array([sign * row for row in np.eye(count) for sign in (-1.0, 1.0)])
    return np.vstack([axes, sphere / np.linalg.norm(sphere, axis=1, keepdims=True)])


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
