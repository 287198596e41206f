"""Tables of rules: beside the optimum, over conditions, on a front; of a sweep's cases; of a fit's coefficients."""

from __future__ import annotations

from typing import Any

import numpy as np
import xarray as xr

from optdescent.results import Fit
from optdescent.results.front import Front
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.results.price import NOT_STABLE
from optdescent.results.sweep import Status, Swept
from optdescent.results.tables import PERCENT, Heading, Share, Table, Value
from optdescent.units import FOOT, NAUTICAL_MILE

RULE = Heading("rule", "rule", is_text=True)
SHARES = (0.05, 0.25, 0.5, 0.75, 0.95)
"""Parts of the cases below the values of a sweep's table."""


def number(dataset: xr.Dataset, name: str) -> float:
    """The one number of a variable [SI]."""
    return float(dataset[name].item())


def texts(dataset: xr.Dataset, name: str) -> list[str]:
    """The words of a variable or coordinate."""
    return [str(value) for value in np.atleast_1d(dataset[name].to_numpy())]


def margin_tables(found: Margins) -> tuple[Table, ...]:
    """Costs of each flight, its excess on the way and at capture, and both gates."""
    table, source = found.table, found.provenance.source
    flight = Heading("flight", "flight", is_text=True)
    costs = (
        Heading("fuel", "fuel", "kg"),
        Heading("fuel_above_optimum", "fuel above the optimum", "kg", absent=NOT_STABLE),
        Heading("cost_above_optimum", "with cost of time", "kg", absent=NOT_STABLE),
        Heading("time", "time", "min"),
        Heading("top_of_descent", "top of descent", "nm"),
        Heading("thrust_distance", "thrust above idle", "nm"),
        Heading("thrust_fuel", "fuel of it", "kg"),
        Heading("brake_distance", "speed brake", "nm"),
    )
    at = [float(value) for value in table["at_distance"].to_numpy()]
    way = [Heading(f"excess_energy_{x / NAUTICAL_MILE:.0f}_nm", f"at {x / NAUTICAL_MILE:.0f} nm", "ft") for x in at]
    capture = (
        Heading("capture_distance", "glide path captured at", "nm"),
        Heading("capture_height", "height there", "ft"),
        Heading("capture_speed", "speed there", "kt"),
    )
    rows: list[tuple[Value, ...]] = []
    ways: list[tuple[Value, ...]] = []
    for name in texts(table, "flight"):
        own = table.sel(flight=name)
        kept: Value = bool(number(own, "limits_kept") > 0.5)
        rows.append((name, *(number(own, heading.key) for heading in costs), kept, str(own["breaches"].item())))
        excess = [float(value) for value in own["excess_energy"].to_numpy()]
        ways.append((name, *excess, *(number(own, heading.key) for heading in capture)))
    end = (Heading("limits_kept", "limits kept"), Heading("breaches", "limits not kept", is_text=True))
    note = "Energy height above the optimum's at the same distance to go; below zero there is too little."
    return (
        Table("margins", "Rules beside the optimum", (flight, *costs, *end), tuple(rows), source=source),
        Table(
            "on-the-way", "Excess energy on the way, and capture", (flight, *way, *capture), tuple(ways), note, source
        ),
        _gates(table, flight, source),
    )


def _gates(table: xr.Dataset, flight: Heading, source: str) -> Table:
    headings = (
        flight,
        Heading("height", "gate", "ft"),
        Heading("gate_speed", "speed", "kt"),
        Heading("gate_above_reference", "above the reference speed", "kt"),
        Heading("gate_sink", "sink rate", "ft_per_min"),
        Heading("gate_off_path", "over the glide path", "ft"),
        Heading("gate_stable", "stable"),
        Heading("gate_reasons", "why not", is_text=True),
    )
    rows: list[tuple[Value, ...]] = []
    for name in texts(table, "flight"):
        for height in table["at_height"].to_numpy():
            own = table.sel(flight=name, at_height=height)
            numbers = [number(own, heading.key) for heading in headings[2:6]]
            stable: Value = bool(number(own, "gate_stable") > 0.5)
            rows.append((name, float(height), *numbers, stable, str(own["gate_reasons"].item())))
    return Table("gates", "At the gates", headings, tuple(rows), source=source)


