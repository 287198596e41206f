"""Legs of an arrival, the turns between them, and where on earth they are.

Positions are computed with GeographicLib on the WGS 84 ellipsoid (Karney, Algorithms for geodesics, Journal of Geodesy
87, 2013).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from enum import Enum
from functools import lru_cache
from itertools import pairwise
from typing import Any

import numpy as np
from geographiclib.geodesic import Geodesic  # pyright: ignore[reportMissingTypeStubs]
from numpy.typing import NDArray

from optdescent.air.wind.route import Route
from optdescent.arrival.track import Track, Turn
from optdescent.arrival.words import miles
from optdescent.inputs import Declared, entry, quantity
from optdescent.units import DEGREE, NAUTICAL_MILE

_WGS84: Any = Geodesic.WGS84
_STEP = 250.0
_LARGEST_CHANGE = 340.0 * DEGREE
_HALF = 0.5 * DEGREE
_KNOTS = tuple(float(-NAUTICAL_MILE * nm) for nm in range(420, -21, -20))
"""Where the convergence of the meridians is tabulated [m]: a flight begins at most 400 nm to go."""


class Position(Declared):
    """Where the threshold is."""

    latitude: float = quantity("deg", -85, 85, "latitude of the threshold, north positive")
    longitude: float = quantity("deg", -360, 360, "longitude of the threshold, east positive")


class Side(Enum):
    """To which side a turn is flown."""

    LEFT = "left"
    RIGHT = "right"


class Leg(Declared):
    """A straight part of the track before the final course, and the turn at its end."""

    course: float = quantity("deg", 0, 360, "course, degrees true")
    until: float = quantity("nm", 1, 400, "distance to go along the track at the middle of the turn at its end")
    radius: float = quantity("nm", 0.5, 20, "radius of that turn")
    side: Side | None = entry("left or right; without it the shorter way round", default=None)


def turns_of(legs: Sequence[Leg], final_course: float) -> tuple[Turn, ...]:
    """Turns of legs in the order flown, onto a final course [rad]; legs without a change of course have none."""
    courses = [*(leg.course for leg in legs), final_course]
    turns: list[Turn] = []
    for leg, after in zip(legs, courses[1:], strict=True):
        change = (after - leg.course + math.pi) % (2.0 * math.pi) - math.pi
        if leg.side is Side.RIGHT and change < 0.0:
            change += 2.0 * math.pi
        if leg.side is Side.LEFT and change > 0.0:
            change -= 2.0 * math.pi
        if abs(change) > 1e-9:
            turns.append(Turn(-leg.until, leg.radius, change))
    return tuple(turns)


def route_along(track: Track, home: tuple[float, float], places: Sequence[float]) -> tuple[Route, NDArray[np.float64]]:
    """Positions of coordinates along a track [m], rising, and what convergence adds to the course there [rad].

    ``home`` is the threshold's latitude and longitude [rad]. The track is followed from there both ways: geodesics
    where it is straight, steps of 250 m where it turns.
    """
    order = np.asarray(places, dtype=float)
    found = np.zeros((order.size, 3))
    before = np.flatnonzero(order <= 0.0)[::-1]
    for indices in (before, np.flatnonzero(order > 0.0)):
        latitude, longitude = (angle / DEGREE for angle in home)
        at, added = 0.0, 0.0
        for index in indices:
            latitude, longitude, added = _followed(track, latitude, longitude, added, at, float(order[index]))
            at = float(order[index])
            found[index] = latitude, longitude, added
    return Route(order, found[:, 0], found[:, 1]), found[:, 2]


def _followed(
    track: Track, latitude: float, longitude: float, added: float, at: float, to: float
) -> tuple[float, float, float]:
    """Latitude, longitude [degrees] and convergence [rad] after going from one coordinate of the track to another."""
    turning = any(turn.begins < max(at, to) and turn.ends > min(at, to) for turn in track.turns)
    count = max(1, math.ceil(abs(to - at) / _STEP)) if turning else 1
    straight = Track(track.final_course, track.turns)
    for part in range(count):
        near, far = at + (to - at) * part / count, at + (to - at) * (part + 1) / count
        nominal = float(straight.course(0.5 * (near + far)))
        course = nominal + added
        way = course if far > near else course + math.pi
        step = _WGS84.Direct(latitude, longitude, math.degrees(way), abs(far - near))
        there = math.radians(step["azi2"]) - (0.0 if far > near else math.pi)
        added += (there - course + math.pi) % (2.0 * math.pi) - math.pi
        latitude, longitude = step["lat2"], step["lon2"]
    return latitude, longitude, added


def track_of(final_course: float, legs: Sequence[Leg], position: Position | None) -> Track:
    """The track of an arrival that ends on a course [rad]."""
    turns = turns_of(legs, final_course)
    if position is None:
        return Track(final_course, turns)
    return _converging(final_course, turns, position.latitude, position.longitude)


@lru_cache(maxsize=64)
def _converging(final_course: float, turns: tuple[Turn, ...], latitude: float, longitude: float) -> Track:
    added = route_along(Track(final_course, turns), (latitude, longitude), _KNOTS)[1]
    return Track(final_course, turns, (_KNOTS, tuple(added.tolist())))


def leg_faults(legs: Sequence[Leg], final_course: float, lowest: float) -> list[tuple[str, str, str]]:
    """Legs out of order, turns that overlap, or that end nearer than a distance to go [m]: key, given, allowed."""
    faults: list[tuple[str, str, str]] = []
    for index, (before, leg) in enumerate(pairwise(legs), 1):
        if leg.until >= before.until:
            allowed = f"less than the leg before, {miles(before.until)}"
            faults.append((f"arrival.legs[{index}].until_nm", f"got {miles(leg.until)}", allowed))
    if faults:
        return faults
    turns = turns_of(legs, final_course)
    faults += _change_faults(legs, turns)
    for one, other in pairwise(turns):
        if one.ends > other.begins:
            overlap = miles(one.ends - other.begins)
            given = f"the turns at {miles(-one.middle)} and {miles(-other.middle)} overlap by {overlap}"
            faults.append(("arrival.legs", given, "turns that end before the next begins"))
    for turn in turns:
        if turn.ends > -lowest:
            given = f"the turn at {miles(-turn.middle)} ends at {miles(-turn.ends)}"
            allowed = f"turns that end by {miles(lowest)} to go, before the glide path may be captured"
            faults.append(("arrival.legs", given, allowed))
    return faults


def _change_faults(legs: Sequence[Leg], turns: Sequence[Turn]) -> list[tuple[str, str, str]]:
    """Turns that are nearly a circle, and half turns of which nothing says the side."""
    sided = {-leg.until for leg in legs if leg.side is not None}
    faults: list[tuple[str, str, str]] = []
    for turn in turns:
        given = f"the turn at {miles(-turn.middle)} is of {abs(turn.change) / DEGREE:.0f} degrees"
        if abs(turn.change) > _LARGEST_CHANGE:
            faults.append(("arrival.legs", given, "turns of up to 340 degrees"))
        elif abs(abs(turn.change) - math.pi) < _HALF and turn.middle not in sided:
            faults.append(("arrival.legs", given, "a `side`, 'left' or 'right', for half a turn"))
    return faults
