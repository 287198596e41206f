"""Stored results of every kind, invented and small: what the makers of other rooms' tests lack is filled up."""

from __future__ import annotations

import json
import warnings
from dataclasses import replace
from pathlib import Path

from optdescent.report import Given, read_given
from optdescent.results import Action, Breach, EventRecord, Flight, GateReport, Kind, Provenance
from optdescent.results.debrief_file import write_debrief
from optdescent.results.files import write_text
from optdescent.results.last_action import last_actions_csv
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.results.sweep import Status
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.figures import conditions, debriefs, fits, fronts, sheets, sweeps, test_corridor, test_slope
from tests.figures.flights import flight
from tests.figures.sweeps import with_stored_texts
from tests.results.least import least

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
COMMAND = "optdescent margins 'my scenario.toml' --output out --rule three-to-one"
RULES_READ = '[[rules]]\nname = "three-to-one"  # <not> & the whole file\nnote = "for <i>two</i> engines & more"'
HOSTILE = '</title><script>fetch("https://a.example/")</script> "&lt;b&gt;\' <img src=x onerror=alert(1)> Øre 山 عربى'
"""A title with markup, quotes, entities, and letters of four scripts."""


def asked(title: str) -> Provenance:
    return Provenance(title, SCENARIO, "0123456789ab", command=COMMAND, rules=RULES_READ)


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
    return replace(conditions.once(), provenance=asked(title))


def over(title: str = "Invented descent", cases: int = 40) -> OverConditions:
    own = replace(asked(title), command=f"{COMMAND} --conditions winds.toml", conditions="[sampling]  # of <winds>")
    return replace(conditions.over(cases=cases), provenance=own)


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
    whole = with_stored_texts(found.dataset.assign(status=status))
    with warnings.catch_warnings():  # one list of all arrays is no part yet of version 3 of the format
        warnings.simplefilter("ignore", category=UserWarning)
        whole.assign_attrs(attributes).to_zarr(path, consolidated=True, zarr_format=3)
    return path


def write_others(folder: Path) -> list[Path]:
    """One result of each further kind, with no more than it must hold."""
    made = {
        "margins": margins(), "conditions": over(), "corridor": test_corridor.invented(3), "front": fronts.invented(),
        "sheet": sheets.invented(), "slope": test_slope.invented(), "fit": fits.invented(),
    }  # fmt: skip
    for name, one in made.items():
        least(one).to_netcdf(folder / f"{name}.nc")  # type: ignore[union-attr]
    write_text(folder / "last_useful.csv", last_actions_csv([sweeps.last_useful()]))
    return [*(folder / f"{name}.nc" for name in made), folder / "last_useful.csv"]


def given(folder: Path, title: str = "Invented descent") -> tuple[Given, ...]:
    """Results of every kind but a sweep."""
    folder.mkdir(exist_ok=True)
    return read_given([*write_flights(folder, title), *write_others(folder)])


def few(folder: Path, title: str) -> tuple[Given, ...]:
    """Flights, a front, margins, conditions, a corridor of two speeds, a sweep and a debrief."""
    folder.mkdir(exist_ok=True)
    made = {
        "front": fronts.invented(),
        "margins": margins(),
        "conditions": over(),
        "corridor": test_corridor.invented(2),
    }
    for name, one in made.items():
        one.to_netcdf(folder / f"{name}.nc")
    write_debrief(folder / "debrief.nc", debriefs.invented())
    paths = [*(folder / f"{name}.nc" for name in made), write_sweep(folder / "out.zarr"), folder / "debrief.nc"]
    return read_given([*write_flights(folder, title), *paths])
