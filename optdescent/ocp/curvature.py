"""Whether a solution is a minimum nearby: how the Lagrangian curves along all that the limits in force leave free.

First-order conditions hold at a saddle too, and Newton's method goes there as readily as to a minimum. The signs of
the pivots of the optimality system tell them apart (second-order sufficient conditions: Fiacco and McCormick, Nonlinear
Programming, 1968; their count: Gould, On practical conditions for the existence and uniqueness of solutions to the
general equality quadratic programming problem, Mathematical Programming 32, 1985). A limit that is met without being
pushed against counts as held.
"""

from __future__ import annotations

import math

import numpy as np

from optdescent.ocp.form import parameter_column
from optdescent.ocp.layout import layout
from optdescent.ocp.limits import bounds, limit_values
from optdescent.ocp.neighbour import active_limits
from optdescent.ocp.problem import Problem
from optdescent.ocp.rows import rows_of
from optdescent.ocp.saddle import Matrices, Saddle, Unsuited
from optdescent.ocp.scale import column_scales
from optdescent.ocp.slopes import Slopes
from optdescent.ocp.solution import Solution

_FLAT = 1e-6
"""Curvature that rounding may feign, or a singular arc lack: it decides nothing."""
_ADDED = (1e-4, 1e-2, 1.0, 1e2, 1e4)


def lacking_curvature(problem: Problem, solution: Solution) -> float:
    """What has to be added to the curvature along all columns to make the solution a minimum, to a power of 100 [-].

    0 at a minimum; infinite where nothing helps, not a number where the solution has no multipliers.
    """
    raw, places = solution.raw, layout(problem, solution.mesh)
    if not np.isfinite(raw.lam_g).all():
        return math.nan
    parameters = np.asarray(parameter_column(problem, solution.values), dtype=float)
    p, unit = np.concatenate([parameters, raw.scales]), column_scales(places, raw.scales)
    box = bounds(problem, places, limit_values(problem, parameters), unit, raw.scales)
    slopes = Slopes(*rows_of(problem, solution.mesh, places))
    around = slopes.around(raw.x, p)
    held = active_limits(raw, around.value, box)[0]
    columns, rows = held[: raw.x.size], held[raw.x.size :]
    if columns.all():
        return 0.0
    system, still = Saddle(around.pattern, slopes.curve_pattern, columns, rows), np.zeros(rows.size)
    curve = slopes.bent(raw.x, p, raw.lam_g)
    for added in (_FLAT, *_ADDED):
        try:
            system.factor(Matrices(around.entries, curve, np.full(raw.x.size, added), still, still))
        except Unsuited:
            continue
        return 0.0 if added == _FLAT else added
    return math.inf
