"""Rule sheet: height to have and speed planned by one rule over distance to go, in several winds, and its words."""

from __future__ import annotations

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import ArrayLike, NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import read_result, write_netcdf
from optdescent.results.notebook import dataset_card
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.results.schema import COLUMNS, Column

Array = NDArray[np.float64]

_COLUMNS = (
    COLUMNS["distance_to_go"],
    Column("tailwind", "m s-1", "tailwind at every height, headwind negative", "kt"),
    Column("start_down", "m", "distance to go where the descent begins", "nm"),
    Column("height_to_have", "m", "height above the threshold to have", "ft"),
    Column("planned_speed", "m s-1", "calibrated airspeed planned", "kt"),
    Column("sink_rate", "m s-1", "sink rate to set", "ft_per_min"),
    Column("three_degrees", "m", "height above the threshold of a path of three degrees", "ft"),
)
RULE_SHEET_COLUMNS = {column.name: column for column in _COLUMNS}
"""Every variable and numeric coordinate by name; `wind` is a coordinate of names."""
_DIMENSIONS: dict[str, tuple[str, ...]] = {
    "tailwind": ("wind",),
    "start_down": ("wind",),
    "height_to_have": ("wind", "distance_to_go"),
    "planned_speed": ("wind", "distance_to_go"),
    "sink_rate": ("wind", "distance_to_go"),
    "three_degrees": ("distance_to_go",),
}
"""Dimensions of each variable.

Not a number: a height below the threshold, a start beyond the farthest distance, a sink rate that no rule sets.
"""
WORKED = tuple(
    distance * COLUMNS["distance_to_go"].chart_unit.factor for distance in (40.0, 30.0, 25.0, 20.0, 15.0, 10.0)
)
"""Distances to go [m] of the worked numbers."""


@dataclass(frozen=True, repr=False)
class RuleSheet:
    """Heights and speeds of one rule over `wind` and `distance_to_go`, its words, and what they were worked out for."""

    dataset: xr.Dataset
    name: str
    title: str
    source: str
    sentences: tuple[str, ...]
    provenance: Provenance
    note: str = ""

    @property
    def winds(self) -> tuple[str, ...]:
        """Names of the winds, still air first."""
        return tuple(str(name) for name in self.dataset["wind"].to_numpy())

    def charted(self, name: str) -> Array:
        """Values of a variable or numeric coordinate in the unit of charts [see `RULE_SHEET_COLUMNS`]."""
        return np.asarray(self.dataset[name].to_numpy(), dtype=float) / RULE_SHEET_COLUMNS[name].chart_unit.factor

    def worked(self, name: str) -> Array:
        """Values (wind, distance) of a variable at the distances of `WORKED` in the unit of charts."""
        x = np.asarray(self.dataset["distance_to_go"].to_numpy(), dtype=float)
        rows: list[Array] = [np.interp(WORKED, x, values) for values in self.charted(name)]
        return np.array(rows)

    @property
    def sets_sink_rate(self) -> bool:
        """Whether the rule sets a sink rate."""
        return bool(np.isfinite(self.charted("sink_rate")).any())

    def __repr__(self) -> str:
        return f"RuleSheet({self.name!r}, {', '.join(self.winds)})"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return dataset_card(f"{self.name}, {self.title}", self.provenance, self.dataset, self.sentences)

    def to_netcdf(self, path: str | Path) -> None:
        """Write the sheet as netCDF-4, in one step.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        stamped = self.dataset.assign_attrs(self.provenance.attributes()).assign_attrs(
            kind=_KIND,
            rule=self.name,
            rule_title=self.title,
            rule_source=self.source,
            rule_note=self.note,
            sentences=json.dumps(self.sentences, ensure_ascii=False),
        )
        write_netcdf(Path(path), stamped)

    @classmethod
    def from_netcdf(cls, path: str | Path) -> RuleSheet:
        """Sheet of a file that `to_netcdf` wrote [SI].

        Raises
        ------
        InputFault
            The file cannot be read or does not hold a rule sheet.
        """
        try:
            dataset, given = read_result(path, _KIND)
            return cls(
                dataset,
                given["rule"],
                given["rule_title"],
                given["rule_source"],
                tuple(json.loads(given["sentences"])),
                Provenance.of_attributes(given),
                given.get("rule_note", ""),
            )
        except (OSError, KeyError, TypeError, ValueError) as error:
            allowed = "a rule sheet written by this package"
            raise InputFault([Fault(str(path), "", f"does not hold a rule sheet ({error})", allowed)]) from error


_KIND = "rule sheet"


def rule_sheet_dataset(winds: tuple[str, ...], columns: Mapping[str, ArrayLike]) -> xr.Dataset:
    """Dataset over `wind` and `distance_to_go` from columns [SI, see `RULE_SHEET_COLUMNS`].

    Raises
    ------
    ValueError
        The columns are not those of the schema.
    """
    if set(columns) != set(RULE_SHEET_COLUMNS):
        raise ValueError(f"columns differ from the schema: {sorted(set(columns) ^ set(RULE_SHEET_COLUMNS))}")
    arrays = {
        name: xr.DataArray(np.asarray(columns[name], dtype=float), dims=dimensions, attrs=_attributes(name))
        for name, dimensions in _DIMENSIONS.items()
    }
    distance = ("distance_to_go", np.asarray(columns["distance_to_go"], dtype=float), _attributes("distance_to_go"))
    return xr.Dataset(arrays, coords={"wind": np.array(winds, dtype=object), "distance_to_go": distance})


def _attributes(name: str) -> dict[str, str]:
    return {"units": RULE_SHEET_COLUMNS[name].unit, "long_name": RULE_SHEET_COLUMNS[name].long_name}


def rule_sheet_plain(sheet: RuleSheet) -> dict[str, Any]:
    """A sheet as a plain dictionary for JSON; keys carry their unit [nm, kt, ft, ft/min]."""
    tailwind, start, distance = (sheet.charted(name) for name in ("tailwind", "start_down", "distance_to_go"))
    names = [("height_to_have", 0), ("planned_speed", 1), *([("sink_rate", 0)] if sheet.sets_sink_rate else [])]
    worked = {name: (sheet.worked(name), digits) for name, digits in names}
    suffix = {name: RULE_SHEET_COLUMNS[name].chart_unit.suffix for name in worked}
    winds = [
        {
            "wind": wind,
            "tailwind_kt": round(float(tailwind[index]), 3),
            "start_down_nm": _number(float(start[index]), 2),
            "at": [
                {
                    "distance_nm": round(place / RULE_SHEET_COLUMNS["distance_to_go"].chart_unit.factor, 3),
                    **{
                        f"{name}_{suffix[name]}": _number(float(values[index, column]), digits)
                        for name, (values, digits) in worked.items()
                    },
                }
                for column, place in enumerate(WORKED)
            ],
        }
        for index, wind in enumerate(sheet.winds)
    ]
    return {
        "name": sheet.name,
        "title": sheet.title,
        "source": sheet.source,
        "note": sheet.note,
        "in_words": list(sheet.sentences),
        "worked_out_to_nm": round(float(distance[-1]), 3),
        "winds": winds,
    }


def _number(value: float, digits: int) -> float | None:
    """Rounded number [-], or None where it is not one: JSON has no NaN."""
    return None if value != value else round(value + 0.0, digits)


def rule_sheet_page(sheet: RuleSheet, figure: str) -> str:
    """A sheet as a page of Markdown [nm, ft, kt, ft/min]; `figure` is the name of its figure's file beside it."""
    return "\n".join(
        [
            f"# {sheet.title}",
            "",
            f"Rule `{sheet.name}`. Source: {sheet.source}.",
            "",
            *([sheet.note, ""] if sheet.note else []),
            "## In words",
            "",
            *(f"- {sentence}" for sentence in sheet.sentences),
            "",
            "## Worked numbers",
            "",
            f"For: {sheet.provenance.title}. Heights are above the threshold; the wind is the same at every height.",
            "",
            *_table(sheet),
            "",
            f"![Height to have and speed planned]({figure})",
            "",
            f"{sheet.provenance.line}. {CAUTION}",
            "",
        ]
    )


