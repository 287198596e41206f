"""Rule files: the library, and every fault of a bad one."""

from __future__ import annotations

from importlib import resources
from pathlib import Path

import pytest

from optdescent.inputs import InputFault
from optdescent.rules import read_rules
from optdescent.rules.parts import AngleProfile, DistanceProfile, HeightProfile
from optdescent.rules.rule import LIBRARY
from optdescent.units import FOOT, NAUTICAL_MILE

LIBRARY_TEXT = resources.files("optdescent.rules").joinpath("library", "three_rules.toml").read_text("utf-8")
ONE = """
[[rules]]
name = "one"
title = "one"
source = "common practice, no source"
profile = { kind = "distance", terms = [{ kind = "height_to_lose", distance_nm = 3.0 }] }
speeds = { descent_kt = 280.0, by = [{ distance_nm = 20.0, speed = "first step" }] }
"""


def faults_of(tmp_path: Path, text: str) -> dict[str, str]:
    path = tmp_path / "rules.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(InputFault) as caught:
        read_rules(path)
    assert all(fault.file == str(path) for fault in caught.value.faults)
    return {fault.key: f"{fault.given}; {fault.allowed}" for fault in caught.value.faults}


@pytest.mark.parametrize("name", LIBRARY)
def test_the_library_is_read(name: str) -> None:
    rules = read_rules(name)
    assert len({rule.name for rule in rules}) == len(rules)
    assert all(rule.source.strip() and rule.title.strip() for rule in rules)


def test_the_library_holds_the_three_rules_of_thumb() -> None:
    kinds = [type(rule.profile) for rule in read_rules()]
    assert kinds == [DistanceProfile, HeightProfile, AngleProfile]


def test_a_file_gives_what_the_library_gives(tmp_path: Path) -> None:
    path = tmp_path / "mine.toml"
    path.write_text(LIBRARY_TEXT, encoding="utf-8")
    assert read_rules(path) == read_rules()


def test_values_are_si_in_memory(tmp_path: Path) -> None:
    (tmp_path / "r.toml").write_text(ONE, encoding="utf-8")
    (rule,) = read_rules(tmp_path / "r.toml")
    assert isinstance(rule.profile, DistanceProfile)
    assert rule.profile.terms[0].distance == pytest.approx(3.0 * NAUTICAL_MILE)
    assert rule.profile.terms[0].per_height == pytest.approx(1000.0 * FOOT)  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("before", "after", "key", "words"),
    [
        ("descent_kt", "descend_kt", "rules[0].speeds.descend_kt", "'descent_kt'"),
        ("descent_kt = 280.0", "descent_ms = 144.0", "rules[0].speeds.descent_ms", "'descent_kt'"),
        ("descent_kt = 280.0", "descent_kt = 500.0", "rules[0].speeds.descent_kt", "150 to 400 kt"),
        ("descent_kt = 280.0", 'descent_kt = "280"', "rules[0].speeds.descent_kt", "number"),
        ('"first step"', '"fist step"', "rules[0].speeds.by[0].speed", "'first step'"),
        ('kind = "distance"', 'kind = "distances"', "rules[0].profile.kind", "'distance'"),
        ('source = "common practice, no source"', 'source = " "', "rules[0].source", "published source"),
        ('source = "common practice, no source"\n', "", "rules[0].source", "required"),
        ("[{ distance_nm = 20.0", "[{ distance_km = 20.0", "rules[0].speeds.by[0].distance_km", "'distance_nm'"),
    ],
)
def test_each_fault_names_key_value_and_what_is_allowed(
    tmp_path: Path, before: str, after: str, key: str, words: str
) -> None:
    assert before in ONE
    assert words in faults_of(tmp_path, ONE.replace(before, after))[key]


def test_a_fault_in_one_term_of_a_sum_is_one_fault_of_that_term(tmp_path: Path) -> None:
    """The kind says which term is meant: what other kinds would have wanted is no help."""
    found = faults_of(tmp_path, ONE.replace("distance_nm = 3.0", "distance_km = 3.0"))
    assert set(found) == {"rules[0].profile.terms[0].distance_km", "rules[0].profile.terms[0].distance_nm"}
    assert "3.0" in found["rules[0].profile.terms[0].distance_km"]
    assert "'distance_nm'" in found["rules[0].profile.terms[0].distance_km"]


def test_an_unknown_term_names_the_known_ones(tmp_path: Path) -> None:
    found = faults_of(tmp_path, ONE.replace("height_to_lose", "height_to_loose"))
    assert "'height_to_lose'" in found["rules[0].profile.terms[0].kind"]
    assert "height_to_loose" in found["rules[0].profile.terms[0].kind"]


@pytest.mark.parametrize(
    ("terms", "words"),
    [
        ("[]", "0 of kind height_to_lose"),
        ('[{ kind = "tailwind", distance_nm = 1.0 }]', "0 of kind height_to_lose"),
        (
            '[{ kind = "height_to_lose", distance_nm = 3.0 }, { kind = "height_to_lose", distance_nm = 1.0 }]',
            "2 of kind height_to_lose",
        ),
    ],
)
def test_a_sum_has_height_to_lose_once(tmp_path: Path, terms: str, words: str) -> None:
    text = ONE.replace('[{ kind = "height_to_lose", distance_nm = 3.0 }]', terms)
    assert words in faults_of(tmp_path, text)["rules[0].profile.terms"]


@pytest.mark.parametrize("distance", ["20.0", "25.0"])
def test_speeds_by_distance_come_farthest_first(tmp_path: Path, distance: str) -> None:
    more = f'"first step" }}, {{ distance_nm = {distance}, speed = "approach" }}'
    found = faults_of(tmp_path, ONE.replace('"first step" }', more))
    assert f"{float(distance):g} nm after 20 nm" in found["rules[0].speeds.by"]


def test_names_differ(tmp_path: Path) -> None:
    assert "'one' again" in faults_of(tmp_path, ONE + ONE)["rules[1].name"]


def test_no_rule_is_not_enough(tmp_path: Path) -> None:
    assert "at least one" in faults_of(tmp_path, "rules = []\n")["rules"]


def test_every_fault_is_found_in_one_pass(tmp_path: Path) -> None:
    bad = ONE.replace("descent_kt = 280.0", "descent_kt = 500.0").replace('"first step"', '"fist step"')
    found = faults_of(tmp_path, bad + ONE.replace("title", "titel"))
    assert set(found) == {
        "rules[0].speeds.descent_kt",
        "rules[0].speeds.by[0].speed",
        "rules[1].titel",
        "rules[1].title",
    }


def test_a_missing_file_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"absent\.toml"):
        read_rules(tmp_path / "absent.toml")
