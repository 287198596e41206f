"""The air a recording met, and its speeds through it: altitude, temperature, airspeeds, vertical speed, wind."""

from __future__ import annotations

from functools import partial
from operator import add

import numpy as np

from optdescent.air import AirSample
from optdescent.air.airspeed import calibrated_from_mach, mach_from_calibrated
from optdescent.air.altitude import setting_shift
from optdescent.air.atmosphere import (
    GAS_CONSTANT,
    HEAT_RATIO,
    pressure,
    speed_of_sound_at,
    standard_temperature,
)
from optdescent.air.atmosphere import pressure_altitude as altitude_of_pressure
from optdescent.air.wind.direction import along_and_across
from optdescent.curves.elementary import Value
from optdescent.motion import surroundings
from optdescent.motion.equations import air_at
from optdescent.recording.doubts import Doubts
from optdescent.recording.known import Known
from optdescent.recording.place import BRIDGED
from optdescent.recording.values import Array
from optdescent.results.reading import Origin, Source
from optdescent.scenario import Scenario

FORECAST_WARMTH, FORECAST_WIND = 3.0, 7.5
"""One sigma of a scenario's temperature [K] and wind [m/s] as met by another flight (our choice, no source)."""


def add_altitude(known: Known, scenario: Scenario) -> None:
    """Pressure altitude [m] from what stands for it: static pressure, QNH altitude, height above the threshold."""
    known.derive("pressure_altitude", altitude_of_pressure, ["static_pressure"], "from static pressure")
    if known.has("altimeter_setting"):
        known.derive(
            "pressure_altitude",
            _with_setting,
            ["qnh_altitude", "altimeter_setting"],
            "from QNH altitude and the recorded setting",
        )
    shift = float(setting_shift(scenario.qnh))
    known.derive(
        "pressure_altitude",
        partial(add, shift),
        ["qnh_altitude"],
        f"from QNH altitude with the scenario's setting, {scenario.qnh / 100.0:.1f} hPa",
    )
    levels = np.linspace(-1500.0, 20000.0, 2151)
    heights = np.asarray(scenario.air.height(levels), dtype=float)
    known.derive(
        "pressure_altitude",
        partial(np.interp, xp=heights - scenario.arrival.elevation, fp=levels),
        ["height_above_threshold"],
        "from height above the threshold in the scenario's air",
    )


def add_airspeed(known: Known, scenario: Scenario, doubts: Doubts) -> None:
    """Temperature [K] and the airspeeds [m/s] that follow from each other at a pressure altitude."""
    known.derive(
        "mach",
        _mach_of_calibrated,
        ["calibrated_airspeed", "pressure_altitude"],
        "from calibrated airspeed and pressure altitude",
    )
    known.derive(
        "temperature",
        _temperature_of,
        ["true_airspeed", "mach"],
        "from true airspeed and Mach number",
    )
    if not known.has("temperature") or not np.isfinite(known.column("temperature")).all():
        known.fill(
            "temperature",
            np.asarray(scenario.air.temperature(known.column("pressure_altitude")), dtype=float),
            FORECAST_WARMTH,
            "taken from the scenario's air",
            Source.ASSUMED,
        )
        if known.origins["temperature"].source is Source.ASSUMED:
            doubts.warn("temperature is not recorded: the scenario's is taken")
    known.derive(
        "true_airspeed",
        _true_of,
        ["mach", "temperature"],
        "from Mach number and temperature",
    )
    known.derive(
        "mach",
        _mach_of_true,
        ["true_airspeed", "temperature"],
        "from true airspeed and temperature",
    )
    known.derive(
        "calibrated_airspeed",
        _calibrated_of,
        ["mach", "pressure_altitude"],
        "from Mach number and pressure altitude",
    )


