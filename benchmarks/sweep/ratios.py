"""What was measured beside what is asked of sweeps: ratios of facts, of which both have to be there."""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path

Facts = Mapping[str, float]
Row = tuple[str, ...]
HEADER = ("what", "measured", "asked", "met")
WHOLE = 10000
"""Cases of the whole sweep."""
_ASIDE = ", preparation aside"
_CONSTANT = (0.8, 1.25)
"""What counts as constant: our reading."""
_FLAT = 1.1
"""Most that memory may grow by from the first to the last quarter and be flat: our reading."""


def ratios(facts: Facts) -> list[Row]:
    """Each ratio or figure that the facts allow, what is asked, and whether it is met."""
    sizes = sorted(int(name[5:-2]) for name in facts if name.startswith("case_") and name.endswith("_s"))
    rows: list[Row] = []
    rate = "two workers beside cold solves one by one, cases a second"
    _quotient(rows, facts, f"{rate}, some blocks{_ASIDE}", ("cold_s", "workers_2_s"), (10.0, None))
    if (whole := f"sweep_{WHOLE}_s") in facts and "cold_s" in facts:
        times = facts["cold_s"] * WHOLE / facts[whole]
        rows.append(_row(f"{rate}, {WHOLE} cases, with preparation", times, (10.0, None)))
    ends = ("workers_1_s", "workers_2_s")
    _quotient(rows, facts, f"two workers beside one, cases a second{_ASIDE}", ends, (1.7, None))
    for size in sizes[-1:]:
        ends = (f"memory_last_{size}_MB", f"memory_first_{size}_MB")
        told = f"memory of the last quarter beside the first with all workers up, {size} cases"
        _quotient(rows, facts, told, ends, (None, _FLAT))
        _figure(rows, facts, f"most memory, MB, {size} cases", f"memory_most_{size}_MB", (None, 1500.0))
        _figure(rows, facts, f"solved, %, {size} cases", f"solved_{size}_percent", (99.5, None))
    if len(sizes) > 1:
        told = f"processor seconds a case, {sizes[-1]} cases beside some {sizes[0]} of them{_ASIDE}"
        _quotient(rows, facts, told, (f"busy_{sizes[-1]}_s", f"busy_{sizes[0]}_s"), _CONSTANT)
    told, ends = "Dask beside local processes, seconds with preparation", ("cluster_s", "local_s")
    _quotient(rows, facts, told, ends, (None, 1.15))
    told = "memory of the last quarter beside the first with all workers up, flights of a rule"
    _quotient(rows, facts, told, ("memory_last_rules_MB", "memory_first_rules_MB"), (None, _FLAT))
    _figure(rows, facts, "most memory, MB, flights of a rule", "memory_most_rules_MB", (None, 1500.0))
    return rows


def merged(path: Path, facts: Facts) -> dict[str, float]:
    """Facts of earlier runs of other parts that a file holds, and these, which come first."""
    before: Facts = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
    return {**before, **facts}


_Range = tuple[float | None, float | None]


def _quotient(rows: list[Row], facts: Facts, told: str, names: tuple[str, str], asked: _Range) -> None:
    if all(name in facts for name in names):
        rows.append(_row(told, facts[names[0]] / facts[names[1]], asked))


def _figure(rows: list[Row], facts: Facts, told: str, name: str, asked: _Range) -> None:
    if name in facts:
        rows.append(_row(told, facts[name], asked))


def _row(told: str, value: float, asked: _Range) -> Row:
    low, high = asked
    is_met = (low is None or value >= low) and (high is None or value <= high)
    bounds = [f"{word} {bound:g}" for word, bound in (("at least", low), ("at most", high)) if bound is not None]
    return told, f"{value:.4g}", ", ".join(bounds), "yes" if is_met else "no"
