"""The optimal descent of a scenario, and why there is none when there is none."""

from optdescent.optimum.conflict import DemandsConflict, NotConverged, Shortfall
from optdescent.optimum.optimise import Optimum, find_optimum, optimise

__all__ = ["DemandsConflict", "NotConverged", "Optimum", "Shortfall", "find_optimum", "optimise"]
