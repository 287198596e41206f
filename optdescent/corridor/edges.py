"""Edges of several sets of devices over the same places, worked out once for all that is asked of them."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import reference_speed
from optdescent.corridor.devices import SCHEDULE, DeviceSet
from optdescent.corridor.ground import Ground, ground_of
from optdescent.corridor.margin import configurations, margin
from optdescent.corridor.reach import Edge, Reach, reach
from optdescent.inputs import Fault, InputFault
from optdescent.results import Flight
from optdescent.scenario import Scenario
from optdescent.units import KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Grid:
    """Distances to go [m] and calibrated airspeeds [m/s] that lie on the grid of an edge."""

    distances: tuple[float, ...]
    speeds: tuple[float, ...]


@dataclass(frozen=True)
class Edges:
    """Highest edges of several sets of devices, and the lowest without thrust, over the same places."""

    ground: Ground
    highest: tuple[Reach, ...]
    lowest: Reach

    def of(self, devices: DeviceSet) -> Reach:
        """Highest edge of a set of devices.

        Raises
        ------
        KeyError
            It was not worked out.
        """
        for found in self.highest:
            if found.devices == devices:
                return found
        raise KeyError(devices.name)

    def margins(self, flight: Flight) -> Array:
        """Energy height (set, point) [m] inside each highest edge along a flight; not a number where none is known."""
        to_go, altitude = flight.column("distance_to_go"), flight.column("pressure_altitude")
        speed, flaps, gear = (flight.column(name) for name in ("calibrated_airspeed", "flaps", "gear"))
        places = self.ground.to_go
        asked = (to_go <= places[-1]) & (to_go >= places[0]) & np.isfinite(altitude + speed + flaps + gear)
        found = np.full((len(self.highest), to_go.size), np.nan)
        for index, own in enumerate(self.highest):
            numbers = configurations(own, flaps[asked], gear[asked])
            found[index, asked] = margin(own, to_go[asked], altitude[asked], speed[asked], numbers)
        return found


def edges_for(scenario: Scenario, grid: Grid, sets: Sequence[DeviceSet], progress: Callable[[str], None]) -> Edges:
    """Edges out to the farthest distance of a grid, for speeds up to its fastest [SI].

    Raises
    ------
    InputFault
        A distance nearer than the glide path may be captured, or beyond the start; a speed that cannot be flown.
    """
    check_grid(scenario, grid)
    ground = ground_of(scenario, max(grid.distances), grid.distances)
    found: list[Reach] = []
    for devices in sets:
        progress(f"corridor: {devices.name}")
        found.append(reach(ground, devices, Edge.HIGHEST, grid.speeds))
    progress("corridor: lowest height without thrust")
    return Edges(ground, tuple(found), reach(ground, SCHEDULE, Edge.LOWEST, grid.speeds))


@dataclass(frozen=True)
class Bounds:
    """What a grid may ask for: nearest and farthest distance to go [m], slowest and fastest speed [m/s, calibrated]."""

    nearest: float
    farthest: float
    slowest: float
    fastest: float


def bounds_of(scenario: Scenario) -> Bounds:
    """What a grid of a scenario may ask for [SI]: from the farthest capture of the glide path to the start."""
    path, gate = scenario.arrival.glide_path, scenario.arrival.gate
    slowest = reference_speed(scenario.airframe, scenario.start.mass) + gate.speed_above_reference - gate.speed_under
    return Bounds(
        -path.distance(path.capture_at_most),
        scenario.start.distance,
        float(slowest),
        scenario.airframe.limits.maximum_speed,
    )


def check_grid(scenario: Scenario, grid: Grid) -> None:
    """Check that a grid may be asked of a scenario [SI].

    Raises
    ------
    InputFault
        A distance nearer than the glide path may be captured, or beyond the start; a speed that cannot be flown.
    """
    bounds, faults = bounds_of(scenario), list[Fault]()
    low, high = bounds.nearest, bounds.farthest
    for distance in grid.distances:
        if not low <= distance <= high:
            allowed = (
                f"from {low / NAUTICAL_MILE:.1f} nm, the farthest capture of the glide path, "
                f"to {high / NAUTICAL_MILE:.0f} nm, the start"
            )
            faults.append(Fault("corridor", "distance", f"got {distance / NAUTICAL_MILE:g} nm", allowed))
    least, most = bounds.slowest, bounds.fastest
    for speed in grid.speeds:
        if not least <= speed <= most:
            allowed = f"{least / KNOT:.0f} to {most / KNOT:.0f} kt ({scenario.airframe.title})"
            faults.append(Fault("corridor", "speed", f"got {speed / KNOT:g} kt", allowed))
    if not grid.distances or not grid.speeds:
        faults.append(Fault("corridor", "grid", "is empty", "at least one distance and one speed"))
    if faults:
        raise InputFault(faults)
