"""A scenario with the mass, wind and temperature that a recorded flight met, where the recording tells them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.profile import ProfileWind
from optdescent.air.wind.sounding import COLUMNS, Sounding, read_sounding
from optdescent.recording import Recording
from optdescent.results import Flight
from optdescent.results.reading import Source
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT

Array = NDArray[np.float64]
_LEVEL = 500.0 * FOOT
"""Height [m] over which the wind met is averaged."""
_ALIKE = 0.5
"""Difference of temperature [K] below which the scenario's is kept."""
_GIVEN = (Source.RECORDED, Source.DERIVED)


@dataclass(frozen=True)
class Met:
    """A scenario as a flight met it, and what was taken from its recording, in sentences [units of the trade]."""

    scenario: Scenario
    taken: tuple[str, ...]


def as_met(scenario: Scenario, recording: Recording) -> Met:
    """The scenario with what the recording tells of mass, wind by height and temperature [SI]; the rest is kept.

    The wind is the mean of what was met in each layer of 500 ft, on the course of the arrival.
    """
    found, taken = scenario, list[str]()
    for take in (_mass, _wind, _temperature):
        found, told = take(found, recording)
        taken += [told] if told else []
    return Met(found, tuple(taken))


def _within(scenario: Scenario, flight: Flight, *names: str) -> NDArray[np.intp]:
    """Indices of points within the arrival at which some columns are known."""
    to_go = flight.column("distance_to_go")
    known = np.isfinite(np.sum([flight.column(name) for name in names], axis=0))
    return np.flatnonzero(known & (to_go >= 0.0) & (to_go <= scenario.start.distance))


def _mass(scenario: Scenario, recording: Recording) -> tuple[Scenario, str]:
    own = _within(scenario, recording.flight, "mass")
    if recording.reading.origin("mass").source is Source.UNKNOWN or not own.size:
        return scenario, ""
    allowed, recorded = scenario.airframe.masses, float(recording.flight.column("mass")[own[0]])
    mass = float(np.clip(recorded, allowed.least, allowed.most))
    if mass != recorded:
        told = f"the recording's mass, {recorded:.0f} kg, is not one of the airframe: {mass:.0f} kg are taken"
    elif abs(mass - scenario.start.mass) < _SAME_MASS:
        return scenario, ""
    else:
        told = f"mass {mass:.0f} kg, as recorded (scenario: {scenario.start.mass:.0f} kg)"
    start, declared = scenario.start.model_copy(update={"mass": mass}), scenario.told.declared
    told_of = replace(scenario.told, declared=declared.model_copy(update={"start": start}))
    return replace(scenario, start=start, told=told_of), told


_SAME_MASS = 50.0
"""Difference of mass [kg] below which the scenario's is kept."""


def _wind(scenario: Scenario, recording: Recording) -> tuple[Scenario, str]:
    flight = recording.flight
    own = _within(scenario, flight, "wind_along", "wind_across", "pressure_altitude")
    if recording.reading.origin("wind_along").source not in _GIVEN or not own.size:
        return scenario, ""
    met = _sounding(scenario, flight, own)
    if met is None:
        return scenario, ""
    wind = ProfileWind(met)
    found = replace(scenario, wind=wind, told=replace(scenario.told, wind=wind.text))
    along, across = (flight.column(name)[own] for name in ("wind_along", "wind_across"))
    x, altitude = -flight.column("distance_to_go")[own], flight.column("pressure_altitude")[own]
    theirs = scenario.air.sample(x, altitude, scenario.arrival.track.course(x))
    off = np.hypot(along - np.asarray(theirs.wind_along), across - np.asarray(theirs.wind_across))
    return found, f"wind by height, as met: on the mean {float(np.mean(off)) / KNOT:.0f} kt from the scenario's"


def _sounding(scenario: Scenario, flight: Flight, own: NDArray[np.intp]) -> Sounding | None:
    """Mean wind in layers [m/s]; None of a flight that spans less than two."""
    x, altitude = -flight.column("distance_to_go")[own], flight.column("pressure_altitude")[own]
    height = np.asarray(scenario.air.height(altitude), dtype=float)
    course = np.asarray(scenario.arrival.track.course(x), dtype=float)
    along, across = (flight.column(name)[own] for name in ("wind_along", "wind_across"))
    east = along * np.sin(course) + across * np.cos(course)
    north = along * np.cos(course) - across * np.sin(course)
    layer = np.floor(height / _LEVEL).astype(int)
    levels, index, count = np.unique(layer, return_inverse=True, return_counts=True)
    if levels.size < 2:
        return None
    means = [np.bincount(index, weights=values) / count for values in (height, east, north)]
    lines = ["# Mean wind met by a recorded flight, by layer", ",".join(COLUMNS)]
    for at, to_east, to_north in zip(*(mean.tolist() for mean in means), strict=True):
        wind_from = np.degrees(np.arctan2(-to_east, -to_north)) % 360.0
        lines.append(f",{at:.1f},,{wind_from:.2f},{np.hypot(to_east, to_north) / KNOT:.3f}")
    return read_sounding("wind met", "\n".join(lines) + "\n")


def _temperature(scenario: Scenario, recording: Recording) -> tuple[Scenario, str]:
    flight = recording.flight
    own = _within(scenario, flight, "temperature", "pressure_altitude")
    if recording.reading.origin("temperature").source not in _GIVEN or not own.size or scenario.warmth is not None:
        return scenario, ""
    usual = np.asarray(scenario.air.temperature(flight.column("pressure_altitude")[own]), dtype=float)
    shift = float(np.median(flight.column("temperature")[own] - usual))
    if abs(shift) < _ALIKE:
        return scenario, ""
    offset, declared = scenario.temperature_offset + shift, scenario.told.declared
    air = declared.air.model_copy(update={"temperature_offset": offset})
    told = replace(scenario.told, declared=declared.model_copy(update={"air": air}))
    found = replace(scenario, temperature_offset=offset, told=told)
    return found, f"temperature {offset:+.0f} K from standard, as met (scenario: {scenario.temperature_offset:+.0f} K)"
