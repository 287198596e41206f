"""Rules that cannot start in some conditions: they are left out, counted and told, and stop no other rule."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optdescent.cli.margins import say_over
from optdescent.inputs import InputFault
from optdescent.margins.breaking import Break, Breaking
from optdescent.margins.met import asked_of, met
from optdescent.margins.optima import Optima, compared_in
from optdescent.margins.over import margins_over
from optdescent.results.over_conditions import OverConditions, over_conditions_plain
from optdescent.rules import fly, read_rules
from optdescent.rules.fleet import Fleet
from optdescent.sweep.question import Asked
from tests.scenario.files import STUDY

NEAR = ("start.distance_nm=115", "start.altitude_ft=33000")
"""A start so near that from 35 000 ft three miles per thousand feet are too many, three degrees are not."""
RULES = tuple(rule for rule in read_rules() if rule.name in ("three-to-one", "three-degrees"))


HEAVY = (*NEAR, "start.distance_nm=112", "start.mach=0.64")
"""The same with a start so slow that at 35 000 ft and 66 t it is below the least manoeuvring speed."""


def asked(folder: Path, altitudes: str, masses: str = "[60000.0]", settings: tuple[str, ...] = NEAR) -> Asked:
    path = folder / "conditions.toml"
    axes = (("start.altitude_ft", altitudes), ("start.mass_kg", masses))
    text = "".join(f'[[axes]]\nkind = "values"\nkey = "{key}"\nvalues = {values}\n' for key, values in axes)
    path.write_text(text, encoding="utf-8")
    return asked_of(STUDY, settings, path)


@pytest.fixture(scope="module")
def partly(tmp_path_factory: pytest.TempPathFactory) -> tuple[Asked, OverConditions]:
    """In the last condition the levels make no scenario, in the last three one rule begins its descent too early."""
    own = asked(tmp_path_factory.mktemp("f"), "[31000.0, 33000.0, 35000.0]", "[54000.0, 60000.0, 66000.0]", HEAVY)
    return own, margins_over(met(own, RULES, "conditions.toml"), 0)


def test_shares_are_of_the_conditions_in_which_a_rule_can_start(partly: tuple[Asked, OverConditions]) -> None:
    own, found = partly
    three_to_one, three_degrees = over_conditions_plain(found)["rules"]
    assert three_to_one["flown"] == 6
    stable = [fly(own.scenario(own.conditions.levels(number)), RULES[0]).summary.gate.stable for number in range(6)]
    assert three_to_one["stable_share"] == np.mean(stable)
    assert three_to_one["not_flown"].startswith("not flown in 3 of 9 conditions: three-to-one asks for")
    assert three_degrees["flown"] == 8


def test_the_share_of_a_grid_has_no_interval(
    partly: tuple[Asked, OverConditions], capsys: pytest.CaptureFixture[str]
) -> None:
    """Its conditions are chosen, not drawn."""
    plain = over_conditions_plain(partly[1])
    assert plain["sampling"] == "grid"
    assert all(rule[f"stable_share_{end}"] is None for rule in plain["rules"] for end in ("low", "high"))
    say_over({**plain, "figures_not_drawn": []})
    told = capsys.readouterr().out
    assert "a grid is chosen, not drawn: its shares have no interval" in told
    assert f"three-to-one: stable in {100.0 * plain['rules'][0]['stable_share']:.1f} %\n" in told


def test_a_case_in_which_it_cannot_start_has_no_numbers_and_says_why(partly: tuple[Asked, OverConditions]) -> None:
    _, found = partly
    case = found.cases.sel(rule="three-to-one", case=6)
    assert np.isnan(case["stable"].item())
    assert np.isnan(case["fuel"].item())
    assert case["reason"].item().startswith("not flown: three-to-one asks for")
    assert np.isfinite(found.cases["fuel"].sel(rule="three-to-one", case=range(6))).all()
    assert np.isfinite(found.cases["fuel"].sel(rule="three-degrees", case=range(8))).all()


def test_levels_that_make_no_scenario_together_are_counted_with_their_reason(
    partly: tuple[Asked, OverConditions],
) -> None:
    own, found = partly
    with pytest.raises(InputFault, match="least manoeuvring speed at 66000 kg"):
        own.scenario(own.conditions.levels(8))
    reason = (
        "case 8 makes no scenario: start.mach: Mach 0.64 at 35000 ft is 213 kt calibrated; allowed: at least 217 kt"
    )
    row = over_conditions_plain(found)["rules"][1]
    assert row["not_flown"].startswith(f"not flown in 1 of 9 conditions: {reason}")
    assert np.isnan(found.cases["stable"].sel(case=8)).all()
    assert all(str(told).startswith(f"not flown: {reason}") for told in found.cases["reason"].sel(case=8).to_numpy())


def test_optima_are_those_of_conditions_that_make_a_scenario_and_failures_are_counted(
    partly: tuple[Asked, OverConditions],
) -> None:
    own = met(partly[0], RULES, "conditions.toml")
    assert compared_in(own, 3) == [0, 4, 7]
    assert compared_in(own, 20) == list(range(8))
    assert compared_in(own, 0) == []
    best = {0: (400.0, 1800.0), 7: (410.0, 1790.0)}
    assert Optima(best, {4: "two demands conflict"}).told == ("1 of 3 optima not found: case 4: two demands conflict")
    assert Optima(best, {}).told == ""


def test_where_a_rule_cannot_start_it_does_not_break(tmp_path: Path) -> None:
    """From 40 kt of added tailwind on it would miss the gate; from a few on it cannot start, and that is no border."""
    wind = '[sampling]\nkind = "random"\ncount = 4\n[[axes]]\nkind = "normal"\nkey = "added_tailwind_kt"\nmean = -5.0\n'
    path = tmp_path / "conditions.toml"
    path.write_text(wind + "standard_deviation = 12.0\n", encoding="utf-8")
    found: list[Break] = []
    for distance in (125, 113):
        own = asked_of(STUDY, (*NEAR, f"start.distance_nm={distance}"), path)
        assert not Fleet(RULES[0]).judged([own.scenario([40.0])]).stable[0]
        found.append(Breaking(own).of(Fleet(RULES[0])))
    assert 0.0 < found[0].radius < 4.0
    assert np.isnan(found[1].radius)
    assert found[1].sentence.startswith("holds as far as was searched")


def test_a_rule_that_can_start_nowhere_says_so_and_the_others_are_written(tmp_path: Path) -> None:
    found = margins_over(met(asked(tmp_path, "[35000.0]"), RULES, "conditions.toml"), 0)
    three_to_one, three_degrees = over_conditions_plain(found)["rules"]
    assert three_to_one["flown"] == 0
    assert three_to_one["stable_share"] is None
    assert three_to_one["not_flown"].startswith("not flown in any condition: three-to-one asks for")
    assert three_to_one["breaking"] == three_to_one["not_flown"]
    assert three_degrees["flown"] == 1
    assert found.cases["fuel"].sel(rule="three-degrees").item() > 100.0
    found.to_csv(tmp_path / "c.csv")
    found.to_netcdf(tmp_path / "c.nc")
    assert "not flown in any condition" in (tmp_path / "c.csv").read_text(encoding="utf-8")


def test_where_no_rule_can_start_that_is_a_fault_of_the_conditions(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"no rule can be flown in any condition: three-to-one asks for"):
        met(asked(tmp_path, "[35000.0]"), RULES[:1], "conditions.toml")
