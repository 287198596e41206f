"""Columns that stand still while the flight goes on.

Values count as frozen where they stay identical to the last digit for longer than the map allows and another column
shows that they did not, or they jump when they come back; they are taken as blank. Where nothing shows it, a speed or
temperature that stands still while the altitude moves is told as a warning: it may be held, or frozen.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.recording import rough
from optdescent.recording.declaration import ALTITUDES, ColumnMap
from optdescent.recording.doubts import Doubts
from optdescent.recording.values import Array, Raw

_CLIMB, _WAY, _SPEED, _SINK, _COOLED = 60.0, 2000.0, 4.0, 2.5, 900.0
"""What another column must show meanwhile: height [m], way [m], speed [m/s], vertical speed [m/s], height [m]."""
_DRIFT = 0.5
"""Error of a vertical speed [m/s] that may add up."""
_SOON = 10.0
"""Time [s] after which a change is no jump."""
_TROPOPAUSE = 10500.0
_MOST = 0.5
"""Largest share [-] of a column that may be frozen."""
_MOVES = 100.0
"""Change of altitude [m] from which a speed that stands still is told."""
_SPEEDS = ("calibrated_airspeed", "true_airspeed", "mach", "ground_speed")

Run = tuple[int, int]


def without_frozen(raw: Raw, asked: ColumnMap, doubts: Doubts) -> Raw:
    """Raw rows with frozen values blank [SI].

    Raises
    ------
    InputFault
        Most of a column is frozen.
    """
    values = dict(raw.values)
    # a stuck altitude must not speak for other columns, so altitudes come first
    order = [name for name in ALTITUDES if raw.has(name)] + [name for name in values if name not in ALTITUDES]
    for name in order:
        seen = Raw(raw.rows, raw.time, values, raw.sigma, raw.stamped)
        values[name] = _cleared(seen, name, asked, doubts)
    doubts.refuse()
    return Raw(raw.rows, raw.time, values, raw.sigma, raw.stamped)


def _cleared(raw: Raw, name: str, asked: ColumnMap, doubts: Doubts) -> Array:
    """Values (row,) of a column without those that are frozen."""
    values, frozen = raw.values[name], np.zeros(raw.time.size, dtype=np.bool_)
    for first, last in _still(raw.time, values, asked.reading.frozen_after):
        if _shown_to_move(raw, name, (first, last)):
            frozen[first + 1 : last + 1] = True
        elif name in (*_SPEEDS, "temperature") and np.ptp(_known(rough.altitude(raw)[first : last + 1])) > _MOVES:
            length = raw.time[last] - raw.time[first]
            rows = f"rows {raw.rows[first]} to {raw.rows[last]}"
            column = asked.columns[name].column
            doubts.warn(f"{column} stands still for {length:.0f} s in {rows} while the altitude moves: held, or frozen")
    known = np.isfinite(values)
    rows = raw.rows[frozen & known]
    if rows.size > _MOST * int(known.sum()):
        given = f"stays identical in {rows.size} of {int(known.sum())} rows while others move: {doubts.said(rows)}"
        doubts.fault(asked.columns[name].column, given, "a reading that follows the flight")
    doubts.leave_out(f"{asked.columns[name].column}: frozen, identical while others move; taken as blank", rows)
    return np.where(frozen, np.nan, values)


def _known(values: Array) -> Array:
    found = values[np.isfinite(values)]
    return found if found.size else np.zeros(1)


def _still(time: Array, values: Array, longest: float) -> list[Run]:
    """First and last row of each stretch of identical values that lasts longer than a time [s]; blanks are passed."""
    known: NDArray[np.intp] = np.flatnonzero(np.isfinite(values))
    if known.size < 2:
        return []
    ends = np.append(np.flatnonzero(np.diff(values[known]) != 0.0), known.size - 1)
    begins = np.append(0, ends[:-1] + 1)
    runs = [(int(known[begin]), int(known[end])) for begin, end in zip(begins, ends, strict=True)]
    return [run for run in runs if time[run[1]] - time[run[0]] > longest]


def _shown_to_move(raw: Raw, name: str, run: Run) -> bool:
    """Whether another column, or the jump at the end, shows that a quantity moved while its values stood still."""
    if name in ALTITUDES:
        return _altitude_moves(raw, name, run)
    if name in _SPEEDS[:3]:
        return _speed_moves(raw, name, run)
    if name == "ground_speed":
        differs = raw.has("distance_to_go") and _way_differs(raw, run)
        return differs or _jumps(raw, raw.values[name], run, 2.0 * _SPEED)
    if name == "vertical_speed":
        rise, length = _change(rough.altitude(raw), run), raw.time[run[1]] - raw.time[run[0]]
        return abs(rise / length - raw.values[name][run[0]]) > _SINK
    if name == "temperature":
        altitude = np.minimum(rough.altitude(raw), _TROPOPAUSE)
        return abs(_change(altitude, run)) > _COOLED
    if name == "distance_to_go":
        return raw.has("ground_speed") and abs(_change(rough.summed(raw.time, raw.values["ground_speed"]), run)) > _WAY
    if name in ("latitude", "longitude"):
        other = raw.values["longitude" if name == "latitude" else "latitude"]
        return _change(other, run) == 0.0 or _jumps(raw, raw.values[name], run, 1e-4)
    return False


def _altitude_moves(raw: Raw, name: str, run: Run) -> bool:
    others = [values for other, values in rough.altitudes(raw).items() if other != name]
    length = float(raw.time[run[1]] - raw.time[run[0]])
    if raw.has("vertical_speed"):
        others.append(rough.summed(raw.time, raw.values["vertical_speed"]))
    if others:
        # a long cruise sums up the small error of a vertical speed
        return max(abs(_change(values, run)) for values in others) > max(_CLIMB, _DRIFT * length)
    return _jumps(raw, raw.values[name], run, _CLIMB)


def _speed_moves(raw: Raw, name: str, run: Run) -> bool:
    """By another airspeed at the same altitude, or by the jump at the end."""
    found = rough.calibrated(raw)
    others = [values for other, values in found.items() if other != name]
    # two airspeeds that follow from each other: what the frozen one says as calibrated must move as the other does
    if others:
        return max(abs(_change(values - found[name], run)) for values in others) > _SPEED
    return _jumps(raw, found[name], run, _SPEED)


def _way_differs(raw: Raw, run: Run) -> bool:
    """Whether distance falls at another rate at the end than at the beginning, or than the ground speed says."""
    length = raw.time[run[1]] - raw.time[run[0]]
    return abs(-_change(raw.values["distance_to_go"], run) / length - raw.values["ground_speed"][run[0]]) > 2.0 * _SPEED


def _change(values: Array, run: Run) -> float:
    """Change of values (row,) over a run; 0 where it is not known."""
    known = np.flatnonzero(np.isfinite(values[run[0] : run[1] + 1])) + run[0]
    return float(values[known[-1]] - values[known[0]]) if known.size > 1 else 0.0


def _jumps(raw: Raw, values: Array, run: Run, least: float) -> bool:
    """Whether the next value (row,) soon after a run is so far away."""
    after = np.flatnonzero(np.isfinite(values[run[1] + 1 :])) + run[1] + 1
    if not after.size or raw.time[after[0]] - raw.time[run[1]] > _SOON:
        return False
    return abs(float(values[after[0]] - values[run[1]])) > least
