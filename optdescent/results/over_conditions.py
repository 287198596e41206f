"""Margins over conditions: how often each rule holds, by how much, what it costs and what breaks it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, cast

import xarray as xr

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import csv_text, read_result, write_netcdf, write_text
from optdescent.results.notebook import dataset_card
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.results.rounding import as_data
from optdescent.results.schema import Column

_OF_FLIGHTS = (
    Column("flown", "1", "conditions in which the rule was flown: in the others it cannot start down", ""),
    Column("stable_flights", "1", "flights stable at the gate", ""),
    Column("stable_share", "1", "share of conditions stable at the gate", ""),
    Column("stable_share_low", "1", "low end of its 95 % confidence interval, where conditions are drawn", ""),
    Column("stable_share_high", "1", "high end of it", ""),
    Column(
        "limits_kept_share",
        "1",
        "share stable that kept speeds, sinks, windows, hold-downs, floor, capture, gates",
        "",
    ),
    Column("gate_energy_median", "m", "energy height at the gate above the most allowed, median", "ft"),
    Column("gate_energy_high", "m", "the same, exceeded in one condition of ten", "ft"),
    Column("speed_room_low", "m s-1", "least room to the next limit speed, less in one condition of ten", "kt"),
    Column("brake_distance_mean", "m", "distance with speed brake, mean of all flights", "nm"),
    Column("gear_distance_median", "m", "distance to go where the gear begins to come out, median", "nm"),
    Column("gear_distance_low", "m", "the same, less in one condition of ten", "nm"),
    Column("landing_flaps_distance_median", "m", "where slats and flaps move to the landing step, median", "nm"),
    Column("landing_flaps_distance_low", "m", "the same, less in one condition of ten", "nm"),
    Column("thrust_distance_mean", "m", "distance with thrust above idle, mean of all flights", "nm"),
    Column("thrust_fuel_mean", "kg", "fuel above idle, mean of all flights", "kg"),
    Column("fuel_mean", "kg", "fuel, mean over the same conditions: to compare rules, see `rules.compared`", "kg"),
    Column("same_conditions", "1", "conditions in which it and the rule compared with are both stable", ""),
    Column("fuel_stable_mean", "kg", "fuel, mean of the stable flights: in other conditions for each rule", "kg"),
    Column("compared", "1", "conditions with an optimum in which it and the rule compared with are both stable", ""),
    Column("fuel_above_optimum_mean", "kg", "fuel above the condition's own optimum, mean over these conditions", "kg"),
    Column("fuel_above_optimum_mean_low", "kg", "low end of its 95 % confidence interval", "kg"),
    Column("fuel_above_optimum_mean_high", "kg", "high end of it", "kg"),
    Column("fuel_above_optimum_low", "kg", "the same of its stable flights, less in one condition of ten", "kg"),
    Column("fuel_above_optimum_high", "kg", "the same, exceeded in one condition of ten", "kg"),
    Column("time_above_optimum_mean", "s", "time above the condition's own optimum, mean over these conditions", "min"),
    Column("time_above_optimum_mean_low", "s", "low end of its 95 % confidence interval", "min"),
    Column("time_above_optimum_mean_high", "s", "high end of it", "min"),
)
_BY_RULE = (
    *_OF_FLIGHTS,
    Column("breaking_radius", "1", "smallest disturbance that breaks the rule, in spreads of the drivers", ""),
    Column("miss_remainder", "1", "share of the variance of missing the gate that no driver explains alone", ""),
    Column("energy_remainder", "1", "share of the variance of energy at the gate that no driver explains alone", ""),
)
_BY_DISTANCE = (
    Column("excess_energy_median", "m", "energy height above what was asked, median", "ft"),
    Column("excess_energy_high", "m", "the same, exceeded in one condition of ten", "ft"),
    Column("excess_track_median", "m", "the same as track miles on the glide path's angle, median", "nm"),
    Column("excess_track_high", "m", "the same, exceeded in one condition of ten", "nm"),
)
_BY_DRIVER = (
    Column("miss_share", "1", "share of the variance of missing the gate that the driver explains", ""),
    Column("energy_share", "1", "share of the variance of energy at the gate that the driver explains", ""),
)
_BY_LEVEL = (
    Column("level_breaks", "1", "rule broken by the level alone (1) or not (0), ordered drivers in the middle", ""),
    Column("levels_tried", "1", "levels of an axis without an order that were flown alone", ""),
    Column("levels_breaking", "1", "levels of an axis without an order that break the rule alone", ""),
)
_BY_DISTURBED = (Column("breaking_level", "", "level of the driver where the rule breaks first, in its own unit", ""),)
_TEXTS = ("miss_remainder_of", "energy_remainder_of", "most_common_reason", "not_flown", "breaking")
"""What each remainder stands for, why most misses were missed, why it was not flown somewhere, and what breaks it."""
TABLE_COLUMNS = {column.name: column for column in (*_BY_RULE, *_BY_DISTANCE, *_BY_DRIVER, *_BY_LEVEL, *_BY_DISTURBED)}
"""Numeric variables of the table by name; texts stand beside them."""
CASE_COLUMNS = {
    column.name: column
    for column in (
        Column("stable", "1", "stable at the gate (1) or not (0)", ""),
        Column("limits_kept", "1", "speeds, sinks, windows, hold-downs, floor, capture, gates kept (1) or not (0)", ""),
        Column("gate_above_reference", "m s-1", "calibrated airspeed above the reference speed at the gate", "kt"),
        Column("gate_sink", "m s-1", "sink rate at the gate", "ft_per_min"),
        Column("gate_energy", "m", "energy height at the gate above the most allowed", "ft"),
        Column("over_limit", "m s-1", "largest speed above a limit; negative is room", "kt"),
        Column("fuel", "kg", "fuel used from the start to the threshold", "kg"),
        Column("time", "s", "time from the start to the threshold", "min"),
        Column("top_of_descent", "m", "distance to go at the top of descent", "nm"),
        Column("thrust_distance", "m", "distance with thrust above idle after the top of descent", "nm"),
        Column("thrust_fuel", "kg", "fuel above idle after the top of descent", "kg"),
        Column("brake_distance", "m", "distance with speed brake", "nm"),
        Column("gear_distance", "m", "distance to go where the gear begins to come out", "nm"),
        Column("landing_flaps_distance", "m", "distance to go where slats and flaps move to the landing step", "nm"),
    )
}
"""Numeric variables of each rule in each case by name; `reason` stands beside them."""
OPTIMUM_COLUMNS = {
    column.name: column
    for column in (
        Column("optimum_fuel", "kg", "fuel of the condition's own optimum, where it was computed", "kg"),
        Column("optimum_time", "s", "time of the condition's own optimum, where it was computed", "min"),
    )
}
"""Numeric variables of each case by name."""
ATTRIBUTES: dict[str, type[str] | type[int]] = {
    "conditions": str,
    "sampling": str,
    "conditions_with_optimum": int,
    "optima_not_found": str,
    "fuel_compared_with": str,
    "optima_compared_with": str,
}
"""Attributes of the table: what the conditions are, how they were drawn, and what rules are compared with."""
KIND = "margins over conditions"
"""What a stored file says that it is."""


@dataclass(frozen=True, repr=False)
class OverConditions:
    """A table over `rule` (and `at_distance`, `driver`, levels), and what became of each rule in each case [SI]."""

    table: xr.Dataset
    cases: xr.Dataset
    provenance: Provenance

    def __repr__(self) -> str:
        return f"OverConditions({self.cases.sizes['case']} conditions, {self.table.sizes['rule']} rules)"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        said = [str(text) for text in self.table["breaking"].to_numpy() if text] if "breaking" in self.table else []
        return dataset_card("Margins over conditions", self.provenance, self.table, said)

    def to_csv(self, path: Path) -> None:
        """Write the table by rule as CSV with comment lines of provenance and caution.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        plain = over_conditions_plain(self)
        rows = [dict(_flat(row)) for row in plain.pop("rules")]
        comments = (
            self.provenance.source,
            CAUTION,
            *(f"{key}: {value}" for key, value in plain.items() if value != ""),
        )
        write_text(path, csv_text(comments, list(rows[0]), rows))

    def to_netcdf(self, path: Path) -> None:
        """Write the cases and the table as one netCDF-4, in SI.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        both = xr.Dataset({**self.cases.data_vars, **self.table.data_vars})
        stamped = both.assign_attrs(self.table.attrs).assign_attrs(self.provenance.attributes())
        write_netcdf(path, stamped.assign_attrs(kind=KIND))

    @classmethod
    def from_netcdf(cls, path: str | Path) -> OverConditions:
        """Table and cases of a file that `to_netcdf` wrote [SI].

        Raises
        ------
        InputFault
            The file cannot be read or does not hold margins over conditions.
        """
        try:
            dataset, given = read_result(path, KIND)
            of_cases = [name for name, own in dataset.data_vars.items() if "case" in own.dims]
            attributes = {name: kind(given[name]) for name, kind in ATTRIBUTES.items()}
            table = dataset.drop_vars([*of_cases, "case"]).assign_attrs(attributes)
            return cls(table, dataset[of_cases], Provenance.of_attributes(given))
        except (OSError, KeyError, TypeError, ValueError) as error:
            told = f"does not hold margins over conditions ({error})"
            raise InputFault([Fault(str(path), "", told, "conditions.nc of this package")]) from error


_UNIT_ENDS = ("_ft", "_nm")
"""Ends of keys that are units, where a key has a table."""


def over_conditions_plain(found: OverConditions) -> dict[str, Any]:
    """The table as a plain dictionary for JSON; every dimensional key carries its unit [units of the trade]."""
    table = found.table
    rules: list[dict[str, Any]] = []
    for name in table["rule"].to_numpy():
        own = table.sel(rule=name)
        row: dict[str, Any] = {"rule": str(name), "title": str(own["rule_title"].item())}
        for column in _BY_RULE:
            row[_key(column)] = _number(own[column.name].item(), column)
        for column in _BY_DISTANCE:
            values = own[column.name]
            row[_key(column)] = {
                f"{distance / 1852.0:.0f}_nm": _number(float(value), column)
                for distance, value in zip(values["at_distance"].to_numpy(), values.to_numpy(), strict=True)
            }
        for column in _BY_DRIVER:
            values = own[column.name]
            row[_key(column)] = {
                str(driver): _number(float(value), column)
                for driver, value in zip(values["driver"].to_numpy(), values.to_numpy(), strict=True)
            }
        row["breaking_level"] = _breaking_level(own)
        row["levels_alone"] = _levels_alone(own)
        row |= {text: str(own[text].item()) for text in _TEXTS}
        rules.append(row)
    attributes = {name: kind(table.attrs[name]) for name, kind in ATTRIBUTES.items()}
    of_file = {"conditions": int(found.cases.sizes["case"]), "conditions_file": attributes.pop("conditions")}
    return {**of_file, **attributes, "rules": rules}


def _flat(row: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, Any]]:
    """A row without tables in it: keys of a table stand behind its own key, before its unit [as the keys say]."""
    for key, value in row.items():
        if isinstance(value, dict):
            unit = next((end for end in _UNIT_ENDS if key.endswith(end)), "")
            # what a table or list holds is not known from its type alone
            inner = {f"{name}{unit}": one for name, one in cast(dict[str, Any], value).items()}
            yield from _flat(inner, f"{before}{key.removesuffix(unit)}_")
        else:
            yield f"{before}{key}", "; ".join(cast(list[str], value)) if isinstance(value, list) else value


def _levels_alone(own: xr.Dataset) -> dict[str, Any]:
    """What the levels of each axis without an order do to one rule [-]: how many there are, were flown, break it."""
    found: dict[str, Any] = {}
    for axis in own["unordered"].to_numpy():
        one = own.sel(unordered=axis)
        breaks = (own["tried_axis"] == axis) & (own["level_breaks"] == 1.0)
        found[str(axis)] = {
            "levels": int(one["levels_declared"].item()),
            "tried": int(one["levels_tried"].item()),
            "breaking": int(one["levels_breaking"].item()),
            "breaking_levels": [str(level) for level in own["tried_as"].to_numpy()[breaks.to_numpy()]],
        }
    return found


def _breaking_level(own: xr.Dataset) -> dict[str, float | None]:
    """Level of each driver [file unit] where one rule breaks first."""
    levels = zip(own["disturbed"].to_numpy(), own["breaking_level"].to_numpy(), strict=True)
    return {str(driver): _number(float(level), TABLE_COLUMNS["breaking_level"]) for driver, level in levels}


def _key(column: Column) -> str:
    suffix = column.chart_unit.suffix
    return f"{column.name}_{suffix}" if suffix else column.name


def _number(value: float, column: Column) -> float | None:
    unit = column.chart_unit
    return as_data(value / unit.factor, unit.suffix)
