"""Thrust and fuel flow of all engines against pressure, density and Mach number.

The forms are those of textbooks (Mattingly, Elements of Propulsion, 2006, chapter 8: thrust lapse with density ratio
and Mach number; Torenbeek, Advanced Aircraft Design, 2013, section 2.3: specific fuel flow linear in Mach number).
"""

from __future__ import annotations

from optdescent.air.atmosphere import SEA_LEVEL_DENSITY, SEA_LEVEL_PRESSURE
from optdescent.airframe.declaration import Airframe
from optdescent.curves.elementary import Value


def idle_thrust(airframe: Airframe, pressure: Value, mach: Value) -> Value:
    """Idle net thrust [N] at a static pressure [Pa] and Mach number [-]."""
    engines = airframe.engines
    lapse = engines.idle_thrust_floor + (1.0 - engines.idle_thrust_floor) * pressure / SEA_LEVEL_PRESSURE
    share = engines.idle_thrust + engines.idle_thrust_by_mach * mach
    return engines.count * engines.rated_thrust * share * lapse


def maximum_thrust(airframe: Airframe, density: Value, mach: Value) -> Value:
    """Largest thrust [N] at a density [kg/m3] and Mach number [-]."""
    engines = airframe.engines
    lapse = (density / SEA_LEVEL_DENSITY) ** engines.maximum_thrust_power
    return engines.count * engines.rated_thrust * lapse * (1.0 + engines.maximum_thrust_by_mach * mach)


def idle_flow(airframe: Airframe, pressure: Value) -> Value:
    """Idle fuel flow [kg/s] at a static pressure [Pa]."""
    engines = airframe.engines
    return engines.count * (engines.idle_flow + engines.idle_flow_by_pressure * pressure / SEA_LEVEL_PRESSURE)


def maximum_flow(airframe: Airframe, density: Value, mach: Value) -> Value:
    """Fuel flow [kg/s] at largest thrust, at a density [kg/m3] and Mach number [-]."""
    engines = airframe.engines
    return maximum_thrust(airframe, density, mach) * (engines.specific_flow + engines.specific_flow_by_mach * mach)
