"""What the optimum makes of a flight from a moment on: the same arrival, begun where the flight is then."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from optdescent.arrival import FloorPoint, floor_at
from optdescent.inputs import InputFault
from optdescent.ocp import ProblemFault
from optdescent.optimum import DemandsConflict, NotConverged, optimise
from optdescent.results import Flight
from optdescent.scenario import Scenario
from optdescent.units import FOOT, NAUTICAL_MILE

NEAREST, LOWEST = 20.0 * NAUTICAL_MILE, 5000.0 * FOOT
"""Distance to go and altitude [m] below which an optimum is not begun: a scenario's own least."""
_CLEAR = 0.2 * NAUTICAL_MILE
"""How far ahead [m] of the flight a demand of the arrival has to be to be asked for."""


def begun_at(scenario: Scenario, flight: Flight, distance: float) -> Scenario | None:
    """The scenario begun where a flight is at a distance to go [m], level; None where it cannot be begun.

    Demands that lie behind are left out; a hold-down or a stretch of the floor that it is in begins just ahead.
    """
    if why_not_begun(scenario, flight, distance):
        return None
    arrival, published = scenario.arrival, _published(scenario, flight, distance)
    mach, mass = (float(flight.at_distance(name, distance)) for name in ("mach", "mass"))
    farthest = distance - _CLEAR
    ahead = arrival.model_copy(
        update={
            "windows": tuple(window for window in arrival.windows if window.distance < farthest),
            "hold_downs": tuple(
                level.model_copy(update={"from_": min(level.from_, farthest)})
                for level in arrival.hold_downs
                if level.to < farthest - _CLEAR
            ),
            "floor": _floor_ahead(arrival.floor, farthest),
        }
    )
    start = {"distance": distance, "altitude": published, "mach": mach, "mass": mass}
    begun = scenario.start.model_copy(update=start)
    declared = scenario.told.declared.model_copy(update={"start": begun, "arrival": ahead})
    return replace(scenario, start=begun, arrival=ahead, told=replace(scenario.told, declared=declared))


def why_not_begun(scenario: Scenario, flight: Flight, distance: float) -> str:
    """Why no optimum is begun where a flight is at a distance to go [m], in words; empty if one can be."""
    if distance < NEAREST:
        return f"nearer than {NEAREST / NAUTICAL_MILE:.0f} nm"
    after = int(
        np.clip(np.count_nonzero(flight.column("distance_to_go") > distance), 1, flight.column("time").size - 1)
    )
    beside = [flight.column(name)[after - 1 : after + 1] for name in ("altitude", "pressure_altitude", "mach", "mass")]
    if np.isnan(beside).any():  # nothing is read across a gap
        return "altitude, speed or mass not known"
    return f"below {LOWEST / FOOT:.0f} ft" if _published(scenario, flight, distance) < LOWEST else ""


def _published(scenario: Scenario, flight: Flight, distance: float) -> float:
    """Altitude [m] of a flight at a distance to go [m] as a clearance gives it: above the transition a flight level."""
    altitude, pressure_altitude = (
        float(flight.at_distance(name, distance)) for name in ("altitude", "pressure_altitude")
    )
    return pressure_altitude if altitude > scenario.arrival.transition_altitude else altitude


def _floor_ahead(floor: Sequence[FloorPoint], farthest: float) -> tuple[FloorPoint, ...]:
    """Points of a floor ahead of a distance to go [m], and the floor there if it began before."""
    ahead = tuple(point for point in floor if point.distance < farthest)
    if len(ahead) == len(floor) or not ahead:
        return ahead
    distances, altitudes = [point.distance for point in floor], [point.altitude for point in floor]
    begins = float(floor_at(distances, altitudes, np.array([farthest]))[0])
    return (floor[0].model_copy(update={"distance": farthest, "altitude": begins}), *ahead)


def optimum_told(scenario: Scenario, flight: Flight, distance: float) -> str:
    """What the optimum from a distance to go [m] takes, in a sentence, or why none is asked for there."""
    begun = begun_at(scenario, flight, distance)
    if begun is None:
        return f"from there no optimum is asked for: {why_not_begun(scenario, flight, distance)}"
    try:
        summary = optimise(begun).summary
    except DemandsConflict as conflict:
        return f"from there no descent meets every demand: {conflict}"
    except (NotConverged, InputFault, ProblemFault):
        return "from there no optimum was found"
    used = [
        f"{word} for {length / NAUTICAL_MILE:.0f} nm"
        for word, length in (("speed brake", summary.brake_distance), ("thrust", summary.thrust_distance))
        if length > 0.5 * NAUTICAL_MILE
    ]
    return f"from there the optimum takes {summary.fuel:.0f} kg to the threshold" + "".join(f", {one}" for one in used)
