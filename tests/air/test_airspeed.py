"""Airspeeds there and back."""

from __future__ import annotations

import pytest
from hypothesis import given

from optdescent.air import airspeed, atmosphere
from tests.strategies import between, machs, pressure_altitudes, temperature_offsets

calibrated_airspeeds = between(30.0, 180.0)


@given(machs, pressure_altitudes)
def test_mach_and_calibrated_are_inverses(mach: float, altitude: float) -> None:
    static = atmosphere.pressure(altitude)
    calibrated = airspeed.calibrated_from_mach(mach, static)
    assert float(airspeed.mach_from_calibrated(calibrated, static)) == pytest.approx(mach, rel=1e-10)


@given(calibrated_airspeeds, pressure_altitudes, temperature_offsets)
def test_calibrated_and_true_are_inverses(calibrated: float, altitude: float, offset: float) -> None:
    static, sound = atmosphere.pressure(altitude), atmosphere.speed_of_sound(altitude, offset)
    true = airspeed.true_from_calibrated(calibrated, static, sound)
    assert float(airspeed.calibrated_from_true(true, static, sound)) == pytest.approx(calibrated, rel=1e-10)
    assert float(airspeed.calibrated_at(true, altitude, sound)) == pytest.approx(calibrated, rel=1e-10)


@given(calibrated_airspeeds, pressure_altitudes, temperature_offsets)
def test_equivalent_and_true_are_inverses(speed: float, altitude: float, offset: float) -> None:
    density = atmosphere.density(altitude, offset)
    true = airspeed.true_from_equivalent(speed, density)
    assert float(airspeed.equivalent_from_true(true, density)) == pytest.approx(speed, rel=1e-14)


@given(machs, between(100.0, 19000.0))
def test_equivalent_is_below_calibrated_and_true_above_equivalent_aloft(mach: float, altitude: float) -> None:
    """Compressibility makes calibrated airspeed read high (NACA Report 837)."""
    sound = atmosphere.speed_of_sound(altitude, 0.0)
    true = mach * sound
    equivalent = float(airspeed.equivalent_from_true(true, atmosphere.density(altitude, 0.0)))
    calibrated = float(airspeed.calibrated_from_true(true, atmosphere.pressure(altitude), sound))
    assert equivalent < calibrated < true


@given(between(0.55, 0.85), between(120.0, 160.0))
def test_at_the_crossover_both_are_one_speed(mach: float, calibrated: float) -> None:
    altitude = airspeed.crossover_altitude(calibrated, mach)
    assert float(airspeed.mach_from_calibrated(calibrated, atmosphere.pressure(altitude))) == pytest.approx(
        mach, rel=1e-9
    )


def test_impact_pressure_is_dynamic_pressure_at_low_speed() -> None:
    static = 101325.0
    assert float(airspeed.impact_pressure(0.01, static)) == pytest.approx(0.5 * 1.4 * static * 0.01**2, rel=3e-5)
