"""A solution's neighbour: Newton's method with the solution's matrices, limits in force followed as they change.

The matrices of the optimality conditions, factored once at a solution, serve every step towards every neighbour (the
chord method: Kelley, Iterative Methods for Linear and Nonlinear Equations, 1995, section 5.4). Each step is a quadratic
program with exact residuals in which the limits in force may change (adjoint-based inexact sequential quadratic
programming: Diehl, Walther, Bock, Kostina, Optimization Methods and Software 25, 2010). Where the steps do not close
in, the matrices are made anew, a few times at most; if that does not settle it, the interior point has to be asked.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optdescent.ocp.basis import Array, Flags
from optdescent.ocp.bordered import Bordered
from optdescent.ocp.limits import Box
from optdescent.ocp.slopes import Around, Slopes
from optdescent.ocp.solution import Raw
from optdescent.ocp.walk import Data, Standing, walk

_REGULAR = 1e-9
_STEPS = 25
_RENEWALS = 3
_FAR = 5e-3
_LIKELY = 10.0
"""A limit is taken to be in force where the room to it is less than so many multipliers, in what is carried over from a
rough solution on another mesh: it has more room, and a multiplier for each of more points."""
_CHANGES = 150
"""A change of the limits in force takes about a millisecond, an iteration of the interior point about ten of them."""
_AT_ONCE = 90
"""Changes in one step: of what took more, none came to an end."""
_MANY = 30
"""Changes after which a second step with the same matrices would be as long again."""
_STALLED = 10.0
"""In units of the tolerance: where rows depend on each other, their rounding errors stay."""
_MOST_FAILURES = 3
_SETTLING = 2
_CONTRACTION = 0.5


@dataclass(frozen=True)
class Neighbour:
    """What was found: the vectors, the steps taken, and the largest residual of the optimality conditions."""

    raw: Raw
    steps: int
    residual: float


@dataclass(frozen=True)
class Facts:
    """Exact values at a point: rows, gradient of the Lagrangian."""

    value: Array
    pull: Array


@dataclass(frozen=True)
class _Place:
    """Matrices at one point, the data for which that point is optimal, the point, and what is exact there."""

    system: Bordered
    data: Data
    standing: Standing
    facts: Facts


class Chord:
    """The optimality conditions around one solution; its factored matrix serves every neighbour.

    ``is_rough`` says that ``base`` is carried over from another mesh.
    """

    def __init__(self, slopes: Slopes, base: Raw, p: Array, box: Box, *, is_rough: bool = False) -> None:
        self.base = base
        self._slopes = slopes
        times = _LIKELY if is_rough else 1.0
        columns, columns_high = _in_force(base.x, times * base.lam_x, box.low, box.high)
        x = np.where(columns, np.where(columns_high, box.high, box.low), base.x)
        around = slopes.around(x, p)
        held, at_high = active_limits(base, around.value, box, times)
        lam = np.where(held[x.size :], base.lam_g, 0.0)
        self._home = self._placed(Standing(x, lam, held, at_high), around, p, box)
        self._home_p = p
        self._failures = 0

    @property
    def is_useful(self) -> bool:
        """Whether it has not failed too often in a row."""
        return self._failures < _MOST_FAILURES

    def to(self, p: Array, box: Box, tolerance: float) -> Neighbour | None:
        """The solution for other parameters and limits, all scaled [-], or None if it is not a neighbour."""
        found = self._pursued(p, box, tolerance)
        self._failures = self._failures + 1 if found is None else 0
        return found

    def _pursued(self, p: Array, box: Box, tolerance: float) -> Neighbour | None:
        place, renewals, step, before, changes, latest = self._home, 0, 0, np.inf, 0, 0
        place.system.reset()
        standing, data = place.standing, place.data
        for count in range(_STEPS):
            is_home = count == 0 and np.array_equal(p, self._home_p)
            facts = place.facts if is_home else self._facts(standing, p)
            left = residual(facts, standing, box)
            if not np.isfinite(left):
                return None
            stalls = step > _SETTLING and left > _CONTRACTION * before
            if left <= (_STALLED if stalls else 1.0) * tolerance:
                held = standing.held[: standing.x.size]
                raw = Raw(standing.x, np.where(held, -facts.pull, 0.0), standing.lam, self.base.scales)
                return Neighbour(raw, count, left)
            is_far = (step > 0 and left > _FAR) or (step > 1 and latest > _MANY and renewals < _RENEWALS)
            if stalls or is_far:
                if renewals == _RENEWALS:
                    return None
                around = self._slopes.around(standing.x, p)
                place, renewals, step = self._placed(standing, around, p, box), renewals + 1, 0
                standing, data, facts = place.standing, place.data, place.facts
            before, step = left, step + 1
            aim = _data(place.system, standing, facts.pull, facts.value, box)
            after = walk(place.system, data, aim, standing, min(_AT_ONCE, _CHANGES - changes))
            if after is None:
                return None
            standing, data, latest = after[0], aim, after[1]
            changes += latest
        return None

    def _facts(self, standing: Standing, p: Array) -> Facts:
        return Facts(*self._slopes.pull(standing.x, p, standing.lam))

    def _placed(self, standing: Standing, around: Around, p: Array, box: Box) -> _Place:
        """Matrices at a point, and data for which just this point, with these limits in force, is optimal."""
        value, pull = around.value, around.pull(standing.lam)
        curve = self._slopes.curve(standing.x, p, standing.lam)
        size = standing.x.size
        columns, rows = standing.held[:size], standing.held[size:]
        columns_high, rows_high = standing.at_high[:size], standing.at_high[size:]
        fixed = box.low == box.high
        kept = np.where(columns_high, np.minimum(pull, 0.0), np.maximum(pull, 0.0))
        kept = np.where(columns, np.where(fixed, pull, kept), 0.0)
        inside = np.clip(value, box.row_low, box.row_high)
        inside = np.where(rows, np.where(rows_high, box.row_high, box.row_low), inside)
        fixed_rows = box.row_low == box.row_high
        lam = np.where(rows_high, np.maximum(standing.lam, 0.0), np.minimum(standing.lam, 0.0))
        lam = np.where(fixed_rows, standing.lam, lam)
        standing = Standing(standing.x, lam, standing.held, standing.at_high)
        system = Bordered(curve, around.slope, standing.live, _REGULAR)
        facts = Facts(value, around.pull(lam))
        return _Place(system, _data(system, standing, kept, inside, box), standing, facts)


def _data(system: Bordered, standing: Standing, pull: Array, value: Array, box: Box) -> Data:
    """The quadratic program that has this gradient of the Lagrangian and these rows at this point."""
    size, own = standing.x.size, system.times(np.concatenate([standing.x, standing.lam]))
    return Data(pull - own[:size], value - own[size:], box)


def residual(facts: Facts, standing: Standing, box: Box) -> float:
    """How far the optimality conditions are from holding [-]: slopes, signs, limits passed."""
    size = standing.x.size
    low, high = box.low_of_all, box.high_of_all
    value = np.concatenate([standing.x, facts.value])
    passed = np.maximum(np.maximum(low - value, value - high), 0.0)
    with np.errstate(invalid="ignore"):
        off = np.where(standing.held, np.abs(value - np.where(standing.at_high, high, low)), passed)
    # At an upper limit the Lagrangian must fall across a column, and a row's multiplier be positive.
    force = np.concatenate([facts.pull, -standing.lam])
    turned = np.where((low == high) | ~standing.held, 0.0, np.where(standing.at_high, force, -force))
    slope = np.where(standing.held[:size], 0.0, np.abs(facts.pull))
    return float(max(np.max(part, initial=0.0) for part in (off, turned, slope)))


def active_limits(base: Raw, value: Array, box: Box, times: float = 1.0) -> tuple[Flags, Flags]:
    """Which columns and rows (n + m,) are held, all scaled [-], and whether at their upper limit.

    An equation is always held, anything else where the room to a limit is less than so many ``times`` its multiplier.
    """
    forces = times * np.concatenate([base.lam_x, base.lam_g])
    return _in_force(np.concatenate([base.x, value]), forces, box.low_of_all, box.high_of_all)


def _in_force(at: Array, force: Array, low: Array, high: Array) -> tuple[Flags, Flags]:
    held = (low == high) | (np.minimum(at - low, high - at) < np.abs(force))
    return held, np.abs(high - at) < np.abs(at - low)
