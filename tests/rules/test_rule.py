"""What rules ask for, worked out by hand."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import fields
from functools import cache

import casadi as ca
import pytest
from hypothesis import given

from optdescent.air import airspeed, atmosphere
from optdescent.airframe import read_airframe, speeds
from optdescent.arrival import Arrival
from optdescent.inputs import validated
from optdescent.rules import read_rules
from optdescent.rules.parts import Rule, RuleFile, SpeedAt, SpeedName
from optdescent.rules.rule import Place, asked, named_speed, planned_change, planned_speed
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.strategies import between, masses

AIRFRAME = read_airframe("narrow-body-twin")
ARRIVAL = validated(
    Arrival,
    {
        "airport": "Made (invented)",
        "elevation_ft": 0,
        "course_deg": 90,
        "speed_limits": [{"below_altitude_ft": 10000.0, "speed_kt": 250.0}],
    },
    "x",
)
THREE_TO_ONE, PER_MILE, THREE_DEGREES = read_rules()
MASS = 60000.0


def place(to_go: float, altitude: float = 3000.0, tailwind: float = 0.0, mass: float = MASS) -> Place:
    """Place at a distance to go [nm] and altitude [ft] with a tailwind [kt]; airport at sea level."""
    height = altitude * FOOT
    return Place(-to_go * NAUTICAL_MILE, height, height, float(atmosphere.pressure(height)), tailwind * KNOT, mass)


def height(rule: Rule, where: Place) -> float:
    return float(asked(rule, AIRFRAME, ARRIVAL, where, 0.0, 0.78).height) / FOOT


def speed(rule: Rule, where: Place) -> float:
    return float(planned_speed(rule, AIRFRAME, ARRIVAL, where, 0.0, 0.78)) / KNOT


def named(name: SpeedName, mass: float = MASS) -> float:
    return float(named_speed(AIRFRAME, ARRIVAL, name, mass)) / KNOT


def with_speeds(rule: Rule, *by: tuple[float, str]) -> Rule:
    """A rule with other speeds by distance."""
    return with_plan(rule, *({"distance_nm": distance, "speed": name} for distance, name in by))


def with_plan(rule: Rule, *by: dict[str, object]) -> Rule:
    """A rule with other speeds by places."""
    plan = {"descent_kt": 280.0, "by": list(by)}
    base = {"name": "x", "title": "x", "source": "x", "profile": {"kind": "angle", "angle_deg": 3.0}, "speeds": plan}
    made = validated(RuleFile, {"rules": [base]}, "x").rules[0]
    return rule.model_copy(update={"speeds": made.speeds})


# named speeds


@given(masses)
def test_named_speeds_are_those_at_which_nothing_more_is_selected(mass: float) -> None:
    for name, step in ((SpeedName.MINIMUM_CLEAN, 0), (SpeedName.FIRST_STEP, 1), (SpeedName.SECOND_STEP, 2)):
        out = speeds.selected_on_schedule(AIRFRAME, named(name, mass) * KNOT, mass)
        assert float(out.position) == pytest.approx(step, abs=1e-9)
        assert named(name, mass) * KNOT >= float(speeds.manoeuvre_speed(AIRFRAME, step, mass))


@given(masses)
def test_named_speeds_fall_from_clean_to_approach(mass: float) -> None:
    found = [named(name, mass) for name in SpeedName]
    assert found == sorted(found, reverse=True)


def test_the_approach_speed_is_the_reference_and_the_gate_s_addition() -> None:
    assert named(SpeedName.APPROACH) == pytest.approx(float(speeds.reference_speed(AIRFRAME, MASS)) / KNOT + 5.0)


# planned speed


def test_high_up_the_plan_is_the_cruise_mach_number() -> None:
    where = place(120.0, 36000.0)
    expected = float(airspeed.calibrated_from_mach(0.78, where.pressure)) / KNOT
    assert expected < 280.0
    assert speed(THREE_TO_ONE, where) == pytest.approx(expected)


def test_then_the_descent_speed() -> None:
    assert speed(THREE_TO_ONE, place(80.0, 25000.0)) == pytest.approx(280.0)


def test_towards_a_speed_limit_it_slows_along_300_ft_per_mile() -> None:
    """10 kt/nm, and 300 ft/nm: 20 kt more at 600 ft above the limit's altitude, the descent speed from 900 ft on."""
    assert speed(THREE_TO_ONE, place(60.0, 10600.0)) == pytest.approx(270.0)
    assert speed(THREE_TO_ONE, place(60.0, 10900.0)) == pytest.approx(280.0)
    assert speed(THREE_TO_ONE, place(60.0, 9999.0)) == pytest.approx(250.0)


