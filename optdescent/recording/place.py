"""Distance to go of a recording: as recorded, along positions, or by adding up ground speed.

It falls from point to point, because it is what every flight is compared over: a recorded distance that stands still
between its steps is taken straight through their middles, and one that turns back is the nearest that does not (least
squares; isotonic regression: Barlow, Bartholomew, Bremner and Brunk, Statistical Inference under Order Restrictions,
1972), with a warning.
"""

from __future__ import annotations

from typing import Any, assert_never, cast

import numpy as np
from geographiclib.geodesic import Geodesic  # pyright: ignore[reportMissingTypeStubs]
from numpy.typing import NDArray
from scipy.optimize import isotonic_regression

from optdescent.arrival.legs import Position
from optdescent.recording.declaration import ColumnMap, FromColumn, FromGroundSpeed, FromPositions
from optdescent.recording.doubts import Doubts
from optdescent.recording.known import Known
from optdescent.recording.rough import summed
from optdescent.recording.values import Array, Raw
from optdescent.results.reading import Origin, Source
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, FOOT, NAUTICAL_MILE

_WGS84: Any = Geodesic.WGS84
_CHORD = 10.0
"""Time [s] from one position used for the length of the path to the next: noise of shorter ones would add up."""
_BACK = 500.0
"""Distance [m] by which a recorded distance to go may turn back without a word."""
_OVERHEAD = 2.0 * NAUTICAL_MILE
_ASIDE = 3.0 * NAUTICAL_MILE
"""Distance [m] off the scenario's track from which it is told."""
BRIDGED = "distance_bridged"
"""Column that is 1 where distance to go was bridged over a gap: its slope is no ground speed there."""
EARTH = 6371000.0
"""Mean radius of the earth [m], for what needs no more."""


def add_distance(known: Known, asked: ColumnMap, scenario: Scenario, doubts: Doubts) -> None:
    """Distance to go [m] at every point.

    Raises
    ------
    InputFault
        The threshold has no position, the glide path is not passed, or no distance is known.
    """
    sources: tuple[str, ...] = ("distance_to_go",)
    match asked.distance:
        case FromColumn():
            found, origin = known.column("distance_to_go"), known.origins["distance_to_go"]
        case FromPositions():
            sources = ("latitude", "longitude")
            found, origin = _along_positions(known, scenario, doubts)
        case FromGroundSpeed() as reference:
            sources = ("ground_speed",)
            found, origin = _added_up(known, reference, scenario, doubts)
        case _:
            assert_never(asked.distance)
    doubts.refuse()
    if np.isfinite(found).sum() < 2:
        doubts.fault("distance_to_go", "is known nowhere", "distances to go")
        doubts.refuse()
    is_known = np.isfinite(sum(known.column(name) for name in sources))
    known.put("distance_to_go", _falling(known.time, found, origin.sigma, doubts), origin)
    known.columns[BRIDGED] = np.where(is_known, 0.0, 1.0)


def _falling(time: Array, found: Array, sigma: float, doubts: Doubts) -> Array:
    """Distance to go (point,) [m] that falls everywhere; gaps are bridged, straight."""
    rows: NDArray[np.intp] = np.flatnonzero(np.isfinite(found))
    # its annotation leaves the type of the result open
    fit = np.asarray(cast(Any, isotonic_regression(found[rows], increasing=False)).x, dtype=float)
    back = float(np.max(np.abs(fit - found[rows])))
    if back > max(_BACK, 5.0 * (sigma if np.isfinite(sigma) else 0.0)):
        doubts.warn(
            f"distance to go turns back by {2.0 * back / NAUTICAL_MILE:.1f} nm on the way: taken as level there"
        )
    begins = np.concatenate([[0], np.flatnonzero(np.diff(fit) != 0.0) + 1])
    middle = np.add.reduceat(time[rows], begins) / np.diff(np.append(begins, rows.size))
    at = fit[begins]
    if middle.size < 2:
        return np.full(time.size, np.nan)
    inside = np.interp(time, middle, at)
    first, last = (at[1] - at[0]) / (middle[1] - middle[0]), (at[-1] - at[-2]) / (middle[-1] - middle[-2])
    inside = np.where(time < middle[0], at[0] + first * (time - middle[0]), inside)
    inside = np.where(time > middle[-1], at[-1] + last * (time - middle[-1]), inside)
    return np.where((time < time[rows[0]]) | (time > time[rows[-1]]), np.nan, inside)


