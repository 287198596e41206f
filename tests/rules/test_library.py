"""The library of rules: read, flown, and the figures that crews quote for them."""

from __future__ import annotations

import math
import re
from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from optdescent.airframe import read_airframe
from optdescent.arrival import Arrival
from optdescent.inputs import validated
from optdescent.results import Action, Flight, Kind
from optdescent.rules import Rule, fly, read_rules
from optdescent.rules.fleet import Fleet
from optdescent.rules.parts import AngleProfile, HeightProfile, High
from optdescent.rules.rule import Place, asked
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.rules.made import rule
from tests.scenario.files import STUDY

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
RULES = {rule.name: rule for rule in read_rules("library")}
STILL = ("air.wind.kind=none",)
LATE = ("arrival.hold_downs=[{altitude_ft=8000,from_nm=36,to_nm=22}]",)
"""The study's jet, with the clearance below 8000 ft only at 22 nm: some 4000 ft too high there."""
HIGH_AT_25 = ("arrival.windows=[]", "arrival.hold_downs=[{altitude_ft=5000,from_nm=36,to_nm=25}]")
"""The same jet, about 1000 ft too high at 25 nm by three-to-one with its corrections."""
EACH = pytest.mark.parametrize("name", RULES)
NONE = "common practice, no source"
PUBLISHED = ("FAA-H-8083-16", "FAA AIM", "FSF ALAR briefing note 7.1")


@cache
def flown(name: str, *settings: str) -> Flight:
    return fly(Scenario.from_toml(STUDY, settings), RULES[name])


def actions(flight: Flight, what: str) -> list[Action]:
    return [action for action in flight.actions if action.what == what]


def at(flight: Flight, name: str, distance: float) -> float:
    """Value of a column at a distance to go [nm]."""
    return float(np.interp(-distance * NAUTICAL_MILE, -flight.column("distance_to_go"), flight.column(name)))


# the file


def test_there_are_ten_rules_or_more_each_with_a_name_and_a_title_of_its_own() -> None:
    rules = read_rules("library")
    assert len(rules) >= 10
    assert len(RULES) == len({rule.title for rule in rules}) == len(rules)


@EACH
def test_each_source_is_published_or_said_to_be_none(name: str) -> None:
    assert any(word in RULES[name].source for word in (NONE, *PUBLISHED))


def test_one_name_is_one_rule_in_every_file_of_the_package() -> None:
    three = {rule.name: rule for rule in read_rules("three_rules")}
    both = set(three) & set(RULES)
    assert {"three-to-one", "three-degrees"} <= both
    assert all(three[name] == RULES[name] for name in both)


# flown


@EACH
def test_each_rule_is_flown_in_still_air_from_start_to_threshold_and_is_stable(name: str) -> None:
    flight = flown(name, *STILL)
    distance = flight.column("distance_to_go") / NAUTICAL_MILE
    assert (flight.kind, flight.name) == (Kind.RULE, name)
    assert distance[0] == pytest.approx(160.0)
    assert distance[-1] == pytest.approx(0.0, abs=1e-9)
    assert abs(flight.column("height_above_threshold")[-1]) < 100.0 * FOOT
    assert flight.summary.gate.stable, flight.summary.gate.reasons


def test_both_brake_rules_take_it_when_far_too_high_and_stow_it_with_nothing_or_500_ft_left() -> None:
    kept, early = (flown(name, *LATE) for name in ("brake-kept", "brake-stowed-early"))
    for flight in (kept, early):
        (out,) = [action for action in actions(flight, "speed brake out") if "when 1000 ft high" in action.reason]
        assert out.distance_to_go < 25.0 * NAUTICAL_MILE
        excess = at(flight, "height_above_threshold", 21.9) - at(flight, "rule_height", 21.9)
        assert 3500.0 * FOOT < excess < 4500.0 * FOOT, "far more than the 1000 ft from which the brake is used"
    left = {}
    for flight in (kept, early):
        stowed = actions(flight, "speed brake in")[-1].distance_to_go / NAUTICAL_MILE
        left[flight.name] = (at(flight, "height_above_threshold", stowed) - at(flight, "rule_height", stowed)) / FOOT
    assert left["brake-stowed-early"] == pytest.approx(500.0, abs=60.0)
    assert left["brake-kept"] < 300.0


