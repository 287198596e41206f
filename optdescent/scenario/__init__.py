"""All that was asked, and what varies."""

from optdescent.scenario.axes import Axis, Level
from optdescent.scenario.conditions import Conditions, ConditionsDeclaration
from optdescent.scenario.declared_axes import ADDED_TAILWIND
from optdescent.scenario.scenario import Scenario
from optdescent.scenario.technique import BelievedWind, Technique

__all__ = [
    "ADDED_TAILWIND",
    "Axis",
    "BelievedWind",
    "Conditions",
    "ConditionsDeclaration",
    "Level",
    "Scenario",
    "Technique",
]
