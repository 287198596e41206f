"""How far the grid's cost may be from the least cost, by the grid's own account, and what that says of the engine.

Three numbers stand on either side of the least cost J of the continuous problem, and they differ in kind.

1. The flown policy is a descent that exists (controls held along each step, which is allowed; limits looked at along
   it). Its cost is not below J, whatever the error of the grid: proved, up to the integration.
2. The grid's cost has errors of three sorts. Controls held along a step and few of them to choose from make it too
   large. Linear interpolation makes it too large where the value is convex, too small where it is concave. Integration
   is exact enough not to count. Their sum is not known; it is *estimated* from successive grids, each with twice the
   nodes of the one before each way, by the grid convergence index: with d the difference of the last two costs and p
   the order at which the differences shrink, 1.25 d / (2^p - 1), where p is taken as no more than the lowest order of
   the scheme, one. With two grids only p is not seen: it is taken as one, and 3 stands for 1.25. Where differences do
   not shrink there is no bound. This is an estimate and no proof.
3. The collocated optimum is a descent too, to the local error of its mesh, so it also is not below J; but it is the
   least only in its neighbourhood.

If the collocated cost is above the flown one, the engine missed the least cost: that is certain. If it is above the
grid's cost by more than the bound, it missed it by the grid's account. If it is below by more than the bound, one of
the two does not solve the stated problem.

References
----------
Roache, Journal of Fluids Engineering 116 (1994), 405-413: grid convergence index, factor 3 for two
grids and 1.25 for three or more (from memory).
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from benchmarks.grid.descent import Descent
from benchmarks.grid.policy import Flown, fly
from benchmarks.grid.programming import Grid, Programme

SAFETY_OF_TWO, SAFETY_OF_THREE = 3.0, 1.25
"""Factors [-] on the error estimated from two grids, and from three or more."""
LADDER = (
    Grid(steps=25, heights=21, speeds=13, angles=13, thrusts=5),
    Grid(steps=35, heights=41, speeds=25, angles=19, thrusts=6),
    Grid(steps=50, heights=81, speeds=49, angles=27, thrusts=7),
    Grid(steps=70, heights=161, speeds=97, angles=37, thrusts=8),
)
"""Each grid has twice the nodes of the one before each way, and about 1.4 times the steps and angles.

Nodes come closer faster than steps become shorter: the error of interpolation adds up over the steps.
"""
COARSE = LADDER[:3]


@dataclass(frozen=True)
class Rung:
    """One grid: its cost [kg], its policy flown, its bound [kg] (infinite without a grid before it), time [s]."""

    grid: Grid
    cost: float
    flown: Flown
    bound: float
    seconds: float


def climb(descent: Descent, grids: Iterable[Grid]) -> tuple[Rung, ...]:
    """Costs [kg] of a descent on successive grids, coarsest first."""
    found: list[Rung] = []
    for grid in grids:
        began = time.perf_counter()
        programme = Programme(descent, grid)
        costs = [*(rung.cost for rung in found), programme.cost]
        flown = fly(programme)
        found.append(Rung(grid, programme.cost, flown, bound(costs), time.perf_counter() - began))
    return tuple(found)


def bound(costs: Sequence[float]) -> float:
    """Estimated bound [kg] on the error of the last of the costs [kg] of successive grids, each twice as fine."""
    differences = [abs(after - before) for before, after in pairwise(costs)]
    if not differences:
        return math.inf
    if len(differences) == 1:
        return SAFETY_OF_TWO * differences[0]
    if differences[-1] >= differences[-2]:
        return math.inf
    order = min(1.0, math.log2(differences[-2] / differences[-1])) if differences[-1] > 0.0 else 1.0
    return SAFETY_OF_THREE * differences[-1] / (2.0**order - 1.0)
