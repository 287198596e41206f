"""What the arrival demands on the way: windows at distances, speed limits by altitude, sink limits by height."""

from __future__ import annotations

from optdescent.inputs import Declared, entry, quantity


class Window(Declared):
    """Altitude and speed demanded at one distance to go; a demand that is absent is free."""

    name: str = entry("name of the point; invented")
    distance: float = quantity("nm", 1, 400, "distance to go to the threshold along the track")
    altitude_at_least: float | None = quantity("ft", -1000, 60000, "lowest altitude allowed", default=None)
    altitude_at_most: float | None = quantity("ft", -1000, 60000, "highest altitude allowed", default=None)
    speed_at_least: float | None = quantity("kt", 80, 450, "lowest calibrated airspeed allowed", default=None)
    speed_at_most: float | None = quantity("kt", 80, 450, "highest calibrated airspeed allowed", default=None)


class SpeedLimit(Declared):
    """Largest calibrated airspeed below an altitude."""

    below_altitude: float = quantity("ft", 0, 60000, "altitude below which the limit holds")
    speed: float = quantity("kt", 100, 450, "largest calibrated airspeed")


class SinkLimit(Declared):
    """Largest sink rate below a height above the threshold."""

    below_height: float = quantity("ft", 100, 20000, "height above the threshold below which the limit holds")
    sink: float = quantity("ft_per_min", 300, 8000, "largest sink rate")
