"""Rows of recordings in words, and rows that do not go on as they must."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

FROM_ZERO = "the first row is 0"
"""How the points of a dataset are counted."""
LINES = "lines of the file"
"""How the rows of a text file are counted: as an editor shows them, from 1."""
_SHOWN = 5


def rows_said(rows: Sequence[int] | NDArray[np.intp], counted: str) -> str:
    """Row numbers [-] in words: the first five, how many more, and how they are counted."""
    shown = ", ".join(str(row) for row in rows[:_SHOWN])
    more = f" and {len(rows) - _SHOWN} more" if len(rows) > _SHOWN else ""
    return f"row{'s' if len(rows) > 1 else ''} {shown}{more} ({counted})"


def not_onward(values: NDArray[np.float64]) -> NDArray[np.intp]:
    """Places (n,) of values that do not rise above the value before them [-]."""
    return np.flatnonzero(np.diff(values) <= 0.0) + 1
