"""A recorded approach debriefed: findings in order of time, and what would have happened with another action."""

from optdescent.debrief.as_met import Met, as_met
from optdescent.debrief.debrief import LEAST_TO_GO, Measures, debrief, measures
from optdescent.debrief.what_if import Action, what_if

__all__ = ["LEAST_TO_GO", "Action", "Measures", "Met", "as_met", "debrief", "measures", "what_if"]