def _added_up(known: Known, reference: FromGroundSpeed, scenario: Scenario, doubts: Doubts) -> tuple[Array, Origin]:
    """Distance to go by adding up ground speed from one place [m]."""
    speed = known.column("ground_speed")
    way = summed(known.time, speed)
    missing = int(np.sum(~np.isfinite(speed)))
    if missing:
        doubts.warn(
            f"ground speed is missing at {missing} points: the distance there is that of the speeds beside them"
        )
    if reference.last is not None:
        found, where = reference.last + way[-1] - way, f"{reference.last / NAUTICAL_MILE:.2f} nm at the last row"
    else:
        height = reference.on_glide_path_at or 0.0
        place = _last_at(known.column("height_above_threshold"), height)
        if place is None:
            allowed = "a height that the recording passes on its way down"
            doubts.fault("distance.on_glide_path_at_ft", f"{height / FOOT:.0f} ft is never passed", allowed)
            return np.full(way.size, np.nan), Origin("distance_to_go", Source.DERIVED, "", float("nan"))
        there = float(np.interp(place, np.arange(way.size), way))
        found = -scenario.arrival.glide_path.distance(height) + there - way
        where = f"the glide path at {height / FOOT:.0f} ft"
    steps = known.sigma("ground_speed") * known.grid.step
    sigma = steps * float(np.sqrt(way.size / 2.0))
    return found, Origin("distance_to_go", Source.DERIVED, f"by adding up ground speed back from {where}", sigma)


def _last_at(heights: Array, height: float) -> float | None:
    """Place among the points [-] where a height [m] is last passed downwards."""
    above = np.flatnonzero(heights >= height)
    if above.size == 0 or above[-1] == heights.size - 1 or not np.isfinite(heights[above[-1] + 1]):
        return None
    first = int(above[-1])
    return first + float((heights[first] - height) / (heights[first] - heights[first + 1]))


def _along_positions(known: Known, scenario: Scenario, doubts: Doubts) -> tuple[Array, Origin]:
    """Length of the flown path to the threshold [m], great circles between positions a few seconds apart."""
    nowhere = np.full(known.time.size, np.nan), Origin("distance_to_go", Source.DERIVED, "", float("nan"))
    position = scenario.arrival.position
    if position is None:
        doubts.fault("distance", "is from positions, and the scenario has no arrival.position", "a scenario with one")
        return nowhere
    latitude, longitude = known.column("latitude") / DEGREE, known.column("longitude") / DEGREE
    rows: NDArray[np.intp] = np.flatnonzero(np.isfinite(latitude) & np.isfinite(longitude))
    if rows.size < 2:
        doubts.fault("latitude", "is known nowhere", "positions")
        return nowhere
    keep = np.concatenate([[True], np.diff(np.floor((known.time[rows] - known.time[rows[0]]) / _CHORD)) > 0])
    keep[-1] = True
    rows = rows[keep]
    way: Array = np.concatenate([[0.0], np.cumsum(_lengths(latitude[rows], longitude[rows]))])
    ends, left = _nearest(latitude[rows], longitude[rows], position, scenario.arrival.course)
    to_go = np.asarray(left + way[ends] - way, dtype=float)
    outside = (known.time < known.time[rows[0]]) | (known.time > known.time[rows[-1]])
    found = np.where(outside, np.nan, np.interp(known.time, known.time[rows], to_go))
    _tell_aside(latitude[rows], longitude[rows], to_go, scenario, doubts)
    sigma = EARTH * float(np.hypot(known.sigma("latitude"), known.sigma("longitude") * np.cos(position.latitude)))
    how = f"length of the flown path to the threshold, positions {_CHORD:g} s apart"
    return found, Origin("distance_to_go", Source.DERIVED, how, sigma)


