"""What a study asks of derived rules: the table `derive` of a study file."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import Declared, entry, quantity, whole
from optdescent.rules.judged import Judged

LEAST_PARTS = 3
"""Things to remember about the simplest rule of the family [-]."""


class DeriveDeclaration(Declared):
    """What is wanted of the rules, and how much is flown to find them.

    The three sets are drawn from the study's conditions, each with a seed of its own.
    """

    stable_share: float = quantity(
        "",
        0.5,
        0.999,
        "share of conditions in which the gate is stable, that the low end of its 95 % interval reaches",
        default=0.95,
    )
    keep_limits: bool = entry("whether only those count in which every limit on the way is kept too", default=False)
    descent: float | None = quantity("kt", 150, 400, "descent speed; without it, it is searched too", default=None)
    alike: float = quantity("kg", 0, 1000, "of rules within this much fuel the simplest is recommended", default=2.0)
    train: int = whole(16, 100_000, "conditions in which rules are searched", default=256)
    check: int = whole(16, 100_000, "conditions by which one of them is chosen and its share predicted", default=512)
    unseen: int = whole(16, 100_000, "conditions in which the prediction is tested", default=1024)
    most_rules: int = whole(1, 100_000, "rules flown in the search at most", default=400)
    most_parts: int = whole(LEAST_PARTS, 13, "things to remember about a rule at most", default=6)

    def held(self, judged: Judged) -> NDArray[np.bool_]:
        """In which conditions (condition,) a rule holds [-]: stable at the gate, and within limits if asked."""
        return judged.stable & judged.limits_kept if self.keep_limits else judged.stable
