"""CasADi functions on arrays that are held for them."""

from __future__ import annotations

import casadi as ca
import numpy as np
import pytest

from optdescent.buffered import Buffered


def function() -> ca.Function:
    """Of a column and a scalar: a column, and a matrix that is not full."""
    x, a = ca.SX.sym("x", 3), ca.SX.sym("a")
    return ca.Function("made_up", [x, a], [a * x, ca.diag(x) + a * ca.SX.eye(3)])


def test_a_call_gives_what_the_function_gives() -> None:
    """Of a sparse result its nonzeros."""
    plain = function()
    buffered = Buffered(plain)
    for x, a in ((np.array([1.0, 2.0, 3.0]), 2.0), (np.array([-1.0, 0.5, 7.0]), 0.25)):
        column, matrix = plain(x, a)
        found = buffered(x, a)
        assert found[0] == pytest.approx(column.full().ravel(), rel=0, abs=0)
        assert found[1] == pytest.approx(np.diag(matrix.full()), rel=0, abs=0)


def test_arrays_given_are_read_and_written_where_they_are() -> None:
    whole = np.full(8, np.nan)
    x, a = np.array([1.0, 2.0, 3.0]), np.array([2.0])
    buffered = Buffered(function(), [x, a], [whole[1:4], whole[4:7]])
    buffered.run()
    assert whole[1:7].tolist() == [2.0, 4.0, 6.0, 3.0, 4.0, 5.0]
    a[0] = 1.0
    buffered.run()
    assert whole[1:4].tolist() == x.tolist()
    assert np.isnan(whole[[0, 7]]).all()


def test_a_call_needs_all_arguments() -> None:
    with pytest.raises(ValueError, match="argument"):
        Buffered(function())(np.ones(3))
