"""Optimal-control problems of the literature, from a straight-line guess, with default settings.

Each optimum is from the source named in the problem's docstring, or from the closed form beside the check. Where a
printed optimum has fewer than seven digits the tolerance is half its last digit.
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.optimize import brentq

from optdescent.ocp import Guess, Outcome, Problem, Solution, solve
from tests.ocp import benchmark_problems as posed

EXACT = 1e-6


def solved(posing: tuple[Problem, Guess], **values: float) -> Solution:
    solution = solve(*posing, values)
    assert solution.outcome is Outcome.SOLVED
    certificate = solution.certificate
    assert certificate.local_error <= 1e-6
    assert certificate.violation <= 2e-8
    assert certificate.excess <= 1e-4
    return solution


def close(value: float, optimum: float, tolerance: float) -> bool:
    return abs(value - optimum) <= tolerance * abs(optimum)


def test_brachistochrone() -> None:
    # Cycloid x = R (a - sin a), y = R (1 - cos a): Bernoulli 1696.
    angle = brentq(lambda a: (a - math.sin(a)) / (1 - math.cos(a)) - 2.0, 0.1, 6.0)
    optimum = angle * math.sqrt(5.0 / (1 - math.cos(angle)) / 9.80665)
    assert optimum == pytest.approx(1.8016031225, abs=1e-9)
    assert close(solved(posed.brachistochrone(), gravity=9.80665).cost, optimum, 1e-9)


@pytest.mark.parametrize("limit", [1 / 6, 1 / 9, 0.04])
def test_bryson_denham_on_the_limit(limit: float) -> None:
    # Bryson and Ho, Applied Optimal Control (1975), section 3.11: a boundary arc, 4 / (9 l) for l <= 1/6.
    assert close(solved(posed.bryson_denham(), limit=limit).cost, 4 / (9 * limit), EXACT)


@pytest.mark.parametrize(("limit", "optimum"), [(0.2, 2 + 6 * (1 - 4 * 0.2) ** 2), (0.3, 2.0)])
def test_bryson_denham_touching_and_free(limit: float, optimum: float) -> None:
    # Bryson and Ho, section 3.11: touched at one point for 1/6 <= l <= 1/4, free above.
    assert close(solved(posed.bryson_denham(), limit=limit).cost, optimum, EXACT)


@pytest.mark.parametrize("posing", [posed.goddard, posed.goddard_three])
def test_goddard_rocket(posing: Callable[[], tuple[Problem, Guess]]) -> None:
    assert close(solved(posing()).cost, -1.01284, 0.5e-5)


def test_goddard_rocket_in_one_phase_and_in_three_agree() -> None:
    one, three = solved(posed.goddard()), solved(posed.goddard_three())
    assert close(one.cost, three.cost, 1e-7)


def test_particle_steering() -> None:
    # Linear tangent law; the printed optimum has seven digits.
    assert close(solved(posed.particle_steering()).cost, 0.5545709, EXACT)


def test_hang_glider() -> None:
    solution = solved(posed.hang_glider(), updraught=1.0)
    assert close(solution.cost, -1248.0310, EXACT)
    assert solution["arc"].end == pytest.approx(98.44, abs=0.01)


def test_hang_glider_from_a_flight_without_lift() -> None:
    """A guess of 20 s with the control at its bound; the spurious flight to 1500 m must not come out."""
    problem, guess = posed.hang_glider()
    own = guess.phases["arc"]
    poor = Guess({"arc": type(own)([0, 20], own.states, {"cl": [0, 0]})})
    assert close(solved((problem, poor), updraught=1.0).cost, -1248.0310, EXACT)


def test_zermelo() -> None:
    assert close(solved(posed.zermelo(), shear=1.0).cost, 5.264932, EXACT)


@pytest.mark.parametrize("distance", [0.3, 1.0, 30.0])
def test_double_integrator(distance: float) -> None:
    # One switch half way: x = d / 2 after t / 2 at full acceleration.
    assert close(solved(posed.double_integrator(), distance=distance).cost, 2 * math.sqrt(distance), EXACT)


def test_aly_chan() -> None:
    solution = solved(posed.aly_chan())
    arc = solution["arc"]
    assert abs(solution.cost) < EXACT
    inner = (arc.control_at > 0.1) & (arc.control_at < 1.4)
    assert np.max(np.abs(arc.controls["u"] + np.sin(arc.control_at))[inner]) < 1e-2
    # The cost is quadratic about the optimum: a cost right to 1e-6 fixes the states to about its root.
    assert np.max(np.abs(arc.states["x1"] - np.sin(arc.independent))) < math.sqrt(EXACT)


def test_maximum_range() -> None:
    assert close(solved(posed.maximum_range()).cost, -1.712315, EXACT)


def test_bang_then_singular() -> None:
    # By hand: u = -1 until x2 = -x1 at sqrt 2; from there x1 exp(-t), whose cost with the end's is x1^2 / 2.
    start = quad(lambda t: ((t - t * t / 2) ** 2 + (1 - t) ** 2) / 2, 0, math.sqrt(2))[0]
    solution = solved(posed.bang_singular())
    assert close(solution.cost, start + (math.sqrt(2) - 1) ** 2 / 2, EXACT)
    arc = solution["arc"]
    switched = arc.control_at[arc.controls["u"] > -0.9][0]
    assert switched == pytest.approx(math.sqrt(2), abs=5e-3)


def test_minimum_fuel_finds_its_switches() -> None:
    # Athans and Falb, Optimal Control (1966), section 8: full, coast, full back; d = t1 (T - t1).
    first = (3 - math.sqrt(3**2 - 4)) / 2
    solution = solved(posed.minimum_fuel())
    assert close(solution.cost, 2 * first, 1e-9)
    assert solution["push"].end == pytest.approx(first, abs=1e-8)
    assert solution["brake"].start == pytest.approx(3 - first, abs=1e-8)


def third_order_optimum(limit: float) -> float:
    """Half the square integral of x''' for a single touch in the middle, by an exact polynomial on [0, 1/2].

    x is even about the middle; a touch lets x''''' jump there and nothing below, so the odd x''' vanishes:
    x = 0, x' = 1, x'' = 0 at 0, and x = limit, x' = 0, x''' = 0 at 1/2. One touch is all if x rises to it.
    """
    a = 0.5
    rows = [[1.0, 0, 0, 0, 0, 0], [0, 1.0, 0, 0, 0, 0], [0, 0, 2.0, 0, 0, 0], [a**k for k in range(6)]]
    rows += [[k * a ** (k - 1) if k else 0 for k in range(6)], [0, 0, 0, 6, 24 * a, 60 * a**2]]
    x = np.polynomial.Polynomial(np.linalg.solve(np.array(rows), np.array([0, 1, 0, limit, 0, 0.0])))
    assert np.all(x(np.linspace(0, a, 101)) <= limit + 1e-12)
    return float((x.deriv(3) ** 2).integ()(a))


@pytest.mark.parametrize("limit", [0.21, 0.25, 0.3])
def test_third_order_constraint(limit: float) -> None:
    solution = solved(posed.third_order(), limit=limit)
    assert close(solution.cost, third_order_optimum(limit), EXACT)
    assert close(solution["arc"].states["x"].max(), limit, 1e-7)
