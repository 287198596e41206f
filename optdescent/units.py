"""Exact conversion factors between the units of the trade and SI, and the suffixes that name them in files.

Sources: ISO 80000-3 (nautical mile, knot) and the international yard and pound agreement of 1959 (foot).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

FOOT = 0.3048
NAUTICAL_MILE = 1852.0
KNOT = NAUTICAL_MILE / 3600.0
MINUTE = 60.0
HECTOPASCAL = 100.0
KILONEWTON = 1000.0
DEGREE = math.pi / 180.0
FOOT_PER_MINUTE = FOOT / MINUTE
FOOT_PER_NAUTICAL_MILE = FOOT / NAUTICAL_MILE
GRAVITY = 9.80665
"""Standard acceleration of free fall [m/s2] (ISO 80000-3)."""


@dataclass(frozen=True)
class Unit:
    """One unit as it is written in a file key and on an axis, what one of it is in SI, and how datasets write it.

    `udunits` is its name in the CF conventions (UDUNITS-2).
    """

    suffix: str
    symbol: str
    factor: float
    si: str
    udunits: str


_UNITS = (
    Unit("ft", "ft", FOOT, "m", "ft"),
    Unit("m", "m", 1.0, "m", "m"),
    Unit("nm", "nm", NAUTICAL_MILE, "m", "nautical_mile"),
    Unit("kt", "kt", KNOT, "m s-1", "knot"),
    Unit("kg", "kg", 1.0, "kg", "kg"),
    Unit("t", "t", 1000.0, "kg", "tonne"),
    Unit("s", "s", 1.0, "s", "s"),
    Unit("min", "min", MINUTE, "s", "min"),
    Unit("deg", "°", DEGREE, "rad", "degree"),
    Unit("hpa", "hPa", HECTOPASCAL, "Pa", "hPa"),
    Unit("kn", "kN", KILONEWTON, "N", "kN"),
    Unit("k", "K", 1.0, "K", "K"),
    Unit("m2", "m²", 1.0, "m2", "m2"),
    Unit("ft_per_min", "ft/min", FOOT_PER_MINUTE, "m s-1", "ft min-1"),
    Unit("ft_per_nm", "ft/nm", FOOT_PER_NAUTICAL_MILE, "1", "ft nautical_mile-1"),
    Unit("kg_per_min", "kg/min", 1.0 / MINUTE, "kg s-1", "kg min-1"),
    Unit("kg_per_s", "kg/s", 1.0, "kg s-1", "kg s-1"),
    Unit("kg_per_n_s", "kg/(N s)", 1.0, "kg N-1 s-1", "kg N-1 s-1"),
    Unit("kt_per_nm", "kt/nm", KNOT / NAUTICAL_MILE, "s-1", "knot nautical_mile-1"),
    Unit("kt_per_1000ft", "kt/1000 ft", KNOT / (1000.0 * FOOT), "s-1", "knot/(1000 ft)"),
    Unit("", "", 1.0, "1", "1"),
)
UNITS = {unit.suffix: unit for unit in _UNITS}
"""Every unit that may end a file key, by its suffix; the empty suffix is a pure number."""
