"""How results, scenario, rule and study show themselves in a notebook."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest

from optdescent.results import CAUTION, Breach, Flight
from optdescent.rules import Rule, read_rules
from optdescent.scenario import Scenario
from optdescent.study import Study
from tests.figures import conditions, debriefs, fits, fronts, sheets, sweeps
from tests.figures.test_corridor import invented as corridor
from tests.results.test_flight import FLIGHT, OPTIMUM
from tests.scenario.files import STUDY, scenario
from tests.study.files import write_study

BAD = "<script>alert(1)</script> & Ångström"
ESCAPED = "&lt;script&gt;alert(1)&lt;/script&gt; &amp; Ångström"


def html(shown: Any) -> str:
    return shown._repr_html_()


def words(shown: Any) -> str:
    """Text without tags, on one line."""
    return " ".join(re.sub(r"<[^>]*>", " ", html(shown)).split())


def titled(shown: Any) -> Any:
    """The same, from a scenario whose title holds markup."""
    return replace(shown, provenance=replace(shown.provenance, title=BAD))


RESULTS: dict[str, Callable[[], Any]] = {
    "flight": lambda: titled(FLIGHT),
    "optimum": lambda: titled(OPTIMUM),
    "margins": lambda: titled(conditions.once()),
    "over conditions": lambda: titled(conditions.over()),
    "corridor": lambda: titled(corridor()),
    "front": lambda: titled(fronts.invented()),
    "fit": lambda: titled(fits.invented()),
    "rule sheet": lambda: titled(sheets.invented()),
    "debrief": lambda: replace(debriefs.invented(), flight=titled(debriefs.invented().flight)),
    "scenario": lambda: scenario(f"title='{BAD}'"),
    "rule": lambda: read_rules()[0].model_copy(update={"title": BAD}),
}


@pytest.mark.parametrize("name", RESULTS)
def test_markup_in_a_title_is_shown_and_not_obeyed_and_the_caution_is_there(name: str) -> None:
    found = html(RESULTS[name]())
    assert ESCAPED in found
    assert "<script>alert" not in found
    assert CAUTION in found


def test_names_and_sentences_are_escaped_too() -> None:
    breach = Breach(BAD, 1000.0, 5.0, f"{BAD}: 5 ft low")
    flight = replace(FLIGHT, name=BAD, summary=replace(FLIGHT.summary, breaches=(breach,)))
    finding = replace(debriefs.invented().findings[0], evidence=BAD, instead=BAD)
    last = replace(sweeps.last_useful(), flight=BAD)
    for shown in (flight, replace(debriefs.invented(), findings=(finding,)), last):
        assert ESCAPED in html(shown)
        assert "<script>alert" not in html(shown)


def test_a_scenario_says_what_is_asked_in_units_of_the_trade() -> None:
    told = words(Scenario.from_toml(STUDY))
    for part in (
        "160 nm to go, 35000 ft, Mach 0.78, 62000 kg",
        "0 kg/min",
        "1013.25 hPa",
        "course 125°",
        "3°, captured from below",
        "BRIAR, 30 nm to go: at least 7000 ft, at most 10000 ft",
        "at most 250 kt below 10000 ft",
        "sink at most 2000 ft/min below 3000 ft",
        "Fictional narrow-body twin",
    ):
        assert part in told, part


def test_a_scenario_shows_the_other_demands_too() -> None:
    told = words(
        scenario(
            "arrival.speed_limits=[{within_nm=30,speed_kt=220}]",
            "arrival.hold_downs=[{altitude_ft=11000,from_nm=50,to_nm=40}]",
            "arrival.floor=[{distance_nm=60,altitude_ft=9000},{distance_nm=12,altitude_ft=2000}]",
        )
    )
    assert "at most 220 kt from 30 nm to go on" in told
    assert "level at 11000 ft from 50 to 40 nm to go" in told
    assert "a floor of 2 points" in told


def test_a_flight_says_fuel_time_gate_and_what_it_did_not_keep() -> None:
    summary = FLIGHT.summary
    breach = Breach("window", 1000.0, 5.0, "BRIAR: 5 ft low")
    told = words(replace(FLIGHT, summary=replace(summary, breaches=(breach,))))
    assert f"fuel {summary.fuel:.1f} kg" in told
    assert f"{summary.top_of_descent / 1852.0:.1f} nm to go" in told
    assert "at 1000 ft not stable" in told
    assert all(reason in told for reason in summary.gate.reasons)
    assert "BRIAR: 5 ft low" in told


def test_a_gate_that_is_not_reached_says_so() -> None:
    gate = replace(FLIGHT.summary.gate, reached=False, calibrated_airspeed=float("nan"))
    assert "at 1000 ft not reached" in words(replace(FLIGHT, summary=replace(FLIGHT.summary, gate=gate)))


def test_margins_have_a_column_a_flight_and_a_row_a_quantity_with_its_unit() -> None:
    found = conditions.once()
    names = [str(name) for name in found.table["flight"].to_numpy()]
    told = words(found)
    assert " ".join(names) in told
    assert "fuel used above the optimum [kg] 0 21 not stable 12 33" in told
    assert "energy height above the optimum's at 25 nm [ft]" in told
    assert "calibrated airspeed at 500 ft [kt]" in told


def test_a_solver_record_shows_certificate_and_events() -> None:
    record = OPTIMUM.solver
    assert record is not None
    told = words(replace(record, status=BAD))
    assert "largest local error, scaled 1.0e-06" in told
    assert "re-flight, altitude 1.00e-02 m" in told
    assert "speed_brake to gate" in told
    assert "gate 2.7 1640 136 28.3" in told
    assert ESCAPED in html(replace(record, status=BAD))


def test_last_useful_points_are_sentences() -> None:
    found = sweeps.last_useful()
    assert all(action.sentence in words(found) for action in found.actions)
    assert CAUTION in html(found)


def test_a_study_says_what_varies_and_how_many_cases(tmp_path: Path) -> None:
    told = words(Study.from_toml(write_study(tmp_path)))
    assert "cases 2" in told
    assert "mass_kg" in told
    assert "the optimum" in told
    assert CAUTION in told


def test_every_public_result_shows_itself() -> None:
    assert all(hasattr(of, "_repr_html_") for of in (Flight, Rule, Scenario, Study))


def test_what_rounds_to_nothing_has_no_sign() -> None:
    table = conditions.once().table
    found = replace(conditions.once(), table=table.assign(excess_energy=0.0 * table["excess_energy"] - 0.1))
    shown = words(found)
    assert " -0 " not in shown
    assert "energy height above the optimum's at 25 nm [ft] 0 0" in shown.replace("&#x27;", "'")
