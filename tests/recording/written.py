"""Invented recordings: a descent of our own crew as files of a recorder would hold it, with seeded noise of sensors.

No aircraft and no crew flew it.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.interpolate import CubicHermiteSpline

from optdescent.air.altitude import setting_shift
from optdescent.recording import ColumnMap, Recording, read_recording
from optdescent.recording.declaration import columns_of
from optdescent.results import Flight
from optdescent.rules import fly, read_rules
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY

Array = NDArray[np.float64]

SCENARIO: Scenario = Scenario.from_toml(STUDY)
SIGMA = {
    "distance_to_go": 30.0,
    "pressure_altitude": 3.0,
    "qnh_altitude": 3.0,
    "height_above_threshold": 3.0,
    "calibrated_airspeed": 0.3,
    "true_airspeed": 0.3,
    "ground_speed": 0.4,
    "vertical_speed": 0.25,
    "temperature": 0.3,
    "wind_along": 1.0,
    "wind_across": 1.0,
    "wind_speed": 1.0,
    "heading": 0.004,
    "track": 0.004,
    "load_factor": 0.005,
    "fuel_flow": 0.01,
    "latitude": 3.0 / 6371000.0,
    "longitude": 3.0 / 6371000.0,
}
"""One sigma of the noise [SI] put on each quantity; none on what is moved by hand."""
PARTS = {
    "ft": FOOT,
    "kt": KNOT,
    "ft/min": FOOT_PER_MINUTE,
    "nm": NAUTICAL_MILE,
    "km": 1000.0,
    "deg": DEGREE,
    "km/h": 1.0 / 3.6,
    "kg/h": 1.0 / 3600.0,
    "percent": 0.01,
    "t": 1000.0,
    "lb": 0.45359237,
    "hPa": 100.0,
}
"""What one of each unit is in SI; a unit that is not here is SI itself."""


@cache
def flown() -> Flight:
    """The second rule of the first study, flown by a perfect crew."""
    return fly(SCENARIO, read_rules("three_rules")[1])


@cache
def truth(every: float = 1.0) -> dict[str, Array]:
    """Columns of that flight at equal steps of time [SI]; between looks altitude and distance follow their rates."""
    flight = flown()
    time = flight.column("time")
    at = np.arange(0.0, time[-1], every)
    found = {str(name): np.interp(at, time, flight.column(str(name))) for name in flight.dataset.variables}
    stretch = flight.column("temperature") / (288.15 - 0.0065 * np.minimum(flight.column("pressure_altitude"), 11000.0))
    rates = {
        "distance_to_go": -flight.column("ground_speed"),
        "altitude": flight.column("vertical_speed"),
        "height_above_threshold": flight.column("vertical_speed"),
        "pressure_altitude": flight.column("vertical_speed") / stretch,
    }
    for name, rate in rates.items():
        spline = CubicHermiteSpline(time, flight.column(name), rate)
        found[name] = np.asarray(spline(at), dtype=float)
        if name == "altitude":
            found["vertical_speed"] = np.asarray(spline(at, 1), dtype=float)
    found["time"] = at
    found["qnh_altitude"] = found["pressure_altitude"] - float(setting_shift(SCENARIO.qnh))
    course = np.asarray(SCENARIO.arrival.track.course(-found["distance_to_go"]) + 0.0 * at, dtype=float)
    drift = np.arcsin(found["wind_across"] / (found["true_airspeed"] * np.cos(found["flight_path_angle"])))
    found["track"], found["heading"] = course, course - drift
    east = found["wind_along"] * np.sin(course) + found["wind_across"] * np.cos(course)
    north = found["wind_along"] * np.cos(course) - found["wind_across"] * np.sin(course)
    found["wind_speed"], found["wind_from"] = np.hypot(east, north), np.arctan2(-east, -north) % (2.0 * np.pi)
    return found


@dataclass(frozen=True)
class Layout:
    """How a recording is written: quantities with column name and unit, more of the map, how the text looks."""

    columns: dict[str, tuple[str, str]]
    more: dict[str, Any] = field(default_factory=dict)
    each: dict[str, dict[str, Any]] = field(default_factory=dict)
    every: float = 1.0
    seed: int = 1
    digits: int = 6
    delimiter: str = ","
    decimal: str = "."

    @property
    def map(self) -> ColumnMap:
        """The map that fits it."""
        columns = {
            name: {"column": column, "unit": unit, **self.each.get(name, {})}
            for name, (column, unit) in self.columns.items()
        }
        return columns_of({"title": "invented descent", "columns": columns, **self.more}, "columns.toml")

    def but(self, **columns: tuple[str, str]) -> Layout:
        """With other columns beside or in place of its own."""
        return replace(self, columns={**self.columns, **columns})

    def without(self, *names: str) -> Layout:
        """Without some of its columns."""
        return replace(self, columns={name: column for name, column in self.columns.items() if name not in names})

    def cells(self, extra: dict[str, Array] | None = None) -> dict[str, Array]:
        """Columns (row,) in their units, with noise; `extra` goes before the flight's own [SI]."""
        draw, whole = np.random.default_rng(self.seed), truth(self.every) | (extra or {})
        found: dict[str, Array] = {}
        for name, (column, unit) in self.columns.items():
            values = whole[name] + draw.normal(0.0, 1.0, whole["time"].size) * SIGMA.get(name, 0.0)
            zero = 273.15 if unit == "degC" else 0.0
            found[column] = (values - zero) / PARTS.get(unit, 1.0)
        return found

    def lines(self, extra: dict[str, Array] | None = None) -> list[str]:
        """Lines of a CSV file: a header and a row a point."""
        cells = self.cells(extra)
        rows = zip(*([self.written(value) for value in values] for values in cells.values()), strict=True)
        return [self.delimiter.join(cells), *(self.delimiter.join(row) for row in rows)]

    def written(self, value: float) -> str:
        """A number as a cell."""
        return f"{value:.{self.digits}f}".replace(".", self.decimal)


