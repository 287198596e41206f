"""The search: rules grown one thing to remember at a time, then their values moved until none betters the rule.

For each number of things to remember one part more is tried on the best rules of one fewer; from the best of these,
each value is moved along its usable values, by long steps first, as long as that betters the rule. What is better: the
wanted share first, then less fuel, of the flights that hold: a missed approach is no saving. Rules with the wanted
share miss few conditions, so that the fuel of two is of nearly the same ones; those that are judged later are compared
over the same ones exactly. The order of trials is fixed, so that the same conditions give the same rules.
A rule that a longer way round would reach is missed: the result is a good rule, not the best there is.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from optdescent.derive.family import NEEDED, Candidate, Family
from optdescent.derive.front import non_dominated
from optdescent.optimum.progress import Progress
from optdescent.rules.judged import Judged

_PARENTS = 2
"""Rules of one thing fewer to which a part is added."""
_SAFER, _CHEAPER = 2, 2
"""Of each number of things to remember, rules with a larger and a smaller share than the best that are judged too."""
_MISSES = 3.0
"""How many times as often as is wanted such a rule may fail."""
_STRIDES = (4, 2, 1)
"""Steps along the usable values, longest first."""


@dataclass(frozen=True)
class Score:
    """How a rule did in the training conditions.

    Share in which it held [-], mean fuel of where it did [kg], infinite if nowhere, mean energy height too much at the
    gate [m], `LOST` where it is unknown.
    """

    held_share: float
    fuel: float
    excess: float

    @classmethod
    def of(cls, judged: Judged, held: NDArray[np.bool_]) -> Score:
        """Score of what became of a rule [SI] that held in some conditions (condition,)."""
        energy = np.where(np.isfinite(judged.gate_energy), np.maximum(judged.gate_energy, 0.0), LOST)
        fuel = float(np.mean(judged.fuel[held])) if held.any() else float("inf")
        return cls(float(np.mean(held)), fuel, float(np.mean(energy)))

    def order(self, wanted: float) -> tuple[float, float]:
        """Key by which scores are sorted, best first: what is missing of the wanted share [-], then fuel [kg].

        Where some is missing equally, a rule is better the less energy is too much.
        """
        missing = max(wanted - self.held_share, 0.0)
        return missing, self.fuel if missing == 0.0 else self.excess


LOST = 3000.0
"""Energy height [m] that counts for a flight that does not pass the gate."""


@dataclass
class Search:
    """A search over a family; `scored` keeps every rule flown, in the order flown.

    `fly` says how each of some candidates does; `wanted` is the share in which one is to hold [-]. At most
    `most_rules` are flown, those left shared evenly among the numbers of things to remember that are left, up to
    `most_parts`; `is_cut_short` says that this kept some from being flown. It ends early where one thing more betters
    nothing.
    """

    family: Family
    fly: Callable[[Sequence[Candidate]], list[Score]]
    wanted: float
    most_parts: int
    most_rules: int
    scored: dict[Candidate, Score] = field(default_factory=dict[Candidate, Score])
    is_cut_short: bool = False

    def run(self, say: Progress) -> None:
        """Grow rules up to the largest number of things to remember [-], saying how far it is."""
        grown = [self.family.start]
        for count in range(len(NEEDED), self.most_parts + 1):
            say(f"rules of {count} things to remember; {len(self.scored)} flown so far")
            room = self._room(count)
            is_whole = self._fly(grown, room) == grown
            for start in self.ranked(count)[:1]:
                is_whole &= self._move(start, room)
            self.is_cut_short |= not is_whole
            best, before = self.ranked(count)[:_PARENTS], self.ranked(count - 1)[:1]
            is_no_better = not best or (bool(before) and self._order(before[0]) <= self._order(best[0]))
            if is_whole and is_no_better:
                return
            grown = list(dict.fromkeys(more for one in best for more in self.family.additions(one)))

    def _room(self, count: int) -> int:
        """How many rules may have been flown once those of so many things to remember have been."""
        known, counts_left = len(self.scored), self.most_parts - count + 1
        return min(known + max((self.most_rules - known) // counts_left, 1), self.most_rules)

    def ranked(self, count: int) -> list[Candidate]:
        """Rules of so many things to remember [-] that were flown, best first."""
        return sorted((one for one in self.scored if one.simplicity == count), key=self._order)

    def finalists(self) -> list[Candidate]:
        """Rules to judge on other conditions: of each number of things the best, and a few safer and cheaper ones.

        These are rules that no other betters in simplicity, fuel and share and that fail at most three times
        as often as is wanted. They are in the order of simplicity and share.
        """
        least = 1.0 - _MISSES * (1.0 - self.wanted)
        flown = list(self.scored)
        scores = [self.scored[one] for one in flown]
        is_on_front = non_dominated(
            np.array([one.simplicity for one in flown], dtype=float),
            np.array([score.fuel for score in scores]),
            np.array([score.held_share for score in scores]),
        )
        found: list[Candidate] = []
        for count in sorted({one.simplicity for one in flown}):
            best = self.ranked(count)[0]
            front = [
                one
                for one, score, is_on in zip(flown, scores, is_on_front, strict=True)
                if is_on and one.simplicity == count and score.held_share >= least
            ]
            # values that change nothing leave rules alike: one of them is enough
            alike = {(self.scored[one].held_share, self.scored[one].fuel): one for one in (*reversed(front), best)}
            line = [alike[key] for key in sorted(alike)]
            at = line.index(best)
            found += line[max(at - _CHEAPER, 0) : at + _SAFER + 1]
        return found

    def _order(self, candidate: Candidate) -> tuple[float, float]:
        return self.scored[candidate].order(self.wanted)

    def _fly(self, candidates: Iterable[Candidate], room: int) -> list[Candidate]:
        """Fly those that have not been, until `room` rules have been flown [-]; returns those with a score."""
        asked = list(candidates)
        new = [candidate for candidate in asked if candidate not in self.scored]
        left = max(room - len(self.scored), 0)
        self.scored.update(zip(new[:left], self.fly(new[:left]), strict=True))
        return [candidate for candidate in asked if candidate in self.scored]

    def _move(self, start: Candidate, room: int) -> bool:
        """Move single values, by long steps first, as long as that betters the rule; False if there was no room."""
        best, is_whole = start, True
        for stride in _STRIDES:
            is_better = True
            while is_better and is_whole:
                before = best
                for part in best.parts:
                    asked = list(self.family.neighbours(best, part, stride))
                    found = self._fly(asked, room)
                    is_whole &= found == asked
                    best = min([best, *found], key=self._order)
                is_better = best != before
        return is_whole
