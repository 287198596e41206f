"""What an altimeter shows: QNH below the transition altitude, 1013.25 hPa above it.

Source: ICAO Doc 8168 vol. III (altimeter setting procedures); the altimeter is calibrated to the standard atmosphere,
so its reading with a setting is the pressure altitude less the pressure altitude of the setting.
"""

from __future__ import annotations

from optdescent.air.atmosphere import pressure_altitude
from optdescent.curves.elementary import Value


def setting_shift(qnh: Value) -> Value:
    """Pressure altitude less QNH altitude [m] for an altimeter setting QNH [Pa]."""
    return pressure_altitude(qnh)


def pressure_altitude_of(altitude: Value, transition_altitude: float, qnh: Value) -> Value:
    """Pressure altitude [m] of a published altitude [m].

    Published altitudes at or below the transition altitude [m] are read with QNH [Pa]; higher ones are flight levels.
    `altitude` must be a number: which side of the transition it lies on is a property of the published value.
    """
    return shifted(altitude, transition_altitude, setting_shift(qnh))


def shifted(altitude: float, transition_altitude: float, shift: Value) -> Value:
    """Pressure altitude [m] of a published altitude [m], from the shift of the altimeter setting [m]."""
    return altitude if altitude > transition_altitude else altitude + shift
