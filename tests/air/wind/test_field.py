"""The height column: continuity at the knots, what lies outside, expressions."""

from __future__ import annotations

from collections.abc import Callable

import casadi as ca
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optdescent.air.wind import ColumnField, ConstantWind, NoWind
from optdescent.air.wind.field import COLUMN_HEIGHTS
from optdescent.inputs import validated
from tests.strategies import between, winds

FIELD = ColumnField()
RANDOM = np.random.default_rng(7)
ROUGH = FIELD.from_values(RANDOM.uniform(-60, 60, len(COLUMN_HEIGHTS)), RANDOM.uniform(-60, 60, len(COLUMN_HEIGHTS)))


def bend_jump(slope: Callable[[float], float], knot: float, step: float) -> float:
    """How far the one-sided bends, by differences of the slope over a step, lie apart at a knot."""
    return abs((slope(knot + step) - slope(knot)) - (slope(knot) - slope(knot - step))) / step


@pytest.mark.parametrize("knot", COLUMN_HEIGHTS)
def test_value_slope_and_bend_are_continuous_across_a_knot(knot: float) -> None:
    def slope(height: float) -> float:
        return float(FIELD.sample(ROUGH, 0.0, height).east_by_height)

    below, above = (FIELD.sample(ROUGH, 0.0, knot + side) for side in (-1e-8, 1e-8))
    assert float(below.east) == pytest.approx(float(above.east), abs=1e-7)
    assert float(below.east_by_height) == pytest.approx(float(above.east_by_height), abs=1e-9)
    assert bend_jump(slope, knot, 0.02) <= 0.011 * bend_jump(slope, knot, 2.0) + 1e-9


def test_a_wind_with_a_jump_in_its_bend_would_be_seen() -> None:
    def slope(height: float) -> float:
        return 1e-5 * abs(height - 3000.0)

    assert bend_jump(slope, 3000.0, 0.02) == pytest.approx(bend_jump(slope, 3000.0, 2.0)) == pytest.approx(2e-5)


def test_it_passes_through_its_values() -> None:
    values = RANDOM.uniform(-60, 60, (2, len(COLUMN_HEIGHTS)))
    sample = FIELD.sample(FIELD.from_values(*values), 0.0, np.asarray(COLUMN_HEIGHTS))
    np.testing.assert_allclose([sample.east, sample.north], values, atol=1e-9)


@given(st.floats(0.0, 3e5), between(-600.0, 15000.0))
def test_distance_does_not_enter(distance: float, height: float) -> None:
    here, there = FIELD.sample(ROUGH, 0.0, height), FIELD.sample(ROUGH, distance, height)
    assert (here.east, here.north) == (there.east, there.north)
    assert there.east_by_distance == there.north_by_distance == 0.0


def test_expressions_and_parameters_give_the_same_numbers() -> None:
    c, x, h = ca.MX.sym("c", FIELD.size), ca.MX.sym("x"), ca.MX.sym("h")
    compiled = ca.Function("f", [c, x, h], list(vars(FIELD.sample(c, x, h)).values()))
    for height in (-700.0, 0.0, 444.0, 5000.0, 14630.4, 15000.0):
        numbers = [float(v) for v in vars(FIELD.sample(ROUGH, 0.0, height)).values()]
        assert [float(v) for v in compiled(ROUGH, 0.0, height)] == pytest.approx(numbers, rel=1e-12, abs=1e-12)


@given(between(0.0, 360.0), between(0.0, 250.0), between(-2000.0, 18000.0))
def test_a_constant_wind_is_constant_at_every_height_even_outside_the_knots(
    wind_from: float, speed: float, height: float
) -> None:
    wind = validated(ConstantWind, {"kind": "constant", "wind_from_deg": wind_from, "wind_speed_kt": speed}, "x")
    sample = wind.field.sample(wind.coefficients(), 0.0, height)
    angle, strength = np.radians(wind_from), speed * 1852.0 / 3600.0
    # one-sided cubes over 26 knots leave rounding of some nanometres per second
    assert float(sample.east) == pytest.approx(-strength * np.sin(angle), abs=1e-7)
    assert float(sample.north) == pytest.approx(-strength * np.cos(angle), abs=1e-7)
    assert float(sample.east_by_height) == pytest.approx(0.0, abs=1e-11)
    assert float(sample.north_by_height) == pytest.approx(0.0, abs=1e-11)


@given(between(-2000.0, 18000.0))
def test_no_wind_is_none(height: float) -> None:
    wind = NoWind()
    assert all(float(v) == 0.0 for v in vars(wind.field.sample(wind.coefficients(), 0.0, height)).values())


def test_forms_without_distance_share_one_field() -> None:
    """Equal fields share one compiled problem: changing the wind rebuilds nothing."""
    constant = validated(ConstantWind, {"kind": "constant", "wind_from_deg": 3, "wind_speed_kt": 4}, "x")
    assert NoWind().field == constant.field
    assert hash(NoWind().field) == hash(constant.field)


@given(winds, winds)
def test_coefficients_have_the_size_the_field_says(east: float, north: float) -> None:
    ones = np.ones(len(COLUMN_HEIGHTS))
    assert FIELD.from_values(east * ones, north * ones).shape == (FIELD.size,)
