"""Front: derived rules beside a library's, by simplicity, fuel and share, on conditions none was searched in."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import csv_text, read_result, write_netcdf, write_text
from optdescent.results.notebook import dataset_card
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.results.rounding import as_data
from optdescent.results.schema import Column

Array = NDArray[np.float64]

_COLUMNS = (
    Column("simplicity", "1", "things to remember", ""),
    Column("held_share", "1", "share of check conditions that count: stable at the gate, within limits if asked", ""),
    Column("held_share_low", "1", "low end of its 95 % confidence interval", ""),
    Column("held_share_high", "1", "high end of its 95 % confidence interval", ""),
    Column("stable_share", "1", "share of check conditions stable at the gate", ""),
    Column("limits_kept_share", "1", "share in which every limit on the way was kept too", ""),
    Column("fuel_mean", "kg", "fuel, mean of the same check conditions; of all flights where no rule counts", "kg"),
    Column("same_conditions", "1", "check conditions in which it and the rule compared with both count", ""),
    Column("fuel_held_mean", "kg", "fuel, mean of the check conditions that count, other ones for each rule", "kg"),
    Column("time_mean", "s", "time, mean of the check conditions that count", "min"),
    Column("train_held_share", "1", "share of training conditions that count, of a derived rule", ""),
    Column("predicted_low", "1", "low end of the interval predicted for unseen conditions", ""),
    Column("predicted_high", "1", "high end of the interval predicted for unseen conditions", ""),
    Column("unseen_held_share", "1", "share of unseen conditions that count", ""),
    Column("unseen_fuel_mean", "kg", "fuel, mean of the same unseen conditions", "kg"),
    Column("is_derived", "1", "derived (1) or of the library (0)", ""),
    Column("is_on_front", "1", "bettered by no other rule (1) or by some (0)", ""),
    Column(
        "is_recommended",
        "1",
        "the recommended one of the derived rules whose interval is not below the wanted share (1), else 0",
        "",
    ),
)
FRONT_COLUMNS = {column.name: column for column in _COLUMNS}
"""Numeric variables over `rule` by name; `rule_title` and `rule_source` stand beside them."""
_FLAGS = ("is_derived", "is_on_front", "is_recommended")
_WHOLE = ("simplicity", "same_conditions")


@dataclass(frozen=True)
class Effort:
    """What a front was found with: the share wanted [-], how many conditions each set had, how many rules were flown.

    `keep_limits` says that a stable gate counts only where every limit on the way was kept too. Of derived rules within
    `alike` [kg] of the least fuel the simplest is recommended. `is_cut_short` says that the search ended before it had
    tried all that it would; `library` names the other rules, `compared_with` the rule beside which fuel is compared.
    """

    wanted: float
    keep_limits: bool
    alike: float
    train: int
    check: int
    unseen: int
    rules_flown: int
    is_cut_short: bool
    library: str
    compared_with: str = ""


def front_dataset(
    names: Sequence[str],
    titles: Sequence[str],
    sources: Sequence[str],
    columns: Mapping[str, Array],
    effort: Effort,
) -> xr.Dataset:
    """Dataset over `rule` from columns (rule,) [SI, see `FRONT_COLUMNS`].

    Raises
    ------
    ValueError
        The columns are not those of the schema.
    """
    if set(columns) != set(FRONT_COLUMNS):
        raise ValueError(f"columns differ from the schema: {sorted(set(columns) ^ set(FRONT_COLUMNS))}")
    arrays = {
        name: xr.DataArray(
            np.asarray(columns[name], dtype=float),
            dims=("rule",),
            attrs={"units": column.unit, "long_name": column.long_name},
        )
        for name, column in FRONT_COLUMNS.items()
    }
    texts = {
        "rule_title": ("rule", np.array(titles, dtype=object)),
        "rule_source": ("rule", np.array(sources, dtype=object)),
    }
    attributes = {
        "wanted_share": effort.wanted,
        "keep_limits": int(effort.keep_limits),
        "alike_fuel_kg": effort.alike,
        "train_conditions": effort.train,
        "check_conditions": effort.check,
        "unseen_conditions": effort.unseen,
        "rules_flown": effort.rules_flown,
        "is_cut_short": int(effort.is_cut_short),
        "library": effort.library,
        "compared_with": effort.compared_with,
    }
    coordinates = {"rule": np.array(names, dtype=object), **texts}
    return xr.Dataset(arrays, coords=coordinates, attrs=attributes)


@dataclass(frozen=True, repr=False)
class Front:
    """Rules over `rule`, derived ones first from few things to remember to many, and where they are from [SI]."""

    table: xr.Dataset
    provenance: Provenance

    @property
    def names(self) -> tuple[str, ...]:
        """Names of the rules."""
        return tuple(str(name) for name in self.table["rule"].to_numpy())

    @property
    def titles(self) -> tuple[str, ...]:
        """The rules in words."""
        return tuple(str(title) for title in self.table["rule_title"].to_numpy())

    @property
    def wanted(self) -> float:
        """Share that was asked for [-]."""
        return float(self.table.attrs["wanted_share"])

    @property
    def keeps_limits(self) -> bool:
        """Whether a stable gate counts only where every limit on the way was kept too [-]."""
        return bool(self.table.attrs["keep_limits"])

    @property
    def library(self) -> str:
        """Where the rules that were not derived are from."""
        return str(self.table.attrs["library"])

    def column(self, name: str) -> Array:
        """Values (rule,) of a column [SI, see `FRONT_COLUMNS`]."""
        return np.asarray(self.table[name].to_numpy(), dtype=float)

    def flags(self, name: str) -> NDArray[np.bool_]:
        """Whether (rule,) each is what a column says [-]."""
        return self.column(name) > 0.5

    @property
    def recommended(self) -> int | None:
        """Place of the recommended rule [-]; None where the low end of no interval is the wanted share."""
        found = np.flatnonzero(self.flags("is_recommended"))
        return int(found[0]) if found.size else None

    @property
    def is_as_predicted(self) -> NDArray[np.bool_]:
        """Whether (rule,) the share on unseen conditions is inside the predicted interval [-]."""
        share = self.column("unseen_held_share")
        slack = 1e-12  # the ends are whole numbers of conditions
        return (share >= self.column("predicted_low") - slack) & (share <= self.column("predicted_high") + slack)

    def __repr__(self) -> str:
        derived = int(np.count_nonzero(self.flags("is_derived")))
        return f"Front({derived} derived rules, {len(self.names) - derived} of {self.library})"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return dataset_card("Derived rules", self.provenance, self.table)

    def to_csv(self, path: Path) -> None:
        """Write one row for each rule as CSV with comment lines of provenance and caution.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        rows = front_plain(self)["rules"]
        write_text(path, csv_text((self.provenance.source, CAUTION), list(rows[0]) if rows else [], rows))

    def to_netcdf(self, path: Path) -> None:
        """Write the rules as netCDF-4, in SI.

        Raises
        ------
        InputFault
            The file cannot be written.
        """
        attributes = {**self.table.attrs, **self.provenance.attributes(), "kind": "front", "of": self.provenance.of}
        write_netcdf(path, self.table.assign_attrs(attributes))

    @classmethod
    def from_netcdf(cls, path: str | Path) -> Front:
        """Rules of a file that `to_netcdf` wrote [SI].

        Raises
        ------
        InputFault
            The file cannot be read or does not hold a front.
        """
        try:
            table, given = read_result(path, "front")
            return cls(table.assign_attrs(given), Provenance.of_attributes(given))
        except (OSError, KeyError, TypeError, ValueError) as error:
            told = f"does not hold a front ({error})"
            raise InputFault([Fault(str(path), "", told, "front.nc of this package")]) from error


