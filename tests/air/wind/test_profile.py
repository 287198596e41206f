"""Wind by height from the measured Nashville ascent, and from made-up ones."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.air.wind import ColumnField, ProfileWind
from optdescent.air.wind.sounding import read_sounding, sounding_text
from optdescent.units import FOOT, KNOT
from tests.air.wind.soundings import sounding_of

NASHVILLE = ProfileWind(read_sounding(*sounding_text("nashville-2014-02-21", None)))


def test_the_fit_follows_the_measured_levels() -> None:
    """A radiosonde wind is an average over a minute: a few knots is as well as it is known (from memory)."""
    rms, worst = NASHVILLE.misfit()
    assert rms < 4.0 * KNOT
    assert worst < 12.0 * KNOT


def test_the_misfit_is_that_of_the_observed_levels() -> None:
    sounding = NASHVILLE.sounding
    inside = sounding.height <= 48000.0 * FOOT
    sample = NASHVILLE.field.sample(NASHVILLE.coefficients(), 0.0, sounding.height[inside])
    off = np.hypot(sample.east - sounding.east[inside], sample.north - sounding.north[inside])
    assert NASHVILLE.misfit() == pytest.approx((np.sqrt(np.mean(off**2)), off.max()))


def test_the_jet_is_there() -> None:
    """The sheet of this ascent shows 135 kt as its strongest wind below the top of the column."""
    height = np.linspace(0.0, 48000.0 * FOOT, 500)
    sample = NASHVILLE.field.sample(NASHVILLE.coefficients(), 0.0, height)
    assert np.hypot(sample.east, sample.north).max() / KNOT == pytest.approx(135.0, abs=8.0)


def test_a_sounding_is_linear_between_levels_and_constant_outside() -> None:
    sounding = sounding_of([(100.0, 10.0), (1000.0, 20.0), (3000.0, 60.0)])
    east, north = sounding.at(np.array([-500.0, 100.0, 550.0, 2000.0, 3000.0, 20000.0]))
    np.testing.assert_allclose(east / KNOT, [10.0, 10.0, 15.0, 40.0, 60.0, 60.0])
    np.testing.assert_allclose(north, 0.0, atol=1e-12)


def test_the_profile_holds_the_wind_outside_the_data() -> None:
    levels = [(float(h), 30.0 + 40.0 * (h - 2000.0) / 6000.0) for h in range(2000, 8001, 250)]
    wind = ProfileWind(sounding_of(levels))
    coefficients = wind.coefficients()
    below = wind.field.sample(coefficients, 0.0, np.linspace(-600.0, 1000.0, 50))
    above = wind.field.sample(coefficients, 0.0, np.linspace(10000.0, 14600.0, 50))
    np.testing.assert_allclose(below.east / KNOT, 30.0, atol=0.5)
    np.testing.assert_allclose(above.east / KNOT, 70.0, atol=0.5)


def test_a_uniform_sounding_gives_a_uniform_wind() -> None:
    wind = ProfileWind(sounding_of([(float(h), 44.0) for h in range(0, 14001, 500)]))
    sample = wind.field.sample(wind.coefficients(), 0.0, np.linspace(-1000.0, 16000.0, 100))
    np.testing.assert_allclose(sample.east / KNOT, 44.0, atol=1e-8)
    np.testing.assert_allclose(sample.east_by_height, 0.0, atol=1e-11)


def test_a_wind_linear_in_height_is_followed() -> None:
    """Below the lowest level the wind is held: the corner there is all that is missed."""
    wind = ProfileWind(sounding_of([(float(h), 10.0 + h / 200.0) for h in range(-400, 16001, 200)]))
    height = np.linspace(-300.0, 14600.0, 100)
    sample = wind.field.sample(wind.coefficients(), 0.0, height)
    np.testing.assert_allclose(sample.east / KNOT, 10.0 + height / 200.0, atol=0.1)
    assert wind.misfit()[0] < 0.1 * KNOT


def test_it_shares_the_field_of_the_other_forms() -> None:
    assert NASHVILLE.field == ColumnField()
