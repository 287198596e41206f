"""Track, windows, limits, floor, hold-downs, glide path and gates of an arrival."""

from optdescent.arrival.contradictions import arrival_faults, highest_floor
from optdescent.arrival.declaration import Arrival
from optdescent.arrival.floor import FloorPoint, farthest_first, floor_at
from optdescent.arrival.gate import Gate
from optdescent.arrival.glide_path import Capture, GlidePath
from optdescent.arrival.hold_down import HoldDown
from optdescent.arrival.track import Track
from optdescent.arrival.window import SinkLimit, SpeedLimit, Window

__all__ = [
    "Arrival",
    "Capture",
    "FloorPoint",
    "Gate",
    "GlidePath",
    "HoldDown",
    "SinkLimit",
    "SpeedLimit",
    "Track",
    "Window",
    "arrival_faults",
    "farthest_first",
    "floor_at",
    "highest_floor",
]
