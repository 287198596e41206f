"""A first solve by way of a coarser mesh ends where the direct one ends."""

from __future__ import annotations

import pytest

from optdescent.ocp import Guess, Mesh, Outcome, PhaseMesh, Problem, SolverSettings, Start, first_solved, transcribe
from optdescent.ocp.coarser import coarser
from tests.ocp import benchmark_problems as posed

VALUES = {"updraught": 1.0}


def fine() -> tuple[Problem, Guess, Mesh]:
    problem, guess = posed.hang_glider()
    return problem, guess, Mesh.uniform(problem, 50, 5)


def test_it_is_the_solution_of_the_mesh() -> None:
    problem, guess, mesh = fine()
    program, found = first_solved(problem, mesh, guess, VALUES)
    direct = transcribe(problem, mesh).solve(VALUES, guess)
    assert found.mesh == program.mesh == mesh
    assert (found.outcome, found.start, direct.start) == (Outcome.SOLVED, Start.NEIGHBOUR, Start.COLD)
    assert found.cost == pytest.approx(direct.cost, rel=1e-8)
    again = program.solve({"updraught": 1.01}, found)
    assert again.outcome is Outcome.SOLVED


def test_where_the_coarser_mesh_fails_the_mesh_itself_is_asked() -> None:
    problem, guess, mesh = fine()
    few = SolverSettings(iterations=4)
    program, found = first_solved(problem, mesh, guess, VALUES, few)
    assert found.outcome is Outcome.ITERATIONS
    assert found.iterations == 8
    assert program.mesh == mesh


def test_four_elements_become_one() -> None:
    problem, _ = posed.hang_glider()
    name = problem.phase_names[0]
    mesh = Mesh({name: PhaseMesh((0.02,) * 50, (5,) * 30 + (4,) * 20)})
    found = coarser(problem, mesh)
    assert found is not None
    assert len(found.phases[name].degrees) == 13
    assert found.phases[name].degrees[7:9] == (5, 4)
    assert found.phases[name].edges == pytest.approx([*mesh.phases[name].edges[::4], 1.0])


def test_a_coarse_mesh_has_none() -> None:
    problem, _ = posed.hang_glider()
    assert coarser(problem, Mesh.uniform(problem, 30, 8)) is not None
    assert coarser(problem, Mesh.uniform(problem, 28, 8)) is None
    assert coarser(problem, Mesh.uniform(problem, 50, 2)) is None
