"""One name, three kinds of value: floats, arrays and CasADi expressions give the same numbers."""

from __future__ import annotations

import casadi as ca
import numpy as np
import pytest

from optdescent.curves import elementary

ONE = [
    (elementary.sqrt, [0.0, 0.3, 2.0, 9e4]),
    (elementary.exp, [-3.0, 0.0, 1.7]),
    (elementary.log, [1e-3, 1.0, 50.0]),
    (elementary.sin, [-2.0, 0.0, 0.7]),
    (elementary.cos, [-2.0, 0.0, 0.7]),
    (elementary.tan, [-1.0, 0.0, 0.7]),
    (elementary.arcsin, [-1.0, 0.0, 0.7]),
    (elementary.tanh, [-2.0, 0.0, 0.7]),
    (elementary.absolute, [-2.0, 0.0, 0.7]),
]
TWO = [
    (elementary.arctan2, [(1.0, 2.0), (-1.0, 0.5), (0.3, -0.2)]),
    (elementary.maximum, [(1.0, 2.0), (3.0, -1.0), (0.5, 0.5)]),
    (elementary.minimum, [(1.0, 2.0), (3.0, -1.0), (0.5, 0.5)]),
]


@pytest.mark.parametrize(("function", "values"), ONE)
def test_functions_of_one_value_agree(function, values) -> None:
    x = ca.SX.sym("x")
    compiled = ca.Function("f", [x], [function(x)])
    array = function(np.array(values))
    assert isinstance(array, np.ndarray)
    assert array.shape == (len(values),)
    for value, element in zip(values, array, strict=True):
        assert function(value) == element
        assert float(compiled(value)) == pytest.approx(element, rel=1e-15, abs=1e-15)


@pytest.mark.parametrize(("function", "pairs"), TWO)
def test_functions_of_two_values_agree(function, pairs) -> None:
    a, b = ca.SX.sym("a"), ca.SX.sym("b")
    compiled = ca.Function("f", [a, b], [function(a, b)])
    array = function(*np.array(pairs).T)
    assert array.shape == (len(pairs),)
    for (first, second), element in zip(pairs, array, strict=True):
        assert function(first, second) == element
        assert float(compiled(first, second)) == pytest.approx(element, rel=1e-15)


def test_a_number_beside_an_expression_is_enough() -> None:
    x = ca.SX.sym("x")
    for expression in (elementary.maximum(1.0, x), elementary.minimum(x, 1.0), elementary.arctan2(1.0, x)):
        assert isinstance(expression, ca.SX)
    assert isinstance(elementary.where(x > 0.0, 1.0, 2.0), ca.SX)


def test_clip_and_where() -> None:
    values = np.array([-2.0, 0.25, 3.0])
    assert elementary.clip(values, 0.0, 1.0).tolist() == [0.0, 0.25, 1.0]
    assert elementary.where(values > 0.0, values, -values).tolist() == [2.0, 0.25, 3.0]
    x = ca.SX.sym("x")
    pair = ca.Function("f", [x], [elementary.clip(x, 0.0, 1.0), elementary.where(x > 0.0, x, -x)])
    assert [tuple(float(v) for v in pair(value)) for value in values] == [(0.0, 2.0), (0.25, 0.25), (1.0, 3.0)]


@pytest.mark.parametrize(("value", "symbolic"), [(1.0, False), (np.ones(3), False), (ca.SX(1), True), (ca.DM(1), True)])
def test_what_counts_as_symbolic(value, symbolic: bool) -> None:
    assert elementary.is_symbolic(value) is symbolic
    assert elementary.is_symbolic(2.0, value) is symbolic
