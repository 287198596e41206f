"""What a flight did not keep of the limits of airframe, air traffic and handling, all along the way."""

from __future__ import annotations

import numpy as np
import xarray as xr

from optdescent.airframe import Configuration
from optdescent.airframe.brake import least_speed_with_brake
from optdescent.airframe.speeds import least_speed
from optdescent.motion.demands import speed_excesses
from optdescent.motion.excess import (
    READABLE_ANGLE,
    READABLE_HEIGHT,
    READABLE_SINK,
    READABLE_SPEED,
    Array,
    column,
    held,
    readable,
    time_since,
    worst,
)
from optdescent.results import Breach
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, KNOT

READABLE_LOAD_FACTOR = 0.02
READABLE_THRUST = 0.005
READABLE_BRAKE = 0.05
_LEAVES = 0.02


def handling_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    """Limits that a flight did not keep: speeds, sink, climb, steepest path, load factor, thrust, speed brake."""
    return [
        *_speed_breaches(scenario, dataset),
        *_path_breaches(scenario, dataset),
        *_load_factor_breaches(scenario, dataset),
        *_thrust_breaches(dataset),
        *_brake_breaches(scenario, dataset),
    ]


def _speed_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    """Largest and least speeds; a limit below an altitude, or from a distance on, also where it begins."""
    to_go, speed = column(dataset, "distance_to_go"), column(dataset, "calibrated_airspeed")
    from_here = readable(dataset, "calibrated_airspeed", READABLE_SPEED)
    where_limited, over_limits = speed_excesses(scenario, dataset)
    places, over = [to_go, *where_limited], [speed - column(dataset, "limit_speed"), *over_limits]
    least, with_brake = _least_speeds(scenario, dataset)
    return [
        *worst(
            "largest speed",
            np.concatenate(places),
            np.concatenate(over),
            from_here,
            lambda amount: f"{amount / KNOT:.0f} kt over the limit",
        ),
        *worst(
            "least speed",
            to_go,
            least - speed,
            from_here,
            lambda amount: f"{amount / KNOT:.0f} kt under the manoeuvring speed",
        ),
        *worst(
            "least speed with speed brake",
            to_go,
            np.where(column(dataset, "speed_brake") > READABLE_BRAKE, with_brake - speed, -np.inf),
            from_here,
            lambda amount: f"{amount / KNOT:.0f} kt too slow for the lift that the brake takes",
        ),
    ]


def _least_speeds(scenario: Scenario, dataset: xr.Dataset) -> tuple[Array, Array]:
    """Least speeds [m/s] of the slats and flaps as they are out: for manoeuvring, and with the speed brake as it is."""
    airframe, mass = scenario.airframe, column(dataset, "mass")
    out = Configuration.at_position(column(dataset, "flaps"), column(dataset, "gear"), len(airframe.steps) - 1)
    with_brake = least_speed_with_brake(airframe, out, mass, column(dataset, "speed_brake"))
    return np.asarray(least_speed(airframe, out, mass)), np.asarray(with_brake)


def _path_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    """Sink rate below heights, climb, the steepest path through the air, and the largest bank."""
    to_go, height = column(dataset, "distance_to_go"), column(dataset, "height_above_threshold")
    sink, altitude = -column(dataset, "vertical_speed"), column(dataset, "altitude")
    found: list[Breach] = []
    sinking = readable(dataset, "vertical_speed", READABLE_SINK)
    for limit in scenario.arrival.sink_limits:
        name = f"sink below {limit.below_height / FOOT:.0f} ft"
        place, excess = held(limit.below_height - height, to_go, sink - limit.sink)
        found += worst(name, place, excess, sinking, lambda amount: f"{amount / FOOT_PER_MINUTE:.0f} ft/min too much")
    climb, climbing = altitude - np.fmin.accumulate(altitude), readable(dataset, "altitude", READABLE_HEIGHT, 2)
    found += worst("no climb", to_go, climb, climbing, lambda amount: f"climbs {amount / FOOT:.0f} ft")
    steep = -column(dataset, "flight_path_angle") - scenario.handling.steepest_path
    angle = readable(dataset, "flight_path_angle", READABLE_ANGLE)
    found += worst("steepest path", to_go, steep, angle, lambda amount: f"{amount / DEGREE:.1f} degrees too steep")
    bank = np.abs(column(dataset, "bank")) - scenario.handling.most_bank
    said, banking = "largest bank", readable(dataset, "bank", READABLE_ANGLE)
    return found + worst(said, to_go, bank, banking, lambda amount: f"{amount / DEGREE:.1f} degrees too much")


def _load_factor_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    to_go, load_factor = column(dataset, "distance_to_go"), column(dataset, "load_factor")
    limits, least = scenario.airframe.limits, readable(dataset, "load_factor", READABLE_LOAD_FACTOR)
    under, over = limits.least_load_factor - load_factor, load_factor - limits.most_load_factor
    return [
        *worst("least load factor", to_go, under, least, lambda amount: f"{amount:.2f} under the limit"),
        *worst("largest load factor", to_go, over, least, lambda amount: f"{amount:.2f} over the limit"),
    ]


def _thrust_breaches(dataset: xr.Dataset) -> list[Breach]:
    """Thrust that the engines do not have: a speed held on a path may ask for less than idle, or for too much."""
    to_go, fraction = column(dataset, "distance_to_go"), column(dataset, "thrust_fraction")
    least = readable(dataset, "thrust_fraction", READABLE_THRUST)

    def share(amount: float, what: str) -> str:
        return f"{100.0 * amount:.1f} % of the range from idle to largest {what}"

    return [
        *worst("idle thrust", to_go, -fraction, least, lambda amount: share(amount, "less than idle")),
        *worst("largest thrust", to_go, fraction - 1.0, least, lambda amount: share(amount, "too much")),
    ]


def _brake_breaches(scenario: Scenario, dataset: xr.Dataset) -> list[Breach]:
    """Speed brake out where it has to be stowed, after the time that a crew needs to stow it.

    Below its height a crew has twice the travel time of the brake, from passing the height. With a later step than the
    last that permits it, twice the travel time and the travel of that step, from where the step begins to move.
    """
    airframe, brake = scenario.airframe, scenario.airframe.speed_brake
    to_go, time, out = (column(dataset, name) for name in ("distance_to_go", "time", "speed_brake"))
    lowest = scenario.handling.speed_brake_above
    stowing = 2.0 * brake.travel_time
    still = readable(dataset, "speed_brake", READABLE_BRAKE)

    def still_out(demand: str, margin: Array, allowed: float) -> list[Breach]:
        excess = np.where(time_since(time, margin) > allowed, out, -np.inf)
        return worst(demand, to_go, excess, still, lambda amount: f"{100.0 * amount:.0f} % still out")

    height = column(dataset, "height_above_threshold")
    found = still_out(f"speed brake below {lowest / FOOT:.0f} ft", lowest - height, stowing)
    after = brake.last_step + 1
    if after < len(airframe.steps):
        step = airframe.steps[after]
        moving = column(dataset, "flaps") - (brake.last_step + _LEAVES)
        found += still_out(f"speed brake with {step.name}", moving, stowing + step.travel_time)
    return found