SHOWN = 2
"""How many winds the table of a page shows, from the first on."""


def _table(sheet: RuleSheet) -> list[str]:
    """Height, speed and, if the rule sets it, sink rate at the worked distances, and where to start down."""
    names = ["height_to_have", "planned_speed", *(["sink_rate"] if sheet.sets_sink_rate else [])]
    said = {"height_to_have": "height", "planned_speed": "speed", "sink_rate": "sink rate"}
    units = {name: RULE_SHEET_COLUMNS[name].chart_unit.symbol for name in names}
    winds = sheet.winds[:SHOWN]
    header = ["to go, nm", *(f"{wind}: {said[name]}, {units[name]}" for wind in winds for name in names)]
    values = {name: sheet.worked(name) for name in names}
    miles = [place / RULE_SHEET_COLUMNS["distance_to_go"].chart_unit.factor for place in WORKED]
    rows = [
        [f"{mile:.0f}", *(_shown(values[name][index, column]) for index in range(len(winds)) for name in names)]
        for column, mile in enumerate(miles)
    ]
    lines = ["| " + " | ".join(cells) + " |" for cells in (header, ["---"] * len(header), *rows)]
    return [f"Start down: {start_said(sheet)}.", "", *lines]


def start_said(sheet: RuleSheet) -> str:
    """Where the descent begins in each wind [nm], in one line."""
    said = {wind: _start(float(start)) for wind, start in zip(sheet.winds, sheet.charted("start_down"), strict=True)}
    if len(set(said.values())) == 1:
        return f"{said[sheet.winds[0]]} in any wind"
    return "; ".join(f"{wind}: {start}" for wind, start in said.items())


def _shown(value: float) -> str:
    return f"{value:.0f}" if np.isfinite(value) else "–"


def _start(distance: float) -> str:
    return f"{distance:.0f} nm to go" if np.isfinite(distance) else "farther out than was worked out"
