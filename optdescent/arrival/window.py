"""What the arrival demands on the way: windows at distances, speed limits, sink limits by height."""

from __future__ import annotations

from optdescent.inputs import Declared, entry, quantity


class Window(Declared):
    """Altitude and speed demanded at one distance to go; a demand that is absent is free.

    At least, at most, both (between), or at. In an optimum "at" is an equality; a flown flight keeps it within the
    window's allowance, which is our choice: what an altimeter and an airspeed indicator let a crew hold.
    """

    name: str = entry("name of the point; invented")
    distance: float = quantity("nm", 1, 400, "distance to go to the threshold along the track")
    altitude_at_least: float | None = quantity("ft", -1000, 60000, "lowest altitude allowed", default=None)
    altitude_at_most: float | None = quantity("ft", -1000, 60000, "highest altitude allowed", default=None)
    altitude_at: float | None = quantity("ft", -1000, 60000, "altitude to have", default=None)
    altitude_allowance: float = quantity("ft", 0, 500, "height a flight may be off `altitude_at_ft`", default=50.0)
    speed_at_least: float | None = quantity("kt", 80, 450, "lowest calibrated airspeed allowed", default=None)
    speed_at_most: float | None = quantity("kt", 80, 450, "highest calibrated airspeed allowed", default=None)
    speed_at: float | None = quantity("kt", 80, 450, "calibrated airspeed to have", default=None)
    speed_allowance: float = quantity("kt", 0, 20, "speed a flight may be off `speed_at_kt`", default=2.0)

    @property
    def lowest(self) -> float | None:
        """Lowest altitude allowed [m], None if free."""
        return self.altitude_at_least if self.altitude_at is None else self.altitude_at

    @property
    def highest(self) -> float | None:
        """Highest altitude allowed [m], None if free."""
        return self.altitude_at_most if self.altitude_at is None else self.altitude_at

    @property
    def slowest(self) -> float | None:
        """Lowest calibrated airspeed allowed [m/s], None if free."""
        return self.speed_at_least if self.speed_at is None else self.speed_at

    @property
    def fastest(self) -> float | None:
        """Highest calibrated airspeed allowed [m/s], None if free."""
        return self.speed_at_most if self.speed_at is None else self.speed_at


class SpeedLimit(Declared):
    """Largest calibrated airspeed below an altitude, or from a distance to go on; exactly one of the two is given."""

    below_altitude: float | None = quantity("ft", 0, 60000, "altitude below which the limit holds", default=None)
    within: float | None = quantity("nm", 1, 400, "distance to go from which on the limit holds", default=None)
    speed: float = quantity("kt", 100, 450, "largest calibrated airspeed")


class SinkLimit(Declared):
    """Largest sink rate below a height above the threshold."""

    below_height: float = quantity("ft", 100, 20000, "height above the threshold below which the limit holds")
    sink: float = quantity("ft_per_min", 300, 8000, "largest sink rate")
