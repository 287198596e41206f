"""Units in which recordings are kept, as their maps write them.

Sources: the SI brochure (ninth edition), ISO 80000-3, the international yard and pound agreement of 1959 (foot, pound:
0.453 592 37 kg); the inch of mercury is the conventional one, 3386.389 Pa (NIST SP 811, appendix B).
"""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, HECTOPASCAL, KNOT, MINUTE, NAUTICAL_MILE

POUND = 0.45359237
INCH_OF_MERCURY = 3386.389
_HOUR = 3600.0


@dataclass(frozen=True)
class ForeignUnit:
    """A unit of a column: its name in a map, its SI unit, what one of it is in SI, and where its zero is in SI."""

    name: str
    si: str
    factor: float
    zero: float = 0.0


TIMESTAMP = "utc"
"""Unit of a time column that holds ISO 8601 dates and times, or times of day."""
_UNITS = (
    ForeignUnit("s", "s", 1.0),
    ForeignUnit("min", "s", MINUTE),
    ForeignUnit("h", "s", _HOUR),
    ForeignUnit(TIMESTAMP, "s", 1.0),
    ForeignUnit("m", "m", 1.0),
    ForeignUnit("km", "m", 1000.0),
    ForeignUnit("ft", "m", FOOT),
    ForeignUnit("nm", "m", NAUTICAL_MILE),
    ForeignUnit("m/s", "m s-1", 1.0),
    ForeignUnit("km/h", "m s-1", 1000.0 / _HOUR),
    ForeignUnit("kt", "m s-1", KNOT),
    ForeignUnit("ft/min", "m s-1", FOOT_PER_MINUTE),
    ForeignUnit("deg", "rad", DEGREE),
    ForeignUnit("rad", "rad", 1.0),
    ForeignUnit("kg", "kg", 1.0),
    ForeignUnit("t", "kg", 1000.0),
    ForeignUnit("lb", "kg", POUND),
    ForeignUnit("kg/s", "kg s-1", 1.0),
    ForeignUnit("kg/min", "kg s-1", 1.0 / MINUTE),
    ForeignUnit("kg/h", "kg s-1", 1.0 / _HOUR),
    ForeignUnit("lb/h", "kg s-1", POUND / _HOUR),
    ForeignUnit("K", "K", 1.0),
    ForeignUnit("degC", "K", 1.0, 273.15),
    ForeignUnit("degF", "K", 5.0 / 9.0, 459.67 * 5.0 / 9.0),
    ForeignUnit("Pa", "Pa", 1.0),
    ForeignUnit("hPa", "Pa", HECTOPASCAL),
    ForeignUnit("inHg", "Pa", INCH_OF_MERCURY),
    ForeignUnit("fraction", "1", 1.0),
    ForeignUnit("percent", "1", 0.01),
    ForeignUnit("step", "1", 1.0),
)
FOREIGN = {unit.name: unit for unit in _UNITS}
"""Every unit that a map may name."""


def units_of(si: str) -> tuple[ForeignUnit, ...]:
    """Units of one SI unit [-]."""
    return tuple(unit for unit in _UNITS if unit.si == si and unit.name != TIMESTAMP)
