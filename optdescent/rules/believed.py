"""Tailwind at a place, or as the mean of a band of heights: what the terms of a rule count."""

from __future__ import annotations

import math
from collections.abc import Sequence

from optdescent.air.wind import WindField
from optdescent.air.wind.direction import along_and_across
from optdescent.curves.elementary import Value
from optdescent.units import FOOT

LAYER = 2500.0 * FOOT
"""Largest thickness [m] of the layers of a band, of each of which the wind in the middle counts."""


def layers(above: float, below: float) -> list[float]:
    """Heights [m] of the middles of equal layers between two heights [m]."""
    count = math.ceil((below - above) / LAYER - 1e-9)
    return [above + (number + 0.5) * (below - above) / count for number in range(count)]


def tailwind_along(field: WindField, coefficients: Value, x: Value, above_sea: Sequence[Value], course: Value) -> Value:
    """Mean of the wind along a course [m/s] over heights above the sea [m], at coordinates along the track [m]."""
    total: Value = 0.0
    for height in above_sea:
        sample = field.sample(coefficients, x, height)
        total = total + along_and_across(sample.east, sample.north, course)[0]
    return total / len(above_sea)
