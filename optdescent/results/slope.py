"""Slope chart of an airframe: deceleration at idle by configuration, the wind that ends it, and room between speeds."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import csv_text, read_result, write_netcdf, write_text
from optdescent.results.notebook import dataset_card
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.results.schema import Column
from optdescent.units import DEGREE, FOOT

Array = NDArray[np.float64]
Plain = dict[str, Any]
_COLUMNS = (
    Column("deceleration", "s-1", "fall of calibrated airspeed per distance over the ground", "kt_per_nm"),
    Column("deceleration_by_height", "s-1", "fall of calibrated airspeed per height lost", "kt_per_1000ft"),
    Column("stop_tailwind", "m s-1", "tailwind at which slowing stops", "kt"),
    Column("stretch_from", "m s-1", "limit speed of what is out, or the largest of the chart", "kt"),
    Column("stretch_to", "m s-1", "limit speed of the next step", "kt"),
    Column("stretch_distance", "m", "distance from the one limit speed to the next", "nm"),
    Column("stretch_height", "m", "height from the one limit speed to the next", "ft"),
    Column("flaps", "1", "step of slats and flaps", ""),
    Column("gear", "1", "gear, up (0) or down (1)", ""),
    Column("speed_brake", "1", "speed brake, in (0) or out (1)", ""),
    Column("room", "m s-1", "limit speed of the next step above the manoeuvring speed", "kt"),
    Column("mass", "kg", "mass", "kg"),
    Column("tailwind", "m s-1", "wind along the track, tailwind positive", "kt"),
    Column("speed", "m s-1", "calibrated airspeed", "kt"),
    Column("room_mass", "kg", "mass", "t"),
)
SLOPE_COLUMNS = {column.name: column for column in _COLUMNS}
"""Every variable and numeric coordinate by name; `configuration` and `step` are coordinates of names."""
DIMENSIONS: dict[str, tuple[str, ...]] = {
    "deceleration": ("configuration", "mass", "tailwind", "speed"),
    "deceleration_by_height": ("configuration", "mass", "tailwind", "speed"),
    "stop_tailwind": ("configuration", "mass", "speed"),
    "stretch_from": ("configuration",),
    "stretch_to": ("configuration",),
    "stretch_distance": ("configuration", "mass", "tailwind"),
    "stretch_height": ("configuration", "mass", "tailwind"),
    "flaps": ("configuration",),
    "gear": ("configuration",),
    "speed_brake": ("configuration",),
    "room": ("step", "room_mass"),
}
"""Dimensions of each variable. What is not flown is not a number, nor is a wind or a distance that there is not."""
COORDINATES = ("configuration", "mass", "tailwind", "speed", "step", "room_mass")


def slope_dataset(values: Mapping[str, ArrayLike], coordinates: Mapping[str, ArrayLike]) -> xr.Dataset:
    """Dataset of values [SI] by the names of the schema, in the order of its dimensions.

    Raises
    ------
    ValueError
        A name that the schema does not have, or one that it has and is absent.
    """
    wrong = (set(values) ^ set(DIMENSIONS)) | (set(coordinates) ^ set(COORDINATES))
    if wrong:
        raise ValueError(f"names differ from the schema: {sorted(wrong)}")
    variables = {name: (DIMENSIONS[name], np.asarray(value), _attributes(name)) for name, value in values.items()}
    named = {name: ((name,), _coordinate(name, value), _attributes(name)) for name, value in coordinates.items()}
    return xr.Dataset(variables, coords=named)


@dataclass(frozen=True, repr=False)
class SlopeChart:
    """Deceleration on a path at an angle below the horizontal [rad] at a pressure altitude [m], standard air [SI]."""

    dataset: xr.Dataset
    angle: float
    altitude: float
    provenance: Provenance

    def values(self, name: str) -> Array:
        """Values of a variable or numeric coordinate [SI]."""
        return np.asarray(self.dataset[name].to_numpy(), dtype=float)

    def charted(self, name: str) -> Array:
        """Values of a variable or numeric coordinate in the unit of charts [see `SLOPE_COLUMNS`]."""
        return self.values(name) / SLOPE_COLUMNS[name].chart_unit.factor

    def names(self, coordinate: str) -> tuple[str, ...]:
        """Names along `configuration` or `step`."""
        return tuple(str(name) for name in self.dataset[coordinate].to_numpy())

    def __repr__(self) -> str:
        sizes = self.dataset.sizes
        return (
            f"SlopeChart({self.angle / DEGREE:g} deg, {sizes['configuration']} configurations, {sizes['mass']} masses)"
        )

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return dataset_card("Slowing on a slope", self.provenance, self.dataset)

    def to_csv(self, path: Path) -> None:
        """Write one row for each deceleration as CSV, with comment lines of provenance and caution.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        write_text(path, slope_csv(self, decelerations_plain(self)))

    def to_netcdf(self, path: Path) -> None:
        """Write the chart as netCDF-4, in SI.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        stamped = self.dataset.assign_attrs(self.provenance.attributes())
        stamped = stamped.assign_attrs(
            kind="slope", angle_rad=self.angle, pressure_altitude_m=self.altitude, of=self.provenance.of
        )
        write_netcdf(path, stamped)

    @classmethod
    def from_netcdf(cls, path: str | Path) -> SlopeChart:
        """Chart of a file that `to_netcdf` wrote [SI].

        Raises
        ------
        InputFault
            The file cannot be read or does not hold a slope chart.
        """
        try:
            dataset, attributes = read_result(path, "slope")
            angle, altitude = (float(attributes[key]) for key in ("angle_rad", "pressure_altitude_m"))
            return cls(dataset, angle, altitude, Provenance.of_attributes(attributes))
        except (OSError, KeyError, TypeError, ValueError) as error:
            given = f"does not hold a slope chart ({error})"
            raise InputFault([Fault(str(path), "", given, "a slope chart written by this package")]) from error


def slope_plain(found: SlopeChart) -> Plain:
    """The chart as a plain dictionary for JSON; keys carry their unit [deg, ft, kg, kt, nm]."""
    provenance = found.provenance
    return {
        "airframe": {"title": provenance.title, "digest": provenance.scenario_digest},
        "angle_deg": round(found.angle / DEGREE, 3),
        "pressure_altitude_ft": round(found.altitude / FOOT),
        "decelerations": decelerations_plain(found),
        "stretches": stretches_plain(found),
        "room": room_plain(found),
        "caution": CAUTION,
    }


def decelerations_plain(found: SlopeChart) -> list[Plain]:
    """Every deceleration that is flown; keys carry their unit [kg, kt, kt/nm, kt/1000 ft]."""
    by_distance, by_height = found.charted("deceleration"), found.charted("deceleration_by_height")
    stop = found.charted("stop_tailwind")
    mass, wind, speed = (found.charted(name) for name in ("mass", "tailwind", "speed"))
    rows: list[Plain] = []
    for at in np.argwhere(np.isfinite(by_distance)):
        index = own, of_mass, of_wind, of_speed = tuple(int(number) for number in at)
        rows.append(
            {
                **_configuration(found, own),
                "mass_kg": round(float(mass[of_mass])),
                "tailwind_kt": _rounded(wind[of_wind], 1),
                "speed_kt": _rounded(speed[of_speed], 1),
                "deceleration_kt_per_nm": _rounded(by_distance[index], 2),
                "deceleration_kt_per_1000ft": _rounded(by_height[index], 2),
                "stop_tailwind_kt": _rounded(stop[own, of_mass, of_speed], 1),
            }
        )
    return rows


def stretches_plain(found: SlopeChart) -> list[Plain]:
    """Distance and height from each limit speed to the next; keys carry their unit [kg, kt, nm, ft]."""
    begins, ends = found.charted("stretch_from"), found.charted("stretch_to")
    distance, height = found.charted("stretch_distance"), found.charted("stretch_height")
    mass, wind = found.charted("mass"), found.charted("tailwind")
    rows: list[Plain] = []
    for index in np.ndindex(distance.shape):
        own, of_mass, of_wind = index
        if np.isfinite(ends[own]) and ends[own] < begins[own]:
            rows.append(
                {
                    **_configuration(found, own),
                    "mass_kg": round(float(mass[of_mass])),
                    "tailwind_kt": _rounded(wind[of_wind], 1),
                    "from_kt": _rounded(begins[own], 1),
                    "to_kt": _rounded(ends[own], 1),
                    "distance_nm": _rounded(distance[index], 2),
                    "height_ft": _rounded(height[index], 0),
                }
            )
    return rows


def room_plain(found: SlopeChart) -> list[Plain]:
    """Room between the manoeuvring speed of each step and the limit speed of the next; keys carry their unit [kg, kt].

    Below zero there is none: the next step may be selected only below the manoeuvring speed.
    """
    room, mass = found.charted("room"), found.values("room_mass")
    return [
        {"step": name, "mass_kg": round(float(of_mass)), "room_kt": _rounded(value, 1)}
        for name, values in zip(found.names("step"), room, strict=True)
        for of_mass, value in zip(mass, values, strict=True)
    ]


def slope_csv(found: SlopeChart, rows: Sequence[Plain]) -> str:
    """Rows of a chart as CSV, with comment lines of provenance and caution [units of the trade in the header]."""
    slope = f"path of {found.angle / DEGREE:g} deg at idle, pressure altitude {found.altitude / FOOT:.0f} ft"
    comments = (found.provenance.source, slope, CAUTION)
    return csv_text(comments, list(rows[0]) if rows else [], rows)


def _configuration(found: SlopeChart, index: int) -> Plain:
    return {
        "configuration": found.names("configuration")[index],
        **{name: int(found.values(name)[index]) for name in ("flaps", "gear", "speed_brake")},
    }


def _rounded(value: float | Array, digits: int) -> float | None:
    number = float(value)
    return None if math.isnan(number) else round(number, digits) + 0.0


def _coordinate(name: str, values: ArrayLike) -> NDArray[Any]:
    return np.asarray(values, dtype=float if name in SLOPE_COLUMNS else object)


def _attributes(name: str) -> Plain:
    column = SLOPE_COLUMNS.get(name)
    return {} if column is None else {"units": column.unit, "long_name": column.long_name}
