"""Wind as reported against wind as a vector."""

from __future__ import annotations

import math

import pytest
from hypothesis import given

from optdescent.air.wind.direction import along_and_across, towards
from tests.strategies import between, courses

DEGREE = math.pi / 180.0


@pytest.mark.parametrize(
    ("wind_from", "east", "north"), [(0, 0, -10), (90, -10, 0), (180, 0, 10), (270, 10, 0), (225, 7.0711, 7.0711)]
)
def test_a_wind_blows_away_from_where_it_is_from(wind_from: float, east: float, north: float) -> None:
    assert towards(wind_from * DEGREE, 10.0) == pytest.approx((east, north), abs=5e-5)


@pytest.mark.parametrize(
    ("wind_from", "course", "along", "across"),
    [
        (270, 90, 50.0, 0.0),  # tailwind
        (90, 90, -50.0, 0.0),  # headwind
        (270, 0, 0.0, 50.0),  # from the left: pushes right
        (90, 0, 0.0, -50.0),  # from the right: pushes left
        (240, 90, 50 * math.cos(30 * DEGREE), -25.0),  # quartering tail from the right
        (300, 90, 50 * math.cos(30 * DEGREE), 25.0),
        (5, 5, -50.0, 0.0),
    ],
)
def test_tailwind_and_crosswind_on_a_course(wind_from: float, course: float, along: float, across: float) -> None:
    east, north = towards(wind_from * DEGREE, 50.0)
    assert along_and_across(east, north, course * DEGREE) == pytest.approx((along, across), abs=1e-12)


@given(courses, between(0.0, 120.0), courses)
def test_components_keep_the_speed(wind_from: float, speed: float, course: float) -> None:
    along, across = along_and_across(*towards(wind_from, speed), course)
    assert math.hypot(along, across) == pytest.approx(speed, abs=1e-10)