def test_a_low_setting_moves_the_limit_s_pressure_altitude() -> None:
    where = place(60.0, 10200.0)
    shifted = float(planned_speed(THREE_TO_ONE, AIRFRAME, ARRIVAL, where, 274.0 * FOOT, 0.78)) / KNOT
    assert shifted == pytest.approx(250.0)


def test_towards_a_speed_by_a_distance_it_slows_at_the_plan_s_rate() -> None:
    clean = named(SpeedName.MINIMUM_CLEAN)
    assert speed(THREE_TO_ONE, place(20.0)) == pytest.approx(clean)
    assert speed(THREE_TO_ONE, place(21.0)) == pytest.approx(clean + 10.0)
    assert speed(THREE_TO_ONE, place(2.0)) == pytest.approx(named(SpeedName.APPROACH))


def test_towards_a_speed_by_a_height_it_slows_along_300_ft_per_mile_whatever_the_distance() -> None:
    rule = with_plan(THREE_TO_ONE, {"height_ft": 12000.0, "speed_kt": 260.0}, {"height_ft": 5000.0, "speed_kt": 220.0})
    for to_go in (60.0, 15.0):
        assert speed(rule, place(to_go, 15000.0)) == pytest.approx(280.0)
        assert speed(rule, place(to_go, 12300.0)) == pytest.approx(270.0)
        assert speed(rule, place(to_go, 12000.0)) == pytest.approx(260.0)
        assert speed(rule, place(to_go, 5300.0)) == pytest.approx(230.0)
        assert speed(rule, place(to_go, 2000.0)) == pytest.approx(220.0)


def test_a_speed_in_knots_and_a_named_one_stand_beside_each_other_and_the_lowest_holds() -> None:
    """250 kt by 30 nm as a file says it, minimum clean speed by 20 nm, the first step's by 4000 ft."""
    rule = with_plan(
        THREE_TO_ONE,
        {"distance_nm": 30.0, "speed_kt": 250.0},
        {"distance_nm": 20.0, "speed": "minimum clean"},
        {"height_ft": 4000.0, "speed": "first step"},
    )
    assert speed(rule, place(32.0, 15000.0)) == pytest.approx(270.0)
    assert speed(rule, place(30.0, 15000.0)) == pytest.approx(250.0)
    assert speed(rule, place(20.0, 9000.0)) == pytest.approx(named(SpeedName.MINIMUM_CLEAN))
    assert speed(rule, place(20.0, 4000.0)) == pytest.approx(named(SpeedName.FIRST_STEP))


@pytest.mark.parametrize(
    ("to_go", "planned"),
    [(100.0, 270.0), (60.0, 270.0), (45.0, 255.0), (30.0, 240.0), (25.0, 240.0), (12.5, 195.0), (4.0, 144.0)],
)
def test_a_plan_of_speeds_at_distances_is_straight_lines_through_them(to_go: float, planned: float) -> None:
    """The first holds before it, and the last line goes on: 6 kt a mile from 20 nm on."""
    points = [(60.0, 270.0), (30.0, 240.0), (20.0, 240.0), (10.0, 180.0)]
    told = [SpeedAt(distance_nm=distance, speed_kt=knots) for distance, knots in points]
    plan = THREE_TO_ONE.speeds.model_copy(update={"points": tuple(told), "by": ()})
    made = THREE_TO_ONE.model_copy(update={"speeds": plan})
    assert speed(made, place(to_go, 15000.0)) == pytest.approx(planned)
    ahead, behind = (speed(made, place(to_go + off, 15000.0)) for off in (-0.01, 0.01))
    by_mile = float(planned_change(made, place(to_go))) * NAUTICAL_MILE / KNOT
    if to_go not in (60.0, 30.0):
        assert by_mile == pytest.approx((ahead - behind) / 0.02, abs=1e-6)
    assert planned_change(THREE_TO_ONE, place(to_go)) == 0.0


