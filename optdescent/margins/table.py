"""What became of rules over conditions, as one row a rule and as one row a case."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.margins.attribution import Order, has_classes, remainder, variance_shares
from optdescent.margins.breaking import Break, Breaking
from optdescent.margins.driver import reason_kind
from optdescent.margins.flown import Flown
from optdescent.margins.margins import DISTANCES
from optdescent.margins.met import Met
from optdescent.margins.optima import Optima
from optdescent.results.margins import COORDINATES
from optdescent.results.over_conditions import CASE_COLUMNS, OPTIMUM_COLUMNS, TABLE_COLUMNS
from optdescent.rules.compared import mean_of, means_compared, share_interval
from optdescent.scenario import Axis, Level

Array = NDArray[np.float64]
_HIGH, _LOW = 90.0, 10.0
"""Percentiles that a table shows: one condition of ten beyond."""
_LEAST = 20
"""Values from which these are told: two beyond (our choice)."""


def table_by_rule(met: Met, gradient: float, flown: Sequence[Flown], optima: Optima) -> xr.Dataset:
    """How often each rule holds, by how much and what it costs [SI].

    `gradient` is that of the glide path [-].
    """
    rules = met.rules
    compared = means_compared([_by_condition(own, "fuel") for own in flown], [_stable(own) for own in flown])
    above, beside = _above_optima(flown, optima, is_drawn=met.is_drawn)
    best_fuel = optima.by_condition(len(met.levels))[0]
    rows = [_row(own, best_fuel, is_drawn=met.is_drawn) for own in flown]
    columns = {name: np.array([row.get(name, np.nan) for row in rows]) for name in max(rows, key=len)}
    columns |= {"fuel_mean": compared.mean, "same_conditions": compared.conditions, **above}
    table: dict[str, tuple[tuple[str, ...], Any]] = {name: (("rule",), own) for name, own in columns.items()}
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
        attrs={
            "conditions": met.name,
            "sampling": met.asked.conditions.sampling.kind,
            "conditions_with_optimum": len(optima.best),
            "optima_not_found": optima.told,
            "fuel_compared_with": rules[compared.beside].name,
            "optima_compared_with": rules[beside].name,
        },
        coords={
            "rule": [rule.name for rule in rules],
            "rule_title": ("rule", [rule.title for rule in rules]),
            "rule_source": ("rule", [rule.source for rule in rules]),
            "at_distance": ("at_distance", list(DISTANCES), {"units": distance.unit, "long_name": distance.long_name}),
        },
    )


def _above_optima(flown: Sequence[Flown], optima: Optima, *, is_drawn: bool) -> tuple[dict[str, Array], int]:
    """Columns of fuel [kg] and time [s] above optima over the same conditions, and beside which rule [place].

    The rule beside which the others are set is stable in most conditions with an optimum; of several the one that is
    stable most often.
    """
    best = optima.by_condition(len(flown[0].reasons))
    stable = [_stable(own) for own in flown]
    held = [own & np.isfinite(best[0]) for own in stable]
    counts = [(np.count_nonzero(there), np.count_nonzero(own)) for there, own in zip(held, stable, strict=True)]
    beside = counts.index(max(counts))
    columns = {"compared": np.array([float(np.count_nonzero(held[beside] & there)) for there in held])}
    for name, own_best in zip(("fuel", "time"), best, strict=True):
        found = means_compared([_by_condition(own, name) - own_best for own in flown], held, beside)
        error = found.error if is_drawn else np.full(len(flown), np.nan)
        columns[f"{name}_above_optimum_mean"] = found.mean
        columns[f"{name}_above_optimum_mean_low"] = found.mean - error
        columns[f"{name}_above_optimum_mean_high"] = found.mean + error
    return columns, beside


def _by_condition(own: Flown, name: str) -> Array:
    """Values of a rule (condition,) [SI]; not a number where it was not flown."""
    if own.judged is None:
        return np.full(len(own.reasons), np.nan)
    return own.spread(np.asarray(getattr(own.judged, name), dtype=float))


def _stable(own: Flown) -> NDArray[np.bool_]:
    return _by_condition(own, "stable") > 0.5


def _row(own: Flown, best_fuel: Array, *, is_drawn: bool) -> dict[str, float]:
    """Numbers of one rule by column [SI], those that compare rules left out; hardly any where it was not flown."""
    if own.judged is None:
        return {"flown": 0.0, "stable_flights": 0.0}
    judged = own.judged
    count, stable = judged.stable.size, int(np.count_nonzero(judged.stable))
    low, high = share_interval(stable, count) if is_drawn else (float("nan"), float("nan"))
    above = (judged.fuel - best_fuel[own.numbers])[judged.stable]
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
        "gear_distance_median": float(_percentile(judged.gear_distance, 50.0)),
        "gear_distance_low": float(_percentile(judged.gear_distance, _LOW)),
        "landing_flaps_distance_median": float(_percentile(judged.landing_flaps_distance, 50.0)),
        "landing_flaps_distance_low": float(_percentile(judged.landing_flaps_distance, _LOW)),
        "thrust_distance_mean": mean_of(judged.thrust_distance),
        "thrust_fuel_mean": mean_of(judged.thrust_fuel),
        "fuel_stable_mean": mean_of(judged.fuel[judged.stable]),
        "fuel_above_optimum_low": float(_percentile(above, _LOW)),
        "fuel_above_optimum_high": float(_percentile(above, _HIGH)),
    }


def _percentile(values: Array, percentile: float) -> Array:
    """Percentile over the last dimension of what is known; not a number where too little is."""
    known = np.isfinite(values)
    least = _LEAST if percentile in (_LOW, _HIGH) else 1
    rows = [row[own] for row, own in zip(np.atleast_2d(values), np.atleast_2d(known), strict=True)]
    found = np.array([np.percentile(row, percentile) if row.size >= least else np.nan for row in rows])
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
    flown: Sequence[Flown], axes: Sequence[Axis], levels: Sequence[Sequence[Level]], order: Mapping[str, Order]
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
        told = [_stands_for(row, own, axes, levels, order) for row, own in zip(shares, flown, strict=True)]
        found[f"{name}_remainder_of"] = xr.DataArray(_words(told), dims=("rule",))
    return found


def _stands_for(
    shares: Array, own: Flown, axes: Sequence[Axis], levels: Sequence[Sequence[Level]], order: Mapping[str, Order]
) -> str:
    """What a remainder stands for: drivers together, axes without a share, members beyond what they are classed by."""
    if not np.isfinite(shares).any():
        return ""
    parts = ["drivers together"]
    for index, (axis, share) in enumerate(zip(axes, shares.tolist(), strict=True)):
        if np.isnan(share):
            parts.append(axis.name)
        elif axis.name in order and not has_classes([levels[int(case)][index] for case in own.numbers]):
            parts.append(f"{axis.name} beyond its {order[axis.name].what}")
    return ", ".join(parts)


def described(table: xr.Dataset) -> xr.Dataset:
    """The table with the unit and the long name of each of its columns [SI]."""
    for name, column in TABLE_COLUMNS.items():
        table[name].attrs = {"units": column.unit, "long_name": column.long_name}
    return table


def table_of_cases(met: Met, flown: Sequence[Flown], optima: Optima) -> xr.Dataset:
    """What became of each rule in each case, what its optimum is [SI], and the level of each axis there [file unit]."""
    dims = ("rule", "case")
    columns: dict[str, Any] = {}
    for name, column in CASE_COLUMNS.items():
        values = np.array([_in_cases(own, name) for own in flown])
        columns[name] = dims, values, {"units": column.unit, "long_name": column.long_name}
    columns["reason"] = dims, np.array([_reasons(own) for own in flown], dtype=object)
    for (name, column), values in zip(OPTIMUM_COLUMNS.items(), optima.by_condition(len(met.levels)), strict=True):
        columns[name] = ("case",), values, {"units": column.unit, "long_name": column.long_name}
    for index, axis in enumerate(met.asked.conditions.axes):
        own = np.array([case[index] for case in met.levels])
        text = own.astype(object) if own.dtype.kind in "US" else own
        columns[f"level_{axis.name}"] = ("case",), text, {"long_name": axis.words, "unit_in_file": axis.unit.symbol}
    return xr.Dataset(columns, coords={"rule": [rule.name for rule in met.rules], "case": np.arange(len(met.levels))})


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
