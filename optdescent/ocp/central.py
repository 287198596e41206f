"""A first solve of a small program: a primal-dual interior point of our own, without what large ones need.

Steps are Newton's towards a point of the central path, which is chosen anew in every iteration by what a step to the
limits themselves would leave (Mehrotra, On the implementation of a primal-dual interior point method, SIAM Journal on
Optimization 2, 1992); its second-order correction is made once the rows nearly hold: far from it, it misleads. There
is no line search: where the Lagrangian curves downwards in more than a few iterations or the residual does not fall,
nothing is said, and the general interior point has to be asked.
"""

from __future__ import annotations

import math
import time
from contextlib import suppress
from dataclasses import dataclass, replace

import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.layout import Layout
from optdescent.ocp.limits import Box
from optdescent.ocp.pattern import added
from optdescent.ocp.saddle import Matrices, Move, Saddle, Unsuited
from optdescent.ocp.settings import SolverSettings
from optdescent.ocp.slopes import Around, Slopes

_LARGEST = 800
"""Columns: what has more is solved on a coarser mesh first."""
_MOST = 40
_PATIENCE = 15
"""Iterations in which the residual need not fall below the least before."""
_FALLING, _CLOSING, _LAST = 0.9, 1e-6, 3
"""What counts as falling; a residual below which it has to fall soon: where limits leave equations no room it stays."""
_NEARLY = 3e-2
"""What the rows may lack for the second-order correction to be made."""
_BOUNDARY = 0.99
"""The part of the room to a limit that a step may take."""
_CLOSE = 0.999
"""The same, at most, near the optimum: whatever lies at its limit to the last digit stays there."""
_SHRINK = 0.5
"""The part of its length that a phase may lose in a step: it multiplies all rates, and no step sees that."""
_RELAXED = 1e-8
"""By so much limits may be passed, relative to their size or 1: as IPOPT has it, so that both find the same."""
_CURVES = (1e-4, 1e-2, 1.0, 100.0)
"""Added to the curvature of all columns, in turn, where a minimum needs it."""
_MOST_BENT = 3
"""Iterations in which the Lagrangian may curve downwards along what the equations leave free."""
_LOOSEST, _STEEPEST = 1e-4, 1.0
"""What rows may lack and products may be, and the slope of the Lagrangian, whatever the tolerance and multipliers."""
_LARGEST_MULTIPLIER = 1e3
_FIRST, _FLOOR = 0.1, 1e-2
"""Products of room and multiplier at the start, and the least that are aimed at, in units of the tolerance."""


@dataclass(frozen=True)
class Centre:
    """Where the iterations ended: columns, row multipliers, how many they were, the residual left [-], if it is small.

    Where it is not, the rest is of no use.
    """

    x: Array
    lam: Array
    iterations: int
    residual: float
    is_optimum: bool


@dataclass(frozen=True)
class _Point:
    """Columns and the rows' own values (n + m,), multipliers of rows (m,) and of limits (k,), all scaled [-]."""

    y: Array
    lam: Array
    force: Array


@dataclass(frozen=True)
class _Here:
    """At a point: functions, room to limits (k,), slope (n + m,) of the Lagrangian but for limits, what rows lack."""

    around: Around
    room: Array
    pull: Array
    miss: Array


def suits(layout: Layout, settings: SolverSettings) -> bool:
    """Whether to begin here: the program is small, and the settings ask for nothing else."""
    is_asked = settings.central and settings.iterations > _MOST and settings.barrier is None and settings.log == 0
    return is_asked and layout.columns <= _LARGEST


def centre(layout: Layout, slopes: Slopes, x: Array, p: Array, box: Box, settings: SolverSettings) -> Centre:
    """The optimum from a point ``x`` (n,) for parameters and scales ``p``, all scaled [-], if it is come by easily."""
    with np.errstate(all="ignore"):
        try:
            path = _Path(layout, slopes, p, box, settings)
        except Unsuited:
            return Centre(x, np.zeros(box.row_low.size), 0, np.nan, False)
        return path.followed(x)


