"""Invented margins: rules over conditions and once each, every variable made up, flown by nobody."""

from __future__ import annotations

from functools import cache

import numpy as np
import xarray as xr

from optdescent.results import Provenance
from optdescent.results.margins import MARGIN_COLUMNS, Margins
from optdescent.results.over_conditions import TABLE_COLUMNS, OverConditions
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

RULES = ("three-to-one", "three-to-one-alone", "300-with-allowances", "five-times-ground-speed", "three-degrees")
SHARES = (0.62, 0.21, 0.93, 0.48, np.nan)
DISTANCES = np.array([25.0, 20.0, 15.0, 10.0]) * NAUTICAL_MILE
DRIVERS = ("added_tailwind_kt", "mass_kg", "anti_ice", "crew")
TITLE = "Invented margins"


def provenance(title: str = TITLE) -> Provenance:
    return Provenance(title, "", "0123456789ab")


@cache
def over(title: str = TITLE, rules: tuple[str, ...] = RULES, cases: int = 600) -> OverConditions:
    """A table of rules whose last was not flown, and cases that get worse with tailwind and with mass."""
    count = len(rules)
    share = np.resize(SHARES, count)
    drawn = np.random.default_rng(5)
    tailwind, mass = drawn.normal(0.0, 12.0, cases), drawn.uniform(54000.0, 66000.0, cases)
    ice = np.where(np.arange(cases) % 2 == 0, "off", "on").astype(object)
    break_at = 30.0 * (np.nan_to_num(share, nan=0.5)[:, None] - 0.4) + (mass - 60000.0) / 1500.0
    stable = np.where(np.isnan(share)[:, None], np.nan, (tailwind < break_at).astype(float))
    energy = np.where(np.isnan(share), np.nan, 1500.0 * (0.9 - share))[:, None] * np.array([1.6, 1.4, 1.2, 1.0]) * FOOT
    fuel = np.where(share < 0.3, np.nan, 30.0 * share)
    numbers = {
        "flown": np.where(np.isnan(share), 0.0, float(cases)),
        "stable_share": share,
        "stable_share_low": share - 0.05,
        "stable_share_high": np.minimum(share + 0.05, 1.0),
        "excess_energy_median": energy,
        "excess_energy_high": energy + 900.0 * FOOT,
        "fuel_above_optimum_mean": fuel,
        "fuel_above_optimum_mean_low": fuel - 9.0,
        "fuel_above_optimum_mean_high": fuel + 12.0,
        "miss_share": np.tile([0.5, 0.3, 0.1, 0.05], (count, 1)),
    }
    dims = {"excess_energy_median": ("rule", "at_distance"), "excess_energy_high": ("rule", "at_distance")}
    dims["miss_share"] = ("rule", "driver")
    table = xr.Dataset(
        {name: (dims.get(name, ("rule",)), own, {"units": TABLE_COLUMNS[name].unit}) for name, own in numbers.items()},
        coords={"rule": list(rules), "at_distance": DISTANCES, "driver": list(DRIVERS)},
        attrs={
            "conditions": "conditions.toml",
            "sampling": "sobol",
            "conditions_with_optimum": 8,
            "optima_not_found": "",
            "fuel_compared_with": rules[0],
            "optima_compared_with": rules[0],
        },
    )
    table = table.assign({name: ("rule", np.full(count, 1.0)) for name in TABLE_COLUMNS if name not in table})
    words = ("breaking", "most_common_reason", "not_flown", "rule_title")
    table = table.assign({name: ("rule", np.array([f"{name} & <why>"] * count, dtype=object)) for name in words})
    levels = {
        "level_added_tailwind_kt": (tailwind, "added tailwind", "kt"),
        "level_mass_kg": (mass, "mass at the start", "kg"),
        "level_anti_ice": (ice, "engine anti-ice", ""),
        "level_crew": (np.arange(cases), "crew", ""),
    }
    told = {
        name: ("case", own, {"long_name": words, "unit_in_file": unit}) for name, (own, words, unit) in levels.items()
    }
    of_cases = xr.Dataset(
        {"stable": (("rule", "case"), stable), **told}, coords={"rule": list(rules), "case": np.arange(cases)}
    )
    return OverConditions(table, of_cases, provenance(title))


@cache
def once(title: str = TITLE) -> Margins:
    """The optimum and four rules, one flight each; the second is not stable at 1000 ft."""
    names = ["optimum", *RULES[:4]]
    energy = np.array([0.0, 300.0, 1100.0, -150.0, 600.0])[:, None] * np.array([1.5, 1.3, 1.1, 1.0]) * FOOT
    table = xr.Dataset(
        {
            "excess_energy": (("flight", "at_distance"), energy),
            "fuel_above_optimum": ("flight", [0.0, 21.0, np.nan, 12.0, 33.0]),
            "gate_stable": (("flight", "at_height"), [[1.0, 1.0], [1.0, 1.0], [0.0, 1.0], [1.0, 1.0], [1.0, 1.0]]),
            "gate_speed": (("flight", "at_height"), np.full((5, 2), 140.0 * KNOT)),
        },
        coords={"flight": names, "at_distance": DISTANCES, "at_height": [1000.0 * FOOT, 500.0 * FOOT]},
    )
    return Margins(_whole(table), (), provenance(title))


def _whole(table: xr.Dataset) -> xr.Dataset:
    """A table with every variable of the schema, those that are not there of one number."""
    rules = len(RULES[:4])
    for name in MARGIN_COLUMNS:
        if name not in table:
            dims = ("flight", "at_height") if name.startswith("gate_") else ("flight",)
            table = table.assign({name: (dims, np.full([table.sizes[dim] for dim in dims], 1234.5))})
    texts = np.full((rules + 1, 2), "", dtype=object)
    texts[2, 0] = "gear not down"
    breaches = np.array(["", "", "too fast at 9 nm", "", ""], dtype=object)
    table = table.assign(gate_reasons=(("flight", "at_height"), texts), breaches=(("flight",), breaches))
    named = {"rule": list(RULES[:4]), "rule_title": ("rule", ["in words"] * rules)}
    return table.assign_coords(**named, rule_source=("rule", ["made up"] * rules))