# heights


def test_three_to_one_at_a_place() -> None:
    """40 nm, planned 250 kt, 30 kt tailwind: (40 − 3 − (250 − approach)/10) / 3 thousand feet."""
    expected = (40.0 - 3.0 - (250.0 - named(SpeedName.APPROACH)) / 10.0) / 3.0 * 1000.0
    assert height(THREE_TO_ONE, place(40.0, 9000.0, tailwind=30.0)) == pytest.approx(expected)


def test_a_headwind_counts_the_other_way() -> None:
    head, tail = (height(THREE_TO_ONE, place(40.0, 9000.0, tailwind=wind)) for wind in (-30.0, 30.0))
    assert head - tail == pytest.approx(2000.0)


def test_its_slope_is_a_thousand_feet_in_three_miles() -> None:
    ask = asked(THREE_TO_ONE, AIRFRAME, ARRIVAL, place(40.0), 0.0, 0.78)
    assert float(ask.slope) == pytest.approx(1000.0 * FOOT / (3.0 * NAUTICAL_MILE))


@pytest.mark.parametrize(
    ("to_go", "asked_for"),
    [
        (25.0, 6500.0),  # 7500 − 1000 at minimum clean speed
        (20.0, 5500.0),  # 6000 − 500 at the first step's speed
        (15.0, 4500.0),  # no allowance from the second step's speed on
        (10.0, 3000.0),
    ],
)
def test_300_ft_per_mile_with_its_allowances(to_go: float, asked_for: float) -> None:
    """Common practice, no source; minimum clean at 25 nm, the first step's speed at 20 nm, the second's at 15 nm."""
    rule = with_speeds(
        PER_MILE, (25.0, "minimum clean"), (20.0, "first step"), (15.0, "second step"), (4.0, "approach")
    )
    assert height(rule, place(to_go)) == pytest.approx(asked_for)


def test_the_library_s_rule_asks_so_at_its_own_distances() -> None:
    by = {part.speed: (part.distance or 0.0) / NAUTICAL_MILE for part in PER_MILE.speeds.by}
    for name, allowance in (
        (SpeedName.MINIMUM_CLEAN, 1000.0),
        (SpeedName.FIRST_STEP, 500.0),
        (SpeedName.SECOND_STEP, 0.0),
    ):
        assert height(PER_MILE, place(by[name])) == pytest.approx(300.0 * by[name] - allowance)


def test_faster_than_minimum_clean_is_1000_ft_lower_too() -> None:
    assert height(PER_MILE, place(60.0, 15000.0)) == pytest.approx(17000.0)


@given(between(1.0, 100.0))
def test_three_degrees_goes_through_the_glide_path_s_crossing_point(to_go: float) -> None:
    assert height(THREE_DEGREES, place(to_go)) == pytest.approx(50.0 + 318.436 * to_go, rel=1e-5)


EACH = (
    THREE_TO_ONE,
    PER_MILE,
    THREE_DEGREES,
    with_plan(THREE_DEGREES, {"height_ft": 12000.0, "speed_kt": 260.0}, {"height_ft": 5000.0, "speed": "first step"}),
)


@cache
def compiled(number: int) -> Callable[[list[float]], list[ca.DM]]:
    """Speed, height and slope that one of `EACH` asks for at the numbers of a place."""
    z = ca.SX.sym("z", len(fields(Place)) - 1)
    ask = asked(EACH[number], AIRFRAME, ARRIVAL, Place(*ca.vertsplit(z)), 0.0, 0.78)
    return ca.Function("ask", [z], [ask.speed, ask.height, ask.slope])


@given(between(0.0, 120.0), between(0.0, 36000.0), between(-60.0, 60.0), masses)
def test_expressions_ask_the_same(to_go: float, altitude: float, tailwind: float, mass: float) -> None:
    numbers = place(to_go, altitude, tailwind, mass)
    known = [value for name, value in vars(numbers).items() if name != "mean_tailwind"]
    for number, rule in enumerate(EACH):
        found = [float(value) for value in compiled(number)(known)]
        direct = asked(rule, AIRFRAME, ARRIVAL, numbers, 0.0, 0.78)
        assert found == pytest.approx([float(direct.speed), float(direct.height), float(direct.slope)], rel=1e-12)
