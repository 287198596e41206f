"""The quantities that a recording may have: one declaration each.

Sigmas are never declared here: they are given in the map, or seen in the column itself (`scatter`).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from optdescent.units import DEGREE


class Course(Enum):
    """How a quantity goes on between two recorded values."""

    SMOOTH = "a smooth curve: straight between two values, and may be smoothed"
    TURNING = "an angle: as a smooth curve, the shorter way round"
    MOVED = "moved by hand or by a law of its own: straight between two values, not smoothed"


@dataclass(frozen=True)
class Quantity:
    """One quantity: its name, what it is, its SI unit, the smallest and largest value [SI] that is one, its course.

    What lies outside is no reading: an aircraft of this project cannot have it. `usual` are the units it is kept in
    where not every unit of its kind is.
    """

    name: str
    sentence: str
    si: str
    low: float
    high: float
    course: Course = Course.SMOOTH
    usual: tuple[str, ...] = ()

    def is_usual(self, unit: str) -> bool:
        """Whether it is kept in a unit [-], so that the unit may be suspected."""
        return not self.usual or unit in self.usual


_HEIGHTS, _WAYS, _SPEEDS, _RATES = ("m", "ft"), ("m", "km", "nm"), ("m/s", "km/h", "kt"), ("m/s", "ft/min")
_ROUND = 4.0 * 180.0 * DEGREE
_QUANTITIES = (
    Quantity("time", "time", "s", -1e12, 1e12),
    Quantity("distance_to_go", "distance to go to the threshold, along the track", "m", -2e5, 2e6, usual=_WAYS),
    Quantity("latitude", "latitude, north positive", "rad", -90.0 * DEGREE, 90.0 * DEGREE),
    Quantity("longitude", "longitude, east positive", "rad", -_ROUND, _ROUND, Course.TURNING),
    Quantity("ground_speed", "ground speed", "m s-1", -1.0, 500.0, usual=_SPEEDS),
    Quantity("pressure_altitude", "altitude with 1013.25 hPa set", "m", -1500.0, 20000.0, usual=_HEIGHTS),
    Quantity(
        "qnh_altitude", "altitude with QNH set, or with `altimeter_setting`", "m", -1500.0, 20000.0, usual=_HEIGHTS
    ),
    Quantity("altimeter_setting", "altimeter setting", "Pa", 87000.0, 110000.0, Course.MOVED),
    Quantity("static_pressure", "static pressure", "Pa", 5000.0, 110000.0),
    Quantity("height_above_threshold", "height above the threshold", "m", -1500.0, 20000.0, usual=_HEIGHTS),
    Quantity("calibrated_airspeed", "calibrated airspeed", "m s-1", 0.0, 280.0, usual=_SPEEDS),
    Quantity("true_airspeed", "true airspeed", "m s-1", 0.0, 350.0, usual=_SPEEDS),
    Quantity("mach", "Mach number", "1", 0.0, 1.0),
    Quantity("heading", "heading, degrees true", "rad", -_ROUND, _ROUND, Course.TURNING),
    Quantity("track", "track over the ground, degrees true", "rad", -_ROUND, _ROUND, Course.TURNING),
    Quantity("vertical_speed", "vertical speed, down negative", "m s-1", -150.0, 150.0, usual=_RATES),
    Quantity("wind_from", "direction the wind blows from, degrees true", "rad", -_ROUND, _ROUND, Course.TURNING),
    Quantity("wind_speed", "wind speed", "m s-1", 0.0, 150.0, usual=_SPEEDS),
    Quantity("wind_along", "wind along the track, tailwind positive", "m s-1", -150.0, 150.0, usual=_SPEEDS),
    Quantity("wind_across", "wind across the track, pushing right positive", "m s-1", -150.0, 150.0, usual=_SPEEDS),
    Quantity("temperature", "static air temperature", "K", 170.0, 335.0),
    Quantity("flaps", "slats and flaps, in steps from clean", "1", -0.5, 12.0, Course.MOVED),
    Quantity("gear", "gear, up (0) to down (1)", "1", -0.1, 1.1, Course.MOVED, usual=("fraction", "percent")),
    Quantity(
        "speed_brake", "speed brake, in (0) to out (1)", "1", -0.2, 1.2, Course.MOVED, usual=("fraction", "percent")
    ),
    Quantity(
        "thrust_fraction",
        "thrust between idle (0) and largest (1)",
        "1",
        -0.5,
        1.5,
        Course.MOVED,
        usual=("fraction", "percent"),
    ),
    Quantity("fan_speed", "fan speed, idle (0) to full (1) by `positions`", "1", -0.7, 1.7, Course.MOVED),
    Quantity("fuel_flow", "fuel flow of all engines", "kg s-1", 0.0, 20.0, Course.MOVED),
    Quantity("mass", "mass", "kg", 500.0, 700000.0, Course.MOVED),
    Quantity("load_factor", "normal load factor", "1", -2.0, 4.0),
    Quantity("bank", "bank, right positive", "rad", -90.0 * DEGREE, 90.0 * DEGREE),
)
QUANTITIES = {quantity.name: quantity for quantity in _QUANTITIES}
"""Every quantity that a map may name."""
