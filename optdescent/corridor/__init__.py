"""What is still reachable: the energy corridor to the gate, the last useful action, deceleration on a slope."""

from optdescent.corridor.corridor import corridor, usual_grid
from optdescent.corridor.devices import ALL_SETS, EVERYTHING, ONE_BY_ONE, SCHEDULE, DeviceSet
from optdescent.corridor.edges import Bounds, Edges, Grid, bounds_of, check_grid, edges_for
from optdescent.corridor.from_above import captured_from_above, from_above, situation_of
from optdescent.corridor.last_action import LastFound, Still, last_actions, last_found
from optdescent.corridor.question import CorridorDeclaration, CorridorQuestion, grid_faults
from optdescent.corridor.slope import Slope, slope_chart, usual_slope

__all__ = [
    "ALL_SETS",
    "EVERYTHING",
    "ONE_BY_ONE",
    "SCHEDULE",
    "Bounds",
    "CorridorDeclaration",
    "CorridorQuestion",
    "DeviceSet",
    "Edges",
    "Grid",
    "LastFound",
    "Slope",
    "Still",
    "bounds_of",
    "captured_from_above",
    "check_grid",
    "corridor",
    "edges_for",
    "from_above",
    "grid_faults",
    "last_actions",
    "last_found",
    "situation_of",
    "slope_chart",
    "usual_grid",
    "usual_slope",
]
