"""Margins: what separates the optimum and the rules flown through the same air, as one table with its flights."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import csv_text, read_result, write_netcdf, write_text
from optdescent.results.flight import Flight
from optdescent.results.notebook import margins_html, margins_rows
from optdescent.results.price import NOT_STABLE, PRICES
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.results.rounding import as_read
from optdescent.results.schema import Column

_COLUMNS = (
    Column("fuel", "kg", "fuel used from the start to the threshold", "kg"),
    Column("fuel_above_optimum", "kg", "fuel used above the optimum", "kg"),
    Column("cost_above_optimum", "kg", "fuel and cost of time, as fuel, above the optimum", "kg"),
    Column("time", "s", "time from the start to the threshold", "min"),
    Column("top_of_descent", "m", "distance to go at the top of descent", "nm"),
    Column("thrust_distance", "m", "distance with thrust above idle after the top of descent", "nm"),
    Column("thrust_fuel", "kg", "fuel above idle after the top of descent", "kg"),
    Column("brake_distance", "m", "distance with speed brake", "nm"),
    Column("height", "m", "height above the threshold", "ft"),
    Column("excess_energy", "m", "energy height above the optimum's", "ft"),
    Column("height_against_rule", "m", "height above what the rule asks for", "ft"),
    Column("capture_distance", "m", "distance to go at glide path capture", "nm"),
    Column("capture_height", "m", "height above the threshold at glide path capture", "ft"),
    Column("capture_speed", "m s-1", "calibrated airspeed at glide path capture", "kt"),
    Column("capture_flaps", "1", "position of slats and flaps at glide path capture, in steps", ""),
    Column("capture_gear", "1", "gear at glide path capture, up (0) to down (1)", ""),
    Column("gate_speed", "m s-1", "calibrated airspeed", "kt"),
    Column("gate_above_reference", "m s-1", "calibrated airspeed above the reference speed", "kt"),
    Column("gate_sink", "m s-1", "sink rate", "ft_per_min"),
    Column("gate_off_path", "m", "height above the glide path", "ft"),
    Column("gate_flaps", "1", "position of slats and flaps, in steps", ""),
    Column("gate_gear", "1", "gear, up (0) to down (1)", ""),
    Column("gate_stable", "1", "stable (1) or not (0)", ""),
    Column("limits_kept", "1", "every limit and window kept (1) or not (0)", ""),
)
MARGIN_COLUMNS = {column.name: column for column in _COLUMNS}
"""Numeric variables of the table by name; texts (`gate_reasons`, `breaches`, `rule_title`) stand beside them.

Fuel and cost above the optimum are not a number where a flight is not stable at the gate (see `results.price`).
"""
COORDINATES = {
    "at_distance": Column("at_distance", "m", "distance to go", "nm"),
    "at_height": Column("at_height", "m", "height above the threshold", "ft"),
}
"""Numeric coordinates of the table."""


@dataclass(frozen=True, repr=False)
class Margins:
    """A table over `flight` (optimum first), and the flights behind it in the same order; none if it was read alone."""

    table: xr.Dataset
    flights: tuple[Flight, ...]
    provenance: Provenance

    @property
    def optimum(self) -> Flight:
        """The optimum."""
        return self.flights[0]

    def __repr__(self) -> str:
        names = ", ".join(flight.name for flight in self.flights)
        return f"Margins({names})"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        names = [str(name) for name in self.table["flight"].to_numpy()]
        rows = margins_rows(self.table, MARGIN_COLUMNS, _shown)
        return margins_html(self.provenance, names, rows, self.table)

    def rows(self) -> tuple[list[str], list[list[str]]]:
        """Header and one row for each flight, numbers in units of the trade, rounded as read [header units]."""
        header = ["flight"]
        columns: list[list[str]] = [[str(name) for name in self.table["flight"].to_numpy()]]
        for name, variable in self.table.data_vars.items():
            for label, values in _flat(str(name), variable):
                header.append(label)
                columns.append(values)
        return header, [list(row) for row in zip(*columns, strict=True)]

    def to_csv(self, path: Path) -> None:
        """Write the table as CSV with comment lines of provenance and caution.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        header, rows = self.rows()
        named = [dict(zip(header, row, strict=True)) for row in rows]
        write_text(path, csv_text((self.provenance.source, CAUTION), header, named))

    def to_netcdf(self, path: Path) -> None:
        """Write the table as netCDF-4, in SI.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        write_netcdf(path, self.table.assign_attrs(self.provenance.attributes()).assign_attrs(kind="margins"))

    @classmethod
    def from_netcdf(cls, path: str | Path) -> Margins:
        """Table of a file that `to_netcdf` wrote [SI], without the flights, which are files of their own.

        Raises
        ------
        InputFault
            The file cannot be read or does not hold margins.
        """
        try:
            dataset, given = read_result(path, "margins")
            provenance = Provenance.of_attributes(given)
            return cls(dataset, (), provenance)
        except (OSError, KeyError, TypeError, ValueError) as error:
            told = f"does not hold margins ({error})"
            raise InputFault([Fault(str(path), "", told, "margins.nc of this package")]) from error


def _shown(value: float, column: Column) -> str:
    """A number [unit of charts] as people read it, and words for a price that is none."""
    return as_read(value, column.chart_unit.suffix) or (NOT_STABLE if column.name in PRICES else "")


def _flat(name: str, variable: xr.DataArray) -> list[tuple[str, list[str]]]:
    """Columns of a variable over flight: one for each combination of its other coordinates."""
    others = [str(dim) for dim in variable.dims if dim != "flight"]
    if name not in MARGIN_COLUMNS:
        return [(name, [str(value) for value in variable.to_numpy()])] if not others else _texts(name, variable, others)
    unit = MARGIN_COLUMNS[name].chart_unit
    stacked = variable.stack(case=others) if others else variable.expand_dims(case=["" for _ in range(1)])
    found: list[tuple[str, list[str]]] = []
    for index in range(stacked.sizes["case"]):
        one = stacked.isel(case=index)
        suffix = "".join(f"_{_coordinate(dim, one[dim].item())}" for dim in others)
        values = np.asarray(one.to_numpy(), dtype=float) / unit.factor
        label = f"{name}{suffix}" + (f"_{unit.suffix}" if unit.suffix else "")
        found.append((label, [as_read(float(value), unit.suffix) for value in values]))
    return found


def _texts(name: str, variable: xr.DataArray, others: list[str]) -> list[tuple[str, list[str]]]:
    (other,) = others
    return [
        (f"{name}_{_coordinate(other, value)}", [str(text) for text in variable.isel({other: index}).to_numpy()])
        for index, value in enumerate(variable[other].to_numpy())
    ]


def _coordinate(dim: str, value: Any) -> str:
    if dim not in COORDINATES:
        return str(value)
    unit = COORDINATES[dim].chart_unit
    return f"{value / unit.factor:.0f}_{unit.suffix}"
