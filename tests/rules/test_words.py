"""Rules in words: what a pilot reads is what the file says."""

from __future__ import annotations

import re
from typing import Any

import pytest

from optdescent.inputs import validated
from optdescent.rules import LIBRARY, read_rules
from optdescent.rules.parts import Rule, RuleFile
from optdescent.rules.words import rule_words

LOSE = {"kind": "height_to_lose", "distance_nm": 3.0}
SPEEDS = {"descent_kt": 280.0, "by": [{"distance_nm": 20.0, "speed": "minimum clean"}]}


def made(profile: dict[str, Any] | None = None, **parts: Any) -> Rule:
    """A rule of given parts."""
    told = {"kind": "distance", "terms": [LOSE]} if profile is None else profile
    rule = {"name": "x", "title": "x", "source": "x", "profile": told, "speeds": SPEEDS} | parts
    return validated(RuleFile, {"rules": [rule]}, "x").rules[0]


def with_term(kind: str, **parts: float) -> tuple[str, ...]:
    """Words of a distance needed with one term beside the height to lose."""
    return rule_words(made({"kind": "distance", "terms": [LOSE, {"kind": kind, **parts}]}))


@pytest.mark.parametrize("name", LIBRARY)
def test_every_part_of_every_rule_has_a_sentence_without_stray_digits(name: str) -> None:
    for rule in read_rules(name):
        told = rule_words(rule)
        parts = len(rule.speeds.by) + len(rule.devices) + len(rule.when) + len(rule.sink_limits) + len(rule.checks)
        assert len(told) >= 2 + parts + (rule.sink is not None)
        assert len(set(told)) == len(told)
        assert all(sentence.strip() for sentence in told)
        assert not [sentence for sentence in told if re.search(r"\d\.\d{2,}|e[+-]\d|None|<", sentence)]


def test_three_to_one_with_its_corrections() -> None:
    told = rule_words(read_rules("library")[0])
    assert told[:4] == (
        "3 nm per 1000 ft to lose",
        "plus 1 nm for each 10 kt to lose from the planned speed to approach speed",
        "plus 1 nm for each 10 kt of tailwind (the other way for headwind)",
        "280 kt in the descent, slowing by 10 kt for each nm",
    )
    assert told[4:] == (
        "minimum clean speed by 20 nm",
        "the first step's speed by 14 nm",
        "the second step's speed by 9.5 nm",
        "approach speed by 4 nm",
    )


@pytest.mark.parametrize(
    ("kind", "parts", "sentence"),
    [
        ("tailwind_only", {"distance_nm": 2.0}, "plus 2 nm for each 10 kt of tailwind (nothing for headwind)"),
        ("headwind_only", {"distance_nm": -0.5}, "minus 0.5 nm for each 10 kt of headwind (nothing for tailwind)"),
        (
            "tailwind",
            {"distance_nm": 1.0, "above_height_ft": 10000.0, "below_height_ft": 20000.0},
            "plus 1 nm for each 10 kt of mean tailwind between 10000 and 20000 ft, less as they are passed "
            "(the other way for headwind)",
        ),
        (
            "headwind_only",
            {"distance_nm": -1.0, "above_height_ft": 3000.0, "below_height_ft": 9000.0},
            "minus 1 nm for each 10 kt of mean headwind between 3000 and 9000 ft, less as they are passed "
            "(nothing for tailwind)",
        ),
        (
            "mass_above",
            {"distance_nm": 1.5, "reference_t": 60.0, "per_mass_t": 5.0},
            "plus 1.5 nm for each 5 t above 60 t (the other way below)",
        ),
        (
            "temperature_offset",
            {"distance_nm": -1.0},
            "minus 1 nm for each 10 K above the standard (the other way below)",
        ),
        ("anti_ice", {"distance_nm": 5.0}, "plus 5 nm while engine anti-ice is on"),
        ("gear_down", {"distance_nm": -3.0}, "minus 3 nm while the gear is down"),
        ("steps_out", {"distance_nm": -1.0}, "minus 1 nm for each step of slats and flaps that is out"),
        ("always", {"distance_nm": 2.0}, "plus 2 nm in any case"),
    ],
)
def test_each_driver_in_words(kind: str, parts: dict[str, float], sentence: str) -> None:
    told = with_term(kind, **parts)
    assert told[0] == "3 nm per 1000 ft to lose"
    assert told[1] == sentence


