"""What became of rules over conditions, as one row a rule and as one row a case."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.margins.attribution import classed_by, has_classes, remainder, variance_shares
from optdescent.margins.breaking import Break, Breaking
from optdescent.margins.driver import reason_kind
from optdescent.margins.flown import Flown
from optdescent.margins.margins import DISTANCES
from optdescent.results.margins import COORDINATES
from optdescent.results.over_conditions import CASE_COLUMNS, ROW_COLUMNS, TABLE_COLUMNS
from optdescent.rules import Rule
from optdescent.rules.compared import Compared, fuel_compared, mean_of, share_interval
from optdescent.scenario import Axis, Conditions, Level

Array = NDArray[np.float64]
_HIGH, _LOW = 90.0, 10.0
"""Percentiles that a table shows: one condition of ten beyond."""


def table_by_rule(
    gradient: float, rules: Sequence[Rule], flown: Sequence[Flown], best: Mapping[int, tuple[float, float]]
) -> xr.Dataset:
    """How often each rule holds, by how much and what it costs [SI].

    `gradient` is that of the glide path [-], `best` has the fuel [kg] and time [s] of optima by condition.
    """
    compared = _compared(flown)
    rows = [
        {**_row(own, best), "fuel_mean": float(fuel), "same_conditions": float(count)}
        for own, fuel, count in zip(flown, compared.fuel, compared.conditions, strict=True)
    ]
    table: dict[str, tuple[tuple[str, ...], Any]] = {name: (("rule",), [row[name] for row in rows]) for name in rows[0]}
    nothing = np.full(len(DISTANCES), np.nan)
    for name, percentile in (("median", 50.0), ("high", _HIGH)):
        energy = np.array(
            [nothing if own.judged is None else _percentile(own.judged.excess, percentile) for own in flown]
        )
        table[f"excess_energy_{name}"] = ("rule", "at_distance"), energy
        table[f"excess_track_{name}"] = ("rule", "at_distance"), energy / gradient
    reasons = [() if own.judged is None else own.judged.reasons for own in flown]
    table["most_common_reason"] = ("rule",), [_most_common(own) for own in reasons]
    table["not_flown"] = ("rule",), [own.told for own in flown]
    distance = COORDINATES["at_distance"]
    return xr.Dataset(
        table,
        attrs={"fuel_compared_with": rules[compared.beside].name},
        coords={
            "rule": [rule.name for rule in rules],
            "rule_title": ("rule", [rule.title for rule in rules]),
            "rule_source": ("rule", [rule.source for rule in rules]),
            "at_distance": ("at_distance", list(DISTANCES), {"units": distance.unit, "long_name": distance.long_name}),
        },
    )


def _compared(flown: Sequence[Flown]) -> Compared:
    """Fuel of rules over the same conditions: those in which each and the one that is stable most often are [SI]."""
    missing = [np.full(len(own.reasons), np.nan) for own in flown]
    fuel = [nan if own.judged is None else own.spread(own.judged.fuel) for own, nan in zip(flown, missing, strict=True)]
    stable = [
        nan > 0.0 if own.judged is None else own.spread(own.judged.stable.astype(float)) > 0.5
        for own, nan in zip(flown, missing, strict=True)
    ]
    return fuel_compared(fuel, stable)


def _row(own: Flown, best: Mapping[int, tuple[float, float]]) -> dict[str, float]:
    """Numbers of one rule by column [SI], those that compare rules left out; not a number where it was not flown."""
    if own.judged is None:
        return {**dict.fromkeys(ROW_COLUMNS, float("nan")), "flown": 0.0, "compared": 0.0, "stable_flights": 0.0}
    judged = own.judged
    count, stable = judged.stable.size, int(np.count_nonzero(judged.stable))
    low, high = share_interval(stable, count)
    compared = [at for at, number in enumerate(own.numbers.tolist()) if number in best and judged.stable[at]]
    optima = [best[number] for number in own.numbers[compared].tolist()]
    fuel = judged.fuel[compared] - np.array([fuel for fuel, _ in optima])
    time = judged.time[compared] - np.array([time for _, time in optima])
    return {
        "flown": float(count),
        "stable_flights": float(stable),
        "stable_share": stable / count,
        "stable_share_low": low,
        "stable_share_high": high,
        "limits_kept_share": float(np.mean(judged.stable & judged.limits_kept)),
        "gate_energy_median": float(_percentile(judged.gate_energy, 50.0)),
        "gate_energy_high": float(_percentile(judged.gate_energy, _HIGH)),
        "speed_room_low": float(_percentile(-judged.over_limit, _LOW)),
        "brake_distance_mean": mean_of(judged.brake_distance),
        "thrust_distance_mean": mean_of(judged.thrust_distance),
        "thrust_fuel_mean": mean_of(judged.thrust_fuel),
        "fuel_stable_mean": mean_of(judged.fuel[judged.stable]),
        "compared": float(len(compared)),
        "fuel_above_optimum_mean": mean_of(fuel),
        "fuel_above_optimum_low": float(_percentile(fuel, _LOW)),
        "fuel_above_optimum_high": float(_percentile(fuel, _HIGH)),
        "time_above_optimum_mean": mean_of(time),
    }


def _percentile(values: Array, percentile: float) -> Array:
    """Percentile over the last dimension of what is known; not a number where nothing is."""
    known = np.isfinite(values)
    rows = [row[own] for row, own in zip(np.atleast_2d(values), np.atleast_2d(known), strict=True)]
    found = np.array([np.percentile(row, percentile) if row.size else np.nan for row in rows])
    return found if values.ndim > 1 else found[0]


def _most_common(reasons: Sequence[str]) -> str:
    """What keeps most unstable flights from being stable, without its amount, and how many of them it does."""
    kinds = Counter(reason_kind(part) for reason in reasons if reason for part in reason.split("; "))
    if not kinds:
        return ""
    kind, count = kinds.most_common(1)[0]
    return f"{kind} ({count} of {sum(bool(reason) for reason in reasons)} misses)"


def what_breaks(breaks: Sequence[Break], breaking: Breaking) -> dict[str, xr.DataArray]:
    """What breaks each rule: drivers disturbed [file units], and levels of axes without an order, each alone [-]."""
    units = [driver.axis.unit.symbol for driver in breaking.drivers]
    disturbed = {
        "disturbed": [driver.axis.name for driver in breaking.drivers],
        "disturbed_unit": ("disturbed", np.array(units, dtype=object), {"long_name": "unit of the level"}),
    }
    levels = np.array([one.levels for one in breaks]).reshape(len(breaks), -1)
    first = breaks[0].levels_alone
    tried = {
        "tried_axis": ("tried_level", _words([one.axis.name for one in first for _ in one.levels])),
        "tried_as": ("tried_level", _words([str(level) for one in first for level in one.levels])),
    }
    flags = [np.concatenate([np.zeros(0), *(one.breaks for one in own.levels_alone)]) for own in breaks]
    unordered = {
        "unordered": _words([one.axis.name for one in first]),
        "levels_declared": ("unordered", [one.axis.count or 0 for one in first], {"long_name": "levels that it has"}),
    }

    def counted(counts: Sequence[Sequence[int]]) -> xr.DataArray:
        return xr.DataArray(
            np.array(counts, dtype=float).reshape(len(breaks), -1), dims=("rule", "unordered"), coords=unordered
        )

    return {
        "breaking_radius": xr.DataArray([one.radius for one in breaks], dims=("rule",)),
        "breaking": xr.DataArray(_words([one.sentence for one in breaks]), dims=("rule",)),
        "breaking_level": xr.DataArray(levels, dims=("rule", "disturbed"), coords=disturbed),
        "level_breaks": xr.DataArray(np.array(flags), dims=("rule", "tried_level"), coords=tried),
        "levels_tried": counted([[one.tried for one in own.levels_alone] for own in breaks]),
        "levels_breaking": counted([[len(one.breaking) for one in own.levels_alone] for own in breaks]),
    }


def _words(words: Sequence[str]) -> NDArray[Any]:
    return np.array(words, dtype=object)


def shares_by_driver(
    flown: Sequence[Flown], axes: Sequence[Axis], levels: Sequence[Sequence[Level]], order: Mapping[str, Array]
) -> dict[str, xr.DataArray]:
    """Shares of the variance of misses and of energy that each driver explains alone, and what remains [-]."""
    names = [axis.name for axis in axes]
    found: dict[str, xr.DataArray] = {}
    for name in ("miss", "energy"):
        shares = np.full((len(flown), len(axes)), np.nan)
        for index, own in enumerate(flown):
            if own.judged is not None:
                values = 1.0 - own.judged.stable.astype(float) if name == "miss" else own.judged.gate_energy
                shares[index] = variance_shares(own.spread(values), axes, levels, order)
        found[f"{name}_share"] = xr.DataArray(shares, dims=("rule", "driver"), coords={"driver": names})
        found[f"{name}_remainder"] = xr.DataArray([remainder(row) for row in shares], dims=("rule",))
        told = [_stands_for(row, own, axes, levels) for row, own in zip(shares, flown, strict=True)]
        found[f"{name}_remainder_of"] = xr.DataArray(_words(told), dims=("rule",))
    return found


def _stands_for(shares: Array, own: Flown, axes: Sequence[Axis], levels: Sequence[Sequence[Level]]) -> str:
    """What a remainder stands for: drivers together, axes without a share, members beyond what they are classed by."""
    if not np.isfinite(shares).any():
        return ""
    parts = ["drivers together"]
    for index, (axis, share) in enumerate(zip(axes, shares.tolist(), strict=True)):
        if np.isnan(share):
            parts.append(axis.name)
        elif (number := classed_by(axis)) and not has_classes([levels[int(case)][index] for case in own.numbers]):
            parts.append(f"{axis.name} beyond its {number}")
    return ", ".join(parts)


def described(table: xr.Dataset) -> xr.Dataset:
    """The table with the unit and the long name of each of its columns [SI]."""
    for name, column in TABLE_COLUMNS.items():
        table[name].attrs = {"units": column.unit, "long_name": column.long_name}
    return table


def table_of_cases(
    conditions: Conditions, levels: Sequence[Sequence[Level]], rules: Sequence[Rule], flown: Sequence[Flown]
) -> xr.Dataset:
    """What became of each rule in each case [SI], and the level of each axis there [file unit]."""
    dims = ("rule", "case")
    columns: dict[str, Any] = {}
    for name, column in CASE_COLUMNS.items():
        values = np.array([_in_cases(own, name) for own in flown])
        columns[name] = dims, values, {"units": column.unit, "long_name": column.long_name}
    columns["reason"] = dims, np.array([_reasons(own) for own in flown], dtype=object)
    for index, axis in enumerate(conditions.axes):
        own = np.array([case[index] for case in levels])
        text = own.astype(object) if own.dtype.kind in "US" else own
        columns[f"level_{axis.name}"] = ("case",), text, {"long_name": axis.key, "unit_in_file": axis.unit.symbol}
    return xr.Dataset(columns, coords={"rule": [rule.name for rule in rules], "case": np.arange(len(levels))})


_SOURCES = {"gate_above_reference": "above_reference"}


def _in_cases(own: Flown, name: str) -> Array:
    if own.judged is None:
        return np.full(len(own.reasons), np.nan)
    values: Array = np.asarray(getattr(own.judged, _SOURCES.get(name, name)), dtype=float)
    return own.spread(values)


def _reasons(own: Flown) -> list[str]:
    found = [f"not flown: {reason}" if reason else "" for reason in own.reasons]
    if own.judged is not None:
        for number, reason in zip(own.numbers.tolist(), own.judged.reasons, strict=True):
            found[number] = reason
    return found