def condition_tables(found: OverConditions) -> tuple[Table, ...]:
    """How often each rule holds and what it costs, what breaks it, and which drivers explain it."""
    table, source = found.table, found.provenance.source
    headings = (
        RULE,
        Heading("flown", "conditions"),
        Heading("stable_share", "stable at the gate, 95 % interval", PERCENT),
        Heading("limits_kept_share", "limits kept too", PERCENT),
        Heading("gate_energy_median", "energy at the gate above the most allowed, median", "ft"),
        Heading("gate_energy_high", "exceeded in one of ten", "ft"),
        Heading("brake_distance_mean", "speed brake, mean", "nm"),
        Heading("thrust_distance_mean", "thrust above idle, mean", "nm"),
        Heading("compared", "optima compared with"),
        Heading("fuel_above_optimum_mean", "fuel above them, mean", "kg"),
    )
    breaks = (
        RULE,
        Heading("breaking_radius", "smallest disturbance, in spreads", step=0.1),
        Heading("breaking", "what breaks it", is_text=True),
        Heading("most_common_reason", "most often missed for", is_text=True),
        Heading("not_flown", "not flown", is_text=True),
    )
    drivers = texts(table, "driver")
    levels = {str(name).removeprefix("level_"): own.attrs for name, own in found.cases.data_vars.items()}
    words = [str(levels.get(name, {}).get("long_name", name)) for name in drivers]
    shared = (Heading(f"miss_share_{name}", said, PERCENT) for name, said in zip(drivers, words, strict=True))
    explained = (RULE, *shared)
    rows: list[tuple[Value, ...]] = []
    broken: list[tuple[Value, ...]] = []
    shares: list[tuple[Value, ...]] = []
    for name in texts(table, "rule"):
        own = table.sel(rule=name)
        stable = Share(*(number(own, f"stable_share{end}") for end in ("", "_low", "_high")))
        rows.append((name, number(own, "flown"), stable, *(number(own, heading.key) for heading in headings[3:])))
        words = [str(own[heading.key].item()) for heading in breaks[2:]]
        broken.append((name, number(own, "breaking_radius"), *words))
        shares.append((name, *(float(value) for value in own["miss_share"].to_numpy())))
    count = f"{found.cases.sizes['case']} conditions of {table.attrs['conditions']}."
    note = f"Share of the variance of missing the gate that a driver explains alone. {count}"
    return (
        Table("conditions", "Rules over conditions", headings, tuple(rows), count, source),
        Table("breaking", "What breaks each rule", breaks, tuple(broken), source=source),
        Table("drivers", "Which driver explains the misses", explained, tuple(shares), note, source),
    )


def front_table(found: Front) -> Table:
    """A row for each rule of a front: simplicity, share, fuel, and what was predicted and found."""
    counts: dict[str, Any] = {str(key): value for key, value in found.table.attrs.items()}
    headings = (
        RULE,
        Heading("rule_title", "in words", is_text=True),
        Heading("simplicity", "things to remember"),
        Heading("held_share", "holds, 95 % interval", PERCENT),
        Heading("limits_kept_share", "limits kept", PERCENT),
        Heading("fuel_mean", "fuel, mean", "kg"),
        Heading("time_mean", "time, mean", "min"),
        Heading("unseen_held_share", "holds in unseen conditions (interval predicted)", PERCENT),
        Heading("is_on_front", "bettered by none"),
        Heading("is_recommended", "recommended"),
    )
    column = found.column
    rows: list[tuple[Value, ...]] = []
    for place, name in enumerate(found.names):
        held = Share(*(float(column(f"held_share{end}")[place]) for end in ("", "_low", "_high")))
        predicted = (float(column(key)[place]) for key in ("unseen_held_share", "predicted_low", "predicted_high"))
        numbers = [float(column(key)[place]) for key in ("limits_kept_share", "fuel_mean", "time_mean")]
        marks = [bool(found.flags(key)[place]) for key in ("is_on_front", "is_recommended")]
        things = float(column("simplicity")[place])
        rows.append((name, found.titles[place], things, held, *numbers, Share(*predicted), *marks))
    note = (
        f"Searched in {counts['train_conditions']} conditions, judged in {counts['check_conditions']} others, "
        f"tested in {counts['unseen_conditions']} unseen ones; {counts['rules_flown']} rules were flown."
    )
    return Table("front", "Derived rules and others", headings, tuple(rows), note, found.provenance.source)