def test_rounding_is_said() -> None:
    terms = [LOSE, {"kind": "always", "distance_nm": 2.0}]
    told = rule_words(made({"kind": "distance", "terms": terms, "round_up_nm": 5.0}))
    assert told[2] == "what is added is rounded up to 5 nm"
    for own in ({"kind": "angle", "angle_deg": 3.0}, {"kind": "height", "gradient_ft_per_nm": 300.0}):
        told = rule_words(made({**own, "terms": terms[1:], "round_up_nm": 5.0}))
        assert told[1:3] == ("begun 2 nm earlier in any case", "what it is begun earlier is rounded up to 5 nm")


@pytest.mark.parametrize(
    ("profile", "told"),
    [
        (
            {
                "kind": "height",
                "gradient_ft_per_nm": 300.0,
                "allowances": [{"above": "minimum clean", "height_ft": -1000.0}],
                "terms": [{"kind": "tailwind", "distance_nm": 1.0}],
            },
            (
                "300 ft for each nm to go",
                "1000 ft lower at minimum clean speed and above",
                "begun 1 nm earlier for each 10 kt of tailwind (the other way for headwind)",
            ),
        ),
        (
            {"kind": "angle", "angle_deg": 3.2, "terms": [{"kind": "gear_down", "distance_nm": -2.0}]},
            (
                "one straight path of 3.2° to where the glide path crosses the threshold",
                "begun 2 nm later while the gear is down",
            ),
        ),
        (
            {
                "kind": "points",
                "points": [{"distance_nm": 30.0, "height_ft": 9000.0}, {"distance_nm": 10.0, "height_ft": 3000.0}],
            },
            ("300 ft for each nm before 30 nm", "9000 ft at 30 nm", "3000 ft at 10 nm"),
        ),
    ],
)
def test_the_other_profiles_in_words(profile: dict[str, Any], told: tuple[str, ...]) -> None:
    assert rule_words(made(profile))[: len(told)] == told


def test_many_points_are_told_by_their_ends() -> None:
    heights = [{"distance_nm": float(d), "height_ft": 300.0 * d} for d in range(100, 0, -10)]
    speeds = [{"distance_nm": float(d), "speed_kt": 150.0 + d} for d in (100, 50, 20)]
    told = rule_words(made({"kind": "points", "points": heights}, speeds={"descent_kt": 280.0, "points": speeds}))
    assert told == (
        "300 ft for each nm before 100 nm",
        "on straight lines through 10 points, from 30000 ft at 100 nm to 3000 ft at 10 nm",
        "planned speed 250 kt at 100 nm",
        "planned speed 200 kt at 50 nm",
        "planned speed 170 kt at 20 nm",
    )


def test_a_sink_rate_is_a_multiple_of_the_ground_speed() -> None:
    sink = {"per_speed_ft_per_min": 100.0, "of_speed_kt": 20.0, "rounding_ft_per_min": 100.0}
    assert rule_words(made(sink=sink))[1] == (
        "then a sink rate of 5 times the ground speed, in ft/min and kt, rounded to 100 ft/min"
    )


