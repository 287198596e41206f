"""A first solve on a fine mesh by way of a coarser one: the interior point there, Newton's method from it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import ArrayLike

from optdescent.ocp.guess import Guess
from optdescent.ocp.mesh import Mesh, PhaseMesh
from optdescent.ocp.nlp import NonlinearProgram
from optdescent.ocp.problem import Problem
from optdescent.ocp.settings import SolverSettings
from optdescent.ocp.solution import Solution
from optdescent.ocp.transcribe import transcribe

_TOGETHER = 4
_FEWEST = 8
"""Elements that each phase of a coarser mesh must have left, so that it is no other problem."""
_ROUGH = 1e-6
"""Tolerance [-] on a coarser mesh: its own error is larger, and Newton's method on the next one needs no more."""
_PAYS = 800
"""States and controls at the points of a mesh below which building twice takes what the fewer points save."""


def first_solved(
    problem: Problem,
    mesh: Mesh,
    guess: Guess | Solution,
    values: Mapping[str, ArrayLike],
    settings: SolverSettings = SolverSettings(),
) -> tuple[NonlinearProgram, Solution]:
    """The program on a mesh and its first solution, for values in the problem's own units [-].

    From a guess a fine mesh is solved with four elements as one before: the interior point takes as many iterations
    there, each a quarter as long. Where it fails there, the mesh itself is solved from the guess. The settings hold for
    each of the solves, but on the coarser mesh the tolerance is 1e-6 if that is more; iterations and seconds of the
    solution count them all, its start is that of the last.

    Raises
    ------
    ProblemFault : the problem, guess or values are badly posed.
    """
    before = coarser(problem, mesh) if isinstance(guess, Guess) else None
    rough = replace(settings, tolerance=max(settings.tolerance, _ROUGH))
    first = None if before is None else transcribe(problem, before).solve(values, guess, rough)
    program = transcribe(problem, mesh)
    if first is None:
        return program, program.solve(values, guess, settings)
    solution = program.solve(values, first if first.is_usable else guess, settings)
    return program, replace(
        solution,
        iterations=first.iterations + solution.iterations,
        seconds_build=first.seconds_build + program.seconds_build,
        seconds_solve=first.seconds_solve + solution.seconds_solve,
    )


def coarser(problem: Problem, mesh: Mesh) -> Mesh | None:
    """The mesh with four neighbours as one element, of the highest of their degrees; None where that does not pay."""
    sizes = [len(phase.states) + len(phase.controls) for phase in problem.phases]
    points = [mesh.phases[phase.name].points for phase in problem.phases]
    merged = {name: _merged(own) for name, own in mesh.phases.items()}
    if np.dot(sizes, points) < _PAYS or any(len(own.degrees) < _FEWEST for own in merged.values()):
        return None
    return Mesh(merged)


def _merged(mesh: PhaseMesh) -> PhaseMesh:
    first = np.arange(0, len(mesh.degrees), _TOGETHER)
    fractions, degrees = np.add.reduceat(mesh.fractions, first), np.maximum.reduceat(mesh.degrees, first)
    return PhaseMesh(tuple(fractions.tolist()), tuple(degrees.tolist()), mesh.family)
