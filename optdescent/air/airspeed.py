"""Calibrated, equivalent and true airspeed and Mach number, compressible and exact in both directions.

Subsonic only. Sources: NACA Report 837 (Aiken, 1946); NASA RP-1046 (Gracey, 1980), appendix A.
"""

from __future__ import annotations

from optdescent.air.atmosphere import (
    HEAT_RATIO,
    SEA_LEVEL_DENSITY,
    SEA_LEVEL_PRESSURE,
    SEA_LEVEL_SPEED_OF_SOUND,
    pressure,
    pressure_altitude,
)
from optdescent.curves.elementary import Value, sqrt

_HALF = (HEAT_RATIO - 1.0) / 2.0
_POWER = HEAT_RATIO / (HEAT_RATIO - 1.0)


def impact_pressure(mach: Value, static_pressure: Value) -> Value:
    """Impact pressure [Pa] of isentropic flow at a Mach number [-] and static pressure [Pa]."""
    return static_pressure * ((1.0 + _HALF * mach**2) ** _POWER - 1.0)


def _mach_of_impact(ratio: Value) -> Value:
    return sqrt(((ratio + 1.0) ** (1.0 / _POWER) - 1.0) / _HALF)


def mach_from_calibrated(calibrated: Value, static_pressure: Value) -> Value:
    """Mach number [-] at a calibrated airspeed [m/s] and static pressure [Pa]."""
    impact = impact_pressure(calibrated / SEA_LEVEL_SPEED_OF_SOUND, SEA_LEVEL_PRESSURE)
    return _mach_of_impact(impact / static_pressure)


def calibrated_from_mach(mach: Value, static_pressure: Value) -> Value:
    """Calibrated airspeed [m/s] at a Mach number [-] and static pressure [Pa]."""
    impact = impact_pressure(mach, static_pressure)
    return SEA_LEVEL_SPEED_OF_SOUND * _mach_of_impact(impact / SEA_LEVEL_PRESSURE)


def true_from_calibrated(calibrated: Value, static_pressure: Value, sound: Value) -> Value:
    """True airspeed [m/s] from calibrated airspeed [m/s], static pressure [Pa] and speed of sound [m/s]."""
    return sound * mach_from_calibrated(calibrated, static_pressure)


def calibrated_from_true(true: Value, static_pressure: Value, sound: Value) -> Value:
    """Calibrated airspeed [m/s] from true airspeed [m/s], static pressure [Pa] and speed of sound [m/s]."""
    return calibrated_from_mach(true / sound, static_pressure)


def equivalent_from_true(true: Value, density: Value) -> Value:
    """Equivalent airspeed [m/s] from true airspeed [m/s] and density [kg/m3]."""
    return true * sqrt(density / SEA_LEVEL_DENSITY)


def true_from_equivalent(equivalent: Value, density: Value) -> Value:
    """True airspeed [m/s] from equivalent airspeed [m/s] and density [kg/m3]."""
    return equivalent / sqrt(density / SEA_LEVEL_DENSITY)


def crossover_altitude(calibrated: Value, mach: Value) -> Value:
    """Pressure altitude [m] at which a calibrated airspeed [m/s] and a Mach number [-] are the same speed.

    Temperature does not enter: both follow from impact and static pressure alone.
    """
    impact = impact_pressure(calibrated / SEA_LEVEL_SPEED_OF_SOUND, SEA_LEVEL_PRESSURE)
    return pressure_altitude(impact / ((1.0 + _HALF * mach**2) ** _POWER - 1.0))


def calibrated_at(true: Value, altitude: Value, sound: Value) -> Value:
    """Calibrated airspeed [m/s] from true airspeed [m/s] at a pressure altitude [m] with speed of sound [m/s]."""
    return calibrated_from_true(true, pressure(altitude), sound)