@pytest.mark.parametrize(
    ("part", "sentence"),
    [
        (
            {"kind": "high", "use": "speed brake", "by_ft": 1000.0, "until_ft": 0.0},
            "speed brake when 1000 ft high, kept until nothing is left",
        ),
        (
            {"kind": "high", "use": "speed brake", "by_ft": 1000.0, "until_ft": 500.0, "from_nm": 25.0},
            "from 25 nm on: speed brake when 1000 ft high, kept until 500 ft are left",
        ),
        (
            {"kind": "high", "use": "speed brake", "by_ft": 300.0, "until_ft": -200.0, "to_nm": 25.0},
            "until 25 nm: speed brake when 300 ft high, kept until 200 ft low",
        ),
        (
            {"kind": "high", "use": "gear", "by_ft": 200.0, "from_nm": 12.0, "above_height_ft": 1000.0},
            "from 12 nm on, above 1000 ft: gear down when 200 ft high",
        ),
        (
            {"kind": "low", "use": "level off", "by_ft": 300.0, "from_nm": 40.0, "to_nm": 20.0},
            "between 40 and 20 nm: level off when 300 ft low, until nothing is left",
        ),
        (
            {"kind": "fast", "use": "next step", "by_kt": 10.0, "until_kt": 5.0, "on_glide_path": True},
            "on the glide path: next step of slats and flaps when 10 kt fast, then those after it until 5 kt are left",
        ),
        (
            {"kind": "fast_for_step", "use": "gear", "on_glide_path": True, "below_height_ft": 3000.0},
            "on the glide path, below 3000 ft: gear down when too fast for the next step of slats and flaps",
        ),
        (
            {"kind": "fast_for_step", "use": "speed brake", "margin_kt": 5.0},
            "speed brake when too fast for the next step of slats and flaps (its limit speed less 5 kt)",
        ),
        (
            {"kind": "slow", "use": "thrust", "by_kt": 8.0, "below_height_ft": 3000.0, "above_height_ft": 1000.0},
            "between 3000 and 1000 ft: thrust when 8 kt slow",
        ),
        ({"kind": "slow", "use": "thrust", "by_kt": 8, "until_kt": 2}, "thrust when 8 kt slow, until 2 kt are left"),
        ({"kind": "slow", "use": "thrust", "by_kt": 8, "until_kt": -5}, "thrust when 8 kt slow, until 5 kt fast"),
    ],
)
def test_what_to_do_when_in_words(part: dict[str, Any], sentence: str) -> None:
    assert rule_words(made(when=[part]))[-1] == sentence


@pytest.mark.parametrize(
    ("part", "sentence"),
    [
        ({"device": "gear", "height_ft": 2500.0}, "gear down by 2500 ft"),
        ({"device": "first step", "distance_nm": 14.0}, "first step of slats and flaps by 14 nm"),
        (
            {
                "device": "second step",
                "at_capture": True,
                "terms": [{"kind": "mass_above", "distance_nm": 0.5, "reference_t": 60.0, "per_mass_t": 5.0}],
            },
            "second step of slats and flaps by the capture of the glide path, 0.5 nm earlier for each 5 t above 60 t "
            "(the other way below)",
        ),
    ],
)
def test_devices_by_places_in_words(part: dict[str, Any], sentence: str) -> None:
    assert rule_words(made(devices=[part]))[-1] == sentence


def test_speeds_by_places_in_words() -> None:
    by = [{"distance_nm": 30.0, "speed_kt": 250.0}, {"height_ft": 5000.0, "speed": "first step"}]
    made_so = made(speeds={"descent_kt": 280.0, "by": [*by, {"height_ft": 2500.0, "speed_kt": 180.0}]})
    assert rule_words(made_so)[-3:] == ("250 kt by 30 nm", "the first step's speed by 5000 ft", "180 kt by 2500 ft")
    assert all(told in made_so._repr_html_() for told in ("250 kt", "by 30 nm to go", "by 5000 ft above the threshold"))


def test_what_brings_a_speed_or_a_device_earlier_in_words() -> None:
    terms = [{"kind": "tailwind", "distance_nm": 1.0, "per_wind_kt": 10.0}, {"kind": "anti_ice", "distance_nm": 2.0}]
    speeds = {"descent_kt": 280.0, "by": [{"distance_nm": 20.0, "speed": "first step", "terms": terms}]}
    gear = {"device": "gear", "distance_nm": 8.0, "terms": terms[1:], "round_up_nm": 1.0}
    told = rule_words(made(speeds=speeds, devices=[gear]))
    assert told[-2:] == (
        "the first step's speed by 20 nm, 1 nm earlier for each 10 kt of tailwind (the other way for headwind), "
        "2 nm earlier while engine anti-ice is on",
        "gear down by 8 nm, 2 nm earlier while engine anti-ice is on, rounded up to 1 nm",
    )


def test_limits_and_checks_in_words() -> None:
    limits = [{"below_height_ft": 1000.0, "sink_ft_per_min": 1000.0}]
    checks = [
        {"height_ft": 500.0, "distance_nm": 4.0, "gear_down": False, "landing_configuration": False, "speed_over_kt": 5}
    ]
    told = rule_words(made(sink_limits=limits, checks=checks))
    assert told[-2] == "sink at most 1000 ft/min below 1000 ft"
    assert told[-1] == (
        "check at 4 nm: reference speed + 5 kt (+5/−0 kt), sink at most 1000 ft/min, at most 75 ft off the glide path"
    )
