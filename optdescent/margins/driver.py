"""Drivers that are disturbed, and in words up to where a rule holds and where it breaks first."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.scenario import ADDED_TAILWIND, Axis

Array = NDArray[np.float64]
_AMOUNT = re.compile(r"-?[\d.]+,?|kt|ft")
_MATTERS, _ADDS = 0.25, 0.05
"""Parts of the radius [-] from which a driver is told, and from which it is where the others alone would hold."""
_WORDS = {
    "start.mach": "Mach {}",
    "start.altitude_ft": "{} at the start",
    "technique.late_s": "{} of delay",
    "technique.check_every_s": "{} between checks",
    "technique.height_error_ft": "{} of height error",
    "technique.wind_error_kt": "{} of wind error",
}
"""How an amount of a driver is told, by its key."""
_FINEST = 2
"""Most digits that are told beyond the usual ones."""


@dataclass(frozen=True)
class Driver:
    """An axis that is disturbed: its middle and its spread [file unit]."""

    axis: Axis
    middle: float
    spread: float

    def told(self, level: float, *, unforecast: bool, outwards: bool = False, finer: int = 0) -> str:
        """A level [file unit] in words, rounded towards the middle: what is said to hold does; or `outwards`.

        With so many digits more than usual where it is `finer`.
        """
        symbol = self.axis.unit.symbol
        if self.axis.key == ADDED_TAILWIND:
            known = "unforecast" if unforecast else "added"
            side = "tailwind" if level >= 0.0 else "headwind"
            shown = self._rounded(level, 0, outwards=outwards, finer=finer).removeprefix("-")
            return f"{shown} {symbol} of {known} {side}"
        if self.axis.unit.suffix == "kg":
            return f"{self._rounded(level, 1, 1000.0, outwards=outwards, finer=finer)} t"
        if self.axis.unit.suffix == "k":
            shown = self._rounded(level, 0, outwards=outwards, finer=finer)
            return f"{'' if level < 0.0 else '+'}{shown} K from the standard temperature"
        digits = 0 if abs(level) >= 100.0 else 3 if abs(level) < 1.0 else 1
        amount = f"{self._rounded(level, digits, outwards=outwards, finer=finer)} {symbol}".strip()
        if self.axis.key in _WORDS:
            return _WORDS[self.axis.key].format(amount)
        name = self.axis.name.removesuffix("_" + self.axis.unit.suffix).replace("_", " ")
        return f"{amount} ({name})"

    def _rounded(self, level: float, digits: int, factor: float = 1.0, *, outwards: bool, finer: int) -> str:
        """A level over a factor, in steps on the middle's side of it or beyond; in finer ones where it is the middle.

        `digits` are those of the usual step, `finer` how many are added.
        """
        shown, middle = level / factor, self.middle / factor
        is_above = shown >= middle
        for more in range(finer, _FINEST + 1):
            step = 10.0 ** -(digits + more)
            steps = shown / step
            whole = round(steps) if math.isclose(steps, round(steps), rel_tol=1e-9) else steps
            inside = (math.floor if is_above else math.ceil)(whole) * step
            if (inside - middle) * (shown - middle) > 0.0:
                beyond = (math.ceil if is_above else math.floor)(whole) * step
                return f"{beyond if outwards else inside:.{digits + more}f}"
        return f"{shown:.{digits + _FINEST}f}"


def breaks_sentence(drivers: Sequence[Driver], alone: Array, point: Array, reason: str, *, unforecast: bool) -> str:
    """What a pilot can use: how much of each driver alone, and what together is least [units of the trade].

    `alone` (driver, 2) are the levels up to which a rule holds downwards and upwards [file units], not a number where
    that does not break it; `point` (driver,) is where it breaks first [spreads], and `reason` why.
    """
    radius = float(np.linalg.norm(point))
    levels = [one.middle + float(own) * one.spread for one, own in zip(drivers, point, strict=True)]
    holds = [float(pair[int(own > 0.0)]) for pair, own in zip(alone, point, strict=True)]
    finer = [
        _finer(one, hold, level, unforecast=unforecast) for one, hold, level in zip(drivers, holds, levels, strict=True)
    ]
    single = [
        f"{_way(one, float(level), is_up=index == 1)} to {one.told(float(level), unforecast=unforecast, finer=more)}"
        for one, pair, more in zip(drivers, alone, finer, strict=True)
        for index, level in enumerate(pair)
        if np.isfinite(level)
    ]
    parts = np.abs(point) / radius
    are_held = [_holds(*own) for own in zip(drivers, holds, levels, strict=True)]
    is_enough = any(part > _MATTERS and not is_held for part, is_held in zip(parts, are_held, strict=True))
    least = _MATTERS if is_enough else _ADDS
    large = [
        (float(parts[at]), one.told(levels[at], unforecast=unforecast, outwards=True, finer=finer[at]))
        for at, one in enumerate(drivers)
        if parts[at] > least
    ]
    together = ", ".join(words for _, words in sorted(large, reverse=True))
    held = f"holds {_listed(single)}; " if single else "no driver alone breaks it; "
    away = f"{radius:.1f}" if radius >= 0.1 else f"{radius:.2f}"
    return f"{held}breaks first at {away} spreads: {together} ({reason_kind(reason)})"


def _finer(driver: Driver, hold: float, level: float, *, unforecast: bool) -> int:
    """Digits [-] that tell a level up to which a rule holds from the one at which it breaks first."""
    if not math.isfinite(hold):
        return 0
    for more in range(_FINEST):
        told = driver.told(hold, unforecast=unforecast, finer=more)
        if told != driver.told(level, unforecast=unforecast, outwards=True, finer=more):
            return more
    return _FINEST


def _holds(driver: Driver, hold: float, level: float) -> bool:
    """Whether a rule holds with a driver alone at a level [file unit], by the level up to which it does."""
    return not math.isfinite(hold) or abs(level - driver.middle) <= abs(hold - driver.middle)


def _way(driver: Driver, level: float, *, is_up: bool) -> str:
    """Which way a driver goes; a headwind is told as so much, not as less."""
    return "up" if is_up or (driver.axis.key == ADDED_TAILWIND and level < 0.0) else "down"


def reason_kind(reason: str) -> str:
    """A reason without its amounts, which at the border are next to nothing: `1 kt too fast` is `too fast`."""
    words = [word for word in reason.replace(";", " and").split() if not _AMOUNT.fullmatch(word)]
    kind = " ".join(words).replace("flaps at of not", "flaps not").removesuffix(" ft/min")
    return kind.replace("passes above the threshold", "passes the height of the gate")


def _listed(words: Sequence[str]) -> str:
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} or {words[-1]}"