def test_from_4000_ft_too_high_the_brake_kept_ends_stable_and_the_same_brake_stowed_early_does_not() -> None:
    kept, early = (flown(name, *LATE) for name in ("brake-kept", "brake-stowed-early"))
    assert kept.summary.brake_distance > early.summary.brake_distance
    assert kept.summary.gate.stable
    assert not early.summary.gate.stable
    assert early.summary.gate.calibrated_airspeed > kept.summary.gate.calibrated_airspeed + 30.0 * KNOT


TAILWINDS, MASSES = tuple(range(0, 50, 5)), (54.0, 58.0, 62.0, 66.0)
"""Constant, at every height [kt]; at the start [t]."""
PER_MILE_IN_WIND = {
    "kind": "height",
    "gradient_ft_per_nm": 300.0,
    "allowances": [{"above": "minimum clean", "height_ft": -1000.0}, {"above": "first step", "height_ft": -500.0}],
    "terms": [{"kind": "tailwind", "distance_nm": 1.0, "per_wind_kt": 10.0}],
}


def stable_from_1000_ft_high(name: str, distances: tuple[float, ...] = (), **parts: object) -> tuple[Flags, Array]:
    """Whether a brake rule by 300 ft per mile is stable in each tailwind and mass, and its excess energy there [m]."""
    cases = [
        Scenario.from_toml(
            STUDY,
            (
                "arrival.windows=[]",
                # a mile for each 10 kt of tailwind is 30 ft lower for each knot
                f"arrival.hold_downs=[{{altitude_ft={8350 - 28 * wind},from_nm=36,to_nm=25}}]",
                f"air.wind={{kind='constant',wind_from_deg=305,wind_speed_kt={wind}}}",
                f"start.mass_kg={1000.0 * mass}",
            ),
        )
        for wind in TAILWINDS
        for mass in MASSES
    ]
    profile = rule(PER_MILE_IN_WIND).profile
    judged = Fleet(RULES[name].model_copy(update={"profile": profile, **parts})).judged(cases, distances)
    return judged.stable, judged.excess


def test_about_1000_ft_high_at_25_miles_with_tailwind_the_brake_kept_is_recovered_and_stowed_early_it_is_not() -> None:
    """Common practice, no source: by 300 ft per mile, the brake for height alone, a constant wind along the track.

    The two rules differ in one number, what is left of the height when the brake is stowed. Stowed early none is
    recovered up to 25 kt; above that some are, where a mile for each 10 kt has become room.
    """
    kept, excess = stable_from_1000_ft_high("brake-kept", (24.9 * NAUTICAL_MILE,))
    assert np.all(excess > 1000.0 * FOOT)
    assert np.all(excess < 1300.0 * FOOT)
    assert np.all(kept)
    early = stable_from_1000_ft_high("brake-stowed-early")[0].reshape(len(TAILWINDS), len(MASSES))
    is_strong = np.array(TAILWINDS) > 25
    assert not np.any(early[~is_strong])
    assert 0 < early[is_strong].sum() < early[is_strong].size / 2
    two = [RULES[name] for name in ("brake-kept", "brake-stowed-early")]
    assert [part.when[0].until / FOOT for part in two if isinstance(part.when[0], High)] == [0.0, 500.0]
    assert two[0].when[0].model_copy(update={"until": 500.0 * FOOT}) == two[1].when[0]
    assert two[0].when[1:] == two[1].when[1:]


def test_stowed_early_it_is_recovered_by_a_crew_that_takes_the_brake_again_for_speed() -> None:
    """So it is not the stowing that loses the gate, but that the brake is left in."""
    height_alone = RULES["brake-stowed-early"].when[:1]
    assert np.all(stable_from_1000_ft_high("brake-stowed-early", when=height_alone)[0])


def test_about_1000_ft_above_their_own_profile_both_are_recovered() -> None:
    """It is 2000 ft lower than 300 ft per mile, and leaves room for speed."""
    for name in ("brake-kept", "brake-stowed-early"):
        flight = flown(name, *HIGH_AT_25)
        excess = at(flight, "height_above_threshold", 24.9) - at(flight, "rule_height", 24.9)
        assert 900.0 * FOOT < excess < 1200.0 * FOOT
        assert [action for action in actions(flight, "speed brake out") if "when 1000 ft high" in action.reason]
        assert flight.summary.gate.stable


