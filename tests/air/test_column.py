"""The air met at one place."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given

from optdescent.air import Air, atmosphere
from tests.simulation import air
from tests.strategies import airs, between, courses, descent_altitudes, qnhs, temperature_offsets

HALF_TURN = math.pi


@given(airs())
def test_the_datum_is_where_its_altimeter_says(column: Air) -> None:
    assert float(column.height(column.datum_pressure_altitude())) == pytest.approx(column.datum_elevation, abs=1e-9)


def test_a_warm_day_lifts_the_pressure_surfaces_above_the_datum_only() -> None:
    cold, warm = air(temperature_offset=-20.0, elevation=500.0), air(temperature_offset=20.0, elevation=500.0)
    assert float(cold.height(500.0)) == float(warm.height(500.0)) == 500.0
    assert float(cold.height(3000.0)) < 3000.0 < float(warm.height(3000.0))


@given(airs(), descent_altitudes, courses)
def test_a_sample_is_one_gas(column: Air, altitude: float, course: float) -> None:
    sample = column.sample(0.0, altitude, course)
    assert float(sample.pressure) == pytest.approx(float(atmosphere.pressure(altitude)))
    assert float(sample.density) == pytest.approx(
        float(atmosphere.density(altitude, column.temperature_offset)), rel=1e-13
    )
    assert float(sample.speed_of_sound**2) == pytest.approx(
        1.4 * float(sample.pressure) / float(sample.density), rel=1e-12
    )


@given(temperature_offsets, qnhs, between(0.0, 1500.0), descent_altitudes)
def test_stretch_is_the_slope_of_height(offset: float, qnh: float, elevation: float, altitude: float) -> None:
    column = air(temperature_offset=offset, qnh=qnh, elevation=elevation)
    slope = (float(column.height(altitude + 5.0)) - float(column.height(altitude - 5.0))) / 10.0
    # the temperature has a corner at the tropopause, seen by a difference across it
    assert float(column.sample(0.0, altitude, 0.0).stretch) == pytest.approx(slope, rel=2e-5)


@given(airs(), descent_altitudes, courses)
def test_wind_keeps_its_strength_on_any_course_and_turns_round_with_it(
    column: Air, altitude: float, course: float
) -> None:
    there, north = column.sample(0.0, altitude, course), column.sample(0.0, altitude, 0.0)
    back = column.sample(0.0, altitude, course + HALF_TURN)
    strength = math.hypot(there.wind_along, there.wind_across)
    assert strength == pytest.approx(math.hypot(north.wind_along, north.wind_across), abs=1e-9)
    assert float(back.wind_along) == pytest.approx(-float(there.wind_along), abs=1e-9)
    assert float(back.wind_across) == pytest.approx(-float(there.wind_across), abs=1e-9)


@given(airs(), descent_altitudes, courses)
def test_slopes_are_those_of_the_wind_by_height(column: Air, altitude: float, course: float) -> None:
    up, down = (column.sample(0.0, altitude + d, course) for d in (1.0, -1.0))
    here = column.sample(0.0, altitude, course)
    rise = float(up.height - down.height)
    assert float(up.wind_along - down.wind_along) / rise == pytest.approx(float(here.wind_along_by_height), abs=1e-6)
    assert float(up.wind_across - down.wind_across) / rise == pytest.approx(float(here.wind_across_by_height), abs=1e-6)


def test_many_places_at_once() -> None:
    column = air(east=10.0, north_by_height=0.001, temperature_offset=5.0)
    altitudes = np.linspace(0.0, 12000.0, 7)
    together = column.sample(np.zeros(7), altitudes, 0.3)
    for index, altitude in enumerate(altitudes):
        alone = column.sample(0.0, float(altitude), 0.3)
        for name, value in vars(alone).items():
            shared = np.broadcast_to(getattr(together, name), 7)
            assert shared[index] == pytest.approx(float(value), rel=1e-13, abs=1e-13), name
