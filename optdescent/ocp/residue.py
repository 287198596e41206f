"""What the rows of a program show: values that are not finite, violation, and cost that the interior point leaves."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.layout import Layout
from optdescent.ocp.limits import Box
from optdescent.ocp.problem import Problem
from optdescent.ocp.solution import Raw


def slackness(raw: Raw, rows: Array, box: Box) -> float:
    """Sum over all limits of multiplier times distance, scaled [-]."""
    total = 0.0
    for value, low, high, lam in (
        (raw.x, box.low, box.high, raw.lam_x),
        (rows, box.row_low, box.row_high, raw.lam_g),
    ):
        distance = np.maximum(np.minimum(value - low, high - value), 0.0)
        counted = np.isfinite(distance) & (low < high)
        total += float(np.sum(np.abs(lam[counted]) * distance[counted]))
    return total


def violation(raw: Raw, rows: Array, box: Box) -> float:
    """Largest scaled violation of any row or bound [-]."""
    parts = (box.row_low - rows, rows - box.row_high, box.low - raw.x, raw.x - box.high)
    return max(0.0, *(float(np.max(part, initial=0.0)) for part in parts))


def not_finite(problem: Problem, layout: Layout, points: Mapping[int, int], said: str) -> ProblemFault:
    """The fault ``said`` that names phase, variable and point of the first row that is not finite, or else the cost.

    ``points`` : row -> first point at which what is added up there is not finite.
    """
    for phase, form, place in zip(problem.phases, problem.phase_forms, layout.phases, strict=True):
        for names, index in ((form.states, place.defects), (form.path, place.path)):
            bad = np.argwhere(np.isin(index, list(points))) if index.size else np.empty((0, 2))
            if len(bad):
                name, point = names[int(bad[0][0])], int(bad[0][1])
                return ProblemFault(said, phase.name, name, point)
        if place.has_integrand and int(place.quadrature) in points:
            return ProblemFault(said, phase.name, "integrand", points[int(place.quadrature)])
    for constraint, row in zip(problem.boundaries, layout.boundaries, strict=True):
        if row in points:
            return ProblemFault(said, "", constraint.name)
    return ProblemFault(said, variable="cost")
