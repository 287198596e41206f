"""The gate: where and how the aircraft must be stable.

Source of the elements: Flight Safety Foundation, ALAR briefing note 7.1 (stabilised approach: landing configuration,
reference speed to reference speed + 20 kt, sink at most 1000 ft/min, by 1000 ft above the airport in instrument and
500 ft in visual conditions).
"""

from __future__ import annotations

from optdescent.arrival.glide_path import GlidePath
from optdescent.inputs import Declared, entry, quantity


class Gate(Declared):
    """Height above the threshold at which the approach must be stable, and what stable means there and below."""

    height: float = quantity("ft", 300, 3000, "height above the threshold", default=1000.0)
    distance: float | None = quantity(
        "nm", 0.5, 20, "distance to go of the gate; without it, where the glide path has its height", default=None
    )
    speed_above_reference: float = quantity("kt", 0, 30, "target speed above the reference speed", default=5.0)
    speed_over: float = quantity("kt", 0, 30, "speed allowed above the target", default=10.0)
    speed_under: float = quantity("kt", 0, 10, "speed allowed below the target", default=0.0)
    sink: float = quantity("ft_per_min", 300, 2000, "largest sink rate", default=1000.0)
    off_path: float = quantity("ft", 10, 500, "height allowed off the glide path; our choice", default=75.0)
    gear_down: bool = entry("whether the gear must be down", default=True)
    landing_configuration: bool = entry("whether the last step of flaps must be out", default=True)

    def place(self, path: GlidePath) -> float:
        """Distance to go [m]: the one given, or where the glide path has the gate's height."""
        return -path.distance(self.height) if self.distance is None else self.distance
