"""What optima of a sweep start from: solved cases and anchors, kept by the world that what was compiled serves."""

from __future__ import annotations

from collections.abc import Hashable
from dataclasses import dataclass, field
from functools import cached_property
from typing import Generic, TypeVar

import numpy as np
from numpy.typing import NDArray

from optdescent.ocp import Guess, Memory, Solution
from optdescent.optimum.beside import Programs
from optdescent.optimum.events import Order
from optdescent.optimum.pose import Pose
from optdescent.optimum.structure import world
from optdescent.optimum.trial import Trial
from optdescent.scenario import Level, Scenario
from optdescent.sweep.question import Case

Array = NDArray[np.float64]
Kept = TypeVar("Kept")

MOST_WORLDS = 8
"""Worlds that a worker keeps, each some 40 MB of compiled functions: where an axis moves what is compiled, as the
distance of the start does along a wind that changes on the way, their number would grow with the cases."""


class Latest(Generic[Kept]):
    """Things by name, the latest few that were asked for."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: dict[Hashable, Kept] = {}

    def get(self, name: Hashable) -> Kept | None:
        """What is kept under a name, which is then the latest; None if nothing is."""
        if name not in self._kept:
            return None
        self._kept[name] = self._kept.pop(name)
        return self._kept[name]

    def put(self, name: Hashable, thing: Kept) -> Kept:
        """Keep a thing under a name, and let go of those asked for longest ago."""
        self._kept[name] = thing
        while len(self._kept) > self._most:
            del self._kept[next(iter(self._kept))]
        return thing


@dataclass(frozen=True)
class Anchor:
    """A solved scenario as it travels to workers: everything that is data.

    ``apart`` are its levels on axes whose levels are apart; ``place`` (axes,) is where it lies on the axes [-].
    """

    apart: tuple[object, ...]
    place: Array
    scenario: Scenario
    order: Order
    guess: Guess
    solution: Solution
    orders: tuple[str, ...]

    @cached_property
    def world(self) -> Hashable:
        """Its world."""
        return world(self.scenario)

    def trial(self, memory: Memory) -> Trial:
        """Posed again, with nothing known of other orders."""
        pose = Pose(self.scenario, self.order, memory)
        return Trial(pose, pose.problem(), self.guess, self.solution, self.orders)


@dataclass(frozen=True)
class Start:
    """A solved case as a start for its neighbours.

    ``place`` (axes,) is where it lies on the axes, 0 to 1 [-]; ``to_levels`` the slopes of its cost to its ``levels``.
    """

    trial: Trial
    place: Array
    levels: tuple[Level, ...] = ()
    to_levels: Array | None = None

    def promise(self, case: Case) -> float:
        """Cost [kg] that the slopes promise for another case, to first order, ordered axes only; infinite without."""
        if self.to_levels is None:
            return np.inf
        moved = [
            float(there) - float(here) if axis.is_ordered else 0.0
            for axis, here, there in zip(case.asked.conditions.axes, self.levels, case.levels, strict=True)
        ]
        return self.trial.solution.cost + float(np.nan_to_num(self.to_levels) @ np.array(moved))


@dataclass
class Shared:
    """What all blocks of a worker share in one world: what was compiled, and the anchors posed in it by their index."""

    memory: Memory = field(default_factory=Memory)
    anchors: dict[int, Trial] = field(default_factory=dict[int, Trial])


@dataclass
class Own:
    """What one block keeps in one world: its programs, and its solved cases by their number."""

    programs: Programs
    solved: dict[int, Start] = field(default_factory=dict[int, Start])
