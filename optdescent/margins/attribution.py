"""Which driver explains what separates one condition from another: shares of variance, from whatever sample there is.

For each axis the cases are put in classes, by level where it has few, else in classes of equal count; the share is the
correlation ratio, the variance of the class means over the whole, corrected for what chance alone would give (Kelley's
epsilon squared). With independent axes it estimates the first-order index of Sobol'. What is lost within a class falls
with the square of the number of classes; what chance gives, and what is corrected too much where a sample spreads the
other drivers evenly, grows with it: half the root of the number of cases is our choice.

An axis whose members are all different has no classes of its own. Its cases are classed by a number that orders them,
where there is one (`ordering`): the mean tailwind that a random wind adds between the heights of start and threshold,
the error of the tailwind that a crew believes, or, where crews make none, how much later than the mean they act. What
such a member does beyond that number, and what drivers do together only, is in the remainder.

References
----------
Kelley, An unbiased correlation ratio measure, PNAS 21 (1935) 554-559 (from memory). Plischke, Borgonovo, Smith, Global
sensitivity measures from given data, European Journal of Operational Research 226 (2013) 536-550 (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind import Disturbance, PerturbedWind
from optdescent.air.wind.direction import along_and_across
from optdescent.scenario import Axis, Level, Scenario
from optdescent.scenario.declared_axes import CrewsAxis, EnsembleAxis

Array = NDArray[np.float64]
_LEAST = 5
"""Cases that a class must have on average."""
_FEWEST = 8
"""Classes of an axis with many levels, where there are cases for them."""
_PLACES = 40
"""Heights at which the wind that a member adds is looked at."""


@dataclass(frozen=True)
class Order:
    """Numbers (case,) by which members of an axis without an order are classed [SI], and what they are, in words."""

    numbers: Array
    what: str


def variance_shares(
    values: Array, axes: Sequence[Axis], levels: Sequence[Sequence[Level]], order: Mapping[str, Order] | None = None
) -> Array:
    """Share of the variance of values (case,) that each axis explains alone (axis,) [-].

    Not a number where values do not vary, or where an axis has no classes: members of an ensemble are all different.
    Then the numbers (case,) that `order` has for the name of the axis are taken instead. Levels (case, axis) are in the
    unit of the file. Cases without a value do not count.
    """
    known = np.isfinite(values)
    found = np.full(len(axes), np.nan)
    if np.count_nonzero(known) < 2 or np.ptp(values[known]) == 0.0:
        return found
    for index, axis in enumerate(axes):
        own = [levels[case][index] for case in np.flatnonzero(known).tolist()]
        classes = _classes(own)
        if classes is None and order is not None and axis.name in order:
            classes = _classes(order[axis.name].numbers[known].tolist())
        if classes is not None:
            found[index] = _share(values[known], classes)
    return found


def remainder(shares: Array) -> float:
    """What is left of the variance beyond the shares (axis,) of axes alone [-].

    It is joint: what drivers do together, and what axes without a share do, or members beyond the number by which they
    are classed. Estimates may add up to more than the whole: never negative. Not a number where no axis has a share.
    """
    known = shares[np.isfinite(shares)]
    return max(1.0 - float(np.sum(known)), 0.0) if known.size else math.nan


def ordering(axes: Sequence[Axis], scenarios: Sequence[Scenario | None]) -> dict[str, Order]:
    """By what members of axes without an order are classed [m/s or s], by the name of the axis.

    Not a number in a condition that makes no scenario.
    """
    found: dict[str, Order] = {}
    for axis in axes:
        if isinstance(axis.declared, EnsembleAxis):
            found[axis.name] = Order(_added_tailwinds(scenarios), "mean tailwind")
        elif isinstance(axis.declared, CrewsAxis):
            crews = [None if scenario is None else scenario.technique for scenario in scenarios]
            errors = _numbers([None if crew is None else crew.drawn.wind_error for crew in crews])
            delays = _numbers([None if crew is None else crew.drawn.late - crew.late for crew in crews])
            for order in (Order(errors, "wind error"), Order(delays, "lateness")):
                if _differ(order.numbers):
                    found.setdefault(axis.name, order)
    return found


def _numbers(values: Sequence[float | None]) -> Array:
    return np.array([math.nan if value is None else value for value in values])


def _differ(numbers: Array) -> bool:
    known = numbers[np.isfinite(numbers)]
    return bool(known.size and np.ptp(known) > 0.0)


def _added_tailwinds(scenarios: Sequence[Scenario | None]) -> Array:
    """Mean tailwind (case,) [m/s] that each random wind adds: one number for each member, from its first case."""
    known: dict[Disturbance, float] = {}
    found: list[float | None] = []
    for scenario in scenarios:
        wind = None if scenario is None else scenario.wind
        if scenario is None or not isinstance(wind, PerturbedWind):
            found.append(None if scenario is None else 0.0)
            continue
        change = wind.change.model_copy(update={"scale": 1.0, "bias": 0.0, "shear": 0.0})
        if change not in known:
            known[change] = _mean_tailwind(scenario, replace(wind, change=change))
        found.append(known[change])
    return _numbers(found)


def _mean_tailwind(scenario: Scenario, wind: PerturbedWind) -> float:
    """Mean tailwind [m/s] that a wind adds to its base, over the heights of a descent on the glide path's angle."""
    cruise = float(scenario.air.height(scenario.pressure_altitude(scenario.start.altitude)))
    height = np.linspace(scenario.arrival.elevation, cruise, _PLACES)
    away = (height - scenario.arrival.elevation) / scenario.arrival.glide_path.gradient
    x: Array = np.asarray(np.maximum(-away, -scenario.start.distance), dtype=float)
    added = wind.field.sample(wind.coefficients() - wind.undisturbed(), x, height)
    along, _ = along_and_across(added.east, added.north, scenario.arrival.track.course(x))
    return float(np.mean(np.asarray(along, dtype=float)))


def has_classes(levels: Sequence[Level]) -> bool:
    """Whether the levels (case,) of an axis [file unit] have classes of their own: several cases of each."""
    return _classes(levels) is not None


def _classes(levels: Sequence[Level]) -> NDArray[np.int64] | None:
    """Number of each case's class; None where there are no classes of several cases."""
    distinct = sorted(set(levels), key=lambda level: (isinstance(level, str), level))
    if len(levels) >= _LEAST * len(distinct):
        number = {level: at for at, level in enumerate(distinct)}
        return np.array([number[level] for level in levels])
    classes = min(max(math.isqrt(len(levels)) // 2, _FEWEST), len(levels) // _LEAST)
    if classes < 2 or any(isinstance(level, str | bool | int) for level in distinct):
        return None
    ranks = np.argsort(np.argsort(np.array(levels, dtype=float), kind="stable"), kind="stable")
    return (ranks * classes // len(levels)).astype(np.int64)


def _share(values: Array, classes: NDArray[np.int64]) -> float:
    count = np.bincount(classes).astype(float)
    used = count > 0
    means = np.bincount(classes, values)[used] / count[used]
    between = float(np.sum(count[used] * (means - values.mean()) ** 2))
    whole = float(np.sum((values - values.mean()) ** 2))
    groups, cases = int(np.count_nonzero(used)), values.size
    if groups < 2 or cases <= groups:
        return 0.0
    ratio = between / whole
    return max(1.0 - (cases - 1) / (cases - groups) * (1.0 - ratio), 0.0)
