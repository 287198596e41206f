"""Winds made stronger, shifted, sheared, or disturbed at random."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.air.wind import ColumnField, Disturbance, NoWind, PerturbedWind, ProfileWind, SectionField, Wind
from optdescent.air.wind.section import section_of
from optdescent.air.wind.sounding import read_sounding, sounding_text
from optdescent.inputs import validated

KNOT, FOOT, MILE = 1852.0 / 3600.0, 0.3048, 1852.0
START = 200.0 * MILE
STILL = NoWind.model_validate({"kind": "none"})
BASE = ProfileWind(read_sounding(*sounding_text("nashville-2014-02-21", None)))
SECTION = section_of(
    [
        (150.0 * MILE, read_sounding(*sounding_text("amarillo-1999-05-04", None))),
        (20.0 * MILE, read_sounding(*sounding_text("norman-1999-05-04", None))),
    ],
    START,
)
HEIGHT = np.linspace(0.0, 12000.0, 40)


def winds(wind: Wind, distance: float = 30.0 * MILE) -> np.ndarray:
    sample = wind.field.sample(wind.coefficients(), -distance, HEIGHT)
    return np.stack([np.asarray(sample.east), np.asarray(sample.north)])


def disturbed(base: Wind, **change: float) -> PerturbedWind:
    return PerturbedWind(base, validated(Disturbance, dict(change), "change"), START)


@pytest.mark.parametrize("base", [STILL, BASE, SECTION])
def test_nothing_changes_nothing(base: Wind) -> None:
    assert winds(disturbed(base)) == pytest.approx(winds(base), abs=1e-6)


@pytest.mark.parametrize("base", [BASE, SECTION])
def test_scale_bias_and_shear_are_what_they_say(base: Wind) -> None:
    found = winds(disturbed(base, scale=1.5, bias_from_deg=270.0, bias_kt=10.0))
    assert found[0] == pytest.approx(1.5 * winds(base)[0] + 10.0 * KNOT, abs=1e-6)
    assert found[1] == pytest.approx(1.5 * winds(base)[1], abs=1e-6)
    sheared = winds(disturbed(base, shear_from_deg=180.0, shear_kt_per_1000ft=2.0, shear_zero_ft=5000.0))
    rise = (HEIGHT / FOOT - 5000.0) / 1000.0
    assert sheared[1] == pytest.approx(winds(base)[1] + 2.0 * KNOT * rise, abs=1e-6)


def test_a_seed_is_one_wind_and_another_seed_another() -> None:
    one, again, other = (disturbed(BASE, random_kt=8.0, seed=seed) for seed in (3, 3, 4))
    assert np.array_equal(one.coefficients(), again.coefficients())
    assert np.max(np.abs(winds(one) - winds(other))) > 1.0


def test_random_winds_have_the_spread_and_the_correlation_stated() -> None:
    """A thousand members: standard deviation 8 kt to 5 %, correlation exp(-1/2) one length apart to 0.06."""
    lengths = {"correlation_height_ft": 10000.0, "correlation_distance_nm": 60.0}
    field, found = SectionField, []
    for seed in range(1000):
        wind = disturbed(STILL, random_kt=8.0, seed=seed, **lengths)
        numbers = wind.coefficients()
        field = wind.field
        places = (-100.0 * MILE, -40.0 * MILE)
        heights = np.array([3000.0, 3000.0 + 10000.0 * FOOT])
        found.append([np.asarray(field.sample(numbers, x, heights).east) for x in places])
    values = np.asarray(found) / KNOT
    assert isinstance(field, SectionField)
    assert np.std(values[:, 0, 0]) == pytest.approx(8.0, rel=0.07)
    for one, other in ((values[:, 0, 0], values[:, 0, 1]), (values[:, 0, 0], values[:, 1, 0])):
        assert np.corrcoef(one, other)[0, 1] == pytest.approx(np.exp(-0.5), abs=0.06)
    assert abs(np.mean(values)) < 0.5


def test_without_a_length_along_the_track_it_is_the_same_at_every_distance() -> None:
    column = disturbed(BASE, random_kt=8.0, seed=5)
    assert column.field == ColumnField()
    along = disturbed(SECTION, random_kt=8.0, seed=5)
    assert winds(along, 150.0 * MILE) - winds(SECTION, 150.0 * MILE) == pytest.approx(
        winds(along, 20.0 * MILE) - winds(SECTION, 20.0 * MILE), abs=1e-6
    )
