"""Which driver explains what separates one condition from another: shares of variance, from whatever sample there is.

For each axis the cases are put in classes, by level where it has few, else in classes of equal count; the share is the
correlation ratio, the variance of the class means over the whole, corrected for what chance alone would give (Kelley's
epsilon squared). With independent axes it estimates the first-order index of Sobol'.

References
----------
Kelley, An unbiased correlation ratio measure, PNAS 21 (1935) 554-559. Plischke, Borgonovo, Smith, Global sensitivity
measures from given data, European Journal of Operational Research 226 (2013) 536-550.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from optdescent.scenario import Axis, Level

Array = NDArray[np.float64]
_CLASSES = 16
"""Most classes of an axis with many levels (our choice)."""
_LEAST = 5
"""Cases that a class must have on average."""


def variance_shares(values: Array, axes: Sequence[Axis], levels: Sequence[Sequence[Level]]) -> Array:
    """Share of the variance of values (case,) that each axis explains alone (axis,) [-].

    Not a number where values do not vary, or where an axis has no classes: members of an ensemble are all different.
    Levels (case, axis) are in the unit of the file. Cases without a value do not count.
    """
    known = np.isfinite(values)
    found = np.full(len(axes), np.nan)
    if np.count_nonzero(known) < 2 or np.ptp(values[known]) == 0.0:
        return found
    for index in range(len(axes)):
        own = [levels[case][index] for case in np.flatnonzero(known).tolist()]
        classes = _classes(own)
        if classes is not None:
            found[index] = _share(values[known], classes)
    return found


def _classes(levels: Sequence[Level]) -> NDArray[np.int64] | None:
    """Number of each case's class; None where there are no classes of several cases."""
    distinct = sorted(set(levels), key=lambda level: (isinstance(level, str), level))
    if len(levels) >= _LEAST * len(distinct):
        number = {level: at for at, level in enumerate(distinct)}
        return np.array([number[level] for level in levels])
    classes = min(_CLASSES, len(levels) // _LEAST)
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
