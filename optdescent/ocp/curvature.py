"""Whether a solution is a minimum nearby: how the Lagrangian curves along all that the limits in force leave free.

First-order conditions hold at a saddle too, and Newton's method goes there as readily as to a minimum. The signs of
the pivots of the optimality system tell them apart (second-order sufficient conditions: Fiacco and McCormick, Nonlinear
Programming, 1968; their count: Gould, On practical conditions for the existence and uniqueness of solutions to the
general equality quadratic programming problem, Mathematical Programming 32, 1985).

A limit is in force where the room to it is less than its multiplier. One that is pushed against from farther, as an
interior point leaves it, counts by the curvature of its barrier, multiplier over room. One that is met without being
pushed against does not count: what lies beyond it counts as well.
"""

from __future__ import annotations

import math

import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.form import parameter_column
from optdescent.ocp.layout import layout
from optdescent.ocp.limits import Box, bounds, limit_values
from optdescent.ocp.neighbour import active_limits
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.problem import Problem
from optdescent.ocp.rows import rows_of
from optdescent.ocp.saddle import Matrices, Saddle, Unsuited
from optdescent.ocp.scale import column_scales
from optdescent.ocp.slopes import Around, Slopes
from optdescent.ocp.solution import Raw, Solution

_FLAT = 1e-5
"""Curvature that rounding may feign and singular arcs may lack on a mesh: it decides nothing."""
_ADDED = (1e-3, 1e-1, 10.0, 1e3)
_MOST = 1e5


def lacking_curvature(problem: Problem, solution: Solution) -> float:
    """What has to be added to the curvature along all columns, scaled, to make the solution a minimum [-].

    0 at a minimum, where less than 1e-5 is lacking; else 1e-3, 0.1, 10 or 1000, the first that is enough, or 1e5. How
    much that is depends on scales and on the mesh. Not a number where there is no solution.
    """
    if not (solution.is_usable or solution.outcome is Outcome.COARSE):
        return math.nan
    raw, places = solution.raw, layout(problem, solution.mesh)
    parameters = np.asarray(parameter_column(problem, solution.values), dtype=float)
    p, unit = np.concatenate([parameters, raw.scales]), column_scales(places, raw.scales)
    box = bounds(problem, places, limit_values(problem, parameters), unit, raw.scales)
    slopes, size = Slopes(*rows_of(problem, solution.mesh, places)), raw.x.size
    around = slopes.around(raw.x, p)
    held = active_limits(raw, around.value, box)[0]
    if held[:size].all():
        return 0.0
    system = Saddle(around.pattern, slopes.curve_pattern, held[:size], held[size:])
    steepest = _steepest(around)
    stiff = np.where(held, 0.0, _barrier(raw, around.value, box))
    still = np.zeros(steepest.size)
    matrices = Matrices(
        around.entries / steepest[around.pattern.rows],
        slopes.bent(raw.x, p, raw.lam_g),
        stiff[:size],
        # Rows are taken in units of their steepest slope, so that none gives way more than another.
        stiff[size:] * steepest**2,
        still,
    )
    return next((added for added in (0.0, *_ADDED) if _is_minimum(system, matrices, max(added, _FLAT))), _MOST)


def _is_minimum(system: Saddle, matrices: Matrices, added: float) -> bool:
    own = Matrices(matrices.slope, matrices.curve, matrices.stiffness + added, matrices.softness, matrices.miss)
    try:
        system.factor(own)
    except Unsuited:
        return False
    return True


def _steepest(around: Around) -> Array:
    """Largest slope (m,) of each row, or 1 where it has none."""
    steepest = np.zeros(around.value.size)
    np.maximum.at(steepest, around.pattern.rows, np.abs(around.entries))
    return np.where(steepest > 0.0, steepest, 1.0)


def _barrier(raw: Raw, value: Array, box: Box) -> Array:
    """Curvature (n + m,) of the barrier of what is pushed against; what is met counts for nothing."""
    at = np.concatenate([raw.x, value])
    room = np.minimum(at - box.low_of_all, box.high_of_all - at)
    force = np.abs(np.concatenate([raw.lam_x, raw.lam_g]))
    return np.divide(force, room, out=np.zeros(at.size), where=room > 0.0)