def add_height(known: Known, scenario: Scenario) -> None:
    """Geopotential altitude and height above the threshold [m], and vertical speed [m/s]."""
    elevation = scenario.arrival.elevation
    known.derive("altitude", partial(add, elevation), ["height_above_threshold"], "from the recorded height")
    altitude = known.column("pressure_altitude")
    if known.origins["temperature"].source is Source.ASSUMED:
        found, how = np.asarray(scenario.air.height(altitude), dtype=float), "the scenario's temperature"
    else:
        found, how = _built_up(altitude, known.column("temperature"), scenario), "the temperature as met"
    warmth = known.column("temperature") / np.asarray(standard_temperature(altitude), dtype=float)
    stretch = float(np.nanmean(warmth))
    sigma = stretch * known.sigma("pressure_altitude")
    known.fill("altitude", found, sigma, f"from pressure altitude with {how} and the scenario's setting")
    known.derive("height_above_threshold", partial(add, -elevation), ["altitude"], "from altitude")
    rate, sigma = known.slope("altitude")
    known.fill("vertical_speed", rate, sigma, f"from altitude, over {known.window:g} s")
    known.derive(
        "flight_path_angle",
        _angle_of,
        ["vertical_speed", "true_airspeed"],
        "from vertical speed and true airspeed",
    )


def _built_up(altitude: Array, temperature: Array, scenario: Scenario) -> Array:
    """Geopotential altitude (point,) [m]: the hydrostatic equation up from the lowest point, through the air as met.

    Below that point, down to the threshold, the air is the scenario's.
    """
    found = np.full(altitude.size, np.nan)
    rows = np.flatnonzero(np.isfinite(altitude) & np.isfinite(temperature))
    at, stretch = altitude[rows], temperature[rows] / np.asarray(standard_temperature(altitude[rows]))
    above = np.concatenate([[0.0], np.cumsum(0.5 * (stretch[1:] + stretch[:-1]) * np.diff(at))])
    lowest = int(np.argmin(at))
    found[rows] = float(scenario.air.height(at[lowest])) + above - above[lowest]
    return found


def add_wind(known: Known, scenario: Scenario, doubts: Doubts) -> None:
    """Winds along and across the track, ground speed and true airspeed [m/s], as far as they follow from each other."""
    recorded_wind(known)
    if not known.has("true_airspeed"):
        _add_still_airspeed(known, scenario, doubts)
        add_airspeed(known, scenario, doubts)
        add_height(known, scenario)
    known.derive(
        "wind_across",
        _drifting,
        ["true_airspeed", "flight_path_angle", "heading", "track"],
        "from heading, track and true airspeed",
    )
    if not known.has("ground_speed") and known.has("wind_along"):
        known.derive("ground_speed", _over_ground, _AIR_NAMES, "from true airspeed and wind")
    rate, sigma = known.slope("distance_to_go")
    rate = np.where(known.column(BRIDGED) > 0.0, np.nan, rate)
    known.fill("ground_speed", -rate, sigma, f"from distance to go, over {known.window:g} s")
    _take_wind(known, scenario, doubts, "wind_across")
    known.derive(
        "wind_along",
        _tailwind,
        ["ground_speed", "true_airspeed", "flight_path_angle", "wind_across"],
        "from ground speed and true airspeed",
    )
    _blank_unflown(known, doubts)


def _blank_unflown(known: Known, doubts: Doubts) -> None:
    """Blank speeds at which nothing flies along the track: they are readings of something else."""
    forward = known.column("true_airspeed") * np.cos(known.column("flight_path_angle"))
    unflown = (known.column("ground_speed") < _SLOWEST) | (forward < np.abs(known.column("wind_across")) + _SLOWEST)
    count = int(unflown.sum())
    if count:
        doubts.warn(f"{count} points have a speed at which nothing flies along the track: their speeds are left blank")
        for name in ("ground_speed", "true_airspeed", "calibrated_airspeed", "wind_along"):
            known.columns[name] = np.where(unflown, np.nan, known.column(name))


_STEEPEST = 0.9
_SLOWEST = 10.0
"""Speed [m/s] over the ground, or through the air along the track, below which no reading is believed."""
_AIR_NAMES = ["true_airspeed", "flight_path_angle", "wind_along", "wind_across"]


def _with_setting(altitude: Value, setting: Value) -> Value:
    return altitude + setting_shift(setting)


def _mach_of_calibrated(calibrated: Value, altitude: Value) -> Value:
    return mach_from_calibrated(calibrated, pressure(altitude))


def _mach_of_true(true: Value, temperature: Value) -> Value:
    return true / speed_of_sound_at(temperature)


def _temperature_of(true: Value, mach: Value) -> Value:
    return (true / mach) ** 2 / (HEAT_RATIO * GAS_CONSTANT)


