"""One sigma of a column from the column itself, and how sigmas go on into what is worked out.

Scatter is that of the third differences of neighbouring values: a smooth flight has next to none, white noise of one
sigma has √20 of it (the squares of 1, 3, 3, 1 add up to 20). The middle absolute value stands for it, so that a few
jumps do not count (Hampel, The Influence Curve, Journal of the American Statistical Association 69, 1974). What a
column cannot resolve is a twelfth of the square of its last digit. Errors that stay the same from row to row cannot be
seen: they are in no sigma.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from optdescent.curves.elementary import Value
from optdescent.recording.values import Array

_NORMAL = 0.6745
_ROUNDING = 1e-9


def scatter(values: Array) -> float:
    """One sigma [SI] of the scatter of a column (row,)."""
    known = values[np.isfinite(values)]
    return float(np.median(np.abs(np.diff(known, 3)))) / _NORMAL / np.sqrt(20.0) if known.size > 3 else 0.0


def resolution(values: Array) -> float:
    """One sigma [SI] of what a column (row,) does not resolve, by its smallest step."""
    known = values[np.isfinite(values)]
    steps = np.abs(np.diff(known))
    moved = steps[steps > _ROUNDING * np.max(np.abs(known), initial=1e-30)]
    return float(np.min(moved)) / np.sqrt(12.0) if moved.size else 0.0


def propagated(function: Callable[..., Value], values: Sequence[Array], sigmas: Sequence[float]) -> tuple[Array, float]:
    """A function of independent columns (point,) and one sigma of it [SI].

    Notes
    -----
    First order: the squares of half the change over two sigmas of each column add up; the quadratic mean over points.
    """
    found = np.asarray(function(*values), dtype=float)
    total = np.zeros_like(found)
    for place, sigma in enumerate(sigmas):
        if not sigma > 0.0:
            continue
        up, down = (
            function(*(value + sign * sigma if index == place else value for index, value in enumerate(values)))
            for sign in (1.0, -1.0)
        )
        total = total + (0.5 * (np.asarray(up, dtype=float) - np.asarray(down, dtype=float))) ** 2
    return found, mean_square(np.sqrt(total))


def mean_square(sigma: Array) -> float:
    """Quadratic mean of sigmas (point,) [SI] where they are known."""
    known = sigma[np.isfinite(sigma)]
    return float(np.sqrt(np.mean(known**2))) if known.size else float("nan")
