"""Demands of an arrival in words, with their numbers, as a conflict names them."""

from __future__ import annotations

from optdescent.arrival import HoldDown, SpeedLimit
from optdescent.units import FOOT, NAUTICAL_MILE


def limit_named(limit: SpeedLimit) -> str:
    """Where a speed limit holds [ft or nm]."""
    if limit.within is not None:
        return f"from {limit.within / NAUTICAL_MILE:.0f} nm to go on"
    return f"below {(limit.below_altitude or 0.0) / FOOT:.0f} ft"


def hold_down_named(hold: HoldDown) -> str:
    """A hold-down with its level and its ends [ft, nm]."""
    ends = f"from {hold.from_ / NAUTICAL_MILE:.0f} to {hold.to / NAUTICAL_MILE:.0f} nm"
    return f"the hold-down at {hold.altitude / FOOT:.0f} ft {ends}"
