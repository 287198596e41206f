"""Noisy invented flights give the coefficients back, and standard errors say how well.

Counted over all pairs of a seed and a coefficient: of 100 seeds and 15 coefficients, at least 90 % of the found values
are within two standard errors of those the flights were flown with. For normal errors 95.4 % would be (any table of the
normal distribution); of one coefficient, 100 seeds miss 85 % once in 50 000 times, so each must reach that.
"""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from numpy.typing import NDArray

from optdescent.identify import Identified, MeasuredSpeed, Method, Noise, identify
from optdescent.identify.fit import DEFAULT_METHOD
from optdescent.results import Flight
from tests.identify.recordings import (
    AIRFRAME,
    ALTITUDE_NOISE,
    DECLARED,
    SPEED_NOISE,
    TRUE,
    flown,
    noisy,
    programme,
)

SEEDS = 100


@cache
def whole() -> Flight:
    return flown(programme())


def found(flight: Flight, method: Method = DEFAULT_METHOD) -> Identified:
    """Fit that starts from an airframe with every fitted number wrong."""
    return identify([("invented.nc", flight)], DECLARED, method=method)


@cache
def hundred() -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Values and standard errors (seed, coefficient), and noise (seed, 2) found of 100 seeds."""
    fits = [found(noisy(whole(), seed)).fit for seed in range(SEEDS)]
    noise = np.array([[fit.noise("speed"), fit.noise("altitude")] for fit in fits])
    return np.array([fit.column("value") for fit in fits]), np.array([f.column("standard_error") for f in fits]), noise


@pytest.mark.long
def test_within_two_standard_errors_in_nine_of_ten() -> None:
    value, error, _ = hundred()
    within = np.abs(value - TRUE) <= 2.0 * error
    assert within.mean() >= 0.90
    assert within.mean(axis=0).min() >= 0.85
    assert within.mean() <= 0.99, "standard errors that are too large would hide everything"


@pytest.mark.long
def test_standard_errors_are_the_scatter_of_the_seeds() -> None:
    """Each within 15 %, all together within 10 %; the scatter of 100 estimates is itself known to 7 % (1/√(2·99))."""
    value, error, _ = hundred()
    ratio = error.mean(axis=0) / value.std(axis=0, ddof=1)
    assert np.abs(ratio - 1.0).max() < 0.15
    assert np.exp(np.mean(np.log(ratio))) == pytest.approx(1.0, abs=0.10)


@pytest.mark.long
def test_noise_is_found_from_the_residuals() -> None:
    _, _, noise = hundred()
    assert noise.mean(axis=0) == pytest.approx([SPEED_NOISE, ALTITUDE_NOISE], rel=0.02)


def test_without_noise_the_coefficients_are_those_flown() -> None:
    """What is left is the error of the method: well under a standard error of noisy recordings."""
    fit = found(whole(), Method(noise=Noise(SPEED_NOISE, ALTITUDE_NOISE))).fit
    assert np.abs((fit.column("value") - TRUE) / fit.column("standard_error")).max() < 0.03


def test_true_airspeed_will_do() -> None:
    method = Method(MeasuredSpeed.TRUE)
    fit = found(noisy(whole(), 5), method).fit
    assert np.abs((fit.column("value") - TRUE) / fit.column("standard_error")).max() < 3.5


def test_the_start_does_not_matter() -> None:
    flight = noisy(whole(), 6)
    near = identify([("invented.nc", flight)], AIRFRAME).fit
    far = found(flight).fit
    assert np.abs(near.column("value") - far.column("value")).max() < 1e-3
    assert np.abs((near.column("value") - far.column("value")) / far.column("standard_error")).max() < 0.02


def test_more_data_shrink_standard_errors_as_one_over_root_n() -> None:
    """Exactly where the coefficients found are the same; with noise they differ a little, and so do the errors."""
    method = Method(noise=Noise(SPEED_NOISE, ALTITUDE_NOISE))
    same = [identify([(f"{k}.nc", whole()) for k in range(count)], AIRFRAME, method=method).fit for count in (1, 4)]
    assert same[0].column("standard_error") / same[1].column("standard_error") == pytest.approx(2.0, rel=0.01)
    four = identify([(f"{seed}.nc", noisy(whole(), seed)) for seed in range(1, 5)], AIRFRAME).fit
    ratio = same[0].column("standard_error") / four.column("standard_error")
    assert ratio == pytest.approx(np.full(TRUE.size, 2.0), rel=0.15)


def test_half_the_noise_gives_half_the_standard_errors() -> None:
    quiet = found(whole(), Method(noise=Noise(SPEED_NOISE / 2.0, ALTITUDE_NOISE / 2.0))).fit
    loud = found(whole(), Method(noise=Noise(SPEED_NOISE, ALTITUDE_NOISE))).fit
    assert loud.column("standard_error") / quiet.column("standard_error") == pytest.approx(2.0, rel=0.02)
