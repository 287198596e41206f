"""Each rule flown in every condition of a set: how often it holds, by how much, what it costs, what breaks it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray
from scipy.stats import binomtest

from optdescent.inputs import Fault, InputFault, read_toml, validated, with_settings
from optdescent.margins.attribution import variance_shares
from optdescent.margins.breaking import Break, Breaking, reason_kind
from optdescent.margins.margins import DISTANCES
from optdescent.optimum.progress import Progress, silent
from optdescent.optimum.question import OptimumQuestion
from optdescent.results import Provenance
from optdescent.results.margins import COORDINATES
from optdescent.results.over_conditions import CASE_COLUMNS, TABLE_COLUMNS, OverConditions
from optdescent.results.sweep import Status
from optdescent.rules import Rule
from optdescent.rules.fleet import Fleet
from optdescent.rules.judged import Judged
from optdescent.scenario import Conditions, ConditionsDeclaration, Scenario
from optdescent.scenario.declared_axes import CrewsAxis
from optdescent.sweep.block import case_of
from optdescent.sweep.corners import tried
from optdescent.sweep.question import Asked

Array = NDArray[np.float64]
_HIGH, _LOW = 90.0, 10.0
"""Percentiles that a table shows: one condition of ten beyond."""
_CONFIDENCE = 0.95


def read_conditions(path: Path) -> Conditions:
    """Conditions of a file: the tables `sampling` and `axes` of a study's `conditions` [file units].

    Raises
    ------
    InputFault
        Every fault of the file.
    """
    name = str(path)
    return Conditions.of(validated(ConditionsDeclaration, read_toml(path), name), name, key="")


def asked_of(scenario: Path, settings: Sequence[str], conditions: Path) -> Asked:
    """A scenario file with `KEY=VALUE` settings, and the conditions that it is to be met in [file units].

    Raises
    ------
    InputFault
        Every fault of the files, and of the scenarios at the ends of the axes.
    """
    data = with_settings(read_toml(scenario), settings)
    found = Asked(data, str(scenario), scenario.parent, read_conditions(conditions))
    _, faults = tried(found, str(conditions))
    if faults:
        raise InputFault(replace(fault, key=fault.key.removeprefix("conditions.")) for fault in faults)
    _check_crews(found, str(conditions))
    return found


def _check_crews(asked: Asked, name: str) -> None:
    """That crews differ, where there are several: copies of one flight would be counted as many.

    Raises
    ------
    InputFault
        Nothing of the technique is left to a crew's seed.
    """
    axes = asked.conditions.axes
    crews = [index for index, axis in enumerate(axes) if isinstance(axis.declared, CrewsAxis)]
    if not crews or any(
        axis.key.startswith("technique.") and not isinstance(axis.declared, CrewsAxis) for axis in axes
    ):
        return
    technique = Scenario.from_data(dict(asked.data), asked.name, asked.folder).technique
    if technique.late_spread == technique.wind_error == technique.height_error == 0.0:
        allowed = "a technique with late_spread_s, wind_error_kt or height_error_ft, or no crews"
        raise InputFault([Fault(name, f"axes[{crews[0]}]", "has no effect: all crews fly alike", allowed)])


def margins_over(
    asked: Asked, rules: Sequence[Rule], optima: int, conditions_name: str, progress: Progress | None = None
) -> OverConditions:
    """Rules flown in every condition, and optima in some of them, evenly spread [SI].

    Parameters
    ----------
    optima : int
        In how many conditions the optimum is computed to compare fuel and time with [-]: it takes seconds, a flown
        rule a millisecond.

    Raises
    ------
    InputFault
        A condition makes no valid scenario.
    """
    say = progress or silent
    conditions = asked.conditions
    say("conditions")
    levels = [conditions.levels(number) for number in range(conditions.size)]
    scenarios = [asked.scenario(own) for own in levels]
    say("optima of some conditions")
    best = _optima(asked, optima)
    breaking = Breaking(asked)
    judged: list[Judged] = []
    breaks: list[Break] = []
    shares: list[tuple[Array, Array]] = []
    for rule in rules:
        say(f"flying {rule.name}")
        fleet = Fleet(rule)
        own = fleet.judged(scenarios, DISTANCES)
        judged.append(own)
        missed = 1.0 - own.stable.astype(float)
        shares.append(
            (
                variance_shares(missed, conditions.axes, levels),
                variance_shares(own.gate_energy, conditions.axes, levels),
            )
        )
        breaks.append(breaking.of(fleet))
    base = Scenario.from_data(dict(asked.data), asked.name, asked.folder)
    table = _table(base, rules, judged, breaks, best, [driver.axis.name for driver in breaking.drivers])
    table = table.assign(_by_driver(shares, [axis.name for axis in conditions.axes]))
    table.attrs = {"conditions": conditions_name, "conditions_with_optimum": len(best)}
    for name, column in TABLE_COLUMNS.items():
        table[name].attrs = {"units": column.unit, "long_name": column.long_name}
    provenance = Provenance(base.title, base.text, base.digest)
    return OverConditions(table, _cases(conditions, levels, rules, judged), provenance)


def _optima(asked: Asked, wanted: int) -> Mapping[int, tuple[float, float]]:
    """Fuel [kg] and time [s] of the optimum in some conditions, by their numbers; each from the nearest before it."""
    size = asked.conditions.size
    numbers = sorted({round(place) for place in np.linspace(0, size - 1, min(wanted, size)).tolist()})
    session = OptimumQuestion(with_slopes=False).hold(()).session()
    found: dict[int, tuple[float, float]] = {}
    starts: list[tuple[Array, object]] = []
    for number in numbers:
        case = case_of(asked, number)
        near = sorted(starts, key=lambda start: float(np.linalg.norm(start[0] - case.place)))
        answer = session.answer(case, tuple(start for _, start in near))
        if answer.status is Status.SOLVED:
            fuel, time = answer.values["fuel"], answer.values["time"]
            assert isinstance(fuel, float)
            assert isinstance(time, float)
            found[number] = fuel, time
            starts.append((case.place, answer.start))
    return found


def _table(
    scenario: Scenario,
    rules: Sequence[Rule],
    judged: Sequence[Judged],
    breaks: Sequence[Break],
    best: Mapping[int, tuple[float, float]],
    drivers: Sequence[str],
) -> xr.Dataset:
    gradient = scenario.arrival.glide_path.gradient
    rows = [_row(own, best) for own in judged]
    table: dict[str, tuple[tuple[str, ...], Any]] = {name: (("rule",), [row[name] for row in rows]) for name in rows[0]}
    for name, percentile in (("median", 50.0), ("high", _HIGH)):
        energy = np.array([_percentile(own.excess, percentile) for own in judged])
        table[f"excess_energy_{name}"] = ("rule", "at_distance"), energy
        table[f"excess_track_{name}"] = ("rule", "at_distance"), energy / gradient
    table["breaking_radius"] = ("rule",), [one.radius for one in breaks]
    table["breaking"] = ("rule",), [one.sentence for one in breaks]
    table["breaking_level"] = ("rule", "disturbed"), np.array([one.levels for one in breaks]).reshape(len(rules), -1)
    table["most_common_reason"] = ("rule",), [_most_common(own.reasons) for own in judged]
    distance = COORDINATES["at_distance"]
    return xr.Dataset(
        table,
        coords={
            "rule": [rule.name for rule in rules],
            "rule_title": ("rule", [rule.title for rule in rules]),
            "rule_source": ("rule", [rule.source for rule in rules]),
            "at_distance": ("at_distance", list(DISTANCES), {"units": distance.unit, "long_name": distance.long_name}),
            "disturbed": list(drivers),
        },
    )


def _row(own: Judged, best: Mapping[int, tuple[float, float]]) -> dict[str, float]:
    """Numbers of one rule by column [SI]."""
    count, stable = own.stable.size, int(np.count_nonzero(own.stable))
    interval = binomtest(stable, count).proportion_ci(_CONFIDENCE, method="wilson")
    compared = [number for number in best if own.stable[number]]
    fuel = np.array([own.fuel[number] - best[number][0] for number in compared])
    time = np.array([own.time[number] - best[number][1] for number in compared])
    return {
        "stable_share": stable / count,
        "stable_share_low": float(interval.low),
        "stable_share_high": float(interval.high),
        "limits_kept_share": float(np.mean(own.stable & own.limits_kept)),
        "gate_energy_median": float(_percentile(own.gate_energy, 50.0)),
        "gate_energy_high": float(_percentile(own.gate_energy, _HIGH)),
        "speed_room_low": float(_percentile(-own.over_limit, _LOW)),
        "brake_distance_mean": _mean(own.brake_distance),
        "thrust_distance_mean": _mean(own.thrust_distance),
        "thrust_fuel_mean": _mean(own.thrust_fuel),
        "fuel_mean": _mean(own.fuel),
        "compared": float(len(compared)),
        "fuel_above_optimum_mean": _mean(fuel),
        "fuel_above_optimum_low": float(_percentile(fuel, _LOW)),
        "fuel_above_optimum_high": float(_percentile(fuel, _HIGH)),
        "time_above_optimum_mean": _mean(time),
    }


def _mean(values: Array) -> float:
    known = values[np.isfinite(values)]
    return float(np.mean(known)) if known.size else float("nan")


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


def _by_driver(shares: Sequence[tuple[Array, Array]], names: Sequence[str]) -> dict[str, xr.DataArray]:
    found: dict[str, xr.DataArray] = {}
    for index, name in enumerate(("miss_share", "energy_share")):
        values = np.array([pair[index] for pair in shares])
        found[name] = xr.DataArray(values, dims=("rule", "driver"), coords={"driver": list(names)})
    return found


def _cases(
    conditions: Conditions, levels: Sequence[Sequence[Any]], rules: Sequence[Rule], judged: Sequence[Judged]
) -> xr.Dataset:
    """What became of each rule in each case, and the level of each axis there [file unit]."""
    sources = {"gate_above_reference": "above_reference"}
    dims = ("rule", "case")
    columns: dict[str, Any] = {}
    for name, column in CASE_COLUMNS.items():
        values = np.array([getattr(own, sources.get(name, name)) for own in judged], dtype=float)
        columns[name] = dims, values, {"units": column.unit, "long_name": column.long_name}
    columns["reason"] = dims, np.array([own.reasons for own in judged], dtype=object)
    for index, axis in enumerate(conditions.axes):
        own = np.array([case[index] for case in levels])
        text = own.astype(object) if own.dtype.kind in "US" else own
        columns[f"level_{axis.name}"] = ("case",), text, {"long_name": axis.key, "unit_in_file": axis.unit.symbol}
    return xr.Dataset(columns, coords={"rule": [rule.name for rule in rules], "case": np.arange(len(levels))})
