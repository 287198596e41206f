"""What an altimeter shows: QNH below the transition altitude, 1013.25 hPa above it.

Source: ICAO Doc 8168 vol. III (altimeter setting procedures); the altimeter is calibrated to the standard atmosphere,
so its reading with a setting is the pressure altitude less the pressure altitude of the setting.
"""

from __future__ import annotations

from optdescent.air.atmosphere import pressure_altitude
from optdescent.curves.elementary import Value

EARTH_RADIUS = 6356766.0
"""Radius [m] with which geometric heights become geopotential ones (ICAO Doc 7488/3, section 2.3)."""


def geopotential(geometric: Value) -> Value:
    """Geopotential height [m] of a geometric height above mean sea level [m].

    Every height in this project is geopotential; 10 km are 16 m less of it.
    """
    return EARTH_RADIUS * geometric / (EARTH_RADIUS + geometric)


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
