"""Rules that cannot start where a scenario does."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from optdescent.cli import main
from optdescent.inputs import InputFault
from optdescent.rules import read_rules
from optdescent.rules.fleet import Fleet
from optdescent.rules.parts import SpeedName
from optdescent.rules.question import RulesQuestion
from optdescent.rules.rule import named_speed
from optdescent.rules.startable import check_start, why_not_started, whys_not_started
from optdescent.units import KNOT
from tests.rules.made import rule
from tests.scenario.files import STUDY, scenario


def test_the_library_starts_after_the_start() -> None:
    check_start(scenario(), read_rules("library"), "library")


@pytest.mark.parametrize(
    ("profile", "words"),
    [
        ({"kind": "angle", "angle_deg": 1.0}, "the descent would begin before the start"),
        (
            {
                "kind": "points",
                "points": [{"distance_nm": 20, "height_ft": 60000}, {"distance_nm": 2, "height_ft": 50000}],
            },
            "never asks for less than the cruise height",
        ),
    ],
)
def test_a_rule_that_cannot_start_is_named(profile: dict[str, object], words: str) -> None:
    with pytest.raises(InputFault) as error:
        check_start(scenario(), (rule(profile=profile),), "own.toml")
    (fault,) = error.value.faults
    assert fault.file == "own.toml"
    assert fault.key == "rules[0].profile"
    assert words in f"{fault.given} {fault.allowed}"


@pytest.mark.parametrize(("descent", "by", "index", "after"), [(150.0, [], 0, 150), (280.0, [(30.0, 200.0)], 1, 200)])
def test_speeds_that_rise_for_this_airframe_and_mass_are_named(
    descent: float, by: list[tuple[float, float]], index: int, after: int
) -> None:
    """Minimum clean speed by 20 nm, from a descent speed or a speed in knots that is slower; light, it is 178 kt."""
    knots = [{"distance_nm": distance, "speed_kt": speed} for distance, speed in by]
    made = rule(speeds={"descent_kt": descent, "by": [*knots, {"distance_nm": 20.0, "speed": "minimum clean"}]})
    own = scenario()
    clean = named_speed(own.airframe, own.arrival, SpeedName.MINIMUM_CLEAN, own.start.mass) / KNOT
    with pytest.raises(InputFault) as error:
        check_start(scenario(), (THREE_TO_ONE, made), "own.toml")
    (fault,) = error.value.faults
    given = f"made asks for minimum clean speed by 20 nm, {clean:.0f} kt, after {after} kt"
    assert (fault.key, fault.given, fault.allowed) == (f"rules[1].speeds.by[{index}]", given, "speeds that fall")
    assert why_not_started(own, made) == given
    assert (not why_not_started(scenario("start.mass_kg=42000"), made)) == (after > 178)


TAILWIND = "air.wind={kind='constant',wind_speed_kt=40,wind_from_deg=305}"
"""Straight along the final course of the study."""
NEAR = ("start.altitude_ft=33000", "start.distance_nm=113")
"""Where three miles per thousand feet and one per ten knots to lose just begin in still air: 111.3 nm."""
THREE_TO_ONE = next(one for one in read_rules() if one.name == "three-to-one")
EARLY = rule({"kind": "angle", "angle_deg": 2.85, "terms": [{"kind": "anti_ice", "distance_nm": 9.0}]})


@pytest.mark.parametrize(
    ("settings", "starts"),
    [
        (("air.wind.kind=none",), True),
        ((TAILWIND,), False),  # a mile for each ten knots: four miles
        ((TAILWIND, "technique.wind=none"), True),  # a crew that believes in none asks for none
        ((TAILWIND, "technique.wind=forecast"), False),
    ],
)
def test_the_wind_that_the_crew_believes_counts(settings: tuple[str, ...], starts: bool) -> None:
    there = scenario(*NEAR, *settings)
    assert (not why_not_started(there, THREE_TO_ONE)) == starts
    assert Fleet(THREE_TO_ONE).judged([there]).top_of_descent[0] / 1852.0 < (112.0 if starts else 113.0)
    if not starts:
        assert "113 nm to go, with 40 kt of tailwind" in why_not_started(there, THREE_TO_ONE)


def test_anti_ice_counts() -> None:
    still = (*NEAR, "air.wind.kind=none")
    assert not why_not_started(scenario(*still), EARLY)
    assert why_not_started(scenario(*still, "handling.anti_ice.kind=on"), EARLY)


OF_A_BAND = {"kind": "tailwind", "distance_nm": 2.0, "above_height_ft": 5000.0, "below_height_ft": 15000.0}
BAND = rule({"kind": "angle", "angle_deg": 2.85, "terms": [{**OF_A_BAND, "per_wind_kt": 10.0}]})


def test_scenarios_asked_together_say_what_each_says_alone() -> None:
    """Winds, masses, Mach numbers, pressures, starts and arrivals that differ; reasons are those with their numbers."""
    still = "air.wind.kind=none"
    there = [
        scenario(*NEAR, still),
        scenario(*NEAR, TAILWIND),
        scenario(*NEAR, still, "handling.anti_ice.kind=on", "start.mass_kg=42000"),
        scenario(*NEAR, TAILWIND, "air.qnh_hpa=990", "start.mach=0.7"),
        scenario(*NEAR, still, "start.distance_nm=111"),
        scenario(*NEAR, still, "arrival.elevation_ft=2000"),
    ]
    slow = rule(speeds={"descent_kt": 185.0, "by": [{"distance_nm": 20.0, "speed": "minimum clean"}]})
    rules = (THREE_TO_ONE, EARLY, BAND, slow)
    alone = [[why_not_started(own, one) for one in rules] for own in there]
    assert whys_not_started(there, rules) == alone
    reasons = [reason for own in alone for reason in own]
    assert 4 < len(set(reasons)) < len(reasons)


def test_in_a_sweep_a_rule_that_cannot_start_has_no_numbers_and_says_why() -> None:
    """Flown together or one by one; the case in which it can start has its numbers."""
    sound, not_sound = (scenario(*NEAR, wind) for wind in ("air.wind.kind=none", TAILWIND))
    for together in (True, False):
        session = RulesQuestion((THREE_TO_ONE,), together=together).hold(None).session()
        if together:
            reasons = [why_not_started(own, THREE_TO_ONE) for own in (not_sound, sound)]
            values = session._together([not_sound, sound], THREE_TO_ONE, reasons)
        else:
            values = [session._values(one, THREE_TO_ONE) for one in (not_sound, sound)]
        assert list(values[0]) == ["rule_reasons"]
        assert str(values[0]["rule_reasons"]).startswith("not flown: three-to-one asks for")
        assert float(values[1]["rule_fuel"]) > 100.0


def test_the_command_names_the_rule_and_its_file_with_exit_status_2(tmp_path: Path) -> None:
    settings = [part for one in (*NEAR, TAILWIND) for part in ("--set", one)]
    arguments = ["margins", str(STUDY), *settings, "--rules", "three_rules", "-o", str(tmp_path / "out")]
    found = CliRunner().invoke(main, arguments)
    assert found.exit_code == 2
    assert "three_rules: rules[0].profile: three-to-one asks for" in found.stderr
    assert "the descent would begin before the start" in found.stderr
    assert not (tmp_path / "out").exists()
