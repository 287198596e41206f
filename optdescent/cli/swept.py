"""What `optdescent sweep` says of a finished sweep."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import click

from optdescent.cli.say import CONFLICT, DONE, NOT_CONVERGED

if TYPE_CHECKING:
    import xarray as xr

    from optdescent.results.plain import Plain
    from optdescent.results.sweep import Status
    from optdescent.scenario import Level
    from optdescent.study import Study
    from optdescent.sweep import Outcome

_SHOWN = (
    ("fuel", "kg", "fuel, kg"),
    ("time", "min", "time, min"),
    ("top_of_descent", "nm", "top of descent, nm to go"),
)
_SHARES = (5.0, 25.0, 50.0, 75.0, 95.0)
_MOST_REASONS = 3
_NUMBER = re.compile(r"-?\d+(\.\d+)?")


def swept_plain(study: Study, outcome: Outcome, dataset: xr.Dataset, path: Path) -> Plain:
    """What a finished sweep found; keys carry their unit [kg, min, nm]."""
    from optdescent.caution import CAUTION
    from optdescent.results.provenance import software_version

    counts = {status.name.lower(): count for status, count in outcome.counts.items() if count}
    return {
        "study": {"title": study.title, "digest": study.digest, "software_version": software_version()},
        "cases": {"all": study.plan.conditions.size, **counts},
        "reasons": _reasons(study, dataset),
        "percentiles": _percentiles(dataset),
        "cost_slopes": _slopes(study, dataset),
        "rules": rules_plain(dataset),
        "corridor": corridor_plain(dataset),
        "data": str(path),
        "open": f'xarray.open_zarr("{path}")',
        "caution": CAUTION,
    }


def exit_status(outcome: Outcome) -> int:
    """Exit status of a finished sweep: a single solved case is a result, and cases without a descent are answers."""
    from optdescent.results.sweep import Status

    met = {status for status, count in outcome.counts.items() if count}
    if Status.SOLVED in met:
        return DONE
    return CONFLICT if met == {Status.INFEASIBLE} else NOT_CONVERGED


def say_swept(plain: Plain) -> None:
    """Print what a finished sweep found."""
    from optdescent.results.sweep import Status

    cases = plain["cases"]
    click.echo(f"{plain['study']['title']} ({plain['study']['digest']})")
    ends = {end.name.lower(): end.sentence for end in Status if end is not Status.SOLVED}
    told = [f"{cases.get('solved', 0)} solved"]
    told += [f"{cases[name]} {name.replace('_', ' ')} ({sentence})" for name, sentence in ends.items() if name in cases]
    click.echo(f"{cases['all']} cases: {', '.join(told)}")
    for reason in plain["reasons"]:
        status = reason["status"].replace("_", " ")
        click.echo(f"  {reason['cases']} {status}, as at {reason['at']}: {reason['reason']}")
    if table := plain["percentiles"]:
        click.echo(f"{'part of the cases below':28s}" + "".join(f"{share:9.0f}%" for share in table["share_percent"]))
        for name, unit, sentence in _SHOWN:
            click.echo(f"{sentence:28s}" + "".join(_number(value, "10.1f") for value in table[f"{name}_{unit}"]))
    for slope in plain["cost_slopes"]:
        value = _number(slope["median_kg"], "+.3g")
        click.echo(f"cost for each {slope['per']} of {slope['axis']}: {value} kg (median)")
    for rule in plain["rules"]:
        stable = f"stable in {rule['stable']} of {rule['flown']}{_interval(rule)}"
        if "median_fuel_above_optimum_kg" in rule:
            fuel = f"{_number(rule['median_fuel_above_optimum_kg'], '.0f')} kg above the optimum"
        else:
            fuel = f"{_number(rule['median_fuel_kg'], '.0f')} kg"
        click.echo(f"{rule['name']}: {stable}, {fuel} (median of the stable)")
    if points := plain["corridor"]:
        met, every = sum(point["cases"] for point in points), cases["all"] * len(points)
        click.echo(f"corridor: the gate can be met in {met} of {every} combinations of case, devices and point")
    click.echo(f"data in {plain['data']}: {plain['open']}; log in {plain['log']}")
    click.echo(plain["caution"])


def _interval(rule: Plain) -> str:
    """Ends of the interval of a share in brackets; nothing where no flight tells."""
    if rule["stable_share_low"] is None:
        return ""
    return f" (95 %: {100.0 * rule['stable_share_low']:.1f} to {100.0 * rule['stable_share_high']:.1f} %)"


def _number(value: float | None, form: str) -> str:
    return format("–", f">{form.partition('.')[0].strip('+')}") if value is None else format(value, form)


def _rounded(value: float, digits: int) -> float | None:
    """To so many significant digits; None where it is no number: JSON has none."""
    return None if value != value else float(f"{value:.{digits}g}")


def _percentiles(dataset: xr.Dataset) -> Plain:
    from optdescent.sweep.analysis import percentiles
    from optdescent.units import UNITS

    if "fuel" not in dataset:
        return {}  # no optimum was asked for
    table: Plain = {"share_percent": list(_SHARES)}
    for name, unit, _ in _SHOWN:
        found = percentiles(dataset, name, _SHARES)[name].to_numpy() / UNITS[unit].factor
        table[f"{name}_{unit}"] = [_rounded(float(value), 6) for value in found]
    return table


def _slopes(study: Study, dataset: xr.Dataset) -> list[Plain]:
    from optdescent.sweep.analysis import percentiles

    if "cost_slope" not in dataset:
        return []
    medians = percentiles(dataset, "cost_slope", (50.0,))["cost_slope"].squeeze("share")
    return [
        {"axis": axis.name, "per": axis.unit.symbol or "1", "median_kg": _rounded(float(medians[index]), 4)}
        for index, axis in enumerate(study.asked.conditions.axes)
        if axis.is_ordered
    ]


def rules_plain(dataset: xr.Dataset) -> list[Plain]:
    """How often each rule of a sweep was stable, with its interval, and the median fuel [kg] of its stable flights."""
    import numpy as np

    from optdescent.rules.compared import share_interval

    if "rule" not in dataset.dims:
        return []
    names: list[str] = dataset["rule"].to_numpy().tolist()
    key = "fuel_above_optimum" if "fuel" in dataset else "fuel"
    fuel = dataset["rule_fuel"] - dataset["fuel"] if "fuel" in dataset else dataset["rule_fuel"]
    order = [*(dim for dim in dataset["rule_stable"].dims if dim != "rule"), "rule"]
    ends = dataset["rule_stable"].transpose(*order).to_numpy().reshape(-1, len(names))
    used = np.asarray(fuel.transpose(*order).to_numpy(), dtype=float).reshape(-1, len(names))
    found: list[Plain] = []
    for name, own, kilograms in zip(names, ends.T, used.T, strict=True):
        flown, stable = int((own >= 0).sum()), int((own == 1).sum())
        low, high = share_interval(stable, flown) if flown else (math.nan, math.nan)
        # a flight that misses the gate goes round: what it used is not what the rule costs
        counting = kilograms[own == 1]
        counting = counting[np.isfinite(counting)]
        found.append(
            {
                "name": name,
                "flown": flown,
                "stable": stable,
                "stable_share": stable / flown if flown else None,
                "stable_share_low": _rounded(low, 4),
                "stable_share_high": _rounded(high, 4),
                f"median_{key}_kg": _rounded(float(np.median(counting)) if counting.size else math.nan, 4),
            }
        )
    return found


def corridor_plain(dataset: xr.Dataset) -> list[Plain]:
    """At each point of a corridor in how many cases there is a highest height, and their median [nm, kt, ft]."""
    import numpy as np

    from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

    if "corridor_highest" not in dataset:
        return []
    point = ("devices", "corridor_distance", "corridor_speed")
    heights = dataset["corridor_highest"].stack(point=point).transpose(..., "point")
    names, distances, speeds = (heights[name].to_numpy().tolist() for name in point)
    found: list[Plain] = []
    for index, own in enumerate(np.asarray(heights.to_numpy(), dtype=float).reshape(-1, len(names)).T):
        known = own[np.isfinite(own)]
        found.append(
            {
                "devices": names[index],
                "distance_nm": round(distances[index] / NAUTICAL_MILE, 3),
                "speed_kt": round(speeds[index] / KNOT, 1),
                "cases": int(known.size),
                "median_highest_ft": _rounded(float(np.median(known)) / FOOT if known.size else math.nan, 4),
            }
        )
    return found


def _reasons(study: Study, dataset: xr.Dataset) -> list[Plain]:
    """The commonest reasons of cases without an answer: reasons that differ only in their numbers are one."""
    counts: Counter[tuple[Status, str]] = Counter()
    examples: dict[tuple[Status, str], tuple[int, str]] = {}
    for number, status, reason in _unsolved(dataset):
        key = status, _NUMBER.sub("#", reason)
        counts[key] += 1
        examples.setdefault(key, (number, reason))
    found: list[Plain] = []
    for key, count in counts.most_common(_MOST_REASONS):
        number, reason = examples[key]
        levels = zip(study.asked.conditions.axes, study.asked.conditions.levels(number), strict=True)
        at = ", ".join(f"{axis.name} {_level(level)}" for axis, level in levels)
        found.append({"status": key[0].name.lower(), "cases": count, "at": at, "reason": reason})
    return found


def _level(level: Level) -> str:
    return f"{level:g}" if isinstance(level, float) else str(level)


def _unsolved(dataset: xr.Dataset) -> Iterator[tuple[int, Status, str]]:
    """Number, status and reason of each case without an answer, read some chunks at a time."""
    from optdescent.results.sweep import Status

    shape, first_dim = dataset["status"].shape, dataset["status"].dims[0]
    rows = dataset["status"].encoding.get("chunks", shape)[0]
    for first in range(0, shape[0], rows):
        part = dataset[["status", "reason"]].isel({first_dim: slice(first, first + rows)})
        ends = part["status"].to_numpy().ravel()
        if not ends.any():
            continue
        reasons = part["reason"].to_numpy().ravel()
        for index in ends.nonzero()[0].tolist():
            yield first * math.prod(shape[1:]) + index, Status(int(ends[index])), str(reasons[index])
