"""Smoothing and slopes by a parabola of least squares in a moving window.

Source: Savitzky and Golay, Smoothing and differentiation of data by simplified least squares procedures, Analytical
Chemistry 36 (1964). Each stretch between gaps is by itself; at its ends the parabola of the last whole window stands.
Sigmas are those in the middle of a stretch, for white noise.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any, cast

import numpy as np
from scipy.signal import savgol_coeffs, savgol_filter

from optdescent.recording.values import Array

_ORDER = 2


def smoothed(values: Array, step: float, window: float) -> tuple[Array, float]:
    """Smoothed values (point,) at a step [s] with a window [s], and by how much sigma falls [-]; 0 s: as they are."""
    size = _size(step, window)
    if window <= 0.0 or size <= _ORDER + 1:
        return values, 1.0
    found = values.copy()
    for stretch in _stretches(values):
        if stretch.stop - stretch.start >= size:
            found[stretch] = _filtered(values[stretch], size, 0, step)
    return found, float(np.sqrt(np.sum(_weights(size, 0, step) ** 2)))


def slope(values: Array, step: float, window: float) -> Array:
    """Slopes (point,) by time [SI/s] of values (point,) at a step [s] with a window [s].

    A stretch shorter than the window has that of its own straight line; a single point has none.
    """
    size = _slope_size(step, window)
    found = np.full(values.size, np.nan)
    for stretch in _stretches(values):
        count = stretch.stop - stretch.start
        if count >= size:
            found[stretch] = _filtered(values[stretch], size, 1, step)
        elif count > 1:
            since: Array = step * np.arange(count, dtype=float)
            found[stretch] = np.polyfit(since, values[stretch], 1)[0]
    return found


def slope_sigma(values: Array, step: float, window: float, sigma: float, times: int = 1) -> float:
    """One sigma of slopes [SI/s] of values (point,) at a step [s] with a window [s], whose own sigma is known.

    `times` is 2 [-] for slopes of slopes [SI/s2].

    Notes
    -----
    White noise in the window; and what the window cannot follow, from the quadratic mean difference to slopes with a
    window twice as wide, less what noise explains of it. What comes and goes within the window is seen by neither: a
    slope is one over its window.
    """
    size, wider = _slope_size(step, window), _slope_size(step, 2.0 * window)
    weights = _weights(size, 1, step)
    noise = sigma * float(np.sqrt(np.sum((weights if times == 1 else np.convolve(weights, weights)) ** 2)))
    apart = _slopes(values, step, window, times) - _slopes(values, step, 2.0 * window, times)
    known = apart[np.isfinite(apart)]
    lost = float(np.mean(known**2)) if known.size and wider > size else 0.0
    return float(np.sqrt(noise**2 + max(lost - noise**2, 0.0)))


def _slopes(values: Array, step: float, window: float, times: int) -> Array:
    for _ in range(times):
        values = slope(values, step, window)
    return values


def _slope_size(step: float, window: float) -> int:
    return max(_size(step, window), _ORDER + 1)


def _size(step: float, window: float) -> int:
    """Odd number of points that lie within a window."""
    return 2 * int(0.5 * window / step + 1e-6) + 1


def _filtered(values: Array, size: int, order: int, step: float) -> Array:
    # its annotation leaves the type of the result open
    return np.asarray(cast(Any, savgol_filter(values, size, _ORDER, deriv=order, delta=step)), dtype=float)


def _weights(size: int, order: int, step: float) -> Array:
    return np.asarray(cast(Any, savgol_coeffs(size, _ORDER, deriv=order, delta=step)), dtype=float)


def _stretches(values: Array) -> Iterator[slice]:
    """Stretches of known values."""
    known = np.concatenate([[False], np.isfinite(values), [False]])
    edges = np.flatnonzero(np.diff(known.astype(int)))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        yield slice(int(first), int(last))
