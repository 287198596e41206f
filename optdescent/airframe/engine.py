"""Thrust and fuel flow of all engines against pressure, density and Mach number.

The forms are those of textbooks (Mattingly, Elements of Propulsion, 2006, chapter 8: thrust lapse with density ratio
and Mach number; Torenbeek, Advanced Aircraft Design, 2013, section 2.3: specific fuel flow linear in Mach number). Idle
may be a table instead. With engine anti-ice on, a share 1, idle is the raised one that the airframe declares.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from typing import assert_never

import numpy as np
from numpy.typing import NDArray

from optdescent.air.atmosphere import SEA_LEVEL_DENSITY, SEA_LEVEL_PRESSURE, pressure_altitude
from optdescent.airframe.declaration import Airframe, Engines, Idle, IdleCoefficients, IdleTable
from optdescent.curves import CubicSheet, CubicTable
from optdescent.curves.elementary import Value

_Rows = tuple[tuple[float, ...], ...]


def idle_thrust(airframe: Airframe, pressure: Value, mach: Value, anti_ice: Value | None = None) -> Value:
    """Idle net thrust [N] at a static pressure [Pa] and Mach number [-]; `anti_ice` [-] is 1 when on, None never."""
    engines = airframe.engines
    return engines.count * _with_anti_ice(
        engines, anti_ice, lambda idle: _thrust(idle, engines.rated_thrust, pressure, mach)
    )


def idle_flow(airframe: Airframe, pressure: Value, mach: Value, anti_ice: Value | None = None) -> Value:
    """Idle fuel flow [kg/s] at a static pressure [Pa] and Mach number [-]; `anti_ice` [-] is 1 when on, None never."""
    engines = airframe.engines
    return engines.count * _with_anti_ice(engines, anti_ice, lambda idle: _flow(idle, pressure, mach))


def _with_anti_ice(engines: Engines, anti_ice: Value | None, of: Callable[[Idle], Value]) -> Value:
    """A number of idle, raised by the share of anti-ice; an airframe without a raised idle keeps its idle."""
    usual = of(engines.idle)
    if anti_ice is None or engines.anti_ice_idle is None:
        return usual
    return usual + anti_ice * (of(engines.anti_ice_idle) - usual)


def _thrust(idle: Idle, rated: float, pressure: Value, mach: Value) -> Value:
    """Idle net thrust of one engine [N]."""
    match idle:
        case IdleCoefficients():
            lapse = idle.thrust_floor + (1.0 - idle.thrust_floor) * pressure / SEA_LEVEL_PRESSURE
            return rated * (idle.thrust + idle.thrust_by_mach * mach) * lapse
        case IdleTable():
            return _tabulated(idle, idle.thrust, pressure, mach)
    assert_never(idle)


def _flow(idle: Idle, pressure: Value, mach: Value) -> Value:
    """Idle fuel flow of one engine [kg/s]."""
    match idle:
        case IdleCoefficients():
            return idle.flow + idle.flow_by_pressure * pressure / SEA_LEVEL_PRESSURE
        case IdleTable():
            return _tabulated(idle, idle.flow, pressure, mach)
    assert_never(idle)


def _tabulated(idle: IdleTable, rows: _Rows, pressure: Value, mach: Value) -> Value:
    """Value of a table: twice continuously differentiable in pressure altitude, which a motion has as its state."""
    sheet, coefficients = _sheet(idle.pressure_altitude, idle.mach, rows)
    value, _, _ = sheet.combine(coefficients, sheet.place(pressure_altitude(pressure), mach))
    return value


@lru_cache(maxsize=64)
def _sheet(
    altitudes: tuple[float, ...], machs: tuple[float, ...], rows: _Rows
) -> tuple[CubicSheet, NDArray[np.float64]]:
    """Sheet over altitude [m] and Mach number [-], and its coefficients."""
    sheet = CubicSheet(CubicTable(altitudes), CubicTable(machs))
    return sheet, sheet.coefficients(rows)


def maximum_thrust(airframe: Airframe, density: Value, mach: Value) -> Value:
    """Largest thrust [N] at a density [kg/m3] and Mach number [-]."""
    engines = airframe.engines
    lapse = (density / SEA_LEVEL_DENSITY) ** engines.maximum_thrust_power
    return engines.count * engines.rated_thrust * lapse * (1.0 + engines.maximum_thrust_by_mach * mach)


def maximum_flow(airframe: Airframe, density: Value, mach: Value) -> Value:
    """Fuel flow [kg/s] at largest thrust, at a density [kg/m3] and Mach number [-]."""
    engines = airframe.engines
    return maximum_thrust(airframe, density, mach) * (engines.specific_flow + engines.specific_flow_by_mach * mach)
