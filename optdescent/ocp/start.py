"""Physical columns of a program from a guess or from a solution on another mesh."""

from __future__ import annotations

import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.guess import Guess, check_guess
from optdescent.ocp.layout import Layout
from optdescent.ocp.mesh import Mesh
from optdescent.ocp.problem import Problem
from optdescent.ocp.solution import Solution


def from_guess(problem: Problem, mesh: Mesh, layout: Layout, guess: Guess) -> Array:
    """Physical columns (n,) by linear interpolation; integrals are left at 0.

    Raises
    ------
    ProblemFault : the guess lacks something.
    """
    check_guess(problem, guess)
    columns = np.zeros(layout.columns)
    columns[layout.statics] = [guess.statics[v.name] for v in problem.statics]
    for phase, place in zip(problem.phases, layout.phases, strict=True):
        own, grid = guess.phases[phase.name], mesh.phases[phase.name]
        base = np.asarray(own.independent, dtype=float)
        length = base[-1] - base[0]
        position = (base - base[0]) / length if length > 0.0 else np.linspace(0.0, 1.0, base.size)
        columns[[place.start, place.end]] = base[[0, -1]]
        for variables, series, index, at in (
            (phase.states, own.states, place.states, grid.nodes),
            (phase.controls, own.controls, place.controls, grid.collocation),
        ):
            for variable, row in zip(variables, index, strict=True):
                columns[row] = np.interp(at, position, np.asarray(series[variable.name], dtype=float))
    return columns


def from_solution(problem: Problem, mesh: Mesh, layout: Layout, solution: Solution) -> Array:
    """Physical columns (n,) by evaluating the element polynomials of ``solution`` at the new nodes."""
    columns = np.zeros(layout.columns)
    columns[layout.statics] = [solution.statics[v.name] for v in problem.statics]
    for phase, place in zip(problem.phases, layout.phases, strict=True):
        own, grid = solution[phase.name], mesh.phases[phase.name]
        columns[[place.start, place.end]] = own.start, own.end
        if place.has_integrand:
            columns[place.integral] = own.integral
        for variable, row in zip(phase.states, place.states, strict=True):
            columns[row] = own.mesh.state_at(own.states[variable.name], grid.nodes)
        for variable, row in zip(phase.controls, place.controls, strict=True):
            columns[row] = own.mesh.control_at(own.controls[variable.name], grid.collocation)
    return columns
