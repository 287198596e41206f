"""Where a refinement no longer helps: when that is, and Radau points in place of Gauss points, which may help there.

Gauss points carry what swings in a control that holds a limit from element to element.
"""

from __future__ import annotations

import numpy as np

from optdescent.ocp.basis import Family
from optdescent.ocp.error import PhaseError, local_errors
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.problem import Problem
from optdescent.ocp.refine import RefineSettings, is_good, largest_need
from optdescent.ocp.settings import SolverSettings
from optdescent.ocp.solution import Round, Solution
from optdescent.ocp.transcribe import transcribe

_LESS = 0.7
_LATELY = 3
_GROWN, _LARGER = 2.0, 4.0
_FALLEN = 3.0
"""A mesh that has grown so much in so many rounds, and since the first, has made its error smaller by this, or never
will."""
_PATIENCE = 4
"""Rounds in which the least error so far stays the least before Radau points are tried."""


def is_stuck(history: tuple[Round, ...], swings: bool, settings: RefineSettings) -> bool:
    """Whether many more points have hardly helped, or more rounds where a control ``swings`` at every point."""
    if len(history) <= _LATELY:
        return False
    before, *needs = _needs(history[-1 - _LATELY :], settings)
    has_grown = history[-1].points > max(_GROWN * history[-1 - _LATELY].points, _LARGER * history[0].points)
    return (swings or has_grown) and min(needs) > max(1.0, before / _FALLEN)


def has_stalled(history: tuple[Round, ...], settings: RefineSettings) -> bool:
    """Whether errors larger than asked for have only come and gone for some rounds."""
    needs = _needs(history, settings)
    return needs[-1] > 1.0 and len(needs) - 1 - int(np.argmin(needs)) >= _PATIENCE


def _needs(history: tuple[Round, ...], settings: RefineSettings) -> list[float]:
    """Largest error of each mesh over what was asked for [-]."""
    return [max(r.local_error / settings.local_error, r.excess / settings.excess) for r in history]


def damped(
    problem: Problem,
    found: Solution,
    errors: dict[str, PhaseError],
    solver: SolverSettings,
    asked: RefineSettings,
) -> Solution | None:
    """The same elements with Radau points in phases whose errors are too large, if that makes them much smaller.

    Along a limit on a state, Gauss points carry what swings in the control that holds it from element to element, Radau
    points damp it (Hairer and Wanner, Solving Ordinary Differential Equations II, 1996, on equations of index two). On
    other singular arcs it is these that swing.
    """
    grid = found.mesh.with_family([n for n, e in errors.items() if not is_good({n: e}, asked)], Family.FLIPPED)
    if grid == found.mesh:
        return None
    try:
        again = transcribe(problem, grid).solve(found.values, found, solver)
    except ProblemFault:
        return None
    if not again.is_usable:
        return None
    need = largest_need(local_errors(problem, again), asked)
    return again if need < _LESS * largest_need(errors, asked) else None