def _true_of(mach: Value, temperature: Value) -> Value:
    return mach * speed_of_sound_at(temperature)


def _calibrated_of(mach: Value, altitude: Value) -> Value:
    return calibrated_from_mach(mach, pressure(altitude))


def _angle_of(climb: Value, true: Value) -> Value:
    return np.arcsin(np.clip(climb / np.maximum(true, 1.0), -_STEEPEST, _STEEPEST))


def _drifting(true: Value, angle: Value, heading: Value, track: Value) -> Value:
    """Wind across the track [m/s]: what the aircraft crabs against."""
    return true * np.cos(angle) * np.sin(track - heading)


def _forward(true: Value, angle: Value, across: Value) -> Value:
    """Speed through the air [m/s] on the track."""
    return np.sqrt(np.maximum((true * np.cos(angle)) ** 2 - across**2, 0.0))


def _over_ground(true: Value, angle: Value, along: Value, across: Value) -> Value:
    return _forward(true, angle, across) + along


def _tailwind(ground: Value, true: Value, angle: Value, across: Value) -> Value:
    return ground - _forward(true, angle, across)


def _through_air(ground: Value, along: Value, across: Value, climb: Value) -> Value:
    return np.sqrt((ground - along) ** 2 + across**2 + climb**2)


def _along(east: Value, north: Value, course: Value) -> Value:
    return along_and_across(east, north, course)[0]


def _across(east: Value, north: Value, course: Value) -> Value:
    return along_and_across(east, north, course)[1]


def recorded_wind(known: Known) -> None:
    """Winds along and across the track [m/s] from wind components as recorded, on the course flown."""
    names = ["wind_east", "wind_north", "course"]
    known.derive("wind_along", _along, names, "from wind direction and speed")
    known.derive("wind_across", _across, names, "from wind direction and speed")


def _add_still_airspeed(known: Known, scenario: Scenario, doubts: Doubts) -> None:
    """True airspeed [m/s] from ground speed and a wind, where no airspeed is recorded."""
    _take_wind(known, scenario, doubts, "wind_along")
    _take_wind(known, scenario, doubts, "wind_across")
    known.derive(
        "true_airspeed",
        _through_air,
        ["ground_speed", "wind_along", "wind_across", "vertical_speed"],
        "from ground speed and wind",
    )


def _take_wind(known: Known, scenario: Scenario, doubts: Doubts, name: str) -> None:
    """A component of the wind [m/s] from the scenario, where nothing recorded gives it."""
    if known.has(name):
        return
    sample = air_at(surroundings(scenario), -known.column("distance_to_go"), known.column("pressure_altitude"))
    wind = sample.wind_along if name == "wind_along" else sample.wind_across
    found = np.asarray(wind + 0.0 * known.time, dtype=float)
    known.fill(name, found, FORECAST_WIND, "taken from the scenario's wind", Source.ASSUMED)
    doubts.warn(f"the {name.replace('_', ' ')} the track is not recorded: the scenario's is taken")


def sample_of(known: Known) -> AirSample:
    """Air [SI] as it was met, point by point; winds change along the flight only."""
    altitude, temperature = known.column("pressure_altitude"), known.column("temperature")
    by_distance = {
        name: known.slope(name)[0] / np.maximum(known.column("ground_speed"), 1.0)
        for name in ("wind_along", "wind_across")
    }
    still = np.zeros(known.time.size)
    found = np.asarray(pressure(altitude), dtype=float)
    return AirSample(
        pressure=found,
        temperature=temperature,
        density=found / (GAS_CONSTANT * temperature),
        speed_of_sound=speed_of_sound_at(temperature),
        height=known.column("altitude"),
        stretch=temperature / np.asarray(standard_temperature(altitude)),
        wind_along=known.column("wind_along"),
        wind_across=known.column("wind_across"),
        wind_along_by_height=still,
        wind_across_by_height=still,
        wind_along_by_distance=by_distance["wind_along"],
        wind_across_by_distance=by_distance["wind_across"],
    )


def unknown(name: str, sentence: str) -> Origin:
    """Origin of a column of which nothing is known [SI]."""
    return Origin(name, Source.UNKNOWN, sentence, float("nan"))
