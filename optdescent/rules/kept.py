"""Demands of an arrival that many flights kept or not: windows, hold-downs, floor, sink rates, glide path capture.

Each with the room and at the places of one flight's verdict (`motion.demands`, `motion.capture`), taken with arrays.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.air import Air
from optdescent.air.altitude import pressure_altitude_of
from optdescent.arrival import Arrival, Capture, floor_at
from optdescent.motion.excess import READABLE_ANGLE, READABLE_HEIGHT, READABLE_SINK, READABLE_SPEED
from optdescent.rules.many import Flights

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


def demands_kept(arrival: Arrival, air: Air, flights: Flights) -> Flags:
    """Which flights (flight,) kept every demand of an arrival in its air [-]; a lost one as far as it went."""
    with np.errstate(invalid="ignore"):
        return (
            _sinks_kept(arrival, flights)
            & _windows_kept(arrival, air, flights)
            & _hold_downs_kept(arrival, air, flights)
            & _captures_kept(arrival, air, flights)
        )


def _height_of(arrival: Arrival, air: Air, published: float, room: float) -> Array:
    """Height above the threshold (flight,) [m] of a published altitude [m], and so much pressure altitude above it."""
    altitude = pressure_altitude_of(published, arrival.transition_altitude, air.qnh)
    return np.asarray(air.height(altitude + room) - arrival.elevation)


def _sinks_kept(arrival: Arrival, flights: Flights) -> Flags:
    kept = np.ones(flights.height.shape[1], dtype=np.bool_)
    for limit in arrival.sink_limits:
        too_fast = -flights.vertical_speed > limit.sink + READABLE_SINK
        kept &= ~np.any(too_fast & (flights.height < limit.below_height), axis=0)
    return kept


def _windows_kept(arrival: Arrival, air: Air, flights: Flights) -> Flags:
    kept = np.ones(flights.height.shape[1], dtype=np.bool_)
    for window in arrival.windows:
        height, speed = flights.at(flights.height, window.distance), flights.at(flights.speed, window.distance)
        room = READABLE_HEIGHT if window.altitude_at is None else window.altitude_allowance
        speed_room = READABLE_SPEED if window.speed_at is None else window.speed_allowance
        if window.lowest is not None:
            kept &= height >= _height_of(arrival, air, window.lowest, -room)
        if window.highest is not None:
            kept &= height <= _height_of(arrival, air, window.highest, room)
        if window.slowest is not None:
            kept &= speed >= window.slowest - speed_room
        if window.fastest is not None:
            kept &= speed <= window.fastest + speed_room
    return kept


def _hold_downs_kept(arrival: Arrival, air: Air, flights: Flights) -> Flags:
    """Off the level between the ends of a hold-down by no more than its allowance, the ends included."""
    kept = np.ones(flights.height.shape[1], dtype=np.bool_)
    for hold in arrival.hold_downs:
        inside = (-flights.x <= hold.from_) & (-flights.x >= hold.to)
        ends = (flights.at(flights.height, hold.from_), flights.at(flights.height, hold.to))
        height = np.vstack([flights.height[inside], *ends])
        low, high = (_height_of(arrival, air, hold.altitude, sign * hold.allowance) for sign in (-1.0, 1.0))
        kept &= ~np.any((height < low) | (height > high), axis=0)
    return kept


def _captures_kept(arrival: Arrival, air: Air, flights: Flights) -> Flags:
    """Height, speed and side of the capture, sink rate to it from above, and the floor before it."""
    path, gate, x = arrival.glide_path, arrival.gate, flights.x
    above = flights.height - np.asarray(path.height(x))[:, None]
    off = np.abs(above) > gate.off_path
    off[x >= 0.0] = False
    captured = np.where(off.any(axis=0), x.size - np.argmax(off[::-1], axis=0), 0)
    is_captured = captured < x.size - 1
    captured = np.minimum(captured, x.size - 1)
    lane: NDArray[np.int64] = np.arange(captured.size, dtype=np.int64)
    since = np.arange(x.size)[:, None] >= captured
    lies = since & (np.abs(flights.vertical_speed / flights.ground_speed + path.gradient) < READABLE_ANGLE)
    along = np.where(lies.any(axis=0), np.argmax(lies, axis=0), captured)
    kept = ~is_captured | (flights.height[captured, lane] >= path.capture_at_least - READABLE_HEIGHT)
    kept &= ~is_captured | (flights.height[along, lane] <= path.capture_at_most + READABLE_HEIGHT)
    if path.capture_speed_at_most is not None:
        kept &= ~is_captured | (flights.speed[along, lane] <= path.capture_speed_at_most + READABLE_SPEED)
    place = np.where(is_captured, x[captured], np.inf)
    kept &= _side_kept(arrival, flights, above, since & is_captured)
    if path.capture is Capture.ABOVE:
        kept &= _sink_to_capture_kept(arrival, flights, place)
    return kept & _floor_kept(arrival, air, flights, place) if arrival.floor else kept


def _side_kept(arrival: Arrival, flights: Flights, above: Array, since: Flags) -> Flags:
    """On the side of the path that is asked for before it is met, within the gate's height off it from there on.

    `above` (look, flight) is the height above the path [m], `since` says where it is captured.
    """
    path, gate, x = arrival.glide_path, arrival.gate, flights.x
    sign = -1.0 if path.capture is Capture.ABOVE else 1.0
    wrong = sign * above
    is_met = since & (wrong <= READABLE_HEIGHT)
    met = np.where(is_met.any(axis=0), x[np.argmax(is_met, axis=0)], np.inf)
    judged = (x[:, None] >= -path.below_within) & (flights.height >= gate.height)
    room = np.where(x[:, None] < met, READABLE_HEIGHT, gate.off_path)
    kept = ~np.any(judged & (wrong > room), axis=0)
    begins = sign * (flights.at(flights.height, path.below_within) - float(path.height(-path.below_within)))
    counts = flights.at(flights.height, path.below_within) >= gate.height
    return kept & ~(counts & (begins > np.where(-path.below_within < met, READABLE_HEIGHT, gate.off_path)))


def _sink_to_capture_kept(arrival: Arrival, flights: Flights, place: Array) -> Flags:
    """Sinking no faster to a capture from above, at a coordinate (flight,) [m], than the path allows."""
    path, x = arrival.glide_path, flights.x[:, None]
    judged = (x >= -path.below_within) & (x <= place)
    most = path.sink_above + READABLE_SINK
    begins = -flights.at(flights.vertical_speed, path.below_within) > most
    return ~np.any(judged & (-flights.vertical_speed > most), axis=0) & ~(begins & (-path.below_within <= place))


def _floor_kept(arrival: Arrival, air: Air, flights: Flights, place: Array) -> Flags:
    """Not below the floor before the path is captured, at a coordinate (flight,) [m]; its corners included."""
    path, x = arrival.glide_path, flights.x
    distances = [point.distance for point in arrival.floor]
    nearest = np.where(np.isfinite(place), place, path.distance(path.capture_at_least))
    corners = [distance for distance in distances if x[0] < -distance < x[-1]]
    places = np.concatenate([x, -np.array(corners)])
    shares = np.array([floor_at(distances, unit, -places) for unit in np.eye(len(distances))])
    published = np.array(
        [
            np.broadcast_to(pressure_altitude_of(point.altitude, arrival.transition_altitude, air.qnh), nearest.shape)
            for point in arrival.floor
        ]
    )
    lowest = np.asarray(air.height(shares.T @ published - READABLE_HEIGHT)) - arrival.elevation
    heights = np.vstack([flights.height, *(flights.at(flights.height, corner) for corner in corners)])
    return ~np.any((places[:, None] <= nearest) & (heights < lowest), axis=0)
