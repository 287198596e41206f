"""Replacements for steps and corners."""

from __future__ import annotations

import casadi as ca
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optdescent.curves.smooth import smooth_maximum, smooth_step
from tests.strategies import between

_x = ca.SX.sym("x")
_value = smooth_step(_x)
_slope = ca.jacobian(_value, _x)
STEP = ca.Function("step", [_x], [_value, _slope, ca.jacobian(_slope, _x)])


def test_the_step_is_exact_outside() -> None:
    assert smooth_step(np.array([-3.0, 0.0, 1.0, 7.0])).tolist() == [0.0, 0.0, 1.0, 1.0]
    assert smooth_step(0.5) == 0.5


@pytest.mark.parametrize("edge", [0.0, 1.0])
def test_the_step_joins_with_flat_first_and_second_derivative(edge: float) -> None:
    for side in (edge - 1e-9, edge + 1e-9):
        value, slope, bend = (float(v) for v in STEP(side))
        assert value == pytest.approx(edge, abs=1e-14)
        assert slope == pytest.approx(0.0, abs=1e-14)
        assert bend == pytest.approx(0.0, abs=1e-7)


@given(between(-0.5, 1.5), between(0.0, 0.5))
def test_the_step_rises_and_is_symmetric(x: float, more: float) -> None:
    assert smooth_step(x + more) >= smooth_step(x) - 1e-14
    assert smooth_step(x) + smooth_step(1.0 - x) == pytest.approx(1.0, abs=1e-14)


@given(between(-1e3, 1e3), between(-1e3, 1e3), st.sampled_from([0.1, 1.0, 30.0]))
def test_the_rounded_maximum_lies_on_or_above_by_half_its_width_at_most(a: float, b: float, width: float) -> None:
    rounded = smooth_maximum(a, b, width)
    assert max(a, b) - 1e-9 <= rounded <= max(a, b) + width / 2.0 + 1e-9
    assert smooth_maximum(a, a, width) == pytest.approx(a + width / 2.0)
    assert rounded == pytest.approx(smooth_maximum(b, a, width))
