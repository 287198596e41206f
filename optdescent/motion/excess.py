"""How far a flight is beyond a limit: where a limit holds, the worst place, and the sentence that says so.

Nothing is judged finer than it can be read: half a knot, 20 ft, 20 ft/min, a fifth of a degree (our choice). A recorded
column carries its own one sigma, and nothing is judged finer than four of them: of a few thousand points with normal
noise, less than one in ten recordings has one beyond that.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.results import Breach
from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

READABLE_SPEED = 0.5 * KNOT
READABLE_HEIGHT = 20.0 * FOOT
READABLE_SINK = 20.0 * FOOT_PER_MINUTE
READABLE_ANGLE = 0.2 * DEGREE
SIGMAS = 4.0
"""Sigmas of a recorded column [-] within which nothing is judged."""

Array = NDArray[np.float64]


def column(dataset: xr.Dataset, name: str) -> Array:
    """Values (point,) of a column [SI, see `results.schema`]."""
    return np.asarray(dataset[name].to_numpy(), dtype=float)


def readable(dataset: xr.Dataset, name: str, least: float, times: int = 1) -> float:
    """From how much on an excess of a column counts [SI]: what can be read of it, but not less than `least`.

    What a demand allows by itself is no part of `least`; `times` is how often the column enters
    the excess [-]: twice in a climb, which has two ends.
    """
    return max(least, times * SIGMAS * float(dataset[name].attrs.get("sigma", 0.0)))


def breach(demand: str, distance_to_go: float, amount: float, what: str) -> Breach:
    """Breach of a demand by an amount [SI] at a distance to go [m]."""
    place = round(distance_to_go / NAUTICAL_MILE, 1) + 0.0  # no minus sign at the threshold
    return Breach(demand, distance_to_go, amount, f"{demand}: {what} at {place:.1f} nm to go")


def worst(demand: str, to_go: Array, excess: Array, readable: float, say: Callable[[float], str]) -> list[Breach]:
    """The largest excess (point,) [SI] as a breach, if it can be read; what is not a number is not judged."""
    known = np.where(np.isnan(excess), -np.inf, excess)
    if known.size == 0:
        return []
    index = int(np.argmax(known))
    amount = float(known[index])
    return [breach(demand, float(to_go[index]), amount, say(amount))] if amount > readable else []


def held(margin: Array, *columns: Array) -> tuple[Array, ...]:
    """Columns (point,) where a margin (point,) is at least 0, with the points between samples where it passes 0.

    A limit that begins at a height begins between two samples; the state there is interpolated linearly, so that
    neither the sample before hides it nor the sample after stands for it.
    """
    before = np.flatnonzero((margin[:-1] < 0.0) != (margin[1:] < 0.0))
    inside = np.flatnonzero(margin >= 0.0)
    share = margin[before] / (margin[before] - margin[before + 1])
    order = np.argsort(np.concatenate([inside, before + share]), kind="stable")

    def cut(values: Array) -> Array:
        between = values[before] + share * (values[before + 1] - values[before])
        return np.concatenate([values[inside], between])[order]

    return tuple(cut(values) for values in columns)


def time_since(time: Array, margin: Array) -> Array:
    """Time [s] since a margin (point,) last rose above 0, interpolated; minus infinity where it is not above 0."""
    inside = margin > 0.0
    entered = np.flatnonzero(inside[1:] & ~inside[:-1]) + 1
    share = margin[entered - 1] / (margin[entered - 1] - margin[entered])
    began = np.full(time.size, -np.inf)
    began[0] = time[0]
    # out of a gap it has been above 0 since the gap, as far as is known
    since = time[entered - 1] + share * (time[entered] - time[entered - 1])
    began[entered] = np.where(np.isnan(since), time[entered], since)
    return np.where(inside, time - np.maximum.accumulate(began), -np.inf)
