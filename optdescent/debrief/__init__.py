"""A recorded approach debriefed: findings in order of time, and what would have happened with another action."""

from optdescent.debrief.debrief import Measures, debrief, measures
from optdescent.debrief.what_if import Action, what_if

__all__ = ["Action", "Measures", "debrief", "measures", "what_if"]
