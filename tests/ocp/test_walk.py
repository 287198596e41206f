"""Quadratic programs followed from data to data, against a library's solver and against dense algebra."""

from __future__ import annotations

import casadi as ca
import numpy as np
import pytest
from scipy.sparse import csc_array

from optdescent.ocp.bordered import Bordered
from optdescent.ocp.limits import Box
from optdescent.ocp.neighbour import Facts, residual
from optdescent.ocp.walk import Data, Standing, walk

COLUMNS, ROWS = 14, 9
FREE = 10
"""Columns that are free at first: of those that become free later, some see each other."""


def problem(seed: int) -> tuple[csc_array, csc_array, np.random.Generator]:
    random = np.random.default_rng(seed)
    root = random.standard_normal((COLUMNS, COLUMNS))
    slope = random.standard_normal((ROWS, COLUMNS)) * (random.random((ROWS, COLUMNS)) < 0.5)
    return csc_array(root @ root.T / COLUMNS + 0.1 * np.eye(COLUMNS)), csc_array(slope), random


def start(curve: csc_array, slope: csc_array, random: np.random.Generator) -> tuple[Data, Standing]:
    """A point inside its limits but for equations, and data for which it is optimal."""
    x, lam = random.standard_normal(COLUMNS), np.zeros(ROWS)
    equations = np.arange(ROWS) < 3
    lam[equations] = random.standard_normal(3)
    value = slope @ x
    box = Box(x - 0.5, x + 0.5, np.where(equations, value, value - 0.4), np.where(equations, value, value + 0.4))
    data = Data(-(curve @ x + slope.T @ lam), np.zeros(ROWS), box)
    held = np.concatenate([np.zeros(COLUMNS, dtype=bool), equations])
    return data, Standing(x, lam, held, np.zeros(COLUMNS + ROWS, dtype=bool))


def elsewhere(data: Data, random: np.random.Generator) -> Data:
    """Other data for which the old point need not even be feasible; a feasible one is known to exist near it."""
    box, shift = data.box, 0.3 * random.standard_normal(COLUMNS)
    middle = 0.2 * random.standard_normal(ROWS)
    return Data(
        data.pull + 2.0 * random.standard_normal(COLUMNS),
        data.offset,
        Box(box.low + shift, box.high + shift, box.row_low + 0.2 * middle, box.row_high + 0.2 * middle),
    )


def by_library(curve: csc_array, slope: csc_array, data: Data) -> tuple[float, np.ndarray]:
    """Cost and point by qpOASES (Ferreau et al., Mathematical Programming Computation 6, 2014) through CasADi."""
    h, a = ca.DM(curve.toarray()), ca.DM(slope.toarray())
    solver = ca.conic("qp", "qpoases", {"h": h.sparsity(), "a": a.sparsity()}, {"printLevel": "none"})
    box = data.box
    found = solver(
        h=h, a=a, g=data.pull, lbx=box.low, ubx=box.high,
        lba=box.row_low - data.offset, uba=box.row_high - data.offset,
    )  # fmt: skip
    return float(found["cost"]), np.asarray(found["x"].full()).ravel()


@pytest.mark.parametrize("seed", range(12))
def test_the_end_of_the_way_is_the_optimum_there(seed: int) -> None:
    curve, slope, random = problem(seed)
    begin, standing = start(curve, slope, random)
    end = elsewhere(begin, random)
    cost, x = by_library(curve, slope, end)
    found = walk(Bordered(curve, slope, standing.live, 1e-10), begin, end, standing, 200)
    assert found is not None
    assert found[1] > 0
    assert found[0].x == pytest.approx(x, abs=1e-6)
    own = 0.5 * found[0].x @ (curve @ found[0].x) + end.pull @ found[0].x
    assert own == pytest.approx(cost, abs=1e-6)


def test_there_and_back_ends_where_it_began() -> None:
    curve, slope, random = problem(3)
    begin, standing = start(curve, slope, random)
    end = elsewhere(begin, random)
    system = Bordered(curve, slope, standing.live, 1e-10)
    there = walk(system, begin, end, standing, 200)
    assert there is not None
    back = walk(system, end, begin, there[0], 200)
    assert back is not None
    assert back[0].x == pytest.approx(standing.x, abs=1e-7)
    assert back[0].lam == pytest.approx(standing.lam, abs=1e-6)
    assert np.array_equal(back[0].held, standing.held)


def test_data_without_a_feasible_point_are_not_reached() -> None:
    """The shift of the rows lets the way go on; its end then does not keep what was asked."""
    curve, slope, random = problem(5)
    begin, standing = start(curve, slope, random)
    box = begin.box
    far = Data(begin.pull, begin.offset, Box(box.low, box.high, box.row_low + 50.0, box.row_high + 50.0))
    found = walk(Bordered(curve, slope, standing.live, 1e-10), begin, far, standing, 200)
    assert found is None or float(np.max(far.box.row_low - slope @ found[0].x)) > 10.0


