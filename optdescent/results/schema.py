"""The one table of names: every column of a flight, with unit, long name and how it is charted.

netCDF attributes, axis labels and the nomenclature page are read from here.
"""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.results.line import capital
from optdescent.units import UNITS, Unit


def with_unit(words: str, unit: Unit) -> str:
    """Label of an axis of numbers: words from a capital on, and their unit; a dash [-] of pure numbers."""
    return f"{capital(words)} [{unit.symbol or '–'}]"


@dataclass(frozen=True)
class Column:
    """One quantity of a flight: its name, SI unit as CF writes it, long name, and the unit it is charted in."""

    name: str
    unit: str
    long_name: str
    charted: str

    @property
    def chart_unit(self) -> Unit:
        """Unit of charts and tables."""
        return UNITS[self.charted]

    @property
    def label(self) -> str:
        """Axis label with its unit."""
        return with_unit(self.long_name, self.chart_unit)


_COLUMNS = (
    Column("distance_to_go", "m", "distance to go to the threshold", "nm"),
    Column("time", "s", "time since the start", "min"),
    Column("altitude", "m", "geopotential altitude above mean sea level", "ft"),
    Column("pressure_altitude", "m", "pressure altitude", "ft"),
    Column("height_above_threshold", "m", "geopotential height above the threshold", "ft"),
    Column("true_airspeed", "m s-1", "true airspeed", "kt"),
    Column("calibrated_airspeed", "m s-1", "calibrated airspeed", "kt"),
    Column("mach", "1", "Mach number", ""),
    Column("ground_speed", "m s-1", "ground speed", "kt"),
    Column("flight_path_angle", "rad", "path angle through the air, down negative", "deg"),
    Column("vertical_speed", "m s-1", "vertical speed, down negative", "ft_per_min"),
    Column("mass", "kg", "mass", "kg"),
    Column("fuel_used", "kg", "fuel used since the start", "kg"),
    Column("fuel_flow", "kg s-1", "fuel flow", "kg_per_min"),
    Column("thrust", "N", "thrust of all engines", "kn"),
    Column("drag", "N", "drag", "kn"),
    Column("lift_coefficient", "1", "lift coefficient", ""),
    Column("load_factor", "1", "normal load factor", ""),
    Column("thrust_fraction", "1", "thrust between idle (0) and largest (1)", ""),
    Column("speed_brake", "1", "speed brake fraction", ""),
    Column("configuration", "1", "step of slats and flaps", ""),
    Column("flaps", "1", "position of slats and flaps, in steps", ""),
    Column("gear", "1", "gear, up (0) to down (1)", ""),
    Column("wind_along", "m s-1", "wind along the track, tailwind positive", "kt"),
    Column("wind_across", "m s-1", "wind across the track, pushing right positive", "kt"),
    Column("bank", "rad", "bank in a turn of the track, right positive", "deg"),
    Column("temperature", "K", "static air temperature", "k"),
    Column("specific_energy_height", "m", "energy height, height plus V²/2g of true airspeed", "ft"),
    Column("reference_speed", "m s-1", "reference speed for landing, calibrated", "kt"),
    Column("rule_height", "m", "height above the threshold that the rule asks for", "ft"),
    Column("rule_speed", "m s-1", "calibrated airspeed that the rule plans", "kt"),
    Column("limit_speed", "m s-1", "largest calibrated airspeed allowed", "kt"),
)
COLUMNS = {column.name: column for column in _COLUMNS}
"""Every column of a flight by name; the rule's columns are not a number in a flight that follows no rule."""

_SOLVED = (
    Column("costate_pressure_altitude", "kg m-1", "cost per pressure altitude, to be gained here", ""),
    Column("costate_true_airspeed", "kg s m-1", "cost per true airspeed, to be gained here", ""),
    Column("costate_path_angle", "kg rad-1", "cost per path angle, to be gained here", ""),
    Column("costate_mass", "1", "cost per mass, to be gained here", ""),
    Column("costate_time", "kg s-1", "cost per time, to be spent here", ""),
    Column("local_error", "1", "scaled error of the element of the mesh", ""),
)
SOLVED_COLUMNS = {column.name: column for column in _SOLVED}
"""Further columns of an optimum; a costate is not a number where its state is held in closed form."""
