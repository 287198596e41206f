"""What a crew does with what it sees."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import pytest
from hypothesis import given

from optdescent.airframe import Configuration, read_airframe
from optdescent.arrival import Arrival
from optdescent.inputs import validated
from optdescent.motion import Control
from optdescent.motion.equations import Motion, motion
from optdescent.rules import read_rules
from optdescent.rules.actions import brake_wanted
from optdescent.rules.crew import (
    BRAKE_BAND,
    BRAKE_IN,
    MOST_SPARED,
    Least,
    Limits,
    brake_allowed,
    followed,
    orders_for_least,
    path_wanted,
    pitch_order,
    speed_limits,
    speed_to_spare,
    steepest_path,
    thrust_order,
)
from optdescent.rules.rule import Ask, Place
from optdescent.scenario import Technique
from optdescent.units import FOOT, FOOT_PER_MINUTE, GRAVITY, KNOT
from tests.simulation import CLEAN, air, eastbound, level_state
from tests.strategies import between

AIRFRAME = read_airframe("narrow-body-twin")
CREW = Technique()
RULE = read_rules()[0]
"""It says nothing of the speed brake."""
SECONDS = 3.0
"""Time to the next look."""
STATE = level_state(3000.0, 140.0, 60000.0, -0.05)
ARRIVAL = validated(
    Arrival,
    {
        "airport": "Made (invented)",
        "elevation_ft": 0,
        "course_deg": 90,
        "speed_limits": [{"below_altitude_ft": 10000.0, "speed_kt": 250.0}],
        "sink_limits": [{"below_height_ft": 3000.0, "sink_ft_per_min": 2000.0}],
    },
    "x",
)


@cache
def seen(thrust: float = 0.0) -> Motion:
    return motion(eastbound(AIRFRAME, air()), 0.0, STATE, Control(1.0, thrust, 0.0), CLEAN)


def place(height: float = 3000.0) -> Place:
    return Place(-30000.0, height, height, float(seen().air.pressure), 0.0, 60000.0)


def calibrated() -> float:
    return float(seen().forces.calibrated_airspeed)


WIDE = Limits(fastest=200.0, steepest=-0.14)


def pitch(ask: Ask, limits: Limits = WIDE, crew: Technique = CREW, seconds: float = SECONDS) -> float:
    """Path angle [rad] the order steers to, of which it goes only as far as the lag lets it in the time to a look."""
    order = float(
        pitch_order(crew, STATE, path_wanted(crew, STATE, seen(), ask, limits, place(), crew.check_every), seconds)
    )
    turned = (order - math.cos(STATE.path_angle)) * GRAVITY * seconds / STATE.true_airspeed
    return STATE.path_angle + turned / (1.0 - math.exp(-seconds / crew.pitch_time))


def test_on_the_profile_the_crew_flies_its_slope() -> None:
    ask = Ask(calibrated(), 3000.0, 0.05)
    ground = float(seen().passage.ground_speed)
    assert pitch(ask) == pytest.approx(-0.05 * ground / STATE.true_airspeed)


def test_above_the_profile_it_descends_faster_and_below_slower_but_never_climbs() -> None:
    angles = [pitch(Ask(calibrated(), height, 0.05)) for height in (2900.0, 3000.0, 3100.0, 4000.0)]
    assert angles == sorted(angles)
    assert angles[-1] == pytest.approx(0.0, abs=1e-12)


def test_a_correction_is_bounded() -> None:
    far, farther = (pitch(Ask(calibrated(), height, 0.03)) for height in (2000.0, 1000.0))
    assert far == pytest.approx(farther)
    expected = -0.03 * float(seen().passage.ground_speed) - 1500.0 * FOOT_PER_MINUTE
    assert far == pytest.approx(max(expected / STATE.true_airspeed, WIDE.steepest))


def test_it_does_not_go_steeper_than_allowed() -> None:
    assert pitch(Ask(calibrated(), 1000.0, 0.08), Limits(200.0, -0.06)) == pytest.approx(-0.06)


@given(between(0.01, 60.0))
def test_the_path_steered_to_does_not_depend_on_when_the_crew_looks_again(seconds: float) -> None:
    ask = Ask(calibrated(), 2990.0, 0.05)
    assert pitch(ask, seconds=seconds) == pytest.approx(pitch(ask, seconds=1.0), abs=1e-9)


@given(between(0.01, 10.0), between(0.01, 10.0), between(1.0, 15.0))
def test_a_lag_takes_up_the_same_in_one_step_or_in_two(first: float, second: float, lag: float) -> None:
    left = (1.0 - float(followed(first, lag))) * (1.0 - float(followed(second, lag)))
    assert float(followed(first + second, lag)) == pytest.approx(1.0 - left, abs=1e-12)
    assert float(followed(lag, lag)) == pytest.approx(1.0 - 1.0 / math.e)


def test_where_the_rule_decides_the_sink_rate_is_set_in_steps() -> None:
    """On the profile, 5 % of the ground speed down: to the nearest 500 ft/min; on the glide path it is not rounded."""
    coarse = CREW.model_copy(update={"sink_rounding": 500.0 * FOOT_PER_MINUTE})
    free, bound = (Ask(calibrated(), 3000.0, 0.05, free=free) for free in (1.0, 0.0))
    rate = 0.05 * float(seen().passage.ground_speed)
    assert rate / FOOT_PER_MINUTE == pytest.approx(1378.0, abs=10.0)
    assert pitch(free, crew=coarse) * STATE.true_airspeed == pytest.approx(-1500.0 * FOOT_PER_MINUTE)
    assert pitch(bound, crew=coarse) * STATE.true_airspeed == pytest.approx(-rate)


def test_between_checks_an_error_is_flown_off_over_the_time_to_the_next_one() -> None:
    """60 m low in 20 s is 3 m/s; with checks a minute apart 1 m/s, but on the glide path 3 m/s as before."""
    crew = CREW.model_copy(update={"check_every": 60.0})
    speed, level = calibrated(), 3.0 / STATE.true_airspeed
    planned = pitch(Ask(speed, 3000.0, 0.05))
    assert pitch(Ask(speed, 3060.0, 0.05), crew=crew) - planned == pytest.approx(level)
    assert pitch(Ask(speed, 3060.0, 0.05, free=1.0), crew=crew) - planned == pytest.approx(level / 3.0)
    assert pitch(Ask(speed, 3060.0, 0.05, free=1.0)) - planned == pytest.approx(level)


def test_a_slope_that_is_set_is_flown_whatever_the_height_where_the_rule_decides() -> None:
    ask = Ask(calibrated(), 3060.0, 0.05, free=1.0, corrected=0.0)
    assert pitch(ask) == pytest.approx(pitch(Ask(calibrated(), 3000.0, 0.05)))


def test_levelling_off_is_a_level_path_but_for_the_speed_limit() -> None:
    level = Ask(calibrated(), 2000.0, 0.05, level=1.0)
    assert pitch(level) == pytest.approx(0.0, abs=1e-12)
    assert pitch(Ask(calibrated(), 2000.0, 0.05)) < -0.05


def test_near_the_largest_speed_it_raises_the_nose() -> None:
    ask = Ask(calibrated(), 2900.0, 0.06)
    assert pitch(ask, Limits(calibrated() - 10.0 * KNOT, -0.14)) > pitch(ask)


def test_slow_it_adds_the_thrust_the_wanted_acceleration_needs_and_fast_none() -> None:
    at = seen()
    slow = float(thrust_order(CREW, STATE, at, calibrated() + 10.0 * KNOT, place(), 0.0))
    assert 0.0 < slow <= 1.0
    assert float(thrust_order(CREW, STATE, at, calibrated() - 30.0 * KNOT, place(), 0.0)) == 0.0
    assert float(thrust_order(CREW, STATE, at, calibrated() + 10.0 * KNOT, place(), 0.5)) == 0.0
    assert float(thrust_order(CREW, STATE, at, calibrated() + 10.0 * KNOT, place(), BRAKE_IN)) == slow
    again = motion(eastbound(AIRFRAME, air()), 0.0, STATE, Control(1.0, slow, 0.0), CLEAN)
    if slow < 1.0:
        assert float(again.acceleration) == pytest.approx(10.0 * KNOT * 1.16 / CREW.speed_time, rel=0.03)


# the least speed

SLOW = Least(calibrated() + 5.0 * KNOT, 5.0)
"""The crew is 5 kt slower than it wants to be in 5 s."""


def orders(least: Least, brake: float, above: float = 0.0, path: float = -0.05) -> tuple[float, float]:
    """Largest brake and least thrust [-] that keep a least speed, some feet above the height to have."""
    at = motion(eastbound(AIRFRAME, air()), 0.0, STATE, Control(1.0, 0.0, brake), CLEAN)
    ask, ahead = Ask(calibrated(), 3000.0 - above * FOOT, 0.05), replace(STATE, path_angle=path)
    most, thrust = orders_for_least(AIRFRAME, ahead, at, least, ask, place(), brake)
    return float(most), float(thrust)


def test_high_and_slow_the_nose_goes_down_and_on_the_profile_it_does_not() -> None:
    def lowered(above: float) -> float:
        ask = Ask(calibrated(), 3000.0 - above * FOOT, 0.03)
        return pitch(ask) - pitch(ask, Limits(200.0, -0.14, SLOW))

    assert lowered(-300.0) == lowered(0.0) == 0.0
    assert 0.0 < lowered(100.0) < lowered(200.0)
    fast = Limits(200.0, -0.14, Least(calibrated() - 30.0 * KNOT, 5.0))
    high = Ask(calibrated(), 2900.0, 0.03)
    assert pitch(high, fast) == pytest.approx(pitch(high))


def test_the_nose_is_lowered_until_the_speed_comes_back_and_no_steeper_than_allowed() -> None:
    high = Ask(calibrated(), 2800.0, 0.0)
    angle = pitch(high, Limits(200.0, -0.30, SLOW))
    again = motion(eastbound(AIRFRAME, air()), 0.0, replace(STATE, path_angle=angle), Control(1.0, 0.0, 0.0), CLEAN)
    assert float(again.acceleration) == pytest.approx(SLOW.change(STATE.true_airspeed, seen(), place()), rel=0.03)
    assert pitch(high, Limits(200.0, -0.06, SLOW)) == pytest.approx(-0.06)


def test_slow_the_brake_comes_in_and_thrust_gives_what_is_still_missing() -> None:
    wanted = float(SLOW.change(STATE.true_airspeed, seen(), place()))
    assert wanted > float(seen().acceleration), "idle without the brake is not enough"
    for brake in (0.0, 0.4, 1.0):
        most, thrust = orders(SLOW, brake)
        assert most == 0.0
        again = motion(eastbound(AIRFRAME, air()), 0.0, STATE, Control(1.0, thrust, 0.0), CLEAN)
        assert float(again.acceleration) == pytest.approx(wanted, rel=1e-6)


def test_the_brake_comes_in_only_as_far_as_the_speed_needs_it_and_thrust_stays_at_idle() -> None:
    at = motion(eastbound(AIRFRAME, air()), 0.0, STATE, Control(1.0, 0.0, 0.5), CLEAN)
    speed = calibrated() + float(at.acceleration) * 5.0 / 1.16
    most, thrust = orders(Least(speed, 5.0), 1.0)
    assert most == pytest.approx(0.5, abs=0.03)
    assert thrust == 0.0
    assert orders(Least(calibrated() - 40.0 * KNOT, 5.0), 1.0) == (1.0, 0.0)


def test_thrust_for_the_least_speed_counts_with_the_path_that_pitch_goes_to_and_waits_when_high() -> None:
    assert orders(SLOW, 0.0, path=0.0)[1] > orders(SLOW, 0.0)[1] > orders(SLOW, 0.0, path=-0.06)[1]
    assert orders(SLOW, 0.0, above=100.0)[1] < orders(SLOW, 0.0)[1]
    assert orders(SLOW, 0.0, above=-500.0)[1] == orders(SLOW, 0.0)[1]


@pytest.mark.parametrize(
    ("above_feet", "over_knots", "brake"),
    [
        (0.0, 0.0, 0.0),
        (149.0, 7.9, 0.0),
        (325.0, 0.0, 0.5),
        (500.0, 0.0, 1.0),
        (5000.0, 0.0, 1.0),
        (0.0, 14.0, 0.5),
        (0.0, 20.0, 1.0),
        (5000.0, -6.0, 0.0),  # slow: never brake with the speed below the plan
    ],
)
def test_the_brake_comes_with_height_or_speed(above_feet: float, over_knots: float, brake: float) -> None:
    ask = Ask(calibrated() - over_knots * KNOT, 3000.0 - above_feet * FOOT, 0.05)
    wanted, _ = brake_wanted(RULE, CREW, place(), ask, over_knots * KNOT, ())
    assert float(wanted) == pytest.approx(brake, abs=1e-9)


def test_high_the_crew_lets_the_speed_fall_but_not_by_more_than_15_knots() -> None:
    """33 kt for a thousand feet: 10 kt at 300 ft, never more than 15 kt, none when low."""
    found = [float(speed_to_spare(CREW, above * FOOT)) / KNOT for above in (-500.0, 0.0, 300.0, 450.0, 3000.0)]
    assert found == pytest.approx([0.0, 0.0, 10.0, 15.0, 15.0])
    assert pytest.approx(15.0) == MOST_SPARED / KNOT


@given(between(0.0, 1.0))
def test_the_brake_goes_in_as_the_step_after_the_last_comes_out(out: float) -> None:
    configuration = Configuration((1.0, 1.0, out, 0.0), 0.0)
    allowed = brake_allowed(AIRFRAME, configuration, 5000.0, 300.0, 110.0, 60000.0)
    assert float(allowed) == pytest.approx(1.0 - out)


def test_the_brake_is_in_at_its_lowest_height() -> None:
    lowest = 300.0
    heights = (lowest - 1.0, lowest, lowest + BRAKE_BAND / 2.0, lowest + BRAKE_BAND)
    found = [float(brake_allowed(AIRFRAME, CLEAN, height, lowest, 110.0, 60000.0)) for height in heights]
    assert found == pytest.approx([0, 0, 0.5, 1])


def test_the_largest_speed_is_the_lowest_that_applies_with_a_margin() -> None:
    def fastest(altitude: float, configuration: Configuration = CLEAN) -> float:
        where = Place(-30000.0, altitude * FOOT, altitude * FOOT, 60000.0, 0.0, 60000.0)
        return float(speed_limits(AIRFRAME, ARRIVAL, CREW, where, 0.0, configuration)) / KNOT

    margin = CREW.limit_margin / KNOT
    assert fastest(20000.0) == pytest.approx(335.0 - margin)
    assert fastest(9000.0) == pytest.approx(250.0 - margin)
    assert fastest(10000.0) == pytest.approx(250.0 - margin)
    assert fastest(10300.0) == pytest.approx(260.0 - margin)
    assert fastest(9000.0, Configuration((1.0, 0.0, 0.0, 0.0), 0.0)) == pytest.approx(228.0 - margin)
    assert fastest(9000.0, Configuration((1.0, 1.0, 1.0, 0.1), 0.0)) == pytest.approx(176.0 - margin)


def test_with_the_gear_down_the_gear_s_limit_holds_too() -> None:
    """The built-in gear limit, 240 kt, is above that of every step: an airframe with a lower one shows it."""
    low = AIRFRAME.model_copy(update={"gear": AIRFRAME.gear.model_copy(update={"limit_speed": 200.0 * KNOT})})
    where = Place(-30000.0, 2000.0, 2000.0, 80000.0, 0.0, 60000.0)
    found = float(speed_limits(low, ARRIVAL, CREW, where, 0.0, Configuration((1.0, 0.0, 0.0, 0.0), 1.0)))
    assert found <= 200.0 * KNOT


def test_the_steepest_path_follows_the_sink_limit_low_down() -> None:
    low = Place(-10000.0, 500.0, 500.0, 95000.0, 0.0, 60000.0)
    high = Place(-90000.0, 5000.0, 5000.0, 54000.0, 0.0, 60000.0)
    assert float(steepest_path(ARRIVAL, high, 140.0, 0.14)) == pytest.approx(-0.14)
    angle = float(steepest_path(ARRIVAL, low, 140.0, 0.14))
    assert 0.9 * 2000.0 * FOOT_PER_MINUTE < -angle * 140.0 <= 2000.0 * FOOT_PER_MINUTE