def sweep_tables(found: Swept) -> tuple[Table, ...]:
    """How the cases of a sweep ended, and what the optima and the rules of the solved ones are."""
    dataset, source = found.dataset, found.provenance.source
    status = dataset["status"].to_numpy()
    ends = tuple((end.sentence, float((status == end).sum())) for end in Status if (status == end).any())
    counts = (Heading("end", "how cases ended", is_text=True), Heading("cases", "cases"))
    solved = status == Status.SOLVED
    headings = (
        Heading("quantity", "solved cases", is_text=True),
        *(Heading(f"below_{part * 100:.0f}", f"{part * 100:.0f} % below") for part in SHARES),
    )
    shown = (("fuel", "kg"), ("time", "min"), ("top_of_descent", "nm"), ("thrust_fuel", "kg"), ("brake_distance", "nm"))
    rows: list[tuple[Value, ...]] = []
    for name, unit in shown:
        if name in dataset and solved.any():
            values = np.asarray(dataset[name].to_numpy(), dtype=float)[solved]
            heading = Heading(name, str(dataset[name].attrs.get("long_name", name)), unit)
            parts = np.nanquantile(values, SHARES)
            rows.append((heading.label, *(heading.shown(float(value)) for value in parts)))
    tables = [Table("cases", "Cases of the sweep", counts, ends, source=source)]
    if rows:
        tables.append(Table("spread", "Optima of the sweep", headings, tuple(rows), source=source))
    return (*tables, *_swept_rules(dataset, source))


def _swept_rules(dataset: xr.Dataset, source: str) -> tuple[Table, ...]:
    rows = tuple((name, float(flown), float(stable)) for name, flown, stable in swept_rules(dataset))
    headings = (RULE, Heading("flown", "cases flown"), Heading("stable", "stable at the gate"))
    return (Table("swept-rules", "Rules over the sweep", headings, rows, source=source),) if rows else ()


def swept_rules(dataset: xr.Dataset) -> tuple[tuple[str, int, int], ...]:
    """Rules of a sweep by name: in how many cases [-] each was flown, and in how many stable at the gate."""
    if "rule_stable" not in dataset:
        return ()
    names = texts(dataset, "rule")
    stable = np.moveaxis(dataset["rule_stable"].to_numpy(), dataset["rule_stable"].dims.index("rule"), -1)
    flat = stable.reshape(-1, len(names))
    return tuple(
        (name, int((flat[:, place] >= 0).sum()), int((flat[:, place] == 1).sum())) for place, name in enumerate(names)
    )


def fit_table(found: Fit) -> Table:
    """A row for each coefficient of a fit, and the noise it was found in."""
    headings = (
        Heading("coefficient", "coefficient", is_text=True),
        Heading("sentence", "what it is", is_text=True),
        Heading("declared", "declared", step=0.0001),
        Heading("value", "found", step=0.0001),
        Heading("standard_error", "standard error", step=0.00001),
        Heading("is_fixed", "held fixed"),
    )
    declared, value, error, fixed = (found.column(key) for key in ("declared", "value", "standard_error", "is_fixed"))
    rows = tuple(
        (key, words, float(declared[at]), float(value[at]), float(error[at]) or None, bool(fixed[at] > 0.5))
        for at, (key, words) in enumerate(zip(found.keys, found.sentences, strict=True))
    )
    note = f"Altitude noise {found.noise('altitude') / FOOT:.1f} ft; recordings: {', '.join(found.recordings)}."
    return Table("fit", "Coefficients found", headings, rows, note, found.provenance.source)
