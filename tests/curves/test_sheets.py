"""Cubic sheets: numbers, expressions, smoothness, and scipy's own tensor spline."""

from __future__ import annotations

import casadi as ca
import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from optdescent.curves import CubicSheet, CubicTable

SHEET = CubicSheet(CubicTable((-3.0, 0.0, 2.0, 5.0, 9.0)), CubicTable((-1.0, 0.0, 1.0, 3.0)))
RANDOM = np.random.default_rng(11)
VALUES = RANDOM.normal(size=(5, 4))
COEFFICIENTS = SHEET.coefficients(VALUES)
X, Y = RANDOM.uniform(-5.0, 11.0, 40), RANDOM.uniform(-2.0, 4.0, 40)


def at(x: object, y: object) -> tuple[np.ndarray, ...]:
    return tuple(np.asarray(part, dtype=float) for part in SHEET.combine(COEFFICIENTS, SHEET.place(x, y)))


def test_it_passes_through_its_values() -> None:
    x, y = np.meshgrid(SHEET.across.knots, SHEET.along.knots, indexing="ij")
    assert at(x, y)[0] == pytest.approx(VALUES, abs=1e-12)


def test_it_is_scipys_spline_of_splines() -> None:
    half = CubicSpline(SHEET.along.knots, VALUES, axis=1, bc_type="natural")
    for x, y in zip(RANDOM.uniform(-3.0, 9.0, 20), RANDOM.uniform(-1.0, 3.0, 20), strict=True):
        own = CubicSpline(SHEET.across.knots, half(y), bc_type="natural")
        assert float(at(x, y)[0]) == pytest.approx(float(own(x)), abs=1e-11)


def test_slopes_are_those_of_the_value() -> None:
    step = 1e-6
    _, by_x, by_y = at(X, Y)
    assert by_x == pytest.approx((at(X + step, Y)[0] - at(X - step, Y)[0]) / (2 * step), abs=1e-6)
    assert by_y == pytest.approx((at(X, Y + step)[0] - at(X, Y - step)[0]) / (2 * step), abs=1e-6)


def test_beyond_the_knots_it_is_straight() -> None:
    beyond = np.array([10.0, 12.0, 20.0])
    assert at(beyond, 0.5)[1] == pytest.approx(np.full(3, at(9.0, 0.5)[1]), abs=1e-12)


def test_expressions_and_parameters_give_the_same_numbers() -> None:
    x, y, c = ca.SX.sym("x"), ca.SX.sym("y"), ca.SX.sym("c", SHEET.size)
    function = ca.Function("sheet", [x, y, c], list(SHEET.combine(c, SHEET.place(x, y))))
    for one, other in zip(X, Y, strict=True):
        found = [float(v) for v in function(one, other, COEFFICIENTS)]
        assert found == pytest.approx([float(part) for part in at(one, other)], abs=1e-11)


def test_derivatives_of_expressions_do_not_grow() -> None:
    """The sums over the knots are constant between them: a second derivative costs about as much as the value."""
    x, y, c = ca.SX.sym("x"), ca.SX.sym("y"), ca.SX.sym("c", SHEET.size)
    value = SHEET.combine(c, SHEET.place(x, y))[0]
    place = ca.vertcat(x, y)
    alone = ca.Function("value", [x, y, c], [value]).n_instructions()
    curved = ca.Function("curve", [x, y, c], [ca.hessian(value, place)[0]]).n_instructions()
    assert curved < 1.5 * alone


def test_numbers_and_arrays_broadcast() -> None:
    whole = at(X[:, None], Y[None, :])[0]
    assert whole.shape == (40, 40)
    assert whole[3, 7] == pytest.approx(float(at(X[3], Y[7])[0]), abs=1e-12)
    assert at(1.0, Y)[0] == pytest.approx(at(np.full(40, 1.0), Y)[0], abs=1e-12)
