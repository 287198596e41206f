"""Fuel of rules compared: over the same conditions, and without flights that missed the gate.

A flight that arrives fast and clean has burned less than one that is stable, and the conditions that a rule misses are
not like the others: with a tailwind every rule burns less. So neither the mean of all flights nor that of a rule's own
stable ones compares rules. Each rule is set beside one of them, the one that holds most often, in the conditions in
which both hold; the mean difference is added to what that one burns.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
CONFIDENCE = 0.95
"""Of every interval of a share [-]."""


@dataclass(frozen=True)
class Compared:
    """Fuel (rule,) [kg] of rules over the same conditions, in how many of them [-], and beside which rule [place]."""

    fuel: Array
    conditions: Array
    beside: int


def fuel_compared(fuel: Sequence[Array], held: Sequence[Flags], beside: int | None = None) -> Compared:
    """Fuel of rules (rule, condition) [kg], where each of them holds (rule, condition), over the same conditions.

    `beside` is the place of the rule beside which the others are set: the first that holds most often, if none is
    given. Not a number for a rule that holds nowhere where that one does.
    """
    place = int(np.argmax([np.count_nonzero(own) for own in held])) if beside is None else beside
    own_fuel, own_held = fuel[place], held[place]
    both = [own_held & there for there in held]
    more = [mean_of(burned[same] - own_fuel[same]) for burned, same in zip(fuel, both, strict=True)]
    counts = [float(np.count_nonzero(same)) for same in both]
    return Compared(mean_of(own_fuel[own_held]) + np.array(more), np.array(counts), place)


def mean_of(values: Array) -> float:
    """Mean [as the values] of those that are known; not a number where none is."""
    known = values[np.isfinite(values)]
    return float(np.mean(known)) if known.size else float("nan")


def share_interval(stable: int, count: int) -> tuple[float, float]:
    """Confidence interval [-] of the share of stable gates, from so many of so many [-].

    References
    ----------
    Wilson, Probable inference, the law of succession, and statistical inference, JASA 22 (1927) 209-212 (published).
    """
    found = binomtest(stable, count).proportion_ci(CONFIDENCE, method="wilson")
    return float(found.low), float(found.high)
