"""A world turned as a whole changes nothing: grid, section, track and wind together, by any angle."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from optdescent.air.wind import GridWind, ProfileWind, SectionWind
from optdescent.air.wind.sounding import Sounding, read_sounding, sounding_text
from optdescent.inputs import read_toml
from optdescent.optimum import optimise
from optdescent.results import Flight
from optdescent.rules import fly, read_rules
from optdescent.scenario import Scenario

STUDIES = Path(__file__).resolve().parents[2] / "studies"
RULE = read_rules()[0]


def turned(east: np.ndarray, north: np.ndarray, angle: float) -> dict[str, np.ndarray]:
    """A wind turned clockwise."""
    cosine, sine = math.cos(angle), math.sin(angle)
    return {"east": cosine * east + sine * north, "north": cosine * north - sine * east}


def world(name: str, angle: float) -> Scenario:
    scenario = Scenario.from_toml(STUDIES / name / "scenario.toml")
    wind = scenario.wind
    if isinstance(wind, SectionWind):
        wind = replace(wind, soundings=tuple(_sounding(s, angle) for s in wind.soundings))
    elif isinstance(wind, GridWind):
        wind = replace(wind, **turned(wind.east, wind.north, angle))
    elif isinstance(wind, ProfileWind):
        wind = ProfileWind(_sounding(wind.sounding, angle))
    legs = tuple(leg.model_copy(update={"course": leg.course + angle}) for leg in scenario.arrival.legs)
    # Where on earth it is must not enter: meridians converge, and they do not turn with the rest.
    changes = {"course": scenario.arrival.course + angle, "legs": legs, "position": None}
    arrival = scenario.arrival.model_copy(update=changes)
    return replace(scenario, wind=wind, arrival=arrival)


def _sounding(sounding: Sounding, angle: float) -> Sounding:
    return replace(sounding, **turned(sounding.east, sounding.north, angle))


def told(flight: Flight) -> list[float]:
    return [flight.summary.fuel, flight.summary.time, *flight.column("true_airspeed")[::50]]


@pytest.mark.slow
@pytest.mark.parametrize("name", ["section_wind", "grid_wind", "turning_track"])
def test_a_turned_world_is_the_same_world(name: str) -> None:
    here = told(fly(world(name, 0.0), RULE))
    for angle in (0.7, -2.3):
        assert told(fly(world(name, angle), RULE)) == pytest.approx(here, rel=1e-6)


@pytest.mark.slow
@pytest.mark.long
def test_a_grid_of_one_sounding_is_that_sounding(tmp_path: Path) -> None:
    """The optimum's fuel under a grid that holds one sounding everywhere, and under the sounding: within 0.1 kg."""
    sounding = read_sounding(*sounding_text("nashville-2014-02-21", None))
    latitude, longitude = np.arange(30.0, 42.0), np.arange(-104.0, -85.0)
    shape = (sounding.height.size, latitude.size, longitude.size)
    axes = ("level", "latitude", "longitude")
    xr.Dataset(
        {
            name: (
                axes,
                np.broadcast_to(values[:, None, None], shape),
                {"standard_name": f"{name}ward_wind", "units": "m s-1"},
            )
            for name, values in (("east", sounding.east), ("north", sounding.north))
        },
        {
            "level": ("level", sounding.height, {"standard_name": "geopotential_height", "units": "m"}),
            "latitude": ("latitude", latitude, {"units": "degrees_north"}),
            "longitude": ("longitude", longitude, {"units": "degrees_east"}),
        },
    ).to_netcdf(tmp_path / "even.nc", engine="h5netcdf")
    data = read_toml(STUDIES / "first_descent" / "scenario.toml")
    data["arrival"]["position"] = {"latitude_deg": 36.0, "longitude_deg": -94.5}
    profile = optimise(Scenario.from_data(data, "profile"))
    data["air"]["wind"] = {"kind": "grid", "file": "even.nc"}
    grid = optimise(Scenario.from_data(data, "grid", tmp_path))
    assert grid.summary.fuel == pytest.approx(profile.summary.fuel, abs=0.1)
