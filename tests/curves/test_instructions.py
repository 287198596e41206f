"""Instructions written anew: fewer, and the same values, missing numbers too."""

from __future__ import annotations

import math
from collections import Counter
from typing import Any

import casadi as ca
import numpy as np
import pytest

from optdescent.curves.elementary import where
from optdescent.curves.instructions import CHOICE, NUMBER, instructions
from optdescent.curves.lanes import Lanes

X, Y, Z = (ca.SX.sym(name) for name in "xyz")
SPECIAL = (-math.inf, -2.0, -0.5, 0.0, 0.5, 1.0, math.inf, math.nan)
LANES = np.array([[x, y, z] for x in SPECIAL for y in SPECIAL for z in SPECIAL]).T


def function(expression: Any) -> ca.Function:
    return ca.Function("f", [ca.vertcat(X, Y, Z)], [expression])


def kinds(expression: Any) -> Counter[int]:
    """How many of each operation are left."""
    left = Counter(node.kind for node in instructions(function(expression)).nodes)
    return Counter({kind: count for kind, count in left.items() if kind not in (ca.OP_INPUT, ca.OP_CONST)})


def number(condition: Any) -> Any:
    return where(condition, 1.0, 0.0)


ALGEBRA: dict[str, tuple[Any, dict[int, int]]] = {
    "of a number": (number(number(X < Y) > 0.5), {ca.OP_LT: 1, NUMBER: 1}),
    "of its absence": (where(number(X < Y) < 0.5, X, Z), {ca.OP_LT: 1, CHOICE: 1}),
    "at the ends": (where(number(X < Y) > 0.0, X, where(number(X < Y) >= 1.0, Y, Z)), {ca.OP_LT: 1, CHOICE: 2}),
    "product": (where(number(X < Y) * number(Y < Z) > 0.5, X, Z), {ca.OP_LT: 2, ca.OP_AND: 1, CHOICE: 1}),
    "larger": (where(ca.fmax(number(X < Y), number(Y < Z)) > 0.5, X, Z), {ca.OP_LT: 2, ca.OP_OR: 1, CHOICE: 1}),
    "smaller": (where(ca.fmin(number(X < Y), number(Y < Z)) > 0.5, X, Z), {ca.OP_LT: 2, ca.OP_AND: 1, CHOICE: 1}),
    "one less": (where(1.0 - number(X < Y) > 0.5, X, Z), {ca.OP_LT: 1, CHOICE: 1}),
    "in turn": (where(where(X < Y, number(Y < Z), 0.0) > 0.5, X, Z), {ca.OP_LT: 2, ca.OP_AND: 1, CHOICE: 1}),
    "or else": (where(where(X < Y, 1.0, number(Y < Z)) > 0.5, X, Z), {ca.OP_LT: 2, ca.OP_OR: 1, CHOICE: 1}),
    "but for": (
        where(where(X < Y, 0.0, number(Y < Z)) > 0.5, X, Z),
        {ca.OP_LT: 2, ca.OP_NOT: 1, ca.OP_AND: 1, CHOICE: 1},
    ),
    "unless": (
        where(where(X < Y, number(Y < Z), 1.0) > 0.5, X, Z),
        {ca.OP_LT: 2, ca.OP_NOT: 1, ca.OP_OR: 1, CHOICE: 1},
    ),
    "nested": (where(X < Y, where(Y < Z, ca.sqrt(X), 5.0), 5.0), {ca.OP_LT: 2, ca.OP_AND: 1, ca.OP_SQRT: 1, CHOICE: 1}),
    "nested else": (where(X < Y, Z, where(Y < Z, Z, X)), {ca.OP_LT: 2, ca.OP_OR: 1, CHOICE: 1}),
    "twice": (
        where(X < Y, where(Y < Z, 2.0 * X, 0.5), where(Y < Z, Z, 0.5)),
        {ca.OP_LT: 2, ca.OP_TWICE: 0, ca.OP_MUL: 1, CHOICE: 2},
    ),
}


@pytest.mark.parametrize("name", ALGEBRA)
def test_numbers_of_conditions_are_conditions_again_and_go_the_same_way(name: str) -> None:
    """A comparison with a missing number is false, and its opposite is true, as before."""
    expression, left = ALGEBRA[name]
    assert kinds(expression) == Counter(left)
    made = function(expression)
    expected = np.hstack([np.asarray(made(column).full()) for column in LANES.T])
    assert np.array_equal(Lanes(made, LANES.shape[1])(LANES)[0], expected, equal_nan=True)


@pytest.mark.parametrize("limit", [-0.5, 0.0, 0.5, 1.0, 1.5, math.nan])
@pytest.mark.parametrize("is_left", [True, False])
def test_a_comparison_that_does_not_ask_for_the_condition_is_taken_as_it_is(limit: float, is_left: bool) -> None:
    for counted in (number(X < Y), number(X >= Y)):
        for asked in (counted < limit, counted <= limit) if is_left else (limit < counted, limit <= counted):
            made = function(where(asked, X, Z))
            expected = np.hstack([np.asarray(made(column).full()) for column in LANES.T])
            assert np.array_equal(Lanes(made, LANES.shape[1])(LANES)[0], expected, equal_nan=True)


def test_an_opposite_is_no_comparison_turned_round() -> None:
    """Neither is a number less than nothing nor not less: what is chosen by the opposite is the other value."""
    made = function(where(ca.logic_not(X < Y), X, Z))
    found = Lanes(made, 1)(np.array([[math.nan], [1.0], [2.0]]))[0]
    assert np.isnan(found[0, 0])
    assert kinds(where(ca.logic_not(X < Y), X, Z)) == Counter({ca.OP_LT: 1, CHOICE: 1})


def test_a_choice_of_one_value_is_that_value() -> None:
    assert kinds(where(X < Y, Z, Z) + where(Y < Z, X * Y, X * Y)) == Counter({ca.OP_MUL: 1, ca.OP_ADD: 1})


# powers and exponentials


def test_powers_share_their_logarithm_and_products_of_exponentials_are_one() -> None:
    pressure = 3.0 * X**5.25 * ca.exp(-0.5 * Y) + ca.log(X)
    assert kinds(pressure)[ca.OP_LOG] == 1
    assert kinds(pressure)[ca.OP_EXP] == 1
    assert kinds(pressure)[ca.OP_CONSTPOW] == 0
    lanes = np.abs(np.random.default_rng(2).normal(size=(3, 50))) + 0.01
    expected = 3.0 * lanes[0] ** 5.25 * np.exp(-0.5 * lanes[1]) + np.log(lanes[0])
    np.testing.assert_allclose(Lanes(function(pressure), 50)(lanes)[0][0], expected, rtol=1e-13)


@pytest.mark.parametrize("exponent", [3.0, -3.0, 2.7, -0.4])
def test_powers_of_negative_numbers_are_those_of_whole_exponents_only(exponent: float) -> None:
    made = function(X**exponent)
    bases = np.array([[-2.0, 0.0, 1.0, 3.0]] * 3)
    expected = [float(made(column)) for column in bases.T]
    np.testing.assert_allclose(Lanes(made, 4)(bases)[0][0], expected, rtol=1e-14)


def test_a_function_that_is_not_expanded_is_refused() -> None:
    x = ca.MX.sym("x")
    with pytest.raises(ValueError, match=r"^the function is not expanded$"):
        instructions(ca.Function("f", [x], [ca.sin(x)]))