METRIC = Layout(
    {
        "time": ("t", "s"),
        "distance_to_go": ("x", "m"),
        "pressure_altitude": ("hp", "m"),
        "true_airspeed": ("v", "m/s"),
        "ground_speed": ("vg", "m/s"),
        "vertical_speed": ("vz", "m/s"),
        "temperature": ("T", "K"),
        "flaps": ("flaps", "step"),
        "gear": ("gear", "fraction"),
        "speed_brake": ("brake", "fraction"),
        "mass": ("m", "kg"),
        "thrust_fraction": ("lever", "fraction"),
        "fuel_flow": ("ff", "kg/s"),
    }
)
TRADE = Layout(
    {
        "time": ("TIME", "s"),
        "distance_to_go": ("DIST", "nm"),
        "pressure_altitude": ("ALT STD", "ft"),
        "calibrated_airspeed": ("CAS", "kt"),
        "ground_speed": ("GS", "kt"),
        "temperature": ("SAT", "degC"),
        "flaps": ("FLAP", "step"),
        "gear": ("GEAR", "percent"),
        "speed_brake": ("SPOILER", "percent"),
        "fuel_flow": ("FF", "kg/h"),
    }
)


def save(path: Path, lines: list[str]) -> Path:
    """Write lines of a CSV file."""
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def save_netcdf(path: Path, layout: Layout, units: dict[str, str] | None = None) -> Path:
    """Write a layout as netCDF, with the units that it says itself."""
    cells = {name: ("row", values) for name, values in layout.cells().items()}
    dataset = xr.Dataset(cells)
    for name, unit in (units or {}).items():
        dataset[name].attrs["units"] = unit
    dataset.to_netcdf(path, engine="h5netcdf")
    return path


def read(folder: Path, layout: Layout, lines: list[str] | None = None, scenario: Scenario = SCENARIO) -> Recording:
    """Recording of a layout, written and read back."""
    return read_recording(save(folder / "flight.csv", lines or layout.lines()), layout.map, scenario)