def test_1000_ft_above_the_path_the_gear_captures_it_within_2000_ft_per_min() -> None:
    """Held at 5000 ft until 12 nm, in still air, where the path is captured from above; not below 1000 ft."""
    above = ("arrival.glide_path.capture=above", "arrival.windows=[]")
    held = (*STILL, *above, "arrival.hold_downs=[{altitude_ft=5000,from_nm=36,to_nm=12}]")
    flight, without = flown("path-from-above", *held), flown("three-to-one-alone", *held)
    assert flight.summary.gate.stable
    assert flight.summary.keeps_every_limit, flight.summary.breaches
    assert not without.summary.gate.stable
    (gear,) = actions(flight, "selects gear")
    assert "gear down when 100 ft high" in gear.reason
    assert at(flight, "height_above_threshold", gear.distance_to_go / NAUTICAL_MILE) > 4000.0 * FOOT
    low = flight.column("height_above_threshold") < 5000.0 * FOOT
    sinks = -flight.column("vertical_speed")[low] / FOOT * 60.0
    assert 1500.0 < sinks.max() < 2000.0
    (part,) = RULES["path-from-above"].when
    assert part.above_height == pytest.approx(1000.0 * FOOT)


def test_stable_at_1000_sinks_as_it_says_and_checks_twice() -> None:
    made = RULES["stable-at-1000"]
    flight = flown(made.name)
    height, sink = flight.column("height_above_threshold") / FOOT, -flight.column("vertical_speed") / FOOT * 60.0
    assert sink[height < 5000.0].max() < 2000.0
    assert sink[(height < 1000.0) & (height > 50.0)].max() < 1000.0
    assert flight.summary.gate.stable
    checks = [(one.height / FOOT, one.speed_over / KNOT) for one in made.checks]
    assert checks == [pytest.approx((1000.0, 30.0)), pytest.approx((500.0, 10.0))]
    high = flown(made.name, "arrival.windows=[]", "arrival.hold_downs=[{altitude_ft=8000,from_nm=36,to_nm=18}]")
    told = " ".join(breach.sentence for breach in high.summary.breaches)
    too_fast = dict(re.findall(r"gate at (\d+) ft: (\d+) kt too fast", told))
    assert set(too_fast) == {"1000", "500"}
    assert float(too_fast["500"]) - float(too_fast["1000"]) == pytest.approx(20.0, abs=3.0)  # the speed allowed on top


@pytest.mark.parametrize(
    ("name", "without"), [("gear-now", "three-degrees"), ("path-from-above", "three-to-one-alone")]
)
def test_in_the_jet_the_gear_saves_what_the_same_path_without_it_does_not(name: str, without: str) -> None:
    saved, lost = flown(name), flown(without)
    assert RULES[name].profile == RULES[without].profile
    assert RULES[name].speeds == RULES[without].speeds
    (gear,) = actions(saved, "selects gear")
    assert "gear down when" in gear.reason
    assert not actions(lost, "selects gear")
    assert saved.summary.gate.stable
    assert not lost.summary.gate.stable


def test_gear_now_waits_for_the_glide_path_and_3000_ft() -> None:
    (gear,) = actions(flown("gear-now"), "selects gear")
    height = at(flown("gear-now"), "height_above_threshold", gear.distance_to_go / NAUTICAL_MILE)
    assert 2000.0 * FOOT < height < 3000.0 * FOOT


def test_the_second_step_comes_earlier_with_tailwind_and_when_heavy() -> None:
    def selected(*settings: str) -> float:
        (action,) = actions(flown("second-step-by-capture", *settings), "selects step 2")
        return action.distance_to_go / NAUTICAL_MILE

    assert selected() > selected(*STILL) + 2.0
    by_schedule = [action.reason for action in actions(flown("three-degrees"), "selects step 2")]
    assert not by_schedule, "in the jet the schedule by speed alone never selects it"
    assert selected(*STILL, "start.mass_kg=66000") > selected(*STILL, "start.mass_kg=56000")


@pytest.mark.parametrize("name", ["five-times-ground-speed", "half-ground-speed"])
def test_a_sink_rate_rule_sinks_at_five_times_its_ground_speed(name: str) -> None:
    flight = flown(name, *STILL)
    ground, sink = at(flight, "ground_speed", 60.0) / KNOT, -at(flight, "vertical_speed", 60.0) / FOOT * 60.0
    assert sink == pytest.approx(5.0 * ground, abs=60.0)


