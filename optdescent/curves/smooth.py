"""Twice continuously differentiable replacements for steps and corners."""

from __future__ import annotations

from optdescent.curves.elementary import Value, clip, sqrt


def smooth_step(x: Value) -> Value:
    """Rise from exactly 0 at x ≤ 0 to exactly 1 at x ≥ 1, twice continuously differentiable [-].

    Notes
    -----
    6x⁵ − 15x⁴ + 10x³, the lowest-degree polynomial with two flat derivatives at both ends.
    """
    s = clip(x, 0.0, 1.0)
    return s * s * s * (10.0 + s * (6.0 * s - 15.0))


def smooth_maximum(a: Value, b: Value, width: float) -> Value:
    """Upper envelope of two values, rounded by `width` [unit of a] where they cross; never below either.

    Notes
    -----
    (a + b + √((a − b)² + width²)) / 2 exceeds the sharp maximum by at most width/2.
    """
    return 0.5 * (a + b + sqrt((a - b) ** 2 + width**2))
