"""Pages of studies: numbers named in them are those of the stored answers, and what they say of them holds."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest

from optdescent.results.provenance import CAUTION
from studies.declared import ROOT, STUDIES, Command, Expectation, Small, Study, all_studies
from studies.page import (
    Answer,
    in_full,
    missed,
    named_numbers,
    one_by_one,
    paths_expected,
    paths_of,
    picked,
    with_numbers,
)

ANSWERS: dict[str, Any] = {
    "jet": {
        "rules": [{"rule": "a", "wind_kt": 20.0, "fuel_kg": 512.4}, {"rule": "b", "wind_kt": 20.0, "fuel_kg": 498.0}]
    }
}
PAGES = [study for study in all_studies() if study.has_page]


def named(study: Study) -> str:
    return study.name


def test_there_are_pages() -> None:
    assert len(PAGES) >= 10


@pytest.mark.parametrize("study", PAGES, ids=named)
def test_a_readme_is_its_page_with_the_numbers_of_the_answer(study: Study) -> None:
    answer = Answer.from_csv(study.folder / "answer.csv")
    assert study.readme == with_numbers(study.page_text, answer), f"python -m studies {study.name} --write"
    in_page = paths_of(in_full(study.page_text, answer.count))
    assert set(answer.numbers) == {*in_page, *paths_expected(one_by_one(study.expected, answer.count))}


@pytest.mark.parametrize("study", PAGES, ids=named)
def test_what_a_study_says_holds_of_its_stored_answer(study: Study) -> None:
    assert study.expected
    assert missed(study.expected, Answer.from_csv(study.folder / "answer.csv"), is_small=False) == []


@pytest.mark.parametrize("study", PAGES, ids=named)
def test_what_a_study_expects_can_fail(study: Study) -> None:
    for one in study.expected:
        assert one.left != one.right
        assert (one.relation == "is missing") is (one.right is None)
        assert (one.within > 0.0) is (one.relation == "near")
        assert ("[#]" in one.left) is bool(one.each)


@pytest.mark.parametrize("study", all_studies(), ids=named)
def test_a_study_has_what_a_reader_needs(study: Study) -> None:
    text = " ".join(study.readme.split())
    assert all(
        part in text for part in ("**Question.**", "**Command.**", "**Answer.**", "**Where it would not hold.**")
    )
    assert CAUTION in text
    assert all((study.folder / image).is_file() for image in study.images)


def test_every_study_has_a_reduced_size() -> None:
    rows = tomllib.loads((STUDIES / "small.toml").read_text(encoding="utf-8"))
    assert set(rows) == {study.name for study in all_studies()}
    for study in all_studies():
        labels = [command.label for command in study.commands]
        assert len(set(labels)) == len(labels)
        assert {*study.small.added, *study.small.left_out} <= set(labels)
        assert set(labels) - set(study.small.left_out)


def test_a_command_at_reduced_size_loses_options_and_gains_arguments() -> None:
    command = Command.of("optdescent corridor x.toml --distance-nm 10 --distance-nm 50 --speed-kt 210 -o out/far")
    small = Small({"far": ("--distance-nm", "12")}, ("--distance-nm",), ())
    assert small.reduced(command) == (
        *("corridor", "x.toml", "--speed-kt", "210", "-o", "out/far"),
        *("--distance-nm", "12"),
    )
    drawn = Command.of("optdescent chart out/jet/conditions.nc --figure rule-map -o out/figures")
    other = Small({}, (), (), {"out/jet/conditions.nc": "out/cases.zarr"})
    assert other.reduced(drawn)[1] == "out/cases.zarr"


def test_what_is_given_instead_at_reduced_size_is_made_there() -> None:
    told = [(study, *pair) for study in all_studies() for pair in study.small.instead.items()]
    assert told
    for study, left, given in told:
        made = [command.output for command in study.commands if command.label not in study.small.left_out]
        assert (ROOT / given).is_file() or any(given == output or given.startswith(f"{output}/") for output in made)
        assert any(left in command.arguments for command in study.commands)
        assert not any(left.startswith(f"{output}/") for output in made)


def test_a_study_is_rebuilt_after_those_that_it_is_built_on() -> None:
    names = [study.name for study in all_studies()]
    assert names.index("derived_rule") < names.index("derived_or_library")


def test_a_command_is_read_as_typed() -> None:
    command = Command.of("optdescent sweep studies/x/study.toml --set 'a=[1, 2]' -o out/grid.zarr")
    assert command.label == "grid"
    assert command.arguments[3] == "a=[1, 2]"
    for line in ("rm -r x", "optdescent check x.toml"):
        with pytest.raises(ValueError, match="not an optdescent command"):
            Command.of(line)


def test_a_number_is_picked_by_keys_and_by_what_an_entry_says() -> None:
    assert picked(ANSWERS, "jet.rules[rule=a,wind_kt=20].fuel_kg") == 512.4
    assert picked(ANSWERS, "jet.rules[1].fuel_kg") == 498.0
    for path in ("still.rules", "jet.rules[wind_kt=20].fuel_kg", "jet.rules[rule=c].fuel_kg", "jet.rules[0].time_min"):
        with pytest.raises(LookupError):
            picked(ANSWERS, path)


def test_a_page_shows_numbers_as_it_asks(tmp_path: Path) -> None:
    page = (
        "{jet.rules[rule=a].fuel_kg:.0f} kg, {jet.rules[1].fuel_kg - jet.rules[0].fuel_kg:+.1f} kg; {jet.share:.1%} %"
    )
    answers = {"jet": {**ANSWERS["jet"], "share": 0.9666}}
    Answer(dict(named_numbers(page, (), answers))).to_csv(tmp_path / "answer.csv")
    assert with_numbers(page, Answer.from_csv(tmp_path / "answer.csv")) == "512 kg, −14.4 kg; 96.7 %"


def test_a_number_that_is_not_there_is_told_at_full_size_and_dashed_at_reduced_size() -> None:
    page = "{jet.rules[rule=c].fuel_kg:.0f} kg"
    with pytest.raises(LookupError):
        list(named_numbers(page, (), ANSWERS))
    answer = Answer(dict(named_numbers(page, (), ANSWERS, is_small=True)))
    assert with_numbers(page, answer) == "– kg"


def test_what_is_said_of_each_entry_of_a_list_is_written_for_each(tmp_path: Path) -> None:
    page = "| rule |\n<!-- each jet.rules -->\n| {jet.rules[#].rule} |\n<!-- end -->\n\nafter"
    Answer(dict(named_numbers(page, (), ANSWERS))).to_csv(tmp_path / "answer.csv")
    assert with_numbers(page, Answer.from_csv(tmp_path / "answer.csv")) == "| rule |\n| a |\n| b |\n\nafter"


def test_what_is_expected_of_each_entry_is_looked_at_in_each() -> None:
    light = Expectation("light", "jet.rules[#].fuel_kg", "below", 500.0, each="jet.rules")
    answer = Answer(dict(named_numbers("", (light,), ANSWERS)))
    (told,) = missed([light], answer, is_small=False)
    assert "jet.rules[0].fuel_kg = 512.4" in told
    with pytest.raises(LookupError):
        list(named_numbers("", (light,), {"jet": {"rules": []}}))


def test_a_flag_is_compared_with_a_flag_and_nothing_with_nothing() -> None:
    answer = Answer({"yes": True, "no": False, "one": 1.0, "none": None})
    for left, relation, right in (("yes", "is", True), ("one", "is", 1.0), ("none", "is missing", None)):
        assert missed([Expectation("so", left, relation, right)], answer, is_small=False) == []
    for left, relation, right in (
        ("no", "is", True),
        ("one", "is", True),
        ("none", "is", False),
        ("none", "is", "none"),
        ("no", "is missing", None),
    ):
        assert missed([Expectation("not so", left, relation, right)], answer, is_small=False)


def test_what_is_not_as_said_is_told() -> None:
    left, right = "jet.rules[rule=a].fuel_kg", "jet.rules[rule=b].fuel_kg"
    answer = Answer({left: 512.4, right: 498.0})
    assert missed([Expectation("a burns more", left, "above", right)], answer, is_small=False) == []
    (told,) = missed([Expectation("a burns less", left, "below", right)], answer, is_small=False)
    assert told.startswith("not so: a burns less")
    assert missed([Expectation("alike", left, "near", right, within=20.0)], answer, is_small=False) == []
    assert missed([Expectation("a burns less", left, "below", right, full_size_only=True)], answer, is_small=True) == []
    assert missed([Expectation("unknown", left, "above", 1.0)], Answer({left: None}), is_small=False)
