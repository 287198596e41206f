"""Points of a flight at equal steps of time: recorded rows as they are where they allow it, gaps kept as gaps.

Rows whose steps are whole numbers of one step, to a twentieth of it, stay as they are; points are put in where rows are
missing. Rows that are not are resampled, straight between values, to their middle step. A blank is bridged, straight
between its neighbours, if they are no further apart than the longest gap, or than two and a half steps of a column
that is recorded less often; else it stays blank and is told as a gap.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.recording.declaration import ColumnMap
from optdescent.recording.doubts import Doubts
from optdescent.recording.quantity import QUANTITIES, Course
from optdescent.recording.values import Array, Raw
from optdescent.results.reading import Gap

_UNEVEN = 0.05
"""Largest departure of a step [-] from a whole number of middle steps with which rows stay as they are."""
_SLOWER = 2.5
"""Steps of a slower column [-] that are bridged."""
_MOST_POINTS = 400_000
TURN = 2.0 * np.pi


@dataclass(frozen=True)
class Grid:
    """Points in time (point,) [s] at one step [s]; `sentence` says whether they are the rows or resampled."""

    time: Array
    step: float
    sentence: str


def grid_of(raw: Raw, asked: ColumnMap, doubts: Doubts) -> Grid:
    """Grid of rows [s]; stretches without rows are noted as gaps.

    Raises
    ------
    InputFault
        A grid of too many points: times lie too far apart for their middle step.
    """
    steps = np.diff(raw.time)
    step = float(np.median(steps))
    wide = steps > max(asked.reading.longest_gap, _SLOWER * step)
    for row in np.flatnonzero(wide):
        doubts.gaps.append(Gap("every column", float(raw.time[row]), float(raw.time[row + 1])))
    if (raw.time[-1] - raw.time[0]) / step > _MOST_POINTS:
        given = f"goes over {raw.time[-1] - raw.time[0]:.0f} s, and its middle step is {step:.3g} s"
        doubts.fault("time", given, f"at most {_MOST_POINTS} points")
        doubts.refuse()
    whole = np.maximum(np.rint(steps / step), 1.0)
    if float(np.max(np.abs(steps - whole * step)[~wide] / step, initial=0.0)) <= _UNEVEN:
        place = np.concatenate([[0.0], np.cumsum(whole)])
        count = int(place[-1]) + 1
        time: Array = np.interp(np.arange(count), place, raw.time)
        return Grid(time, step, f"rows as recorded, {step:.4g} s apart")
    count = int(np.floor((raw.time[-1] - raw.time[0]) / step + 1e-9)) + 1
    uneven = f"rows {float(np.min(steps)):.3g} to {float(np.max(steps)):.3g} s apart, resampled to {step:.4g} s"
    return Grid(raw.time[0] + step * np.arange(count), step, f"{uneven}, straight between values")


def on_grid(raw: Raw, grid: Grid, asked: ColumnMap, doubts: Doubts) -> dict[str, Array]:
    """Columns (point,) on a grid [SI], blank in gaps; filled points and gaps of single columns are noted."""
    found: dict[str, Array] = {}
    whole_gaps = tuple((gap.begins, gap.ends) for gap in doubts.gaps)
    for name, values in raw.values.items():
        known = np.isfinite(values)
        if not known.any():
            found[name] = np.full(grid.time.size, np.nan)
            doubts.warn(f"{asked.columns[name].column} is blank in every row that is used")
            continue
        time, at = raw.time[known], values[known]
        if QUANTITIES[name].course is Course.TURNING:
            at = np.unwrap(at)
        hold = bool(asked.columns[name].words)
        limit = max(asked.reading.longest_gap, _SLOWER * float(np.median(np.diff(time))) if time.size > 1 else 0.0)
        bridged, is_blank = _between(time, at, grid.time, limit, hold)
        if hold:
            is_blank = _inside(grid.time, whole_gaps)
        found[name] = np.where(is_blank, np.nan, bridged)
        exact = np.isin(grid.time, time)
        _note(name, grid, is_blank, ~exact & ~is_blank, whole_gaps, doubts)
    return found


def _between(time: Array, values: Array, at: Array, limit: float, hold: bool) -> tuple[Array, NDArray[np.bool_]]:
    """Values (point,) between known ones, the one before them if they are held; and where there is a gap."""
    after = np.clip(np.searchsorted(time, at, side="left"), 0, time.size - 1)
    before = np.clip(np.searchsorted(time, at, side="right") - 1, 0, time.size - 1)
    outside = (at < time[0]) | (at > time[-1])
    is_blank = (time[after] - time[before] > limit) | outside
    return (values[before] if hold else np.interp(at, time, values)), is_blank


def _inside(time: Array, gaps: tuple[tuple[float, float], ...]) -> NDArray[np.bool_]:
    """Points (point,) inside gaps."""
    inside = np.zeros(time.size, dtype=np.bool_)
    for begins, ends in gaps:
        inside |= (time > begins) & (time < ends)
    return inside


def _note(
    name: str,
    grid: Grid,
    is_blank: NDArray[np.bool_],
    is_filled: NDArray[np.bool_],
    whole_gaps: tuple[tuple[float, float], ...],
    doubts: Doubts,
) -> None:
    """Note how many points of a column are filled, and its own gaps."""
    count = int(is_filled.sum())
    if count:
        doubts.filled.append((name, count))
    own = is_blank & ~_inside(grid.time, whole_gaps)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], own, [False]]).astype(int)))
    for first, last in zip(edges[::2], edges[1::2] - 1, strict=True):
        doubts.gaps.append(Gap(name, float(grid.time[first]), float(grid.time[last])))
