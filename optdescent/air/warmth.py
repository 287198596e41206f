"""Temperature of a measured day: how much warmer than the standard atmosphere, by pressure altitude.

The ratio of actual to standard temperature, less one, is a natural cubic spline over pressure altitude. It is linear in
its coefficients, which may be parameters, and its integral, which is what geopotential height gains on pressure
altitude, is known in closed form.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.air import atmosphere
from optdescent.air.wind.sounding import WIDEST_GAP, Sounding
from optdescent.curves import CubicTable
from optdescent.inputs import Fault, InputFault
from optdescent.units import FOOT

WARMTH = CubicTable(tuple(FOOT * height for height in (*range(-2000, 20000, 2000), *range(20000, 50001, 3000))))
"""Spline of (T / T_standard - 1) over pressure altitude [m]."""
_SPACING = 50.0
_FEWEST = 5
_HIGHEST = 9000.0
"""Pressure altitude [m] up to which temperatures must be observed."""


def warmth_of(sounding: Sounding, name: str) -> NDArray[np.float64]:
    """Coefficients (WARMTH.size,) [-] that fit a sounding's temperatures best; held constant beyond its levels.

    Raises
    ------
    InputFault
        Fewer than five levels with pressure and temperature, or pressures that do not fall.
    """
    altitude = np.asarray(atmosphere.pressure_altitude(sounding.pressure), dtype=float)
    if altitude.size < _FEWEST:
        given = f"{altitude.size} level(s) with pressure and temperature"
        raise InputFault([Fault(name, "temperature", given, f"at least {_FEWEST}")])
    if np.any(np.diff(altitude) <= 0.0):
        index = int(np.argmax(np.diff(altitude) <= 0.0))
        given = f"{sounding.pressure[index]:.0f} Pa, then {sounding.pressure[index + 1]:.0f} Pa"
        raise InputFault([Fault(name, "pressure", given, "pressures that fall from row to row")])
    gaps = np.diff(altitude[altitude < _HIGHEST])
    if float(np.max(gaps, initial=0.0)) > WIDEST_GAP or altitude[-1] < _HIGHEST:
        widest = float(np.max(gaps, initial=0.0))
        given = f"temperatures {altitude[0]:.0f} to {altitude[-1]:.0f} m, up to {widest:.0f} m apart"
        allowed = f"up to {_HIGHEST:.0f} m in pressure altitude, gaps up to {WIDEST_GAP:.0f} m"
        raise InputFault([Fault(name, "temperature", given, allowed)])
    ratio = sounding.temperature / np.asarray(atmosphere.standard_temperature(altitude)) - 1.0
    return WARMTH.coefficients(WARMTH.fitted(altitude, ratio, _SPACING))
