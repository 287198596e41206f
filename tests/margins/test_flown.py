"""Rules that cannot start in some conditions: they are left out, counted and told, and stop no other rule."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optdescent.inputs import InputFault
from optdescent.margins.breaking import Break, Breaking
from optdescent.margins.over import asked_of, margins_over
from optdescent.results.over_conditions import OverConditions, over_conditions_plain
from optdescent.rules import fly, read_rules
from optdescent.rules.fleet import Fleet
from optdescent.sweep.question import Asked
from tests.scenario.files import STUDY

NEAR = ("start.distance_nm=115", "start.altitude_ft=33000")
"""A start so near that from 35 000 ft three miles per thousand feet are too many, three degrees are not."""
RULES = tuple(rule for rule in read_rules() if rule.name in ("three-to-one", "three-degrees"))


def asked(folder: Path, altitudes: str) -> Asked:
    path = folder / "conditions.toml"
    axis = f'[[axes]]\nkind = "values"\nkey = "start.altitude_ft"\nvalues = {altitudes}\n'
    path.write_text(axis, encoding="utf-8")
    return asked_of(STUDY, NEAR, path)


@pytest.fixture(scope="module")
def partly(tmp_path_factory: pytest.TempPathFactory) -> tuple[Asked, OverConditions]:
    own = asked(tmp_path_factory.mktemp("f"), "[31000.0, 33000.0, 35000.0]")
    return own, margins_over(own, RULES, 0, "conditions.toml")


def test_shares_are_of_the_conditions_in_which_a_rule_can_start(partly: tuple[Asked, OverConditions]) -> None:
    own, found = partly
    three_to_one, three_degrees = over_conditions_plain(found)["rules"]
    assert three_to_one["flown"] == 2
    stable = [fly(own.scenario([height]), RULES[0]).summary.gate.stable for height in (31000.0, 33000.0)]
    assert three_to_one["stable_share"] == np.mean(stable)
    assert three_to_one["not_flown"].startswith("not flown in 1 of 3 conditions: three-to-one asks for")
    assert three_degrees["flown"] == 3
    assert three_degrees["not_flown"] == ""


def test_a_case_in_which_it_cannot_start_has_no_numbers_and_says_why(partly: tuple[Asked, OverConditions]) -> None:
    _, found = partly
    case = found.cases.sel(rule="three-to-one", case=2)
    assert np.isnan(case["stable"].item())
    assert np.isnan(case["fuel"].item())
    assert case["reason"].item().startswith("not flown: three-to-one asks for")
    assert np.isfinite(found.cases["fuel"].sel(rule="three-to-one", case=[0, 1])).all()
    assert np.isfinite(found.cases["fuel"].sel(rule="three-degrees")).all()


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
    found = margins_over(asked(tmp_path, "[35000.0]"), RULES, 0, "conditions.toml")
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
        margins_over(asked(tmp_path, "[35000.0]"), RULES[:1], 0, "conditions.toml")
