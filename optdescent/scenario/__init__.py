"""All that was asked, and what varies."""

from optdescent.scenario.axes import ADDED_TAILWIND, Axis, Level
from optdescent.scenario.conditions import Conditions, ConditionsDeclaration
from optdescent.scenario.scenario import Scenario

__all__ = ["ADDED_TAILWIND", "Axis", "Conditions", "ConditionsDeclaration", "Level", "Scenario"]