def test_half_the_ground_speed_is_rounded_as_people_round() -> None:
    """To the nearest ten, times ten: steps of 100 ft/min, which the other rule does not have."""
    sinks = {}
    for name in ("five-times-ground-speed", "half-ground-speed"):
        flight = flown(name, *STILL)
        rates = [-at(flight, "vertical_speed", float(d)) / FOOT * 60.0 for d in np.arange(45.0, 95.0, 1.0)]
        sinks[name] = np.abs(np.array(rates) - 100.0 * np.round(np.array(rates) / 100.0))
    assert np.median(sinks["half-ground-speed"]) < 10.0
    assert np.median(sinks["five-times-ground-speed"]) > 15.0


# the figures that crews quote


def test_two_rules_that_are_both_called_three_degrees_differ_by_6_percent() -> None:
    """Five times the ground speed is the sink rate of 300 ft per mile, 5.8 % less than that of three degrees."""
    sink, degrees = RULES["five-times-ground-speed"].sink, RULES["three-degrees"].profile
    assert sink is not None
    assert isinstance(degrees, AngleProfile)
    assert sink.gradient == pytest.approx(300.0 * FOOT / NAUTICAL_MILE)
    assert 1.0 - sink.gradient / math.tan(degrees.angle) == pytest.approx(0.058, abs=0.0005)


AIRFRAME = read_airframe("narrow-body-twin")
ARRIVAL = validated(Arrival, {"airport": "Made (invented)", "elevation_ft": 0, "course_deg": 90}, "x")


def height(rule: Rule, to_go: float) -> float:
    """Height [ft] that a rule asks for at a distance to go [nm], in still air at 60 t."""
    place = Place(-to_go * NAUTICAL_MILE, 1500.0, 1500.0, 84556.0, 0.0, 60000.0)
    return float(asked(rule, AIRFRAME, ARRIVAL, place, 0.0, 0.78).height) / FOOT


@pytest.mark.parametrize(("to_go", "feet"), [(25.0, 6500.0), (20.0, 5500.0), (15.0, 4500.0), (10.0, 3000.0)])
def test_300_ft_per_mile_with_its_allowances_as_crews_say_it(to_go: float, feet: float) -> None:
    """Common practice, no source.

    25 nm at minimum clean speed, 20 nm at the first slat step's speed, no allowance from the second flap step on.
    """
    assert isinstance(RULES["300-with-allowances"].profile, HeightProfile)
    assert height(RULES["300-with-allowances"], to_go) == pytest.approx(feet)


def test_from_15_miles_on_it_lies_on_the_path_that_crews_call_three_degrees() -> None:
    """Of 300 ft per mile to the threshold: 4500 ft at 15 miles, 5.8 % below the tangent of three degrees."""
    for to_go in (15.0, 12.0, 10.0, 5.0):
        path = to_go * NAUTICAL_MILE * math.tan(math.radians(3.0)) / FOOT
        found = height(RULES["300-with-allowances"], to_go)
        assert found == pytest.approx(300.0 * to_go)
        assert 1.0 - found / path == pytest.approx(0.058, abs=0.0005)


@pytest.mark.parametrize(("to_go", "feet"), [(40.0, 12000.0), (30.0, 9000.0), (20.0, 6000.0), (10.0, 3000.0)])
def test_9000_ft_at_30_miles_and_3000_ft_at_10(to_go: float, feet: float) -> None:
    """Common practice, no source; farther out and between them 300 ft per mile."""
    assert height(RULES["9000-at-30"], to_go) == pytest.approx(feet)


def test_a_mile_per_ten_knots_slows_in_level_flight_at_3000_ft() -> None:
    """Common practice, no source: from 250 kt at 19 miles, level, a mile for each 10 kt down to each speed."""
    made = RULES["mile-per-ten-knots"]
    assert [height(made, to_go) for to_go in (19.0, 15.0, 9.3)] == pytest.approx([3000.0] * 3)
    flight = flown(made.name, *STILL)
    assert at(flight, "height_above_threshold", 12.0) / FOOT == pytest.approx(3000.0, abs=40.0)
    asked_for = [at(flight, "rule_speed", to_go) / KNOT for to_go in (17.5, 16.5, 15.5)]
    assert np.diff(asked_for) == pytest.approx([-10.0, -10.0], abs=0.5)
    flown_there = [at(flight, "calibrated_airspeed", to_go) / KNOT for to_go in (18.0, 12.0)]
    assert -np.diff(flown_there)[0] / 6.0 == pytest.approx(10.0, abs=2.5)
