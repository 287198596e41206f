"""Timestamps as seconds."""

from __future__ import annotations

import math
from datetime import UTC, datetime, time

import numpy as np
from numpy.typing import NDArray

DAY = 86400.0
_PAST_MIDNIGHT = 0.5 * DAY


def seconds(text: str) -> float:
    """Seconds of an ISO 8601 date and time (since 1970, UTC if no zone is named) or time of day; else no number [s]."""
    try:
        stamp = datetime.fromisoformat(text)
    except ValueError:
        return _of_day(text)
    if len(text) <= len("2026-01-31") and ":" not in text:
        return math.nan
    return (stamp if stamp.tzinfo else stamp.replace(tzinfo=UTC)).timestamp()


def _of_day(text: str) -> float:
    try:
        found = time.fromisoformat(text.removesuffix("Z"))
    except ValueError:
        return math.nan
    return 3600.0 * found.hour + 60.0 * found.minute + found.second + 1e-6 * found.microsecond


def past_midnight(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """Times of day (row,) [s] that go on past midnight; dates are left as they are."""
    known = np.flatnonzero(np.isfinite(values))
    if known.size == 0 or float(np.max(values[known])) > DAY:
        return values
    days = np.cumsum(np.diff(values[known], prepend=values[known[:1]]) < -_PAST_MIDNIGHT)
    turned = values.copy()
    turned[known] += DAY * days
    return turned
