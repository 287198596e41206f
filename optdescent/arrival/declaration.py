"""The arrival as a scenario declares it."""

from __future__ import annotations

from optdescent.air.wind import Route
from optdescent.arrival.floor import FloorPoint
from optdescent.arrival.gate import Gate
from optdescent.arrival.glide_path import GlidePath
from optdescent.arrival.hold_down import HoldDown
from optdescent.arrival.legs import Leg, Position, route_along, track_of
from optdescent.arrival.track import Track
from optdescent.arrival.window import SinkLimit, SpeedLimit, Window
from optdescent.inputs import Declared, entry, quantity


class Arrival(Declared):
    """Airport, track, windows, limits, floor, hold-downs, glide path and gates."""

    airport: str = entry("name of the airport; invented ones say so")
    elevation: float = quantity("ft", -1300, 15000, "elevation of the threshold above mean sea level")
    course: float = quantity("deg", 0, 360, "course over the threshold, degrees true; of the whole track without legs")
    legs: tuple[Leg, ...] = entry("straight parts of the track before that course, in the order flown", default=())
    position: Position | None = entry("where the threshold is; a wind on a grid needs it", default=None)
    transition_altitude: float = quantity("ft", 3000, 18000, "altitudes above it are flight levels", default=18000.0)
    windows: tuple[Window, ...] = entry("altitude and speed demanded at distances", default=())
    speed_limits: tuple[SpeedLimit, ...] = entry("largest speeds below altitudes or from distances on", default=())
    sink_limits: tuple[SinkLimit, ...] = entry("largest sink rates below heights", default=())
    floor: tuple[FloorPoint, ...] = entry("lowest altitude by distance, until the glide path is captured", default=())
    hold_downs: tuple[HoldDown, ...] = entry("level segments imposed by traffic", default=())
    glide_path: GlidePath = entry("glide path", default=GlidePath())
    gate: Gate = entry("gate that decides whether the approach is stable", default=Gate())
    more_gates: tuple[Gate, ...] = entry("further gates, each with its own demands", default=())

    @property
    def track(self) -> Track:
        """Track over the ground."""
        return track_of(self.course, self.legs, self.position)

    def route(self, places: tuple[float, ...]) -> Route | None:
        """Positions of coordinates along the track [m], or None where the threshold's is not given."""
        if self.position is None:
            return None
        return route_along(self.track, (self.position.latitude, self.position.longitude), places)[0]

    @property
    def gates(self) -> tuple[Gate, ...]:
        """The gate that decides, then the further ones."""
        return (self.gate, *self.more_gates)