class _Path:
    """The iterations for one set of parameters and limits."""

    def __init__(self, layout: Layout, slopes: Slopes, p: Array, box: Box, settings: SolverSettings) -> None:
        self._slopes, self._p, self._settings, self._size = slopes, p, settings, box.low.size
        low, high = box.low_of_all, box.high_of_all
        moves = low != high
        self._moves = moves.astype(float)
        low, high = low - _RELAXED * np.maximum(1.0, np.abs(low)), high + _RELAXED * np.maximum(1.0, np.abs(high))
        self._low, self._high = np.where(moves, low, -np.inf), np.where(moves, high, np.inf)
        self._given = np.where(moves, 0.0, box.low_of_all)
        has_low, has_high = np.flatnonzero(np.isfinite(self._low)), np.flatnonzero(np.isfinite(self._high))
        self._at = np.concatenate([has_low, has_high])
        self._sign = np.repeat([1.0, -1.0], [has_low.size, has_high.size])
        self._limit = np.concatenate([low[has_low], high[has_high]])
        self._bent, self._tolerance = 0, min(settings.tolerance, _LOOSEST)
        self._starts = np.array([place.start for place in layout.phases])
        self._ends = np.array([place.end for place in layout.phases])
        fixed, equal = ~moves[: self._size], ~moves[self._size :]
        self._system = Saddle(slopes.slope_pattern, slopes.curve_pattern, fixed, equal)

    def followed(self, x: Array) -> Centre:
        """The iterations from a point (n,) [-]."""
        size, push, until = self._size, self._settings.push, time.process_time() + self._settings.seconds
        x = np.where(self._moves[:size], _pushed(x, self._low[:size], self._high[:size], push), self._given[:size])
        around = self._slopes.around(x, self._p)
        own = _pushed(around.value, self._low[size:], self._high[size:], push)
        y = np.concatenate([x, np.where(self._moves[size:], own, self._given[size:])])
        at = _Point(y, np.zeros(own.size), _FIRST / self._room(y))
        count, left, best, since = 0, np.inf, np.inf, 0
        try:
            at = replace(at, lam=self._estimated(around, at.force))
            while count < _MOST and since <= (_PATIENCE if best > _CLOSING else _LAST) and time.process_time() < until:
                here = self._here(at, around)
                left = self._left(at, here)
                if left <= self._tolerance:
                    return Centre(at.y[:size], at.lam, count, left, True)
                best, since = (left, 0) if left < _FALLING * best else (best, since + 1)
                try:
                    self._factor(at, here, bends=count > 0)
                except Unsuited:
                    if count > 0:
                        raise
                    # The multipliers that leave the smallest slope may be no good guess for the curvature.
                    at = replace(at, lam=np.zeros(at.lam.size))
                    here = self._here(at, around)
                    self._factor(at, here, bends=True)
                at = self._stepped(at, here)
                around = self._slopes.around(at.y[:size], self._p)
                count += 1
        except Unsuited:
            pass
        return Centre(at.y[:size], at.lam, count, left, False)

    def _here(self, at: _Point, around: Around) -> _Here:
        pull = np.concatenate([around.pull(at.lam), -at.lam]) * self._moves
        return _Here(around, self._room(at.y), pull, around.value - at.y[self._size :])

    def _room(self, y: Array) -> Array:
        return self._sign * (y[self._at] - self._limit)

    def _on_all(self, of_limits: Array) -> Array:
        """(n + m,) sums of what acts at the limits (k,)."""
        return added(self._at, of_limits, self._moves.size)

    def _left(self, at: _Point, here: _Here) -> float:
        """Largest residual [-]; where multipliers are large, slopes and their products with the room count for less."""
        lack, slope = (float(np.abs(of).max()) for of in (here.miss, here.pull - self._on_all(self._sign * at.force)))
        product = float((at.force * here.room).max(initial=0.0))
        unit = max(1.0, float(np.abs(at.lam).sum() + at.force.sum()) / (100.0 * (at.lam.size + at.force.size)))
        # However large multipliers are, there is a largest slope and product; as IPOPT has it.
        capped = self._tolerance * max(slope / _STEEPEST, product / _LOOSEST)
        # What is no number must not be lost, as it may be by taking the largest.
        is_number = math.isfinite(here.around.cost + lack + slope + product + unit)
        return max(lack, slope / unit, product / unit, capped) if is_number else math.nan

    def _estimated(self, around: Around, force: Array) -> Array:
        """Multipliers of the rows that leave the smallest slope of the Lagrangian, unless they are very large."""
        size, rows = self._size, self._moves.size - self._size
        nothing = np.zeros(self._slopes.curve_pattern.count)
        miss, soft = np.zeros(rows), self._moves[size:]
        self._system.factor(Matrices(around.entries, nothing, np.ones(size), soft, miss))
        slope = np.concatenate([around.gradient, miss]) * self._moves - self._on_all(self._sign * force)
        lam = self._system.moved(slope[:size], slope[size:]).multipliers
        return lam if np.abs(lam).max() <= _LARGEST_MULTIPLIER else miss

    def _factor(self, at: _Point, here: _Here, *, bends: bool) -> None:
        """Matrices at a point, with as much curvature added as a minimum needs, if that is allowed. Raises Unsuited."""
        size = self._size
        stiff = self._on_all(at.force / here.room)
        curve = self._slopes.bent(at.y[:size], self._p, at.lam)
        matrices = Matrices(here.around.entries, curve, stiff[:size], stiff[size:], here.miss)
        try:
            return self._system.factor(matrices)
        except Unsuited:
            self._bent += 1
            if not bends or self._bent > _MOST_BENT:
                raise
        for added_curve in _CURVES:
            with suppress(Unsuited):
                return self._system.factor(replace(matrices, stiffness=matrices.stiffness + added_curve))
        raise Unsuited

    def _stepped(self, at: _Point, here: _Here) -> _Point:
        """After one step."""
        size, part, room, pull = self._size, _BOUNDARY, here.room, here.pull
        goal = np.zeros(room.size)
        if room.size:
            # Relative change of the room by a step to the limits themselves; that of their multipliers is -1 - change.
            change = self._change(self._system.moved(pull[:size], pull[size:]), room)
            product = at.force * room
            long, long_force = _reach(-change, 1.0), _reach(1.0 + change, 1.0)
            after = (product * (1.0 - long_force * (1.0 + change)) * (1.0 + long * change)).mean()
            mean = product.mean()
            aim = max(mean * min((after / mean) ** 3, 1.0), _FLOOR * self._tolerance)
            goal += aim
            if np.abs(here.miss).max() < _NEARLY:
                goal += np.minimum(np.maximum(product * change * (1.0 + change), -mean), mean)
                part = max(part, min(1.0 - aim, _CLOSE))
        wanted = goal / room
        slope = pull - self._on_all(self._sign * wanted)
        move = self._system.moved(slope[:size], slope[size:])
        change = self._change(move, room)
        force = wanted - at.force * (1.0 + change)
        length, shortening = (of[self._ends] - of[self._starts] for of in (at.y, -move.columns))
        long = min(_reach(-change, part), _reach(shortening / length, _SHRINK))
        step = np.concatenate([move.columns, move.rows]) * self._moves
        return _Point(
            at.y + long * step, at.lam + long * move.multipliers, at.force + _reach(-force / at.force, part) * force
        )

    def _change(self, move: Move, room: Array) -> Array:
        return self._sign * np.concatenate([move.columns, move.rows])[self._at] / room


def _reach(shrinking: Array, part: float) -> float:
    """How far a step can be gone that takes these parts of what there is, if it may take ``part`` of it."""
    return part / max(part, float(shrinking.max(initial=0.0)))


def _pushed(value: Array, low: Array, high: Array, push: float) -> Array:
    """Off the limits by a fraction of their width, or of their size where there is but one."""
    width = push * (high - low)
    least = low + np.minimum(push * np.maximum(1.0, np.abs(low)), width)
    most = high - np.minimum(push * np.maximum(1.0, np.abs(high)), width)
    return np.clip(value, np.where(np.isfinite(low), least, low), np.where(np.isfinite(high), most, high))