def front_plain(front: Front) -> dict[str, Any]:
    """A front as a plain dictionary for JSON; every dimensional key carries its unit [kg, min]."""
    as_predicted = front.is_as_predicted
    recommended = front.recommended
    rules = [
        {
            "rule": name,
            **{_key(column): _value(column, float(front.column(column.name)[place])) for column in _COLUMNS},
            "is_as_predicted": bool(as_predicted[place]),
            "title": front.titles[place],
            "source": str(front.table["rule_source"].to_numpy()[place]),
        }
        for place, name in enumerate(front.names)
    ]
    attributes = front.table.attrs
    counts = ("train_conditions", "check_conditions", "unseen_conditions", "rules_flown")
    return {
        "title": front.provenance.title,
        "digest": front.provenance.scenario_digest,
        "wanted_share": front.wanted,
        "keep_limits": front.keeps_limits,
        "alike_fuel_kg": float(attributes["alike_fuel_kg"]),
        **{name: int(attributes[name]) for name in counts},
        "is_cut_short": bool(attributes["is_cut_short"]),
        "library": front.library,
        "fuel_compared_with": str(attributes["compared_with"]),
        "recommended": None if recommended is None else front.names[recommended],
        "rules": rules,
        "caution": CAUTION,
    }


def _key(column: Column) -> str:
    suffix = column.chart_unit.suffix
    return f"{column.name}_{suffix}" if suffix else column.name


def _value(column: Column, value: float) -> float | int | bool | None:
    if column.name in _FLAGS:
        return value > 0.5
    if column.name in _WHOLE:
        return round(value)
    unit = column.chart_unit
    return as_data(value / unit.factor, unit.suffix)
