"""Which rules are on the front of simplicity, fuel and share, and what share a rule will have elsewhere."""

from __future__ import annotations

import math
from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray
from scipy.stats import betabinom

from optdescent.results.front import Effort
from optdescent.rules.compared import CONFIDENCE, share_interval

Array = NDArray[np.float64]


def non_dominated(simplicity: Array, fuel: Array, share: Array) -> NDArray[np.bool_]:
    """Which rules (rule,) no other betters: in things to remember [-], fuel [kg] and share in which it holds [-].

    One betters another if it is nowhere worse and somewhere better. Of rules that are alike in all three none goes.
    """
    losses = np.column_stack([simplicity, fuel, -share])
    no_worse = np.all(losses[:, None, :] <= losses[None, :, :], axis=2)
    better = np.any(losses[:, None, :] < losses[None, :, :], axis=2)
    return ~np.any(no_worse & better, axis=0)


def recommended(columns: Mapping[str, Array], effort: Effort) -> Array:
    """Which derived rule (rule,) is recommended (1), by the columns of a front [SI]; none if none has the wanted share.

    A rule has it if the low end of its interval does: a share found in so many conditions may have been lucky. Of those
    whose fuel is alike the simplest, of these the cheapest, then the safest.
    """
    found = np.zeros(columns["fuel_mean"].size)
    meets = (columns["is_derived"] > 0.5) & (columns["held_share_low"] >= effort.wanted)
    if meets.any():
        least = float(columns["fuel_mean"][meets].min())
        alike = np.flatnonzero(meets & (columns["fuel_mean"] <= least + effort.alike))
        keys = (-columns["held_share"][alike], columns["fuel_mean"][alike], columns["simplicity"][alike])
        found[alike[np.lexsort(keys)[0]]] = 1.0
    return found


def share_needed(wanted: float, count: int) -> float:
    """Least share [-] of so many conditions whose interval does not reach below a wanted share [-]; 1 if none does."""
    found = next((k for k in range(math.floor(wanted * count), count) if share_interval(k, count)[0] >= wanted), count)
    return found / count


def predicted_share(stable: int, count: int, further: int) -> tuple[float, float]:
    """Interval [-] in which the share of stable gates of so many further conditions lies.

    Notes
    -----
    With Jeffreys' prior, k stable of n leave the share a beta distribution with k + 1/2 and n - k + 1/2; the number of
    stable ones of m further then has a beta-binomial distribution. Its quantiles, divided by m, are the interval. It
    holds for conditions drawn alike and independently; of a sample that is spread more evenly than that, as Sobol'
    points are, the share scatters less.

    References
    ----------
    Gelman and others, Bayesian Data Analysis, 3rd edition (2013), sections 2.3 and 2.8 (from memory).
    """
    law = betabinom(further, stable + 0.5, count - stable + 0.5)
    beyond = 0.5 * (1.0 - CONFIDENCE)
    return float(law.ppf(beyond)) / further, float(law.ppf(1.0 - beyond)) / further
