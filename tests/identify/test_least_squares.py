"""The least-squares solution against a general-purpose solver, and the information matrix against its Jacobian."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy.optimize import least_squares

from optdescent.identify.coefficients import coefficients_of, local_indices
from optdescent.identify.least_squares import Noise, Problem, solve
from optdescent.identify.segments import MeasuredSpeed, segments_of
from optdescent.identify.simulate import OWN, Simulation
from tests.identify.recordings import AIRFRAME, ALTITUDE_NOISE, SPEED_NOISE, Leg, flown, noisy

DEVIATION = np.array([SPEED_NOISE, ALTITUDE_NOISE])
CLEAN = (
    Leg(0, 0, 0, 30000, 270, -2.8, 90, 50000.0),
    Leg(0, 0, 0, 10000, 220, -2.8, 90, 50000.0),
    Leg(0, 0, 0, 12000, 310, -3.2, 90, 64000.0),
    Leg(0, 0, 1, 20000, 290, -5.0, 60, 64000.0),
)


def problem_of(speed: MeasuredSpeed) -> tuple[Problem, NDArray[np.float64]]:
    """Clean drag, speed brake and idle thrust of a short recording; values to start from, away from the flown ones."""
    coefficients = coefficients_of(AIRFRAME, "narrow-body-twin")
    segments = segments_of([("a.nc", noisy(flown(CLEAN), 2))], AIRFRAME, speed, None, 45.0)
    acting = np.array([local_indices(coefficients, one.step) for one in segments])
    keys = [one.key for one in coefficients]
    wanted = ("steps[0].polar.zero_lift_drag", "steps[0].polar.induced_drag_factor", "speed_brake.drag")
    free = np.array([keys.index(key) for key in (*wanted, "engines.idle.thrust")])
    values = np.array([one.declared for one in coefficients])
    values[free] *= [1.1, 0.9, 1.2, 0.8]
    return Problem(Simulation(AIRFRAME, speed, segments), acting, free), values


@pytest.mark.parametrize("speed", MeasuredSpeed)
def test_scipy_finds_the_same_values_and_errors(speed: MeasuredSpeed) -> None:
    """All unknowns at once, none eliminated: scipy.optimize.least_squares (trust region reflective)."""
    problem, values = problem_of(speed)
    start = problem.start(values)
    count, size = len(problem.simulation.segments), problem.free.size
    scale = np.concatenate([np.tile([10.0, 1.0, 0.01, 0.001], count), np.full(size, 0.01)])

    def point_at(unknown: NDArray[np.float64]):
        full, natural = values.copy(), unknown * scale
        full[problem.free] = natural[-size:]
        return problem.at(natural[:-size].reshape(count, OWN), full)

    def residuals(unknown: NDArray[np.float64]) -> NDArray[np.float64]:
        return (problem.residuals(point_at(unknown)) / DEVIATION).ravel()

    first = np.concatenate([start.own.ravel(), values[problem.free]]) / scale
    other = least_squares(residuals, first, method="trf", xtol=1e-12, ftol=1e-12, gtol=1e-12)
    solved = solve(problem, start, DEVIATION, Noise(*DEVIATION))
    assert solved is not None
    covariance = np.linalg.inv(other.jac.T @ other.jac)
    errors = np.sqrt(np.diag(covariance))[-size:] * scale[-size:]
    ours = np.sqrt(np.diag(solved.normal.covariance()))
    assert ours == pytest.approx(errors, rel=1e-3)
    gap = (solved.point.values[problem.free] - (other.x * scale)[-size:]) / errors
    assert np.abs(gap).max() < 0.01
    assert problem.cost(solved.point, DEVIATION) == pytest.approx(other.cost, rel=1e-6)


@pytest.mark.parametrize("speed", MeasuredSpeed)
def test_derivatives_are_those_of_differences(speed: MeasuredSpeed) -> None:
    problem, values = problem_of(speed)
    start = problem.start(values)
    for column, size in enumerate((1.0, 0.1, 1e-4, 1e-4)):
        ends = [start.own + sign * size * (np.arange(OWN) == column) for sign in (-1.0, 1.0)]
        low, high = (problem.at(own, values).predicted.values for own in ends)
        by = start.predicted.by_own[..., column]
        assert np.abs((high - low) / (2.0 * size) - by).max() < 1e-5 * np.abs(by).max()
    for role, place in enumerate(problem.acting[0]):
        moved = [values + sign * 1e-4 * (np.arange(values.size) == place) for sign in (-1.0, 1.0)]
        low, high = (problem.at(start.own, one).predicted.values[0] for one in moved)
        by = start.predicted.by_local[0, ..., role]
        assert np.abs((high - low) / 2e-4 - by).max() <= 1e-5 * np.abs(by).max()


def test_leverages_sum_to_the_number_of_unknowns() -> None:
    """Trace of the hat matrix (Hoaglin and Welsch, The American Statistician 32, 1978)."""
    problem, values = problem_of(MeasuredSpeed.CALIBRATED)
    normal = problem.linearised(problem.start(values), DEVIATION)
    unknowns = OWN * len(problem.simulation.segments) + problem.free.size
    assert normal.leverages().sum() == pytest.approx(unknowns, rel=1e-6)
