"""Radau points in place of Gauss points, where these carry what swings in a control that holds a limit."""

from __future__ import annotations

from optdescent.ocp.basis import Family
from optdescent.ocp.error import PhaseError, local_errors
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.problem import Problem
from optdescent.ocp.refine import RefineSettings, is_good, largest_need
from optdescent.ocp.settings import SolverSettings
from optdescent.ocp.solution import Solution
from optdescent.ocp.transcribe import transcribe

_LESS = 0.7


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
