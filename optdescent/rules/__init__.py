"""Rules of thumb as data, and the crew that flies them."""

from optdescent.rules.fly import fly
from optdescent.rules.parts import Rule
from optdescent.rules.question import RulesQuestion
from optdescent.rules.read import LIBRARY, read_rules

__all__ = ["LIBRARY", "Rule", "RulesQuestion", "fly", "read_rules"]
