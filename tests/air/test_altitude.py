"""What an altimeter shows."""

from __future__ import annotations

import pytest
from hypothesis import given

from optdescent.air import atmosphere
from optdescent.air.altitude import pressure_altitude_of, setting_shift
from tests.strategies import between, qnhs

TRANSITION = 5486.4


def test_with_the_standard_setting_altitude_is_pressure_altitude() -> None:
    assert float(setting_shift(101325.0)) == pytest.approx(0.0, abs=1e-9)
    assert float(pressure_altitude_of(3000.0, TRANSITION, 101325.0)) == pytest.approx(3000.0, abs=1e-9)


def test_a_low_setting_puts_an_altitude_at_a_higher_pressure_altitude() -> None:
    """ICAO Doc 8168 vol. III: an altimeter on QNH shows pressure altitude less the altitude of the setting.

    The altitude of 1003.25 hPa is about 27 ft for each hectopascal (common practice, no source; exact value 274 ft).
    """
    shift = float(setting_shift(100325.0))
    assert shift == pytest.approx(83.6, abs=1.0)
    assert float(pressure_altitude_of(1000.0, TRANSITION, 100325.0)) == pytest.approx(1000.0 + shift)


@given(qnhs)
def test_on_the_setting_s_own_pressure_the_altimeter_shows_zero(qnh: float) -> None:
    altitude = pressure_altitude_of(0.0, TRANSITION, qnh)
    assert float(atmosphere.pressure(altitude)) == pytest.approx(qnh, rel=1e-12)


@given(qnhs, between(0.0, 12000.0))
def test_flight_levels_do_not_know_the_setting(qnh: float, altitude: float) -> None:
    found = float(pressure_altitude_of(altitude, TRANSITION, qnh))
    if altitude > TRANSITION:
        assert found == altitude
    else:
        assert found == pytest.approx(altitude + float(setting_shift(qnh)))
