"""Stored results of every kind, invented and small: what the makers of other rooms' tests lack is filled up."""

from __future__ import annotations

import json
import warnings
from dataclasses import replace
from pathlib import Path

import numpy as np
import xarray as xr

from optdescent.report import Given, read_given
from optdescent.results import Action, Breach, EventRecord, Flight, GateReport, Kind, Provenance
from optdescent.results.files import write_text
from optdescent.results.last_action import last_actions_csv
from optdescent.results.margins import MARGIN_COLUMNS, Margins
from optdescent.results.over_conditions import TABLE_COLUMNS, OverConditions
from optdescent.results.sweep import Status
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.figures import conditions, fits, fronts, sheets, sweeps, test_corridor, test_slope
from tests.figures.flights import flight

SCENARIO = json.dumps(
    {
        "airframe": {"title": "Invented twin", "wing": {"area": 124.0}},
        "scenario": {
            "air": {"wind": {"kind": "none"}, "temperature_sounding": None},
            "arrival": {"airport": "Invented field", "windows": [{"name": "ALDER", "distance": 111120.0}]},
            "start": {"altitude": 10668.0, "distance": 277800.0, "mass": 62000.0},
        },
    },
    indent=1,
)
HOSTILE = '</title><script>fetch("https://a.example/")</script> "&lt;b&gt;\' <img src=x onerror=alert(1)> Øre 山 عربى'
"""A title with markup, quotes, entities, and letters of four scripts."""


def asked(title: str) -> Provenance:
    return Provenance(title, SCENARIO, "0123456789ab")


def flights(title: str = "Invented descent") -> tuple[Flight, ...]:
    """An optimum that knows its winds, a rule that was kept, and one that was not."""
    best = sweeps.optimum(title=title)
    assert best.solver is not None
    event = EventRecord("top & <start>", 120.0 * NAUTICAL_MILE, 35000.0 * FOOT, 270.0 * KNOT, 100.0)
    best = replace(best, provenance=asked(title), solver=replace(best.solver, events=(event,), iterations=42))
    good = replace(flight("three to one", Kind.RULE, brake_from_nm=60.0), provenance=asked(title))
    acts = (Action(100.0 * NAUTICAL_MILE, 300.0, "starts down", "height <= asked & more"),)
    good = replace(good, summary=replace(good.summary, fuel=543.4), actions=acts)
    gate = GateReport(1000.0 * FOOT, True, 90.0, 66.0, 6.0, 20.0, 1.0, 0.0, 0.2, ("gear not down", "46 kt too fast"))
    breach = Breach("BRIAR", 30.0 * NAUTICAL_MILE, 500.0 * FOOT, "BRIAR: 500 ft above the window at 30.0 nm to go")
    bad = replace(flight("by the mile", Kind.RULE, slope_ft_per_nm=330.0), provenance=asked(title))
    bad = replace(bad, summary=replace(bad.summary, gate=gate, breaches=(breach,)))
    return best, good, bad


def margins(title: str = "Invented descent") -> Margins:
    """The optimum and four rules, with every variable of the schema."""
    table = conditions.once().table
    table = table.assign_coords(rule=[str(name) for name in table["flight"].to_numpy()[1:]])
    table = table.assign_coords(rule_title=("rule", ["in words"] * 4), rule_source=("rule", ["made up"] * 4))
    for name in MARGIN_COLUMNS:
        if name not in table:
            at = ("at_height",) if name.startswith("gate_") else ()
            dims = ("flight", *at)
            table = table.assign({name: (dims, np.full([table.sizes[dim] for dim in dims], 1234.5))})
    texts = np.full((5, 2), "", dtype=object)
    texts[2, 0] = "gear not down"
    breaches = np.array(["", "", "too fast at 9 nm", "", ""], dtype=object)
    table = table.assign(gate_reasons=(("flight", "at_height"), texts), breaches=(("flight",), breaches))
    return Margins(table, (), asked(title))


def over(title: str = "Invented descent", cases: int = 40) -> OverConditions:
    """Rules over few conditions, with every variable of the schema that has the shape of a rule."""
    found = conditions.over(cases=cases)
    table = found.table
    for name in TABLE_COLUMNS:
        if name not in table:
            table = table.assign({name: ("rule", np.full(table.sizes["rule"], 1.0))})
    for name in ("breaking", "most_common_reason", "not_flown", "rule_title"):
        table = table.assign({name: ("rule", np.array([f"{name} & <why>"] * table.sizes["rule"], dtype=object))})
    return OverConditions(table, found.cases, asked(title))


def write_flights(folder: Path, title: str = "Invented descent") -> list[Path]:
    paths = [folder / f"{one.name.replace(' ', '-')}.nc" for one in flights(title)]
    for one, path in zip(flights(title), paths, strict=True):
        one.to_netcdf(path)
    return paths


def write_sweep(path: Path) -> Path:
    """A sweep of 63 cases as a Zarr folder, one of them without an answer."""
    found = sweeps.swept()
    status = found.dataset["status"].copy()
    status[0, 0, 1] = Status.INFEASIBLE
    attributes = {**found.dataset.attrs, **found.provenance.attributes(), "study": "{}"}
    reasons = np.full(status.shape, "", dtype=np.dtypes.StringDType())
    whole: xr.Dataset = found.dataset.assign(status=status, reason=(status.dims, reasons))
    whole = whole.assign_coords(rule=np.array(whole["rule"].to_numpy(), dtype=np.dtypes.StringDType()))
    with warnings.catch_warnings():  # one list of all arrays is no part yet of version 3 of the format
        warnings.simplefilter("ignore", category=UserWarning)
        whole.assign_attrs(attributes).to_zarr(path, consolidated=True, zarr_format=3)
    return path


def write_others(folder: Path) -> list[Path]:
    """One result of each further kind."""
    made = {
        "margins": margins(), "conditions": over(), "corridor": test_corridor.invented(3), "front": fronts.invented(),
        "sheet": sheets.invented(), "slope": test_slope.invented(), "fit": fits.invented(),
    }  # fmt: skip
    for name, one in made.items():
        one.to_netcdf(folder / f"{name}.nc")
    write_text(folder / "last_useful.csv", last_actions_csv([sweeps.last_useful()]))
    return [*(folder / f"{name}.nc" for name in made), folder / "last_useful.csv"]


def given(folder: Path, title: str = "Invented descent") -> tuple[Given, ...]:
    """Results of every kind but a sweep."""
    folder.mkdir(exist_ok=True)
    return read_given([*write_flights(folder, title), *write_others(folder)])


def few(folder: Path, title: str) -> tuple[Given, ...]:
    """Flights, a front and margins."""
    folder.mkdir(exist_ok=True)
    fronts.invented().to_netcdf(folder / "front.nc")
    margins().to_netcdf(folder / "margins.nc")
    return read_given([*write_flights(folder, title), folder / "front.nc", folder / "margins.nc"])
