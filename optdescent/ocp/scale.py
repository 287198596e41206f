"""Scales of all variables: declared, or chosen from bounds and guess; constant for the life of a program."""

from __future__ import annotations

import math

import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.layout import Layout
from optdescent.ocp.problem import Problem, Variable

_WIDE = 100.0


def _automatic(lower: float, upper: float, size: float) -> float:
    """Bound range where it says something, else the size of the guess, else 1."""
    width = upper - lower
    if math.isfinite(width) and width > 0.0 and (size == 0.0 or width <= _WIDE * size):
        return width
    if size > 0.0:
        return size
    return max((abs(v) for v in (lower, upper) if math.isfinite(v) and v != 0.0), default=1.0)


def _scale(variable: Variable, limits: tuple[float, float], guess: Array) -> float:
    if variable.scale is not None:
        return variable.scale
    return _automatic(*limits, float(np.max(np.abs(guess), initial=0.0)))


def scales(
    problem: Problem, layout: Layout, columns: Array, limits: dict[tuple[str, str, str], tuple[float, float]]
) -> Array:
    """Column of scales for a physical guess ``columns``; the cost's and integrals' stay 1 [-]."""
    result = np.ones(layout.scales)
    edges = [columns[i] for p in layout.phases for i in (p.start, p.end)]
    result[1] = (max(edges) - min(edges)) or 1.0
    for i, variable in enumerate(problem.statics):
        own = columns[layout.statics[i : i + 1]]
        result[layout.static_scales[i]] = _scale(variable, limits["static", "", variable.name], own)
    for phase, place in zip(problem.phases, layout.phases, strict=True):
        for kind, variables, where, index in (
            ("state", phase.states, place.state_scales, place.states),
            ("control", phase.controls, place.control_scales, place.controls),
        ):
            for i, variable in enumerate(variables):
                found = limits[kind, phase.name, variable.name]
                result[where[i]] = _scale(variable, found, columns[index[i]])
    return result


def column_scales(layout: Layout, column: Array) -> Array:
    """The scale of every column of the program from the column of scales."""
    result = np.empty(layout.columns)
    result[layout.statics] = column[layout.static_scales]
    for place in layout.phases:
        result[[place.start, place.end]] = column[1]
        if place.has_integrand:
            result[place.integral] = column[place.integral_scale]
        result[place.states] = column[place.state_scales][:, None]
        result[place.controls] = column[place.control_scales][:, None]
    return result


def scale_report(problem: Problem, layout: Layout, column: Array) -> dict[str, float]:
    """Scale of every variable as ``phase.variable``, ``cost`` and ``independent``, in their own units [-]."""
    report = {"cost": float(column[0]), "independent": float(column[1])}
    report |= {v.name: float(column[i]) for v, i in zip(problem.statics, layout.static_scales, strict=True)}
    for phase, place in zip(problem.phases, layout.phases, strict=True):
        for variables, where in ((phase.states, place.state_scales), (phase.controls, place.control_scales)):
            report |= {f"{phase.name}.{v.name}": float(column[i]) for v, i in zip(variables, where, strict=True)}
        if place.has_integrand:
            report[f"{phase.name}.integral"] = float(column[place.integral_scale])
    return report


def cost_scale(cost: float, slope: float) -> float:
    """The cost at the start [-], within a hundredth of the largest slope and that slope itself.

    The slope alone is too much where a variable's scale is far beyond what it changes by, as with a mass: the solver's
    tolerance, in units of this scale, would then leave a visible part of the cost on the table.
    """
    if not (np.isfinite(slope) and slope > 0.0):
        return 1.0
    return float(np.clip(cost, slope / 100.0, slope)) if cost > 0.0 else slope
