"""Rules of a study compared in pairs: how one differs from another in the conditions in which both were flown."""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.stats import norm as normal
from scipy.stats import t as student

from optdescent.results.over_conditions import CASE_COLUMNS, OverConditions
from optdescent.results.sweep import CHARTED
from optdescent.rules.compared import CONFIDENCE
from optdescent.units import UNITS

Array = NDArray[np.float64]
_COMPARED = ("fuel", "brake_distance", "thrust_distance")
_DIGITS = 6
"""Significant digits of a number of an answer."""


@dataclass(frozen=True)
class Outcomes:
    """What became of rules over conditions: stable (1), not (0) or not flown, and what each took (rule, condition).

    `drawn` tells the conditions: two of the same text were flown in the same ones. Keys carry the unit.
    """

    drawn: str
    rules: tuple[str, ...]
    stable: Array
    taken: Mapping[str, Array]

    @classmethod
    def of_margins(cls, path: Path) -> Outcomes:
        """Outcomes of a `conditions.nc` [units of the trade in the keys]."""
        cases = OverConditions.from_netcdf(path).cases.transpose("rule", "case")
        taken: dict[str, Array] = {}
        for name in _COMPARED:
            unit = CASE_COLUMNS[name].chart_unit
            taken[f"{name}_{unit.suffix}"] = np.asarray(cases[name].to_numpy(), dtype=float) / unit.factor
        return cls(str(path), _names(cases), np.asarray(cases["stable"].to_numpy(), dtype=float), taken)

    @classmethod
    def of_sweep(cls, dataset: xr.Dataset) -> Outcomes | None:
        """Outcomes of a sweep of a sample [units of the trade in the keys]; none of a grid, or without rules."""
        if "rule" not in dataset.dims or "case" not in dataset.dims:
            return None
        turned = dataset.transpose("rule", "case", ...)
        taken: dict[str, Array] = {}
        for name in _COMPARED:
            values = turned[f"rule_{name}"]
            suffix = values.attrs[CHARTED]
            taken[f"{name}_{suffix}"] = np.asarray(values.to_numpy(), dtype=float) / UNITS[suffix].factor
        ends = np.asarray(turned["rule_stable"].to_numpy(), dtype=float)
        drawn = dataset.attrs["scenario"] + json.dumps(json.loads(dataset.attrs["study"])["conditions"])
        return cls(drawn, _names(dataset), np.where(ends < 0.0, np.nan, ends), taken)


def paired(own: Outcomes, earlier: Iterable[Outcomes] = ()) -> list[dict[str, Any]]:
    """Every rule against the first and every other of the same conditions, those flown earlier too [units in the keys].

    What each took is compared in the conditions in which both are stable; the share of stable gates in all. Beside each
    mean difference stand the ends of its 95 % interval (Student's, of the differences; conditions drawn more evenly
    than at random make it too wide, not too narrow). None where it cannot be told.
    """
    against = [own, *(other for other in earlier if other.drawn == own.drawn)]
    return [
        {
            "rule": rule,
            "first": _difference(own, place, own, 0),
            "against": {
                name: _difference(own, place, other, number)
                for other in against
                for number, name in enumerate(other.rules)
                if other is not own or number != place
            },
        }
        for place, rule in enumerate(own.rules)
    ]


def _difference(own: Outcomes, place: int, other: Outcomes, number: int) -> dict[str, Any]:
    first, second = own.stable[place], other.stable[number]
    both = (first == 1.0) & (second == 1.0)
    row: dict[str, Any] = {"both_stable": int(np.count_nonzero(both)), **_share("stable_share", first - second)}
    for key, values in own.taken.items():
        row |= _mean(key, (values[place] - other.taken[key][number])[both])
    return row


def _share(key: str, differences: Array) -> dict[str, float | None]:
    """Mean difference of two shares over the same conditions, with the interval of Agresti and Min.

    Half a pair is added to each of the four outcomes (Simple improved confidence intervals for comparing matched
    proportions, Statistics in Medicine 24, 2005; from memory): where no pair differs the interval still has a width.
    """
    known = differences[np.isfinite(differences)]
    if known.size < 2:
        return {key: None, f"{key}_low": None, f"{key}_high": None}
    more, less, count = int(np.sum(known > 0.5)), int(np.sum(known < -0.5)), known.size + 2.0
    middle = (more - less) / count
    half = float(normal.ppf(0.5 + CONFIDENCE / 2.0)) * np.sqrt(more + less + 1.0 - (more - less) ** 2 / count) / count
    ends = {key: float(np.mean(known)), f"{key}_low": middle - half, f"{key}_high": middle + half}
    return {name: float(f"{value:.{_DIGITS}g}") for name, value in ends.items()}


def _mean(key: str, differences: Array) -> dict[str, float | None]:
    known = differences[np.isfinite(differences)]
    if known.size < 2:
        return {key: None, f"{key}_low": None, f"{key}_high": None}
    mean = float(np.mean(known))
    half = float(student.ppf(0.5 + CONFIDENCE / 2.0, known.size - 1) * np.std(known, ddof=1) / np.sqrt(known.size))
    ends = {key: mean, f"{key}_low": mean - half, f"{key}_high": mean + half}
    return {name: float(f"{value:.{_DIGITS}g}") for name, value in ends.items()}


def _names(dataset: xr.Dataset) -> tuple[str, ...]:
    return tuple(str(name) for name in dataset["rule"].to_numpy())