def test_a_linear_program_whose_border_is_singular_by_rounding_is_given_up() -> None:
    """One column and one row that keep each other at their limits; with some slopes nothing of the shift is left."""
    box = Box(np.array([-1.0]), np.array([0.0]), np.array([-1.0]), np.array([0.0]))
    held, none = np.array([True, True]), np.zeros(1)
    standing = Standing(none, none, held, held)
    begin, end = (Data(np.array([pull]), none, box) for pull in (-1.0, 50.0))
    ends: list[str] = []
    for slope in 1.0 + 0.01 * np.arange(1, 100):
        found = walk(Bordered(csc_array((1, 1)), csc_array([[slope]]), standing.live, 1e-9), begin, end, standing, 20)
        if found is None:
            ends.append("given up")
            continue
        own = found[0]
        is_optimum = residual(Facts(slope * own.x, end.pull + slope * own.lam), own, box) < 1e-6
        ends.append("optimum" if is_optimum else "residual")
        assert not is_optimum or own.x == pytest.approx(-1.0 / slope, abs=1e-6)
    assert ends.count("optimum") > 40
    assert ends.count("given up") > 0


def test_a_way_with_more_changes_than_allowed_is_given_up() -> None:
    curve, slope, random = problem(0)
    begin, standing = start(curve, slope, random)
    end = elsewhere(begin, random)
    found = walk(Bordered(curve, slope, standing.live, 1e-10), begin, end, standing, 200)
    assert found is not None
    assert walk(Bordered(curve, slope, standing.live, 1e-10), begin, end, standing, found[1] - 1) is None


@pytest.mark.parametrize("seed", range(4))
def test_any_working_set_is_solved_as_dense_algebra_does(seed: int) -> None:
    curve, slope, random = problem(seed)
    size = COLUMNS + ROWS
    live = np.concatenate([np.arange(COLUMNS) < FREE, np.arange(ROWS) < 4])
    first = live.copy()
    shift = 1e-8
    system = Bordered(curve, slope, live, shift)
    whole = np.block([[curve.toarray(), slope.toarray().T], [slope.toarray(), np.zeros((ROWS, ROWS))]])
    whole += shift * np.diag(np.concatenate([np.ones(COLUMNS), -np.ones(ROWS)]))
    for unknown in random.permutation(size)[:12].tolist():
        system.toggle(unknown)
        live[unknown] = not live[unknown]
        right, given = random.standard_normal(size), random.standard_normal(size)
        found = system.solve(right, given)
        expected = given.copy()
        inside = np.flatnonzero(live)
        outside = np.flatnonzero(~live)
        rest = right[inside] - whole[np.ix_(inside, outside)] @ given[outside]
        expected[inside] = np.linalg.solve(whole[np.ix_(inside, inside)], rest)
        assert found == pytest.approx(expected, rel=1e-6, abs=1e-6 * float(np.max(np.abs(expected))))
    system.reset()
    vector, sign = random.standard_normal(size), np.where(np.arange(size) < COLUMNS, 1.0, -1.0)
    assert system.times(vector) == pytest.approx(whole @ vector - shift * sign * vector, abs=1e-11)
    found = system.solve(np.ones(size), np.zeros(size))
    inside = np.flatnonzero(first)
    assert found[inside] == pytest.approx(
        np.linalg.solve(whole[np.ix_(inside, inside)], np.ones(inside.size)), abs=1e-7
    )


def test_what_every_equation_sees_does_not_fill_the_factors() -> None:
    """An arrow: 2000 unknowns in a chain, all of them beside one more that each sees."""
    size = 2000
    chain = np.arange(size)
    rows = np.concatenate([chain, chain[1:], chain[:-1], chain, np.full(size, size), [size]])
    columns = np.concatenate([chain, chain[:-1], chain[1:], np.full(size, size), chain, [size]])
    values = np.concatenate([np.full(size, 4.0), -np.ones(2 * (size - 1)), np.ones(2 * size), [5000.0]])
    curve = csc_array((values, (rows, columns)), shape=(size + 1, size + 1))
    system = Bordered(curve, csc_array((0, size + 1)), np.ones(size + 1, dtype=bool), 0.0)
    right = np.sin(np.arange(size + 1.0))
    found = system.solve(right, np.zeros(size + 1))
    assert curve @ found == pytest.approx(right, abs=1e-10)
    assert system.filled < 5 * size


def test_a_limit_along_which_the_matrix_curves_down_is_held_with_its_wrong_sign() -> None:
    """min -x²/2 + q x on x <= 1: for q = 1.5 its bound is no minimum any more, and nowhere inside is either."""
    curve, slope = csc_array(np.array([[-1.0]])), csc_array((0, 1))
    box = Box(np.array([-9.0]), np.array([1.0]), np.zeros(0), np.zeros(0))
    begin, end = (Data(np.array([pull]), np.zeros(0), box) for pull in (0.5, 1.5))
    standing = Standing(np.ones(1), np.zeros(0), np.array([True]), np.array([True]))
    found = walk(Bordered(curve, slope, standing.live, 1e-10), begin, end, standing, 20)
    assert found is not None
    after = found[0]
    assert (after.x.item(), after.held.item()) == (1.0, True)
    facts = Facts(np.zeros(0), end.pull - after.x)
    assert residual(facts, after, box) == pytest.approx(0.5)


def test_a_multiplier_of_the_wrong_sign_is_a_residual() -> None:
    """A row at its upper limit pushes down: its multiplier is positive, and negative at the lower one."""
    box = Box(np.full(2, -9.0), np.full(2, 9.0), np.array([-9.0, -9.0, 1.0]), np.ones(3))
    held, at_high = np.array([False, False, True, False, True]), np.array([False, False, True, False, True])
    facts = Facts(np.ones(3), np.zeros(2))
    for lam, expected in (((0.3, 0.0, -7.0), 0.0), ((-0.3, 0.0, 7.0), 0.3)):
        standing = Standing(np.zeros(2), np.array(lam), held, at_high)
        assert residual(facts, standing, box) == pytest.approx(expected)