def _lengths(latitude: Array, longitude: Array) -> Array:
    """Lengths (n - 1,) [m] between positions (n,) [degrees]."""
    pairs = zip(latitude, longitude, latitude[1:], longitude[1:], strict=False)
    return np.array([float(_WGS84.Inverse(a, b, c, d, Geodesic.DISTANCE)["s12"]) for a, b, c, d in pairs])


def _nearest(latitude: Array, longitude: Array, position: Position, course: float) -> tuple[int, float]:
    """Which position [degrees] is nearest to the threshold, and the distance to go there [m], negative beyond it."""
    home = position.latitude / DEGREE, position.longitude / DEGREE
    rough = np.hypot(latitude - home[0], (longitude - home[1]) * np.cos(position.latitude))
    place = int(np.argmin(rough))
    way = _WGS84.Inverse(latitude[place], longitude[place], *home)
    left, bearing = float(way["s12"]), float(way["azi2"]) * DEGREE
    return place, left * float(np.cos(bearing - course)) if left < _OVERHEAD else left


def _tell_aside(latitude: Array, longitude: Array, to_go: Array, scenario: Scenario, doubts: Doubts) -> None:
    """Warn where the flight was not on the scenario's track: its windows lie along that."""
    places = np.unique(-to_go[(to_go >= 0.0) & (to_go <= scenario.start.distance)])
    route = scenario.arrival.route(tuple(places[:: max(1, places.size // 40)].tolist()))
    if route is None or places.size < 2:
        return
    order = np.argsort(-to_go)
    north = np.interp(route.places, -to_go[order], latitude[order]) - route.latitude
    turned = (np.interp(route.places, -to_go[order], longitude[order]) - route.longitude + 180.0) % 360.0 - 180.0
    aside = EARTH * DEGREE * np.hypot(north, turned * np.cos(route.latitude * DEGREE))
    worst = int(np.argmax(aside))
    if aside[worst] > _ASIDE:
        doubts.warn(
            f"the flight was {aside[worst] / NAUTICAL_MILE:.0f} nm beside the scenario's track at "
            f"{-route.places[worst] / NAUTICAL_MILE:.0f} nm to go; distances are along the path flown"
        )


def add_course(known: Known, scenario: Scenario) -> None:
    """Course over the ground [rad]: the recorded track, else the scenario's."""
    planned = np.asarray(scenario.arrival.track.course(-known.column("distance_to_go")) + 0.0 * known.time, dtype=float)
    known.derive("course", np.asarray, ["track"], "the recorded track")
    told = "the scenario's track; how far off it the flight's own was is not known"
    known.fill("course", planned, float("nan"), told, Source.ASSUMED)


def within(known: Known, raw: Raw, doubts: Doubts) -> None:
    """Cut off what lies beyond the threshold, or where no distance is known, and count the rows.

    Raises
    ------
    InputFault
        Nothing lies before the threshold.
    """
    to_go = known.column("distance_to_go")
    inside = np.flatnonzero(to_go >= 0.0)
    if inside.size < 2:
        doubts.fault("distance_to_go", "is nowhere before the threshold", "distances to go that fall to the threshold")
        doubts.refuse()
    first, last = int(inside[0]), int(inside[-1])
    begins, ends = known.time[first], known.time[last]
    beyond = float(np.min(to_go[last:], initial=0.0)) < 0.0
    doubts.leave_out("before the first known distance to go", raw.rows[raw.time < begins])
    why = "beyond the threshold" if beyond else "after the last known distance to go"
    doubts.leave_out(why, raw.rows[raw.time > ends])
    known.cut(first, last)
