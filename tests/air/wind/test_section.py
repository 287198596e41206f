"""Wind between soundings along the track."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.air.wind import ProfileWind, SectionField
from optdescent.air.wind.section import section_of
from optdescent.air.wind.section_field import BEYOND, WIDEST, knots_along
from optdescent.air.wind.sounding import BUILT_IN, read_sounding, sounding_text

MILE = 1852.0
NAMES = tuple(name for name in BUILT_IN if name.endswith("1999-05-04"))
SOUNDINGS = [read_sounding(*sounding_text(name, None)) for name in NAMES]
DISTANCES = [300.0 * MILE - 44.0 * MILE * k for k in range(len(NAMES))]
WIND = section_of(list(zip(DISTANCES, SOUNDINGS, strict=True)), 320.0 * MILE)
HEIGHT = np.linspace(0.0, 13000.0, 60)


def winds(distance: float) -> tuple[np.ndarray, np.ndarray]:
    sample = WIND.field.sample(WIND.coefficients(), -distance, HEIGHT)
    return np.asarray(sample.east), np.asarray(sample.north)


@pytest.mark.parametrize("index", range(len(NAMES)))
def test_at_a_station_it_is_the_sounding(index: int) -> None:
    """The soundings themselves, public data: the fit of a profile, whose misfit is tested there, but for rounding."""
    own = ProfileWind(SOUNDINGS[index])
    sample = own.field.sample(own.coefficients(), 0.0, HEIGHT)
    east, north = winds(DISTANCES[index])
    assert east == pytest.approx(np.asarray(sample.east), abs=1e-6)
    assert north == pytest.approx(np.asarray(sample.north), abs=1e-6)


def test_between_stations_it_is_between_them() -> None:
    """Half-way it is the mean but for the rounding of the kinks at the stations, a fraction of their difference."""
    for index in (1, 3, 5):
        near, far = winds(DISTANCES[index])[0], winds(DISTANCES[index + 1])[0]
        middle = winds(0.5 * (DISTANCES[index] + DISTANCES[index + 1]))[0]
        others = max(float(np.max(np.abs(winds(DISTANCES[k])[0] - near))) for k in (index - 1, index + 1, index + 2))
        assert np.max(np.abs(middle - 0.5 * (near + far))) < 0.1 * others


def test_beyond_the_outermost_stations_it_stays_nearly() -> None:
    last = winds(DISTANCES[-1])[0]
    step = float(np.max(np.abs(last - winds(DISTANCES[-2])[0])))
    assert np.max(np.abs(winds(-BEYOND)[0] - last)) < 0.1 * step


def test_the_order_of_the_stations_does_not_matter() -> None:
    other = section_of(list(zip(DISTANCES, SOUNDINGS, strict=True))[::-1], 320.0 * MILE)
    assert np.array_equal(other.coefficients(), WIND.coefficients())


def test_knots_hold_the_stations_and_are_near_enough() -> None:
    knots = np.asarray(knots_along(160.0 * MILE, [-100.0 * MILE, -3.0 * MILE, -2000.0 * MILE]))
    assert {-100.0 * MILE, -3.0 * MILE} <= set(knots.tolist())
    assert knots[0] == -160.0 * MILE - BEYOND
    assert knots[-1] == BEYOND
    assert np.max(np.diff(knots)) <= WIDEST * (1 + 1e-9)
    assert np.min(np.diff(knots)) > 0.0


def test_a_tailwind_of_a_band_is_one_there_and_nothing_elsewhere() -> None:
    field = WIND.field
    one = field.tailwind(0.6, 3000.0, 9000.0)
    sample = field.sample(one, -100e3, np.asarray(field.heights))
    along = np.asarray(sample.east) * np.sin(0.6) + np.asarray(sample.north) * np.cos(0.6)
    inside = (np.asarray(field.heights) >= 3000.0 - 1e-6) & (np.asarray(field.heights) < 9000.0 - 1e-6)
    assert along == pytest.approx(inside.astype(float), abs=1e-6)


def test_slopes_with_distance_and_height_are_those_of_the_wind() -> None:
    field, numbers = WIND.field, WIND.coefficients()
    x, h = np.linspace(-500e3, 0.0, 50), np.linspace(200.0, 11000.0, 50)
    sample = field.sample(numbers, x, h)
    for step, by in (((5.0, 0.0), sample.east_by_distance), ((0.0, 0.5), sample.east_by_height)):
        ahead = field.sample(numbers, x + step[0], h + step[1]).east
        behind = field.sample(numbers, x - step[0], h - step[1]).east
        assert np.asarray(by) == pytest.approx((np.asarray(ahead) - behind) / (2.0 * sum(step)), abs=2e-7)


def test_fields_of_one_shape_are_equal() -> None:
    assert SectionField(knots_along(160e3)) == SectionField(knots_along(160e3))
