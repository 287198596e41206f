"""A rule flown in those conditions in which it can be: none where its descent would begin too early, or no scenario.

What is left out is counted and told, and neither stable nor a miss: a descent that would have begun before the start is
no comparison.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import InputFault
from optdescent.margins.margins import DISTANCES
from optdescent.rules.fleet import Fleet
from optdescent.rules.judged import Judged
from optdescent.scenario import Scenario

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Flown:
    """What became of a rule in the conditions in which it was flown.

    `numbers` (flight,) are those of the conditions flown, `reasons` (condition,) say why the others were not; `judged`
    is None where none was flown.
    """

    numbers: NDArray[np.int64]
    judged: Judged | None
    reasons: tuple[str, ...]

    @property
    def told(self) -> str:
        """In how many conditions it was not flown, and why not in the first of them; empty where it was in all [-]."""
        missing = [reason for reason in self.reasons if reason]
        if not missing:
            return ""
        count = "any condition" if self.judged is None else f"{len(missing)} of {len(self.reasons)} conditions"
        return f"not flown in {count}: {missing[0]}"

    def spread(self, values: Array) -> Array:
        """Values (..., flight) as (..., condition), in their own unit; not a number where it was not flown."""
        found = np.full((*values.shape[:-1], len(self.reasons)), np.nan)
        found[..., self.numbers] = values
        return found


def flown(fleet: Fleet, scenarios: Sequence[Scenario | None], reasons: Sequence[str]) -> Flown:
    """A rule flown in the scenarios that have no reason against it, judged with its excess at `DISTANCES` [SI].

    A rule that cannot be flown at all says why; it does not stop the others.
    """
    those = [
        (index, scenario)
        for index, (scenario, reason) in enumerate(zip(scenarios, reasons, strict=True))
        if scenario is not None and not reason
    ]
    numbers = np.array([index for index, _ in those], dtype=np.int64)
    if not those:
        return Flown(numbers, None, tuple(reasons))
    try:
        found = fleet.judged([scenario for _, scenario in those], DISTANCES)
    except InputFault as fault:
        return Flown(numbers[:0], None, tuple(reason or _in_a_line(fault) for reason in reasons))
    return Flown(numbers, found, tuple(reasons))


def _in_a_line(fault: InputFault) -> str:
    return "; ".join(str(fault).splitlines())
