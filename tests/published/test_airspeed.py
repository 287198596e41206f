"""Airspeeds against published formulas and values.

Sources: NACA Report 837 (Aiken, 1946); NASA RP-1046 (Gracey, 1980). Values computed from the exact constants of ICAO
Doc 7488/3; the crossover altitudes differ by 1 ft between implementations.
"""

from __future__ import annotations

import pytest

from optdescent.air import airspeed, atmosphere
from optdescent.units import FOOT, KNOT


@pytest.mark.parametrize(
    ("calibrated", "altitude", "mach"),
    [(250.0, 10000.0, 0.45228), (280.0, 30000.0, 0.74216)],
)
def test_mach_number_at_a_calibrated_airspeed(calibrated: float, altitude: float, mach: float) -> None:
    static = atmosphere.pressure(altitude * FOOT)
    assert float(airspeed.mach_from_calibrated(calibrated * KNOT, static)) == pytest.approx(mach, abs=5.1e-6)


def test_true_airspeed_of_250_kt_at_10000_ft() -> None:
    altitude = 10000.0 * FOOT
    sound = atmosphere.speed_of_sound(altitude, 0.0)
    true = float(airspeed.true_from_calibrated(250.0 * KNOT, atmosphere.pressure(altitude), sound))
    assert true / KNOT == pytest.approx(288.70, abs=5.1e-3)


@pytest.mark.parametrize(("calibrated", "mach", "altitude"), [(280.0, 0.78, 32464.0), (300.0, 0.78, 29314.0)])
def test_crossover_altitude(calibrated: float, mach: float, altitude: float) -> None:
    assert float(airspeed.crossover_altitude(calibrated * KNOT, mach)) / FOOT == pytest.approx(altitude, abs=1.0)


def test_at_sea_level_in_standard_air_all_airspeeds_are_one() -> None:
    """By definition of calibrated and equivalent airspeed (NASA RP-1046, chapter 2)."""
    sound, static, density = 340.294, 101325.0, 1.225
    assert float(airspeed.calibrated_from_true(120.0, static, sound)) == pytest.approx(120.0, rel=1e-6)
    assert float(airspeed.equivalent_from_true(120.0, density)) == pytest.approx(120.0, rel=1e-6)
