"""A quadratic program followed from data for which its solution is known to other data.

On the way the working set changes where a limit is met or a multiplier vanishes; in between, the solution is a straight
line in the data (parametric active sets: Best, An algorithm for the solution of the parametric quadratic programming
problem, 1996; Ferreau, Bock, Diehl, International Journal of Robust and Nonlinear Control 18, 2008).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optdescent.ocp.basis import Array, Flags
from optdescent.ocp.bordered import Bordered, BorderTooLarge
from optdescent.ocp.limits import Box

_STILL = 1e-13
_SAME_PLACE = 1e-12


@dataclass(frozen=True)
class Data:
    """min x'Hx/2 + pull'x subject to low <= x <= high and row_low <= A x + offset <= row_high; all scaled [-]."""

    pull: Array
    offset: Array
    box: Box


@dataclass(frozen=True)
class Standing:
    """A solution: variables, row multipliers; which of both (n + m) are held, and whether at the upper limit."""

    x: Array
    lam: Array
    held: Flags
    at_high: Flags

    @property
    def live(self) -> Flags:
        """Unknowns (n + m,) of `Bordered` that are solved for: free variables, multipliers of held rows."""
        return np.concatenate([~self.held[: self.x.size], self.held[self.x.size :]])


def walk(system: Bordered, begin: Data, end: Data, standing: Standing, most: int) -> tuple[Standing, int] | None:
    """The solution for ``end``, from that for ``begin``, and how often the working set changed on the way.

    None if it cannot be followed or changes more than ``most`` times. Where the data exclude each other, the shift of
    ``system`` may lead to an end that does not keep the limits; where the curvature along a limit that is let go is
    negative, to a multiplier of the wrong sign: whoever asks looks at the residual.
    ``system`` must stand for what is live in ``standing``; afterwards it stands for what is live in the result.
    """
    size = standing.x.size
    low, high = begin.box.low_of_all, begin.box.high_of_all
    last_low, last_high = end.box.low_of_all, end.box.high_of_all
    with np.errstate(invalid="ignore"):
        low_rate, high_rate = (np.nan_to_num(b - a) for a, b in ((low, last_low), (high, last_high)))
    pull_rate, offset_rate = end.pull - begin.pull, end.offset - begin.offset
    fixed = (low == high) & (last_low == last_high)
    held, at_high = standing.held.copy(), standing.at_high.copy()
    # What must stay within its limits, and what must keep its sign (positive at the lower one) while it is held there.
    own = system.times(np.concatenate([standing.x, standing.lam]))
    value = np.concatenate([standing.x, own[size:] + begin.offset])
    force = np.concatenate([own[:size] + begin.pull, -standing.lam])
    done, turned, stuck = 0.0, dict[int, float](), np.zeros(held.size, dtype=np.bool_)
    for changes in range(most + 1):
        limit_rate = np.where(at_high, high_rate, low_rate)
        right = np.concatenate([-pull_rate, limit_rate[size:] - offset_rate])
        given = np.concatenate([limit_rate[:size], np.zeros(right.size - size)])
        try:
            found = system.solve(right, given)
        except np.linalg.LinAlgError:
            # What is held depends on itself to the last digit.
            return None
        own = system.times(found)
        value_rate = np.concatenate([found[:size], own[size:] + offset_rate])
        force_rate = np.concatenate([own[:size] + pull_rate, -found[size:]])
        sign = np.where(at_high, -1.0, 1.0)
        meets_low = np.where(held, np.inf, _reach(value - low, value_rate - low_rate))
        meets_high = np.where(held, np.inf, _reach(high - value, high_rate - value_rate))
        lets_go = np.where(held & ~fixed & ~stuck, _reach(sign * force, sign * force_rate), np.inf)
        first = np.minimum(np.minimum(meets_low, meets_high), lets_go)
        if changes == 0:
            system.prepare(np.flatnonzero(first < 1.0))
        unknown = int(np.argmin(first))
        step = min(float(first[unknown]), 1.0 - done)
        if not np.isfinite(step) or not np.isfinite(found.sum()):
            return None
        done += step
        value, force = value + step * value_rate, force + step * force_rate
        low, high = low + step * low_rate, high + step * high_rate
        if done >= 1.0:
            # What is held in the border is there but for rounding errors, which would stay for good.
            x = np.where(held[:size], np.where(at_high, last_high, last_low)[:size], value[:size])
            return Standing(x, np.where(held[size:], -force[size:], 0.0), held, at_high), changes
        if done - turned.get(unknown, -1.0) < _SAME_PLACE:
            # Held it asks to be let go, let go it passes its limit: the matrix curves the wrong way. It stays held.
            stuck[unknown] = True
            if held[unknown]:
                continue
        turned[unknown] = done
        held[unknown] = not held[unknown]
        if held[unknown]:
            at_high[unknown] = meets_high[unknown] <= meets_low[unknown]
        try:
            system.toggle(unknown)
        except BorderTooLarge:
            return None
    return None


def _reach(room: Array, rate: Array) -> Array:
    """The part of the way after which ``room`` [-], falling at ``-rate``, is used up."""
    reach = np.full(room.size, np.inf)
    return np.divide(np.maximum(room, 0.0), -rate, out=reach, where=rate < -_STILL)
