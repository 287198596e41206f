"""The collocated optimum of a reduced descent is the least of all: dynamic programming on a grid says so.

Bellman 1957; what the bound is and which part of it is proved: see `benchmarks.grid.bound`.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cache

import numpy as np
import pytest

from benchmarks.grid.bound import COARSE, Rung, bound, climb
from benchmarks.grid.collocated import Collocated, optimum, posed
from benchmarks.grid.descent import Descent, still, windy
from benchmarks.grid.programming import Grid, Programme
from optdescent.ocp import find_chatter, refly
from optdescent.units import DEGREE, FOOT, KNOT

MESH_ERROR = 0.02
"""What the engine's cost may be off by [kg]: its smoothing charge, and the local error of its mesh."""


@dataclass(frozen=True)
class Both:
    """One descent by both methods."""

    descent: Descent
    rungs: tuple[Rung, ...]
    engine: Collocated


@cache
def by_both(make: Callable[[], Descent]) -> Both:
    descent = make()
    return Both(descent, climb(descent, COARSE), optimum(descent))


@pytest.fixture(params=[still, windy], ids=["still air", "measured wind"])
def both(request: pytest.FixtureRequest) -> Both:
    return by_both(request.param)


def test_within_the_bound_of_the_grid(both: Both) -> None:
    finest = both.rungs[-1]
    assert finest.bound < 0.01 * both.engine.cost
    assert abs(finest.cost - both.engine.cost) <= finest.bound


def test_the_grid_converges_to_the_collocated_cost(both: Both) -> None:
    """Errors at least halve, nearly, with every doubling of the nodes: the order is about one or better."""
    off = [abs(rung.cost - both.engine.cost) for rung in both.rungs]
    assert off[1] < 0.6 * off[0]
    assert off[2] < 0.6 * off[1]


def test_no_policy_of_the_grid_flies_cheaper(both: Both) -> None:
    """A flown policy is a descent that exists: one that is cheaper would prove that the engine missed the least."""
    assert both.engine.charge < MESH_ERROR
    assert all(rung.flown.cost > both.engine.cost - MESH_ERROR for rung in both.rungs)
    assert both.rungs[-1].flown.cost < both.engine.cost + both.rungs[-1].bound


def test_flown_policies_keep_the_limits(both: Both) -> None:
    descent, flown = both.descent, both.rungs[-1].flown
    assert flown.altitude[0] == descent.start_altitude
    assert np.all(np.diff(flown.altitude) <= 0.0)
    assert np.all(flown.altitude >= descent.floor)
    assert flown.altitude[-1] < descent.floor + 100.0 * FOOT
    speed = descent.calibrated(flown.altitude, flown.true)
    assert speed[-1] == pytest.approx(descent.end_speed, abs=5.0 * KNOT)
    assert np.all(speed >= descent.least_speed - 0.1 * KNOT)
    assert np.all(flown.true <= descent.fastest(flown.altitude) + 0.1 * KNOT)
    assert np.all((flown.angle <= 0.0) & (flown.angle >= -descent.steepest))
    assert np.all((flown.thrust >= 0.0) & (flown.thrust <= 1.0))


def test_the_collocated_descent_is_flown_as_it_says_and_does_not_chatter(both: Both) -> None:
    again = refly(posed(both.descent), both.engine.solution, 1e-8)["descent"]
    assert again.difference["cost"] < MESH_ERROR
    assert again.difference["altitude"] < 1.0
    assert not find_chatter(both.engine.solution)


def test_trajectories_agree(both: Both) -> None:
    """The same descent, not only the same cost: within three spacings of the grid, speed in the mean."""
    descent, finest, phase = both.descent, both.rungs[-1], both.engine.phase
    flown, grid = finest.flown, finest.grid
    altitude, true = phase.state("altitude", flown.distance), phase.state("speed", flown.distance)
    spacing = (descent.start_altitude - descent.floor) / (grid.heights - 1)
    assert np.max(np.abs(flown.altitude - altitude)) < 3.0 * spacing
    spacing = (descent.fastest(descent.floor) - descent.slowest(descent.floor)) / (grid.speeds - 1)
    assert np.sqrt(np.mean((flown.true - true) ** 2)) < 3.0 * spacing


def test_a_descent_that_is_not_the_least_is_found_out() -> None:
    """The engine kept from the optimum by a flatter limit on the path angle: the unrestricted grid must object."""
    both = by_both(still)
    kept = optimum(replace(both.descent, steepest=2.5 * DEGREE))
    finest = both.rungs[-1]
    assert kept.cost > finest.cost + finest.bound
    assert kept.cost > finest.flown.cost


def test_interpolation_is_exact_on_straight_lines_and_never_negative() -> None:
    programme = Programme(still(), Grid(steps=10, heights=6, speeds=5, angles=3, thrusts=4))
    rng = np.random.default_rng(3)
    descent = programme.descent
    altitude = rng.uniform(descent.floor, descent.start_altitude, 50)
    slow, fast = descent.slowest(altitude), descent.fastest(altitude)
    true = slow + rng.uniform(0.0, 1.0, 50) * (fast - slow)
    matrix, inside = programme.interpolation(altitude, true)
    height, speed = programme.places(*programme.nodes)
    at_height, at_speed = programme.places(altitude, true)
    assert np.all(inside)
    assert matrix @ (1.0 + 2.0 * height + 3.0 * speed) == pytest.approx(1.0 + 2.0 * at_height + 3.0 * at_speed)
    assert np.min(matrix.toarray()) >= 0.0
    outside = programme.value(programme.grid.steps, np.array([descent.floor - 1.0]), np.array([160.0]))
    assert math.isinf(outside[0])


def test_the_bound_covers_a_known_error() -> None:
    """Costs 1 + h and 1 + h² with h halved: the limit is 1; without convergence there is no bound."""
    first = [1.0 + h for h in (0.4, 0.2, 0.1)]
    second = [1.0 + h**2 for h in (0.4, 0.2, 0.1)]
    assert bound(first) == pytest.approx(1.25 * 0.1)
    assert bound(first[:2]) == pytest.approx(3.0 * 0.2)
    assert bound(second) == pytest.approx(1.25 * 0.03)
    assert math.isinf(bound([1.0]))
    assert math.isinf(bound([1.0, 2.0, 1.0]))
