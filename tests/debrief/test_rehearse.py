"""The generator of the invented recordings: the files in the studies are what it writes."""

from __future__ import annotations

import tomllib

import numpy as np
import pytest

from optdescent.debrief.rehearse import csv_of, map_of, rehearsals, rehearsed, scripts, truth_of
from optdescent.inputs import InputFault
from optdescent.rules import read_rules
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE
from tests.debrief.recordings import FOLDER, SCENARIO, TRUTH

RULES = {rule.name: rule for rule in read_rules("library")}
OWN = RULES["300-with-allowances"], RULES["three-degrees"], RULES["path-from-above"]
SCRIPTS = scripts(SCENARIO, *OWN)


def numbers(text: str) -> np.ndarray:
    """Rows of a recording."""
    rows = [line.split(",") for line in text.splitlines() if not line.startswith("#")][1:]
    return np.array(rows, dtype=float)


def test_one_of_the_files_is_what_the_generator_writes_and_the_seed_decides_its_noise() -> None:
    script = next(one for one in SCRIPTS if one.name == "late-gear")
    made = rehearsed(script, SCENARIO)
    number = [one.name for one in SCRIPTS].index("late-gear")
    stored, again = numbers((FOLDER / "late-gear.csv").read_text(encoding="utf-8")), numbers(csv_of(made, 1 + number))
    assert stored.shape == again.shape
    assert np.max(np.abs(stored - again)) < 1.0
    other = numbers(csv_of(made, 77))
    assert np.max(np.abs(other - again)) > 0.0
    assert csv_of(made, 5) == csv_of(made, 5)
    told = tomllib.loads(truth_of([made]))["late-gear"]
    assert told["stable"] == TRUTH["late-gear"]["stable"]
    assert abs(told["mistakes"][0]["time_s"] - TRUTH["late-gear"]["mistakes"][0]["time_s"]) < 1.0


def test_the_one_device_that_is_late_in_the_tailwind_is_the_second_step_and_the_gear_follows_it() -> None:
    """Its gear stays in though nothing holds it back, so that it has no time of its own at which it was due."""
    script = next(one for one in SCRIPTS if one.name == "slow-to-configure")
    assert [sorted(stretch.not_selected) for stretch in script.stretches] == [[], [2], []]
    made = rehearsed(script, SCENARIO)
    far = made.flight.column("distance_to_go") > 5.0 * NAUTICAL_MILE
    assert not made.flight.column("gear")[far].any()
    assert np.max(made.flight.column("flaps")[far]) == 1.0
    number = [one.name for one in SCRIPTS].index(script.name)
    stored = numbers((FOLDER / f"{script.name}.csv").read_text(encoding="utf-8"))
    assert np.max(np.abs(stored - numbers(csv_of(made, 1 + number)))) < 1.0


def test_the_map_beside_them_is_the_one_they_are_written_by() -> None:
    assert (FOLDER / "columns.toml").read_text(encoding="utf-8") == map_of()


def test_there_are_six_and_each_has_its_truth() -> None:
    assert [script.name for script in SCRIPTS] == list(TRUTH)
    assert len(TRUTH) == 6
    assert not TRUTH["good"]["mistakes"]
    assert all(one["mistakes"] for name, one in TRUTH.items() if name != "good")


@pytest.mark.parametrize(
    ("setting", "words"),
    [
        ("start.distance_nm=25", "start.distance_nm: got 25 nm; allowed: more than 31 nm"),
        ("air.wind.wind_speed_kt=60", "a perfect crew is not stable at 1000 ft: "),
    ],
)
def test_a_scenario_in_which_the_truth_would_be_false_is_refused(setting: str, words: str) -> None:
    """A mistake farther out than the start; a descent with nothing done wrong that is not stable."""
    settings = (setting, "start.altitude_ft=9000", "start.mach=0.4") if "distance" in setting else (setting,)
    with pytest.raises(InputFault, match=words):
        rehearsals(Scenario.from_toml(FOLDER / "scenario.toml", settings), *OWN)
