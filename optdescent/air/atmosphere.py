"""ICAO standard atmosphere with a temperature offset, as functions of pressure altitude.

Pressure altitude is the geopotential height at which the standard atmosphere has the given pressure. It is the height
state of the motion: flight levels, pressure and temperature follow from it in closed form. Geopotential height above
the datum follows from the hydrostatic equation with the actual temperature.

Source: ICAO Doc 7488/3 (1993), identical to ISO 2533:1975 and US Standard Atmosphere 1976 up to 32 km. Two layers are
held, to 20 km geopotential.
"""

from __future__ import annotations

from optdescent.curves.elementary import Value, exp, log, maximum, minimum, sqrt, where
from optdescent.units import GRAVITY

SEA_LEVEL_TEMPERATURE = 288.15
SEA_LEVEL_PRESSURE = 101325.0
GAS_CONSTANT = 287.05287
HEAT_RATIO = 1.4
LAPSE_RATE = 0.0065
TROPOPAUSE = 11000.0
TROPOPAUSE_TEMPERATURE = SEA_LEVEL_TEMPERATURE - LAPSE_RATE * TROPOPAUSE
EXPONENT = GRAVITY / (GAS_CONSTANT * LAPSE_RATE)
TROPOPAUSE_PRESSURE = SEA_LEVEL_PRESSURE * (TROPOPAUSE_TEMPERATURE / SEA_LEVEL_TEMPERATURE) ** EXPONENT
SEA_LEVEL_DENSITY = SEA_LEVEL_PRESSURE / (GAS_CONSTANT * SEA_LEVEL_TEMPERATURE)
SEA_LEVEL_SPEED_OF_SOUND = (HEAT_RATIO * GAS_CONSTANT * SEA_LEVEL_TEMPERATURE) ** 0.5


def standard_temperature(pressure_altitude: Value) -> Value:
    """Temperature [K] of the standard atmosphere at a pressure altitude [m]."""
    return SEA_LEVEL_TEMPERATURE - LAPSE_RATE * minimum(pressure_altitude, TROPOPAUSE)


def temperature(pressure_altitude: Value, offset: Value) -> Value:
    """Static air temperature [K] at a pressure altitude [m], `offset` [K] from the standard."""
    return standard_temperature(pressure_altitude) + offset


def pressure(pressure_altitude: Value) -> Value:
    """Static pressure [Pa] at a pressure altitude [m]; the temperature offset does not enter."""
    low = minimum(pressure_altitude, TROPOPAUSE)
    troposphere = SEA_LEVEL_PRESSURE * (1.0 - LAPSE_RATE / SEA_LEVEL_TEMPERATURE * low) ** EXPONENT
    above = maximum(pressure_altitude - TROPOPAUSE, 0.0)
    return troposphere * exp(-GRAVITY / (GAS_CONSTANT * TROPOPAUSE_TEMPERATURE) * above)


def pressure_altitude(static_pressure: Value) -> Value:
    """Pressure altitude [m] of a static pressure [Pa]."""
    ratio = static_pressure / SEA_LEVEL_PRESSURE
    troposphere = SEA_LEVEL_TEMPERATURE / LAPSE_RATE * (1.0 - ratio ** (1.0 / EXPONENT))
    scale_height = GAS_CONSTANT * TROPOPAUSE_TEMPERATURE / GRAVITY
    stratosphere = TROPOPAUSE - scale_height * log(static_pressure / TROPOPAUSE_PRESSURE)
    return where(static_pressure >= TROPOPAUSE_PRESSURE, troposphere, stratosphere)


def density(pressure_altitude: Value, offset: Value) -> Value:
    """Air density [kg/m3] at a pressure altitude [m] and temperature offset [K]."""
    return pressure(pressure_altitude) / (GAS_CONSTANT * temperature(pressure_altitude, offset))


def speed_of_sound(pressure_altitude: Value, offset: Value) -> Value:
    """Speed of sound [m/s] at a pressure altitude [m] and temperature offset [K]."""
    return speed_of_sound_at(temperature(pressure_altitude, offset))


def speed_of_sound_at(static_temperature: Value) -> Value:
    """Speed of sound [m/s] at a static air temperature [K]."""
    return sqrt(HEAT_RATIO * GAS_CONSTANT * static_temperature)


def geopotential_rise(low: Value, high: Value, offset: Value) -> Value:
    """Geopotential height [m] between two pressure altitudes [m] at a temperature offset [K].

    Notes
    -----
    dH = (T / T_standard) dH_p, integrated in closed form: the rise in pressure altitude, plus the offset times the
    integral of 1 / T_standard.
    """
    return (high - low) + offset * (_inverse_temperature(high) - _inverse_temperature(low))


def _inverse_temperature(height: Value) -> Value:
    """Integral of 1 / T_standard [m/K] from sea level to a pressure altitude [m]."""
    low = minimum(height, TROPOPAUSE)
    troposphere = -log(1.0 - LAPSE_RATE / SEA_LEVEL_TEMPERATURE * low) / LAPSE_RATE
    return troposphere + maximum(height - TROPOPAUSE, 0.0) / TROPOPAUSE_TEMPERATURE
