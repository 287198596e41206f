"""Fuel and time of rules compared: over the same conditions, and without flights that missed the gate.

A flight that arrives fast and clean has burned less than one that is stable, and the conditions that a rule misses are
not like the others: with a tailwind every rule burns less. So neither the mean of all flights nor that of a rule's own
stable ones compares rules. Each rule is set beside one of them, the one that holds most often, in the conditions in
which both hold; the mean difference is added to its own mean.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.stats import binomtest
from scipy.stats import t as student_t

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
CONFIDENCE = 0.95
"""Of every interval of a share or of a mean [-]."""


@dataclass(frozen=True)
class Compared:
    """Means (rule,) over the same conditions [as the values], in how many of them [-], and beside which rule [place].

    `error` (rule,) is half the width of the 95 % confidence interval of a mean, where conditions are drawn at random:
    not a number where there are fewer than two.
    """

    mean: Array
    error: Array
    conditions: Array
    beside: int


def means_compared(values: Sequence[Array], held: Sequence[Flags], beside: int | None = None) -> Compared:
    """Means of rules over the same conditions: of values (rule, condition), where each holds (rule, condition) [any].

    `beside` is the place of the rule beside which the others are set: the first that holds most often, if none is
    given. Not a number for a rule that holds nowhere where that one does.

    Notes
    -----
    The mean of that rule and the mean difference from it are added. Each condition moves the sum by its deviations
    from both: the sum of their squares is the variance. Student's t has as many degrees of freedom as there are
    conditions compared, less one.
    """
    place = int(np.argmax([np.count_nonzero(own) for own in held])) if beside is None else beside
    own_values, own_held = values[place], held[place]
    both = [own_held & there for there in held]
    counts = np.array([float(np.count_nonzero(same)) for same in both])
    means, errors = np.full(len(values), np.nan), np.full(len(values), np.nan)
    for index, (other, same) in enumerate(zip(values, both, strict=True)):
        if not counts[index]:
            continue
        moved = np.zeros(own_values.size)
        more = other[same] - own_values[same]
        means[index] = np.mean(own_values[own_held]) + np.mean(more)
        moved[own_held] = (own_values[own_held] - np.mean(own_values[own_held])) / np.count_nonzero(own_held)
        moved[same] += (more - np.mean(more)) / counts[index]
        if counts[index] > 1.0:
            free = counts[index] - 1.0
            deviation = np.sqrt(np.sum(moved**2) * counts[index] / free)
            errors[index] = float(student_t.ppf(0.5 + 0.5 * CONFIDENCE, free)) * deviation
    return Compared(means, errors, counts, place)


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
