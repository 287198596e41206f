"""Rows in time's order and of one approach: what repeats, runs backwards, taxies or climbs is left out and counted."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import median_filter

from optdescent.recording.doubts import Doubts
from optdescent.recording.values import Array, Raw
from optdescent.units import FOOT

_MOST_BACK = 0.1
"""Largest share [-] of rows that may lie back in time, or stand still."""
_LEAST_DESCENT = 1000.0 * FOOT
"""Least height [m] lost in a recording that has a descent."""
_LEVEL = 100.0 * FOOT
"""Height [m] below the highest within which a flight counts as not yet, or no longer, climbing."""
_TOP = 99.5
FEWEST = 10
"""Fewest rows of a recording."""
_FLYING = 0.5
"""Share of the reference speed [-] below which an aircraft counts as on the ground."""
_CLOSE, _APPROACH, _AWAY = 1500.0 * FOOT, 4000.0 * FOOT, 500.0 * FOOT
"""Height [m] above the aerodrome below which any climb leaves an approach; below which one does after which the flight
gets no lower; how high it climbs (our choice)."""
_SPIKE = 9
"""Rows over whose median an altitude is looked at: a spike is not a climb."""
_SPEEDS = ("calibrated_airspeed", "true_airspeed", "ground_speed")


def in_order(raw: Raw, doubts: Doubts) -> Raw:
    """Rows in which time rises [SI].

    Raises
    ------
    InputFault
        Time runs backwards or stands still in too many rows, or too few rows are left.
    """
    raw = _without_back(_without_repeated(raw, doubts), doubts)
    if raw.time.size < FEWEST:
        doubts.fault("", f"only {raw.time.size} rows can be used", f"{FEWEST} or more")
    doubts.refuse()
    return raw


def _without_repeated(raw: Raw, doubts: Doubts) -> Raw:
    """Rows without those that repeat the row before in everything."""
    same = np.diff(raw.time) == 0.0
    for column in raw.values.values():
        same &= (column[1:] == column[:-1]) | (np.isnan(column[1:]) & np.isnan(column[:-1]))
    repeated = np.concatenate([[False], same])
    doubts.leave_out("the row repeats the row before it", raw.rows[repeated])
    return raw.kept(~repeated)


def _without_back(raw: Raw, doubts: Doubts) -> Raw:
    """Rows that are later than every row before."""
    latest = np.maximum.accumulate(raw.time)
    late = np.concatenate([[True], raw.time[1:] > latest[:-1]])
    back = np.concatenate([[False], raw.time[1:] < latest[:-1]])
    still = ~late & ~back
    for lost, given, allowed in (
        (back, "runs backwards", "time that rises from row to row"),
        (still, "stands still, with other values,", "a clock that resolves the rows"),
    ):
        rows = raw.rows[lost]
        if rows.size > _MOST_BACK * raw.rows.size:
            doubts.fault("time", f"{given} in {rows.size} of {raw.rows.size} rows: {doubts.said(rows)}", allowed)
        else:
            doubts.leave_out(f"time {given} there", rows)
    doubts.refuse()
    return raw.kept(late)


@dataclass(frozen=True)
class Aerodrome:
    """What tells flying from rolling and an approach from a climb: elevation [m], the least reference speed [m/s]."""

    elevation: float
    reference_speed: float


@dataclass(frozen=True)
class Profile:
    """How a recording goes up and down (row,): altitude [m], whether on the ground, whether after a go-around [-]."""

    altitude: Array
    on_ground: NDArray[np.bool_]
    away: NDArray[np.bool_]


def profile_of(raw: Raw, altitude: Array, there: Aerodrome) -> Profile:
    """Which rows are on the ground, and which climb away from an approach, by an altitude (row,) [m]."""
    on_ground = _on_ground(raw, there.reference_speed)
    away = climbing_away(np.where(on_ground, np.nan, altitude), there.elevation) & ~on_ground
    return Profile(altitude, on_ground, away)


def flown_part(raw: Raw, profile: Profile, doubts: Doubts) -> Raw:
    """Rows of one descent [SI]: none on the ground, before the highest level, or after it is gone around.

    Raises
    ------
    InputFault
        The recording never descends.
    """
    place, on_ground, away = np.arange(raw.time.size), profile.on_ground, profile.away
    altitude = np.where(on_ground | away, np.nan, profile.altitude)
    known = np.flatnonzero(np.isfinite(altitude))
    if known.size < FEWEST:
        doubts.fault("", f"only {known.size} rows have an altitude", f"{FEWEST} or more")
        doubts.refuse()
    # a spike is not the highest level
    top = float(np.nanpercentile(altitude, _TOP))
    lost = top - float(altitude[known[-1]])
    if lost < _LEAST_DESCENT:
        last, highest = raw.rows[known[-1]], raw.rows[int(np.flatnonzero(altitude >= top - _LEVEL)[0])]
        given = (
            f"never descends: row {last}, its last with an altitude, is {lost / FOOT:.0f} ft below its highest level, "
            f"{top / FOOT:.0f} ft, first reached in row {highest}"
        )
        doubts.fault("", given, f"a descent of {_LEAST_DESCENT / FOOT:.0f} ft or more")
        doubts.refuse()
    climbing = (place < int(np.flatnonzero(altitude >= top - _LEVEL)[0])) & ~on_ground & ~away
    if top - float(altitude[known[0]]) < _LEAST_DESCENT:
        climbing[:] = False
    doubts.leave_out("before the highest level is reached: a climb", raw.rows[climbing])
    doubts.leave_out(f"slower than {_FLYING:g} of the reference speed: on the ground", raw.rows[on_ground])
    doubts.leave_out("after the lowest point of the approach: gone around", raw.rows[away])
    doubts.is_gone_around = bool(away.any())
    return raw.kept(~climbing & ~on_ground & ~away)


def climbing_away(altitude: Array, elevation: float) -> NDArray[np.bool_]:
    """Rows after the lowest of an approach to an elevation [m], by altitudes (row,) [m], if the flight leaves it [-].

    It does if it climbs after a descent, from near the aerodrome, or from farther up if it never gets lower again.
    """
    known = np.flatnonzero(np.isfinite(altitude))
    rows, heights = np.arange(altitude.size), np.zeros(0)
    if known.size:
        heights = np.asarray(median_filter(altitude[known], _SPIKE, mode="nearest"), dtype=float)
    descended = np.flatnonzero(np.maximum.accumulate(heights) - heights >= _LEAST_DESCENT)
    if not descended.size:
        return np.zeros(rows.size, dtype=np.bool_)
    known, heights = known[descended[0] :], heights[descended[0] :]
    lowest, later = np.minimum.accumulate(heights), np.minimum.accumulate(heights[::-1])[::-1]
    is_left = (lowest < elevation + _CLOSE) | ((lowest < elevation + _APPROACH) & (later > lowest))
    away = np.flatnonzero((heights > lowest + _AWAY) & is_left)
    if not away.size:
        return np.zeros(rows.size, dtype=np.bool_)
    about = int(np.argmin(heights[: away[0]]))
    floor = float(altitude[known[max(about - _SPIKE, 0) : about + _SPIKE]].min())
    low = known[: away[0]][altitude[known[: away[0]]] <= floor]
    return np.asarray(rows > low[-1], dtype=np.bool_)


def _on_ground(raw: Raw, reference_speed: float) -> NDArray[np.bool_]:
    """Rows after the last at flying speed."""
    place = np.arange(raw.time.size)
    for name in _SPEEDS:
        if raw.has(name):
            speed = raw.values[name]
            flying = np.flatnonzero(speed > _FLYING * reference_speed)
            slow = np.flatnonzero(speed <= _FLYING * reference_speed)
            if flying.size and slow.size and slow[-1] > flying[-1]:
                return np.asarray(place > flying[-1], dtype=np.bool_)
            break
    return np.zeros(place.size, dtype=np.bool_)
