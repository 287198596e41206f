"""Track, windows, limits, glide path and gate of an arrival."""

from optdescent.arrival.declaration import Arrival, arrival_faults
from optdescent.arrival.gate import Gate
from optdescent.arrival.glide_path import GlidePath
from optdescent.arrival.track import Track
from optdescent.arrival.window import SinkLimit, SpeedLimit, Window

__all__ = ["Arrival", "Gate", "GlidePath", "SinkLimit", "SpeedLimit", "Track", "Window", "arrival_faults"]
