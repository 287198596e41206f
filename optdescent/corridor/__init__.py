"""What is still reachable: the energy corridor to the gate, the last useful action, deceleration on a slope."""

from optdescent.corridor.corridor import corridor, usual_grid
from optdescent.corridor.devices import ALL_SETS, EVERYTHING, ONE_BY_ONE, SCHEDULE, DeviceSet
from optdescent.corridor.edges import Edges, Grid, edges_for
from optdescent.corridor.last_action import last_actions

__all__ = [
    "ALL_SETS",
    "EVERYTHING",
    "ONE_BY_ONE",
    "SCHEDULE",
    "DeviceSet",
    "Edges",
    "Grid",
    "corridor",
    "edges_for",
    "last_actions",
    "usual_grid",
]
