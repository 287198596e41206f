"""The family of rules: values that can be used in the air, rules as files hold them, things to remember."""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from optdescent.derive.family import NEEDED, Candidate, Family, Part, Slope, things_to_remember
from optdescent.derive.rule_file import rule_file_text
from optdescent.rules import read_rules
from tests.figures.fronts import invented
from tests.scenario.files import scenario

COLD = "handling.anti_ice.kind=on"
FAMILY = Family.of([scenario("start.mass_kg=56000"), scenario("start.mass_kg=66500", COLD)])
MILES = (
    Part.APPROACH, Part.EARLIER, Part.ANTI_ICE, Part.MINIMUM_CLEAN, Part.FIRST_STEP, Part.SECOND_STEP, Part.GEAR
)  # fmt: skip
FIVES = (Part.SPEED, Part.TAILWIND, Part.SLOW_DOWN)


@st.composite
def candidates(draw: st.DrawFn) -> Candidate:
    """Rules of the family."""
    others = draw(st.sets(st.sampled_from([part for part in Part if part not in NEEDED])))
    levels = {part: draw(st.integers(0, len(FAMILY.grids[part]) - 1)) for part in (*NEEDED, *others)}
    return Candidate.of(levels)


SOUND = candidates().filter(FAMILY.is_sound)


def test_every_value_can_be_used_in_the_air() -> None:
    assert set(FAMILY.grids) == set(Part)
    for slope in FAMILY.grids[Part.SLOPE]:
        assert isinstance(slope, Slope)
        in_a_mile = slope.miles == 1.0 and slope.feet % 50.0 == 0.0
        assert in_a_mile or (slope.feet == 1000.0 and slope.miles.is_integer())
    for parts, step in ((MILES, 1.0), (FIVES, 5.0), ((Part.DESCENT,), 10.0)):
        for part in parts:
            assert all(isinstance(value, float) and value % step == 0.0 for value in FAMILY.grids[part])
    assert all(isinstance(value, float) and value.is_integer() for value in FAMILY.grids[Part.MASS])


def test_values_stand_in_order_and_differ() -> None:
    for part, grid in FAMILY.grids.items():
        numbers = [value.feet / value.miles if isinstance(value, Slope) else value for value in grid]
        assert sorted(numbers) in (numbers, numbers[::-1]), part
        assert len(set(numbers)) == len(numbers)
        assert all(0 <= index < len(grid) for index in FAMILY.first(part))


@given(SOUND)
@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=60)
def test_a_rule_written_to_a_file_is_read_as_it_was(tmp_path: Path, candidate: Candidate) -> None:
    front = invented()
    data = FAMILY.data(candidate, front.names[3], 'made "up", not published')
    path = tmp_path / "rules.toml"
    path.write_text(rule_file_text([data], front), encoding="utf-8")
    (rule,) = read_rules(path)
    assert rule == FAMILY.rule(candidate, front.names[3], 'made "up", not published')
    assert rule.title


@given(SOUND)
def test_each_part_is_one_thing_to_remember(candidate: Candidate) -> None:
    assert candidate.simplicity == len(candidate.parts) == things_to_remember(FAMILY.rule(candidate))


@pytest.mark.parametrize(
    ("name", "things"),
    [
        ("three-degrees", 6),  # angle, descent speed, four speeds by distance
        ("three-to-one", 8),  # miles for feet, for speed, for wind, descent speed, four speeds by distance
        ("stable-at-1000", 12),  # slope, two allowances, descent speed, four speeds, two sink rates, two checks
        ("9000-at-30", 8),  # slope before, two heights, descent speed, four speeds
        ("second-step-by-capture", 10),  # three-degrees, a step with two terms, gear
    ],
)
def test_things_to_remember_of_the_library(name: str, things: int) -> None:
    rules = {rule.name: rule for rule in read_rules("library")}
    assert things_to_remember(rules[name]) == things


def test_what_nothing_drives_is_left_out() -> None:
    assert set(Part) - set(Family.of([scenario()]).grids) == {Part.MASS, Part.ANTI_ICE}
    blind = Family.of([scenario("technique.wind=none", COLD), scenario("start.mass_kg=60000", "technique.wind=none")])
    assert set(Part) - set(blind.grids) == {Part.TAILWIND}
    assert Family.of([scenario()], descent=265.0).grids[Part.DESCENT] == (265.0,)
    assert FAMILY.reference == 62.0, "the mean of 56 and 66.5 t, to the nearest 2 t"
    with pytest.raises(ValueError, match="no conditions"):
        Family.of([])


def test_speeds_by_distance_follow_one_another() -> None:
    start = FAMILY.start
    assert FAMILY.is_sound(start)
    grid = FAMILY.grids
    for near, far in ((6.0, 7.0), (9.0, 8.0)):
        both = start.having(Part.SECOND_STEP, grid[Part.SECOND_STEP].index(near))
        both = both.having(Part.FIRST_STEP, grid[Part.FIRST_STEP].index(far))
        assert FAMILY.is_sound(both) == (far > near)


def test_a_descent_that_would_begin_before_the_start_is_not_flown() -> None:
    """35 000 ft at 200 ft for each mile is 175 miles: more than the scenario has."""
    shallow = FAMILY.start.having(Part.SLOPE, FAMILY.grids[Part.SLOPE].index(Slope(200.0)))
    assert not FAMILY.is_sound(shallow)
    longer = Family.of([scenario("start.distance_nm=185")])
    assert longer.is_sound(shallow)
    steeper = Family.of([scenario("start.distance_nm=110")]).start.index(Part.SLOPE)
    assert steeper == FAMILY.grids[Part.SLOPE].index(Slope(1000.0, 3.0))
    both = Family.of([scenario("start.distance_nm=185"), scenario("start.distance_nm=185", "start.altitude_ft=39000")])
    assert not both.is_sound(shallow), "the highest start decides"


@given(SOUND)
def test_what_a_rule_grows_into_has_one_part_more_and_is_sound(candidate: Candidate) -> None:
    for more in FAMILY.additions(candidate):
        assert set(candidate.parts) < set(more.parts)
        assert more.simplicity == candidate.simplicity + 1
        assert FAMILY.is_sound(more)
    for part in candidate.parts:
        for other in FAMILY.neighbours(candidate, part, 2):
            index, moved = candidate.index(part), other.index(part)
            assert index is not None
            assert moved is not None
            assert abs(moved - index) == 2
