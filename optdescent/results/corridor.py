"""Energy corridor: from which heights the gate can still be met, by distance to go, speed and drag devices."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import csv_text, read_result, write_netcdf, write_text
from optdescent.results.marks import Marks
from optdescent.results.notebook import dataset_card
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.results.schema import Column

Array = NDArray[np.float64]
_COLUMNS = (
    Column("highest", "m", "highest height above the threshold from which the gate can be met", "ft"),
    Column("lowest", "m", "lowest height above the threshold that needs no thrust above idle", "ft"),
    Column("excess_again", "m", "energy height at the gate above the most allowed, flown again", "ft"),
    Column("off_again", "m", "largest height off the plan when the highest descent is flown again", "ft"),
    Column(
        "added_again",
        "m",
        "energy height that thrust adds to the lowest descent flown again, at most 25 ft if it is told",
        "ft",
    ),
)
CORRIDOR_COLUMNS = {column.name: column for column in _COLUMNS}
"""Variables by name: over `devices`, `distance_to_go` and `speed`, those of the lowest descent without `devices`."""
_KEPT = (
    Column(
        "lowest_with_thrust", "m", "lowest height above the threshold from which the gate can be met with thrust", "ft"
    ),
    Column("over_again", "m s-1", "largest speed above a limit when the highest descent is flown again", "kt"),
    Column("outside_again", "m", "largest height outside what is demanded, flown again", "ft"),
    Column("steep_again", "m s-1", "largest rate of sink beyond its limits, flown again", "ft_per_min"),
    Column("climb_again", "m", "most height gained on the way, flown again", "ft"),
    Column("rise_again", "m s-1", "most speed gained after it has begun to fall for the gate, flown again", "kt"),
    Column("taken_off", "m", "height that the highest lies below the edge of the grid, so that it is kept", "ft"),
    Column("raised", "m", "height that the lowest lies above the edge of the grid, so that thrust adds little", "ft"),
    Column("stable_again", "1", "1 if flown again the gate is passed stable and all is kept on the way, else 0", ""),
)
KEPT_COLUMNS = {column.name: column for column in _KEPT}
"""What descents kept of limits and demands and what that took, by name; a corridor stored before had none."""
_ALL = CORRIDOR_COLUMNS | KEPT_COLUMNS
COORDINATES = {
    "distance_to_go": Column("distance_to_go", "m", "distance to go to the threshold", "nm"),
    "speed": Column("speed", "m s-1", "calibrated airspeed", "kt"),
}
"""Numeric coordinates by name."""


def corridor_dataset(
    devices: tuple[str, ...], distances: Array, speeds: Array, columns: Mapping[str, Array]
) -> xr.Dataset:
    """Dataset from columns (devices, distance, speed) or, of the lowest descent, (distance, speed) [SI].

    Raises
    ------
    ValueError
        The columns are not those of the schema.
    """
    different = (set(CORRIDOR_COLUMNS) - set(columns)) | (set(columns) - set(_ALL))
    if different:
        raise ValueError(f"columns differ from the schema: {sorted(different)}")
    variables: dict[str, xr.DataArray] = {}
    for name, column in ((name, column) for name, column in _ALL.items() if name in columns):
        values = np.asarray(columns[name], dtype=float)
        dims = ("devices", "distance_to_go", "speed")[3 - values.ndim :]
        variables[name] = xr.DataArray(values, dims=dims, attrs={"units": column.unit, "long_name": column.long_name})
    coordinates: dict[str, Any] = {"devices": np.array(devices, dtype=object)}
    for name, values in (("distance_to_go", distances), ("speed", speeds)):
        column = COORDINATES[name]
        coordinates[name] = (name, values, {"units": column.unit, "long_name": column.long_name})
    return xr.Dataset(variables, coords=coordinates)


@dataclass(frozen=True, repr=False)
class Corridor:
    """A corridor over devices, distance to go and speed [SI], at one mass [kg], and where it is from."""

    dataset: xr.Dataset
    mass: float
    provenance: Provenance
    marks: Marks

    @property
    def devices(self) -> tuple[str, ...]:
        """Sets of devices, from nothing beyond the schedule to everything."""
        return tuple(str(name) for name in self.dataset["devices"].to_numpy())

    def values(self, name: str) -> Array:
        """Values of a variable or coordinate [SI]."""
        return np.asarray(self.dataset[name].to_numpy(), dtype=float)

    def __repr__(self) -> str:
        sizes = self.dataset.sizes
        return f"Corridor({sizes['distance_to_go']} distances, {sizes['speed']} speeds, {sizes['devices']} device sets)"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return dataset_card("Corridor", self.provenance, self.dataset)

    def to_csv(self, path: Path) -> None:
        """Write one row for each point as CSV, with comment lines of provenance and caution.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        rows = corridor_plain(self)["points"]
        comments = (self.provenance.source, CAUTION)
        write_text(path, csv_text(comments, list(rows[0]), rows))

    def to_netcdf(self, path: Path) -> None:
        """Write the corridor as netCDF-4, in SI.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        stamped = self.dataset.assign_attrs(self.provenance.attributes())
        stamped = stamped.assign_attrs(kind="corridor", mass_kg=self.mass, marks=json.dumps(asdict(self.marks)))
        write_netcdf(path, stamped)

    @classmethod
    def from_netcdf(cls, path: str | Path) -> Corridor:
        """Corridor of a file that `to_netcdf` wrote [SI].

        Raises
        ------
        InputFault
            The file cannot be read or does not hold a corridor.
        """
        try:
            dataset, attributes = read_result(path, "corridor")
            return cls(
                dataset,
                float(attributes["mass_kg"]),
                Provenance.of_attributes(attributes),
                Marks.from_plain(json.loads(attributes["marks"])),
            )
        except (OSError, KeyError, TypeError, ValueError) as error:
            given = f"does not hold a corridor ({error})"
            raise InputFault([Fault(str(path), "", given, "a corridor written by this package")]) from error


def _told(name: str, value: float) -> dict[str, float | bool | None]:
    """A value [SI] of a variable under its key, feet whole and knots to a tenth; none if it is not a number."""
    charted = _ALL[name].charted
    if not charted:
        return {name: None if np.isnan(value) else value > 0.5}
    number = value / _ALL[name].chart_unit.factor + 0.0
    return {f"{name}_{charted}": None if np.isnan(number) else round(number, 1 if charted == "kt" else None)}


def _reason(point: Mapping[str, Any]) -> str | None:
    """Why a point has no highest height, or no lowest; none if it has both, or was stored before reasons were."""
    if "stable_again" not in point:
        return None
    if point["highest_ft"] is not None:
        return None if point["lowest_ft"] is not None else _WITHOUT_LOWEST
    if point["stable_again"] is None:
        return "the gate cannot be met"
    return (
        f"not kept when flown again: {point['excess_again_ft']:.0f} ft of energy too much at the gate, "
        f"{point['over_again_kt']:.1f} kt over a limit, {point['outside_again_ft']:.0f} ft outside what is demanded"
        f"{_sink_and_climb(point)}"
    )


_WITHOUT_LOWEST = "no lowest height: with the normal schedule none without thrust is kept that lies below the highest"


def _sink_and_climb(point: Mapping[str, Any]) -> str:
    """How far a descent sank too fast or climbed, if it did; a corridor stored before does not know."""
    steep, climb = point.get("steep_again_ft_per_min") or 0.0, point.get("climb_again_ft") or 0.0
    told = ((steep, "ft/min too much sink"), (climb, "ft of climb"))
    return "".join(f", {amount:.0f} {what}" for amount, what in told if amount > 0.0)


def _without_lowest(point: Mapping[str, Any]) -> dict[str, None]:
    """Keys of the lowest descents, with nothing, where a set of devices does not reach the gate from their height."""
    highest, nothing = point["highest_ft"], dict[str, None]()
    for keys in _LOWEST:
        lowest = point.get(keys[0])
        if lowest is not None and (highest is None or lowest > highest):
            nothing |= {key: None for key in keys if key in point}
    return nothing


_LOWEST = ("lowest_ft", "added_again_ft", "raised_ft"), ("lowest_with_thrust_ft",)


def corridor_plain(found: Corridor) -> dict[str, Any]:
    """The corridor as a plain dictionary for JSON; keys carry their unit [ft, nm, kt]."""
    points: list[dict[str, Any]] = []
    values = {name: found.values(name) for name in _ALL if name in found.dataset}
    for index, devices in enumerate(found.devices):
        for row, distance in enumerate(found.values("distance_to_go")):
            for column, speed in enumerate(found.values("speed")):
                point: dict[str, Any] = {
                    "devices": devices,
                    "distance_nm": round(distance / COORDINATES["distance_to_go"].chart_unit.factor, 3),
                    "speed_kt": round(speed / COORDINATES["speed"].chart_unit.factor, 1),
                }
                for name, held in values.items():
                    number = float((held[index] if held.ndim == 3 else held)[row, column])
                    point |= _told(name, number)
                points.append({**point, **_without_lowest(point), "reason": _reason(point)})
    provenance = found.provenance
    return {
        "scenario": {"title": provenance.title, "digest": provenance.scenario_digest},
        "mass_kg": round(found.mass),
        "points": points,
        "caution": CAUTION,
    }
