"""Cubic tables against scipy's natural spline, and as expressions."""

from __future__ import annotations

import casadi as ca
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.interpolate import CubicSpline

from optdescent.air.wind.field import COLUMN_HEIGHTS
from optdescent.curves import CubicTable
from tests.strategies import between

KNOTS = (-600.0, 0.0, 500.0, 1500.0, 4000.0, 9000.0, 14000.0)
TABLE = CubicTable(KNOTS)
values_at_knots = st.lists(between(-80.0, 80.0), min_size=len(KNOTS), max_size=len(KNOTS))


@given(values_at_knots)
def test_between_the_knots_it_is_the_natural_spline(values: list[float]) -> None:
    spline = CubicSpline(KNOTS, values, bc_type="natural")
    x = np.linspace(KNOTS[0], KNOTS[-1], 201)
    value, slope = TABLE.value_and_slope(TABLE.coefficients(values), x)
    np.testing.assert_allclose(value, spline(x), atol=1e-9)
    np.testing.assert_allclose(slope, spline(x, 1), atol=1e-12)


@given(values_at_knots)
def test_outside_the_knots_it_is_straight(values: list[float]) -> None:
    coefficients = TABLE.coefficients(values)
    for edge, away in ((KNOTS[0], -1.0), (KNOTS[-1], 1.0)):
        value, slope = TABLE.value_and_slope(coefficients, edge)
        far, far_slope = TABLE.value_and_slope(coefficients, edge + 3000.0 * away)
        assert far == pytest.approx(value + 3000.0 * away * slope, abs=1e-8)
        assert far_slope == pytest.approx(slope, abs=1e-11)


@given(values_at_knots, values_at_knots, between(-2.0, 2.0), between(-1000.0, 15000.0))
def test_it_is_linear_in_its_coefficients(first: list[float], second: list[float], share: float, x: float) -> None:
    a, b = TABLE.coefficients(first), TABLE.coefficients(second)
    together = TABLE.value_and_slope(a + share * b, x)
    apart = np.add(TABLE.value_and_slope(a, x), np.multiply(share, TABLE.value_and_slope(b, x)))
    np.testing.assert_allclose(together, apart, atol=1e-8)


def test_the_same_code_evaluates_expressions() -> None:
    x, c = ca.SX.sym("x"), ca.SX.sym("c", TABLE.size)
    compiled = ca.Function("f", [c, x], list(TABLE.value_and_slope(c, x)))
    derived = ca.Function("f", [c, x], [ca.jacobian(TABLE.value_and_slope(c, x)[0], x)])
    coefficients = TABLE.coefficients([3.0, -8.0, 20.0, 31.0, 12.0, -5.0, 0.0])
    for at in (-900.0, -600.0, 17.0, 1500.0, 8765.0, 15000.0):
        value, slope = TABLE.value_and_slope(coefficients, at)
        assert [float(v) for v in compiled(coefficients, at)] == pytest.approx([value, slope], rel=1e-12, abs=1e-13)
        assert float(derived(coefficients, at)) == pytest.approx(slope, rel=1e-12, abs=1e-13)


@given(values_at_knots, st.lists(between(-1.0, 1.0), min_size=TABLE.size, max_size=TABLE.size))
def test_the_gradient_by_knot_values_is_the_transpose(values: list[float], gradient: list[float]) -> None:
    assert TABLE.values_gradient(gradient) @ np.array(values) == pytest.approx(
        np.array(gradient) @ TABLE.coefficients(values), abs=1e-8
    )


def test_a_straight_line_stays_one_over_many_knots() -> None:
    """One-sided cubes cancel each other far above the first knot; rounding must stay below any use of it."""
    table = CubicTable(COLUMN_HEIGHTS)
    line = 10.0 + 0.004 * np.asarray(COLUMN_HEIGHTS)
    x = np.linspace(COLUMN_HEIGHTS[0] - 500.0, COLUMN_HEIGHTS[-1] + 500.0, 301)
    value, slope = table.value_and_slope(table.coefficients(line), x)
    np.testing.assert_allclose(value, 10.0 + 0.004 * x, atol=1e-9)
    np.testing.assert_allclose(slope, 0.004, atol=1e-12)


@pytest.mark.parametrize("knots", [(), (0.0, 1.0), (0.0, 1.0, 1.0), (0.0, 2.0, 1.0)])
def test_knots_that_do_not_rise_are_refused(knots: tuple[float, ...]) -> None:
    with pytest.raises(ValueError, match="three rising knots"):
        CubicTable(knots)
