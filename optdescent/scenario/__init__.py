"""All that was asked."""

from optdescent.scenario.scenario import Scenario

__all__ = ["Scenario"]
