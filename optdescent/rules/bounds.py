"""What a crew makes of a rule's height where the arrival demands another: windows, floor, hold-downs, glide path.

All heights are above the threshold [m]. Rates and leads are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from optdescent.arrival import Arrival, Capture, floor_at
from optdescent.curves.elementary import Value, maximum, where
from optdescent.rules.rule import Ask
from optdescent.units import FOOT, NAUTICAL_MILE

HeightOf = Callable[[float], Value]
"""Published altitude [m] to height above the threshold [m]."""
_FLARE = 100.0 * FOOT
_CLIMB_OUT, _STEEP = 300.0 * FOOT / NAUTICAL_MILE, 900.0 * FOOT / NAUTICAL_MILE
"""Slopes [-] along which a crew goes down to a limit ahead, and along which a flight at idle hardly ever does."""
_AT_BEFORE = 3.0 * NAUTICAL_MILE
_LEVEL_BEFORE = 5.0 * NAUTICAL_MILE
_CONVERGE = 150.0 * FOOT / NAUTICAL_MILE
_NO_FLOOR = -10000.0


def bounded(arrival: Arrival, x: Value, ask: Ask, height_of: HeightOf, *, is_a_flight: bool = False) -> Ask:
    """The rule's height [m], held to the glide path, the windows ahead, the floor and the hold-downs.

    Heights of another flight (`is_a_flight`) meet all that by themselves: they are held to no more than is demanded.
    """
    path = arrival.glide_path
    if path.capture is Capture.ABOVE:
        ask = _from_above(arrival, x, ask)
    else:
        ask = _from_below(arrival, x, ask, path.capture_at_least if is_a_flight else path.capture_middle)
    ask = _within_windows(arrival, x, ask, height_of, _STEEP if is_a_flight else _CLIMB_OUT)
    ask = _above_floor(arrival, x, ask, height_of)
    return _held_down(arrival, x, ask, height_of)


def _from_below(arrival: Arrival, x: Value, ask: Ask, level: float) -> Ask:
    """Level at a height to capture the path at [m] until it is met, and not above it."""
    path = arrival.glide_path
    slope = where(ask.height < level, 0.0, ask.slope)
    height = maximum(ask.height, level)
    on_path = path.height(x)
    over = where(x > -path.below_within, where(height > on_path, 1.0, 0.0), 0.0)
    slope = where(over > 0.5, path.gradient, slope)
    height = where(over > 0.5, on_path, height)
    return replace(ask, height=height, slope=slope, floor=where(on_path > level + _FLARE, level, ask.floor))


def _from_above(arrival: Arrival, x: Value, ask: Ask) -> Ask:
    """On the last miles a line steeper than the path, which meets it at the middle of the capture heights.

    Before them not below the height at which that line begins.
    """
    path = arrival.glide_path
    near, capture = x > -path.below_within, path.distance(path.capture_middle)
    early = maximum(capture - x, 0.0)
    line = path.height(x) + _CONVERGE * early
    begins = float(path.height(-path.below_within)) + _CONVERGE * (capture + path.below_within)
    slope = where(near, path.gradient + where(early > 0.0, _CONVERGE, 0.0), where(ask.height < begins, 0.0, ask.slope))
    height = where(near, line, maximum(ask.height, begins))
    return replace(ask, height=height, slope=slope, floor=where(near, ask.floor, begins))


def _within_windows(arrival: Arrival, x: Value, ask: Ask, height_of: HeightOf, gradient: float) -> Ask:
    """Within each window ahead, on the way to its highest height along a gradient [-]."""
    for window in arrival.windows:
        ahead = x < -window.distance
        if window.lowest is not None:
            ask = _not_below(ask, height_of(window.lowest), ahead)
        if window.highest is not None:
            lead = 0.0 if window.altitude_at is None else _AT_BEFORE
            ask = _not_above(ask, height_of(window.highest), maximum(-window.distance - lead - x, 0.0), ahead, gradient)
    return ask


def _above_floor(arrival: Arrival, x: Value, ask: Ask, height_of: HeightOf) -> Ask:
    """Not below the floor, nor below what it rises to on the way to the capture: the flight never climbs."""
    if not arrival.floor:
        return ask
    capture = -arrival.glide_path.distance(arrival.glide_path.capture_middle)
    distances = [point.distance for point in arrival.floor]
    altitudes = [point.altitude for point in arrival.floor]
    corners = sorted({capture, *(distance for distance in distances if distance > capture)})
    heights = [height_of(float(altitude)) for altitude in floor_at(distances, altitudes, np.array(corners))]
    lowest = highest = heights[0]
    slope: Value = 0.0
    for index in range(1, len(corners)):
        rise = (heights[index] - heights[index - 1]) / (corners[index] - corners[index - 1])
        here = heights[index - 1] + rise * (-x - corners[index - 1])
        is_here = -x > corners[index - 1]
        slope = where(is_here, where(here > highest, rise, 0.0), slope)
        lowest = where(is_here, maximum(here, highest), lowest)
        highest = maximum(highest, heights[index])
    beyond = -x > corners[-1]
    return _not_below(ask, where(beyond, highest, lowest), x < -capture, where(beyond, 0.0, slope))


def _held_down(arrival: Arrival, x: Value, ask: Ask, height_of: HeightOf) -> Ask:
    """Level from some miles before a hold-down to its end; on the way to it, not so low as to have to climb."""
    for hold in arrival.hold_downs:
        level, ahead = height_of(hold.altitude), x < -hold.to
        ask = _not_below(ask, level, ahead)
        ask = _not_above(ask, level, maximum(-hold.from_ - _LEVEL_BEFORE - x, 0.0), ahead)
        is_held = where(x > -hold.from_, where(ahead, 1.0, 0.0), 0.0)
        ask = replace(ask, slope=where(is_held > 0.5, 0.0, ask.slope), held=maximum(ask.held, is_held))
    return ask


def _not_below(ask: Ask, limit: Value, where_it_holds: Value, slope: Value = 0.0) -> Ask:
    active = where(where_it_holds, where(ask.height < limit, 1.0, 0.0), 0.0)
    return replace(
        ask,
        height=where(active > 0.5, limit, ask.height),
        slope=where(active > 0.5, slope, ask.slope),
        floor=maximum(ask.floor, where(where_it_holds, limit, _NO_FLOOR)),
    )


def _not_above(ask: Ask, limit: Value, ahead: Value, where_it_holds: Value, gradient: float = _CLIMB_OUT) -> Ask:
    """Below a limit [m] that a flight approaches along a gradient [-] from where it lies `ahead` [m]."""
    highest = limit + gradient * ahead
    active = where(where_it_holds, where(ask.height > highest, 1.0, 0.0), 0.0)
    height = where(active > 0.5, highest, ask.height)
    return replace(ask, height=height, slope=where(active > 0.5, gradient, ask.slope))
