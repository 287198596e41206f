"""A problem on a mesh as a nonlinear program."""

from __future__ import annotations

import time

from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.layout import layout
from optdescent.ocp.mesh import Mesh
from optdescent.ocp.nlp import NonlinearProgram
from optdescent.ocp.problem import Problem
from optdescent.ocp.rows import rows_of


def transcribe(problem: Problem, mesh: Mesh) -> NonlinearProgram:
    """Build the nonlinear program of ``problem`` on ``mesh``.

    Raises
    ------
    ProblemFault : the mesh lacks a phase.
    """
    began = time.perf_counter()
    for name in problem.phase_names:
        if name not in mesh.phases:
            raise ProblemFault("the mesh says nothing about this phase", phase=name)
    places = layout(problem, mesh)
    linear, pieces = rows_of(problem, mesh, places)
    return NonlinearProgram(problem, mesh, places, linear, pieces, time.perf_counter() - began)
