"""Numbers of an arrival in words, as its faults name them."""

from __future__ import annotations

from optdescent.units import FOOT, KNOT, NAUTICAL_MILE


def feet(value: float) -> str:
    """A height [m] in feet."""
    return f"{value / FOOT:.0f} ft"


def knots(value: float) -> str:
    """A speed [m/s] in knots."""
    return f"{value / KNOT:.0f} kt"


def miles(value: float) -> str:
    """A distance [m] in nautical miles."""
    return f"{value / NAUTICAL_MILE:.1f} nm"
