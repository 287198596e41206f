"""Rules derived for a small study, flown for real."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optdescent.derive import Derived, Library, derive
from optdescent.derive.derive import asked_in_training
from optdescent.derive.family import things_to_remember
from optdescent.derive.sets import Use, sets_of
from optdescent.inputs import InputFault
from optdescent.results import Provenance
from optdescent.rules import read_rules
from optdescent.rules.fleet import Fleet
from optdescent.study import Study
from tests.derive.studies import small_study

LIBRARY = Library("three_rules", read_rules("three_rules")[:2])


def derived(study: Study, workers: int = 1) -> Derived:
    assert study.derive is not None
    provenance = Provenance(study.title, study.text, study.digest, of="study")
    return derive(study.asked, study.derive, LIBRARY, provenance, "study.toml", workers)


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Study:
    return small_study(tmp_path_factory.mktemp("study"))


@pytest.fixture(scope="module")
def found(study: Study) -> Derived:
    return derived(study)


def test_the_file_holds_the_derived_rules_of_the_front(found: Derived, tmp_path: Path) -> None:
    path = tmp_path / "rules.toml"
    path.write_text(found.rule_file, encoding="utf-8")
    rules, front = read_rules(path), found.front
    told = front.flags("is_derived") & (front.flags("is_on_front") | front.flags("is_recommended"))
    assert [rule.name for rule in rules] == [name for name, is_told in zip(front.names, told, strict=True) if is_told]
    things = dict(zip(front.names, front.column("simplicity"), strict=True))
    for rule in rules:
        assert things_to_remember(rule) == things[rule.name]
        assert rule.title == front.titles[front.names.index(rule.name)]
        assert rule.source.startswith("derived by optdescent from A small study (")
        assert rule.source.endswith("), not published")


def test_a_rule_of_the_file_flies_as_the_front_says(found: Derived, study: Study, tmp_path: Path) -> None:
    """Flown again, in conditions made anew: the same share, from the file that a user has."""
    path = tmp_path / "rules.toml"
    path.write_text(found.rule_file, encoding="utf-8")
    assert study.derive is not None
    sets = sets_of(study.asked, study.derive, "x")
    rule = read_rules(path)[0]
    place = found.front.names.index(rule.name)
    for use, share in ((Use.CHECK, "held_share"), (Use.UNSEEN, "unseen_held_share")):
        judged = Fleet(rule).judged(sets.scenarios[use], (0.0,))
        assert np.mean(judged.stable) == found.front.column(share)[place]
        if use is Use.CHECK:
            burned = np.mean(judged.fuel[judged.stable])
            assert burned == pytest.approx(found.front.column("fuel_held_mean")[place], rel=1e-9)


def test_fuel_is_compared_over_the_same_conditions(found: Derived, study: Study) -> None:
    """In those in which a rule of the library and the rule that holds most often both do, flown anew."""
    assert study.derive is not None
    front, scenarios = found.front, sets_of(study.asked, study.derive, "x").scenarios[Use.CHECK]
    beside = front.names.index(front.table.attrs["compared_with"])
    assert front.column("held_share")[beside] == np.max(front.column("held_share"))
    one, other = (Fleet(rule).judged(scenarios, (0.0,)) for rule in LIBRARY.rules)
    both = one.stable & other.stable
    assert both.sum() == 32, "with other conditions each mean is of another set"
    less = np.mean(one.fuel) - np.mean(other.fuel)
    fuel = front.column("fuel_mean")
    assert fuel[-2] - fuel[-1] == pytest.approx(less, abs=1e-6)


def test_derived_rules_stand_from_few_things_to_many_before_the_library(found: Derived) -> None:
    front = found.front
    is_derived = front.flags("is_derived")
    assert list(front.column("simplicity")[is_derived]) == sorted(front.column("simplicity")[is_derived])
    assert front.names[-2:] == tuple(rule.name for rule in LIBRARY.rules)
    assert front.table.attrs["rules_flown"] <= 12
    assert np.all(np.isnan(front.column("train_held_share")) == ~is_derived)


@pytest.mark.slow
def test_two_processes_find_what_one_finds(found: Derived, study: Study) -> None:
    again = derived(study, workers=2)
    assert again.rule_file == found.rule_file
    assert again.front.table.equals(found.front.table)


def test_the_search_asks_for_more_than_is_wanted(study: Study) -> None:
    """Of 32 conditions 31 are the fewest whose interval is above 80 %."""
    assert study.derive is not None
    needed = 31 / 32
    asked = asked_in_training(study.derive.model_copy(update={"train": 4096}))
    assert asked == pytest.approx(needed + (needed * (1.0 - needed) / 4096) ** 0.5)
    strict = study.derive.model_copy(update={"stable_share": 0.999})
    assert asked_in_training(strict) == 1.0


def test_a_name_of_the_library_is_not_taken_again(found: Derived, study: Study, tmp_path: Path) -> None:
    first = found.front.names[0]
    same = LIBRARY.rules[0].model_copy(update={"name": first})
    assert study.derive is not None
    quick = study.derive.model_copy(update={"most_rules": 1, "most_parts": 3})
    provenance = Provenance("made", "{}", "0" * 12, of="study")
    again = derive(study.asked, quick, Library("made", (same,)), provenance, "study.toml")
    assert len(set(again.front.names)) == len(again.front.names)
    assert first in again.front.names


def test_a_share_that_none_has_leaves_none_recommended_and_says_how_far_it_is(study: Study) -> None:
    assert study.derive is not None
    data = {**study.asked.data, "arrival": {**study.asked.data["arrival"]}}
    data["arrival"]["gate"] = {**data["arrival"]["gate"], "sink_ft_per_min": 300.0}
    quick = study.derive.model_copy(update={"most_rules": 1, "most_parts": 3})
    provenance = Provenance("made", "{}", "0" * 12, of="study")
    found = derive(replace(study.asked, data=data), quick, Library("none", ()), provenance, "study.toml")
    assert found.front.recommended is None
    assert found.shortfall == pytest.approx(0.8), "a gate that allows no more than 300 ft/min on a glide path of 3°"
    assert "[[rules]]" in found.rule_file


def test_where_limits_are_to_be_kept_only_flights_within_them_count(study: Study) -> None:
    """A further gate at 2000 ft allows a sink rate that a tailwind makes too large on a glide path of 3°."""
    assert study.derive is not None
    data = {**study.asked.data, "arrival": {**study.asked.data["arrival"]}}
    gate = {"height_ft": 2000.0, "sink_ft_per_min": 770.0, "speed_over_kt": 30.0, "landing_configuration": False}
    data["arrival"]["more_gates"] = [gate]
    provenance = Provenance("made", "{}", "0" * 12, of="study")
    fronts: list[Derived] = []
    for keep_limits in (False, True):
        asked = study.derive.model_copy(update={"most_rules": 1, "most_parts": 3, "keep_limits": keep_limits})
        fronts.append(derive(replace(study.asked, data=data), asked, Library("none", ()), provenance, "study.toml"))
    without, within = (found.front for found in fronts)
    assert 0.0 < within.column("held_share")[0] < without.column("held_share")[0]
    for front in (without, within):
        assert front.column("limits_kept_share")[0] == within.column("held_share")[0]
        assert front.column("stable_share")[0] == without.column("held_share")[0]
    assert within.column("train_held_share")[0] < without.column("train_held_share")[0]
    assert within.column("unseen_held_share")[0] < without.column("unseen_held_share")[0]
    assert within.column("predicted_high")[0] < without.column("predicted_high")[0]
    assert "Stable and every limit kept in " in fronts[1].rule_file
    assert "limit" not in fronts[0].rule_file


def test_a_start_too_near_for_any_rule_is_refused(study: Study) -> None:
    assert study.derive is not None
    data = {**study.asked.data, "start": {**study.asked.data["start"], "distance_nm": 20.0}}
    provenance = Provenance("made", "{}", "0" * 12, of="study")
    with pytest.raises(InputFault, match=r"study\.toml: scenario: begins too near"):
        derive(replace(study.asked, data=data), study.derive, LIBRARY, provenance, "study.toml")
