"""What a flight did not keep of the demands at places: windows, floor, hold-downs, speed limits by distance."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import xarray as xr

from optdescent.arrival import HoldDown, Window, floor_at
from optdescent.motion.capture import capture_index
from optdescent.motion.excess import READABLE_HEIGHT, READABLE_SPEED, Array, breach, column, held, readable, worst
from optdescent.results import Breach
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT


def demand_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    """Windows, floor and hold-downs that a flight did not keep."""
    arrival = scenario.arrival
    return [
        *(one for window in arrival.windows for one in _window_breaches(scenario, dataset, window)),
        *(one for hold in arrival.hold_downs for one in _hold_down_breaches(scenario, dataset, hold)),
        *_floor_breaches(scenario, dataset),
    ]


def _window_breaches(scenario: Scenario, dataset: xr.Dataset, window: Window) -> list[Breach]:
    to_go = column(dataset, "distance_to_go")

    def at(name: str) -> float:
        return float(np.interp(-window.distance, -to_go, column(dataset, name)))

    if window.distance > to_go[0]:
        return []  # a recording may begin nearer than that
    altitude, speed = at("pressure_altitude"), at("calibrated_airspeed")
    found: list[Breach] = []

    def low(least: float | None, value: float, room: float, unit: str, factor: float, what: str) -> None:
        if least is not None and least - value > room:
            amount = least - value
            found.append(breach(window.name, window.distance, amount, f"{amount / factor:.0f} {unit} {what}"))

    def altitude_of(published: float | None) -> float | None:
        return None if published is None else scenario.pressure_altitude(published)

    height_room = readable(dataset, "pressure_altitude", READABLE_HEIGHT)
    if window.altitude_at is not None:
        height_room = window.altitude_allowance + readable(dataset, "pressure_altitude", 0.0)
    speed_room = readable(dataset, "calibrated_airspeed", READABLE_SPEED)
    if window.speed_at is not None:
        speed_room = window.speed_allowance + readable(dataset, "calibrated_airspeed", 0.0)
    top, fastest = altitude_of(window.highest), window.fastest
    low(altitude_of(window.lowest), altitude, height_room, "ft", FOOT, "below the window")
    low(None if top is None else -top, -altitude, height_room, "ft", FOOT, "above the window")
    low(window.slowest, speed, speed_room, "kt", KNOT, "slower than the window")
    low(None if fastest is None else -fastest, -speed, speed_room, "kt", KNOT, "faster than the window")
    return found


def _hold_down_breaches(scenario: Scenario, dataset: xr.Dataset, hold: HoldDown) -> list[Breach]:
    """Off the level between the ends of a hold-down by more than its allowance, the ends included."""
    to_go, altitude = column(dataset, "distance_to_go"), column(dataset, "pressure_altitude")
    inside = np.minimum(hold.from_ - to_go, to_go - hold.to)
    place, flown = held(inside, to_go, altitude)
    off = flown - scenario.pressure_altitude(hold.altitude)

    name = f"hold-down at {hold.altitude / FOOT:.0f} ft"
    room = hold.allowance + readable(dataset, "pressure_altitude", 0.0)
    return [
        one
        for excess, word in ((off, "above"), (-off, "below"))
        for one in worst(name, place, excess, room, lambda amount, word=word: f"{amount / FOOT:.0f} ft {word} it")
    ]


def _floor_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    """Below the floor before the glide path is captured; between points also where the floor has a corner."""
    floor = scenario.arrival.floor
    if not floor:
        return []
    to_go, altitude = column(dataset, "distance_to_go"), column(dataset, "pressure_altitude")
    captured = capture_index(scenario, dataset)
    path = scenario.arrival.glide_path
    nearest = -path.distance(path.capture_at_least) if captured is None else float(to_go[captured])
    distances = [point.distance for point in floor]
    place = np.union1d(to_go, [distance for distance in distances if to_go[-1] < distance < to_go[0]])[::-1]
    lowest = floor_at(distances, [scenario.pressure_altitude(point.altitude) for point in floor], place)
    under = lowest - np.interp(-place, -to_go, altitude)
    under = np.where(place >= nearest, under, -np.inf)
    least = readable(dataset, "pressure_altitude", READABLE_HEIGHT)
    return worst("floor", place, under, least, lambda amount: f"{amount / FOOT:.0f} ft below the floor")


def speed_excesses(scenario: Scenario, dataset: xr.Dataset) -> tuple[Sequence[Array], Sequence[Array]]:
    """Distances to go (points,) [m] and excesses (points,) [m/s] over each speed limit, where it holds.

    A limit begins between two points of a flight: at its altitude, or at its distance.
    """
    to_go, speed = column(dataset, "distance_to_go"), column(dataset, "calibrated_airspeed")
    pressure_altitude = column(dataset, "pressure_altitude")
    places: list[Array] = []
    over: list[Array] = []
    for limit in scenario.arrival.speed_limits:
        if limit.within is not None:
            margin = limit.within - to_go
        else:
            margin = scenario.pressure_altitude(limit.below_altitude or 0.0) - BEGINS_TO_HOLD - pressure_altitude
        place, excess = held(margin, to_go, speed - limit.speed)
        places.append(place)
        over.append(excess)
    return places, over


BEGINS_TO_HOLD = 1.0
"""How far below its altitude [m] a speed limit begins to be judged."""
