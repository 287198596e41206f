"""The glide path: a straight line in the vertical plane to the threshold.

Source: ICAO Doc 8168 vol. II (nominal 3°, reference datum 50 ft above the threshold).
"""

from __future__ import annotations

from enum import Enum

from optdescent.curves.elementary import Value, tan
from optdescent.inputs import Declared, entry, quantity


class Capture(Enum):
    """Side from which the glide path is captured."""

    BELOW = "below"
    ABOVE = "above"


class GlidePath(Declared):
    """Glide path, and where and from which side it is to be captured.

    However it is captured, not lower than `capture_at_least_ft`, and that not lower than 1000 ft.
    """

    angle: float = quantity("deg", 2.0, 5.5, "angle above the horizontal", default=3.0)
    threshold_crossing_height: float = quantity("ft", 30, 80, "height over the threshold", default=50.0)
    capture_at_least: float = quantity("ft", 1000, 10000, "least height above the threshold at capture", default=2800.0)
    capture_at_most: float = quantity(
        "ft", 1000, 10000, "largest height above the threshold at capture", default=3200.0
    )
    capture_speed_at_most: float | None = quantity(
        "kt", 100, 300, "largest calibrated airspeed at capture", default=None
    )
    capture: Capture = entry("side from which the path is captured", default=Capture.BELOW)
    below_within: float = quantity(
        "nm", 3, 40, "from this distance to go on, the flight stays on the side it captures from", default=12.0
    )
    sink_above: float = quantity(
        "ft_per_min", 500, 4000, "largest sink rate from there to a capture from above", default=2000.0
    )

    @property
    def capture_middle(self) -> float:
        """Height above the threshold [m] in the middle of those at which the path may be captured."""
        return 0.5 * (self.capture_at_least + self.capture_at_most)

    @property
    def gradient(self) -> float:
        """Height lost per distance flown [-]."""
        return float(tan(self.angle))

    def height(self, distance: Value) -> Value:
        """Height above the threshold [m] at a coordinate along the track [m]."""
        return self.threshold_crossing_height - self.gradient * distance

    def distance(self, height: float) -> float:
        """Coordinate along the track [m] where the path has a height above the threshold [m]."""
        return -(height - self.threshold_crossing_height) / self.gradient
