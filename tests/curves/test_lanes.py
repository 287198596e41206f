"""Functions of scalars over many lanes: what CasADi itself finds, lane by lane."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any

import casadi as ca
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from optdescent.curves.elementary import rounded, rounded_up, where
from optdescent.curves.lanes import Known, Lanes

Array = NDArray[np.float64]
X, Y, Z = (ca.SX.sym(name) for name in "xyz")
VALUES = (-2.5, -1.0, -0.5, 0.0, 0.25, 0.5, 1.0, 2.5, 40.0)
LANES: Array = np.array([[x, y, z] for x in VALUES for y in (-1.5, 0.0, 2.0) for z in (-1.0, 0.0, 1.0)]).T


def function(*outputs: Any) -> ca.Function:
    """Function of the three scalars."""
    return ca.Function("f", [ca.vertcat(X, Y, Z)], [ca.vertcat(*outputs)])


def by_casadi(made: ca.Function, lanes: Array = LANES) -> Array:
    """Output (row, lane) point by point."""
    return np.hstack([np.asarray(made(column).full()) for column in lanes.T])


def by_lanes(made: ca.Function, lanes: Array = LANES) -> Array:
    return Lanes(made, lanes.shape[1])(lanes)[0].copy()


def assert_same(made: ca.Function, lanes: Array = LANES) -> None:
    np.testing.assert_allclose(by_lanes(made, lanes), by_casadi(made, lanes), rtol=1e-13, atol=1e-15)


OPERATIONS: dict[str, tuple[Any, int]] = {
    "sum": (X + Y, ca.OP_ADD),
    "difference": (X - Y, ca.OP_SUB),
    "product": (X * Y, ca.OP_MUL),
    "quotient": (X / Y, ca.OP_DIV),
    "twice": (X + X, ca.OP_TWICE),
    "smaller": (ca.fmin(X, Y), ca.OP_FMIN),
    "larger": (ca.fmax(X, Y), ca.OP_FMAX),
    "angle": (ca.atan2(X, Y), ca.OP_ATAN2),
    "power": (X**Y, ca.OP_POW),
    "constant power": (X**2.7, ca.OP_CONSTPOW),
    "power 7/2": (X**3.5, ca.OP_CONSTPOW),
    "power near 7/2": (X**3.5000001, ca.OP_CONSTPOW),
    "opposite": (-X, ca.OP_NEG),
    "square": (X * X, ca.OP_SQ),
    "square root": (ca.sqrt(X), ca.OP_SQRT),
    "exponential": (ca.exp(X), ca.OP_EXP),
    "logarithm": (ca.log(X), ca.OP_LOG),
    "sine": (ca.sin(X), ca.OP_SIN),
    "cosine": (ca.cos(X), ca.OP_COS),
    "tangent": (ca.tan(X), ca.OP_TAN),
    "arc sine": (ca.asin(X), ca.OP_ASIN),
    "hyperbolic tangent": (ca.tanh(X), ca.OP_TANH),
    "magnitude": (ca.fabs(X), ca.OP_FABS),
    "floor": (ca.floor(X), ca.OP_FLOOR),
    "inverse": (1.0 / X, ca.OP_INV),
    "sign": (ca.sign(X), ca.OP_SIGN),
    "less": (X < Y, ca.OP_LT),
    "less or equal": (X <= Y, ca.OP_LE),
    "equal": (X == Z, ca.OP_EQ),
    "not equal": (X != Z, ca.OP_NE),
    "both": (ca.logic_and(X < Y, Y < Z), ca.OP_AND),
    "either": (ca.logic_or(X < Y, Y < Z), ca.OP_OR),
    "not": (ca.logic_not(X), ca.OP_NOT),
    "let through": (ca.if_else(X < Y, X, 0), ca.OP_IF_ELSE_ZERO),
}


@pytest.mark.parametrize("name", OPERATIONS)
def test_each_operation_is_that_of_casadi(name: str) -> None:
    """Where it has no value, too."""
    expression, kind = OPERATIONS[name]
    made = function(expression)
    assert kind in {made.instruction_id(at) for at in range(made.n_instructions())}
    assert_same(made)


@pytest.mark.parametrize(
    "expression", [ca.atan(X), ca.erf(X), ca.ceil(X), ca.acos(X), ca.fmod(X, Y), ca.log1p(X), ca.sinh(X)]
)
def test_an_unknown_instruction_is_refused(expression: Any) -> None:
    made = function(ca.sin(X), expression)
    (number,) = {made.instruction_id(at) for at in range(made.n_instructions())} - {
        ca.OP_INPUT,
        ca.OP_OUTPUT,
        ca.OP_SIN,
    }
    with pytest.raises(ValueError, match=f"^instruction {number} is not known$"):
        Lanes(made, 3)


# choices


@pytest.mark.parametrize(
    "chosen",
    [
        where(X > 0.0, ca.sqrt(X), -1.0),
        where(X > 0.0, 7.0, ca.sqrt(-X)),
        where(Y == 0.0, 5.0, X / Y),
        where(X > 0.0, ca.log(X), where(X < 0.0, ca.log(-X), 0.0)),
        where(X > 0.0, ca.sqrt(X), ca.sqrt(-X)) + where(Y == 0.0, 1.0, 1.0 / Y),
        where(ca.logic_and(X > 0.0, Y > 0.0), ca.sqrt(X * Y), where(ca.logic_or(X > 0.0, Y > 0.0), 1.0, 2.0)),
    ],
)
def test_what_is_not_chosen_may_have_no_value(chosen: Any) -> None:
    made = function(chosen)
    assert np.all(np.isfinite(by_lanes(made)))
    assert_same(made)


def test_what_is_chosen_without_a_value_has_none() -> None:
    made = function(where(X > 0.0, ca.sqrt(-X), 1.0))
    assert np.array_equal(np.isnan(by_lanes(made))[0], LANES[0] > 0.0)
    assert_same(made)


@pytest.mark.parametrize(
    "expressions",
    [
        (where(X < Y, X, Y), where(X < Y, Y, X), where(X < Y, 1.0, 0.0)),
        (where(X, Y, Z), where(X * Y, Y, Z)),  # numbers as conditions
        (where(X < Y, where(Y < Z, X, Y), where(Z < X, Y, Z)),),
        (where(X < Y, X, 0.0), where(X < Y, 0.0, X), where(X < Y, 0.0, 0.0)),
        (where(X < Y, X, X), where(ca.logic_not(X < Y), X, Y)),
        ((X < Y) + 1.0, (X < Y) * Y, (X < Y) - (Y < Z), -(X < Y), (X < Y) / 2.0),
        (ca.fmax(X < Y, Z), ca.sqrt(X < Y), (X < Y) == (Y < Z), (X < Y) < (Y < Z)),
        (ca.logic_and(X, Y), ca.logic_or(X, 0.0 * Y), ca.logic_not(ca.logic_not(X))),
        (where((X < Y) * (Y < Z), X, Y), where((X < Y) - (Y < Z), X, Y)),
        (ca.if_else(X < Y, X, 0) + ca.if_else(Y < X, Y, 0), ca.if_else(X < Y, X, 0) + ca.if_else(X >= Y, Y, 0)),
        (ca.if_else(X < Y, Z, 0) + Z, ca.if_else(X < Y, X, 0) + ca.if_else(X < Y, Y, 0)),
        (rounded(X, 0.4), rounded_up(X, 0.4), where(rounded(X, 0.4) > Y, X, Z)),
    ],
)
def test_conditions_are_chosen_by_and_counted_with(expressions: Sequence[Any]) -> None:
    assert_same(function(*expressions))


def test_a_choice_between_constants_that_are_numbers_of_nodes() -> None:
    """A constant is not the value of the instruction that has its number."""
    for constant in range(8):
        made = function(where(X > 0.0, ca.sqrt(-X), float(constant)), where(Y > 0.0, X * Y, float(constant)) + Z)
        assert_same(made)


def test_infinities_and_missing_numbers_pass_as_they_do_in_casadi() -> None:
    special = (-math.inf, math.inf, math.nan, 0.0, -0.0, 1.0)
    lanes = np.array([[x, y, z] for x in special for y in special for z in (1.0, math.nan)]).T
    made = function(
        X + Y, X * Y, ca.fmin(X, Y), ca.fmax(X, Y), X < Y, X != Y, ca.logic_not(X), where(X < Y, X, Z), ca.sign(X),
        where(X, Y, Z), ca.logic_and(X, Y), 1.0 / X, ca.floor(X), ca.fabs(X) ** 3.5, ca.atan2(X, Y), ca.tanh(X),
    )  # fmt: skip
    assert_same(made, lanes)


# inputs and outputs


def test_outputs_may_be_repeated_constant_conditions_or_inputs() -> None:
    shared = ca.sin(X) * Y
    assert_same(function(shared, shared, 3.25, X, shared + 1.0, X < Y, Z, 0.0, X, shared))


def test_outputs_may_be_constants_alone() -> None:
    made = ca.Function("f", [X], [ca.SX([1.0, -2.0]), ca.SX(0.5)])
    found = Lanes(made, 4)(np.ones((1, 4)))
    assert np.array_equal(found[0], np.tile([[1.0], [-2.0]], 4))
    assert np.array_equal(found[1], np.full((1, 4), 0.5))


def test_a_row_that_is_left_out_of_an_output_is_0_and_moves_no_other() -> None:
    made = ca.Function("f", [X, Y], [ca.vertcat(ca.SX(1, 1), X, ca.SX(1, 1), X * Y)])
    assert made.nnz_out(0) == 2
    found = Lanes(made, 2)(np.array([[3.0, 4.0]]), np.array([[5.0, 6.0]]))
    assert np.array_equal(found[0], [[0.0, 0.0], [3.0, 4.0], [0.0, 0.0], [15.0, 24.0]])


def test_several_inputs_and_outputs_of_several_rows() -> None:
    state, more = ca.SX.sym("state", 3), ca.SX.sym("more", 2)
    unused = ca.SX.sym("unused", 2)
    made = ca.Function("f", [state, unused, more], [state * more[1], more[0] - ca.sum1(state), ca.vertcat(state, more)])
    generator = np.random.default_rng(1)
    given_values = [generator.normal(size=(rows, 5)) for rows in (3, 2, 2)]
    found = Lanes(made, 5)(*given_values)
    for lane in range(5):
        expected = made(*(values[:, lane] for values in given_values))
        for own, wanted in zip(found, expected, strict=True):
            assert own[:, lane] == pytest.approx(np.asarray(wanted.full())[:, 0], rel=1e-14)


def test_a_second_call_knows_nothing_of_the_first() -> None:
    """Arrays are used again within a call and from call to call."""
    made = function(where(X < Y, ca.sqrt(Y - X), 0.0) + Z, ca.exp(X) * where(Z > 0.0, Y, -Y), X + Y + Z)
    lanes = Lanes(made, LANES.shape[1])
    other = LANES[:, ::-1] * 0.7
    first = [values.copy() for values in lanes(LANES)]
    second = [values.copy() for values in lanes(other)]
    again = lanes(LANES)
    assert np.array_equal(first[0], again[0])
    np.testing.assert_allclose(second[0], by_casadi(made, other), rtol=1e-13)


def test_what_is_put_in_is_left_as_it_was_and_may_be_read_where_it_is() -> None:
    made = function(where(X < Y, X, Y) - Z, -X)
    given_values = LANES.copy()
    expected = Lanes(made, LANES.shape[1])(given_values)[0].copy()
    assert np.array_equal(given_values, LANES)
    read = np.zeros_like(LANES)
    lanes = Lanes(made, LANES.shape[1], read={0: read})
    for turn in (LANES, LANES[:, ::-1]):
        read[...] = turn
        found = lanes()[0]
        assert np.array_equal(found, expected if turn is LANES else expected[:, ::-1])
        assert np.array_equal(read, turn)


def test_a_division_by_nothing_warns_nobody() -> None:
    by_lanes(function(1.0 / X, ca.log(X), ca.sqrt(X), X / Y))  # warnings are errors


# what is known before the calls

PLACE, LENGTH = ca.SX.sym("place"), ca.SX.sym("length")
PLACES = np.array([-3.0, -0.5, 0.0, 0.5, 2.0])
LENGTHS = np.array([1.0, 2.0, 0.25, 0.0, -1.0])
PARTLY_KNOWN: dict[str, tuple[Any, ...]] = {
    "numbers": (ca.exp(Y) * ca.sin(PLACE) * X, ca.exp(Y) * ca.sin(PLACE), (Y + 2.0) ** 2.7 * X),
    "conditions": (where(PLACE < Y, X, Z), where(PLACE < LENGTH, X, Z), where(Y < 0.3, X, Z) + (PLACE < Y)),
    "choices": (where(X < Y, where(PLACE < 0.1, ca.sqrt(PLACE), X), ca.log(Y)), where(PLACE < LENGTH, Y, PLACE) - X),
    "alone": (PLACE, Y, 3.0, PLACE < LENGTH, Y < 0.3, ca.exp(Y), ca.cos(LENGTH), X),
}


@pytest.mark.parametrize("name", PARTLY_KNOWN)
@pytest.mark.parametrize("same", [True, False])
def test_known_inputs_give_what_they_give_when_they_come_with_the_call(name: str, same: bool) -> None:
    """Whether they are the same in every lane or not, at every call."""
    made = ca.Function("f", [X, Y, Z, PLACE, LENGTH], [ca.vertcat(*PARTLY_KNOWN[name])])
    x, y, z = LANES
    y = np.full_like(y, 0.7) if same else y
    plain = Lanes(made, x.size)
    known = Lanes(made, x.size, Known({1: y[None]}, {3: PLACES, 4: LENGTHS}))
    for call in (0, 3, 1, 4, 2):
        ones = np.ones((1, x.size))
        (expected,) = plain(x[None], y[None], z[None], PLACES[call] * ones, LENGTHS[call] * ones)
        (found,) = known(x[None], z[None], call=call)
        assert np.array_equal(found, expected, equal_nan=True)


@pytest.mark.parametrize("name", PARTLY_KNOWN)
def test_a_lane_is_the_same_to_the_last_bit_whichever_lanes_it_is_taken_with(name: str) -> None:
    made = ca.Function("f", [X, Y, Z, PLACE, LENGTH], [ca.vertcat(*PARTLY_KNOWN[name])])
    draw = np.random.default_rng(4).normal(size=(3, 37))

    def found(lanes: Array) -> Array:
        made_for = Lanes(made, lanes.shape[1], Known({1: lanes[1:2]}, {3: PLACES, 4: LENGTHS}))
        calls = [made_for(lanes[:1], lanes[2:], call=call)[0].copy() for call in range(PLACES.size)]
        return np.array(calls)

    mixed = found(draw)
    for lane in range(0, 37, 6):
        own = draw[:, lane : lane + 1]
        others = draw.copy()
        others[1] = own[1]
        others[:, 20] = own[:, 0]
        assert np.array_equal(found(own)[..., 0], mixed[..., lane], equal_nan=True)
        assert np.array_equal(found(others)[..., 20], mixed[..., lane], equal_nan=True)


def test_what_is_found_first_may_decide_what_is_read_afterwards() -> None:
    """As the height decides the wind."""
    made = ca.Function("f", [X, Y, Z], [X * Y - Z, ca.exp(Y), ca.vertcat(Y, Z, Y + Z, ca.exp(Y) * Z)])
    x = LANES[:1]
    y, z = np.full_like(x, np.nan), np.full_like(x, np.nan)
    asked: list[int] = []

    def fill_z(call: int) -> None:
        asked.append(call)
        z[...] = np.log(lanes.outputs[1])

    y[...] = 0.5 * x
    lanes = Lanes(made, x.size, read={1: y, 2: z}, then={1: fill_z})
    first, second, third = (part.copy() for part in lanes(x, call=7))
    assert asked == [7]
    np.testing.assert_allclose(first, x * y - y, atol=1e-15)
    assert np.array_equal(second, np.exp(y))
    np.testing.assert_allclose(third, np.vstack([y, y, 2.0 * y, np.exp(y) * y]), atol=1e-14)


# any function


UNARY: tuple[Callable[[Any], Any], ...] = (
    lambda a: -a,
    ca.fabs,
    ca.sin,
    ca.cos,
    ca.tanh,
    lambda a: 0.1 * a * a,
    lambda a: ca.sqrt(ca.fabs(a) + 0.1),
    lambda a: a + a,
    lambda a: (ca.fabs(a) + 0.5) ** 3.5 * 0.05,
)
BINARY: tuple[Callable[[Any, Any], Any], ...] = (
    lambda a, b: a + b,
    lambda a, b: a - b,
    lambda a, b: 0.3 * a * b,
    ca.fmin,
    ca.fmax,
    lambda a, b: a / (1.5 + ca.fabs(b)),
    lambda a, b: a < b,
    lambda a, b: ca.logic_and(a < 0.3, b > -0.2),
)
CHOICES: tuple[Callable[[Any, Any, Any, Any], Any], ...] = (
    lambda a, b, c, d: where(a < b, c, d),
    lambda a, b, c, d: where(ca.logic_or(a < b, c < d), c, d),
    lambda a, b, c, d: where(a < b, ca.sqrt(b - a) * c, ca.sqrt(a - b) * d),
    lambda a, b, c, d: where(a < b, c, 0.0),
)
STEP = st.tuples(st.integers(0, 200), st.integers(0, 99), st.integers(0, 99), st.integers(0, 99), st.integers(0, 99))


@given(st.lists(STEP, min_size=1, max_size=60), st.lists(st.integers(0, 99), min_size=1, max_size=6))
def test_any_function_gives_what_casadi_gives(steps: list[tuple[int, ...]], shown: list[int]) -> None:
    """A chain of operations, each on any values found before; many are shared, some lead nowhere."""
    values: list[Any] = [X, Y, Z, ca.SX(0.75)]
    operations = [(1, one) for one in UNARY] + [(2, two) for two in BINARY] + [(4, four) for four in CHOICES]
    for kind, *operands in steps:
        count, operation = operations[kind % len(operations)]
        values.append(operation(*(values[-1 - operand % len(values)] for operand in operands[:count])))
    made = function(*(values[-1 - index % len(values)] for index in shown))
    lanes = np.random.default_rng(5).normal(size=(3, 17))
    expected = by_casadi(made, lanes)
    scale = 1.0 + np.max(np.abs(expected[np.isfinite(expected)]), initial=0.0)
    np.testing.assert_allclose(by_lanes(made, lanes), expected, rtol=1e-10, atol=1e-10 * scale)
