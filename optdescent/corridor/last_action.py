"""Along a flight, the last point at which each drag device still saves the approach, and where nothing does any more.

At each point the question is whether the gate can be met from there with idle thrust, the schedule and a set of
devices (`corridor.reach`), with what is out already. The last point with an answer of yes is the last at which the set
is of use; beyond the last point of everything the approach is lost.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.devices import DeviceSet
from optdescent.corridor.edges import Edges
from optdescent.results import Flight
from optdescent.results.last_action import LastAction, LastActions

Array = NDArray[np.float64]


def last_actions(edges: Edges, flight: Flight) -> LastActions:
    """The last useful point of each set of devices along a flight [SI]."""
    margins = edges.margins(flight)
    actions = tuple(_last(own.devices, flight, left) for own, left in zip(edges.highest, margins, strict=True))
    return LastActions(flight.name, actions, flight.provenance)


def _last(devices: DeviceSet, flight: Flight, left: Array) -> LastAction:
    asked = np.flatnonzero(~np.isnan(left))
    inside = asked[left[asked] >= 0.0]
    if not inside.size:
        return LastAction(devices.name, flight.marks.gate_height, False, False, *([np.nan] * 6))
    last = int(inside[-1])
    is_kept = last == int(asked[-1])
    names = ("distance_to_go", "height_above_threshold", "calibrated_airspeed", "time", "flaps", "gear")
    return LastAction(
        devices.name, flight.marks.gate_height, True, is_kept, *(float(flight.column(name)[last]) for name in names)
    )
