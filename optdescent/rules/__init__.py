"""Rules of thumb as data, and the crew that flies them."""

from optdescent.rules.crew import Crew
from optdescent.rules.fly import fly
from optdescent.rules.parts import Rule
from optdescent.rules.question import RulesQuestion
from optdescent.rules.rule import read_rules

__all__ = ["Crew", "Rule", "RulesQuestion", "fly", "read_rules"]
