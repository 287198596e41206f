"""A first solve by way of a coarser mesh ends where the direct one ends."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.ocp import (
    Guess,
    Mesh,
    Outcome,
    PhaseMesh,
    Problem,
    SolverSettings,
    Start,
    first_solved,
    neighbour,
    transcribe,
)
from optdescent.ocp.bordered import Bordered
from optdescent.ocp.coarser import coarser
from optdescent.ocp.limits import Box
from optdescent.ocp.neighbour import active_limits
from optdescent.ocp.solution import Raw
from optdescent.ocp.walk import Data, Standing, walk
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


def test_limits_of_a_rough_start_are_held_readily(monkeypatch: pytest.MonkeyPatch) -> None:
    """The wing's largest lift, where what is carried over has more room than a multiplier: fewer changes on the way."""
    problem, guess, mesh = fine()
    rough = SolverSettings(tolerance=1e-5)
    changes: list[int] = []

    def counted(system: Bordered, begin: Data, end: Data, standing: Standing, most: int) -> tuple[Standing, int] | None:
        found = walk(system, begin, end, standing, most)
        changes.append(most if found is None else found[1])
        return found

    monkeypatch.setattr(neighbour, "walk", counted)
    readily = first_solved(problem, mesh, guess, VALUES, rough)[1]
    few, changes[:] = sum(changes), []
    monkeypatch.setattr(neighbour, "_LIKELY", 1.0)
    strictly = first_solved(problem, mesh, guess, VALUES, rough)[1]
    assert 0 < few < sum(changes)
    assert readily.cost == pytest.approx(strictly.cost, rel=1e-6)


def test_limits_are_in_force_where_the_room_is_less_than_so_many_multipliers() -> None:
    """Three columns near their upper limits, one that is fixed, a row near its lower limit and one that has none."""
    box = Box(np.array([0.0, 0, 0, 0.5]), np.array([1.0, 1, 1, 0.5]), np.array([2.0, -np.inf]), np.full(2, np.inf))
    x = np.array([1.0 - 1e-4, 1.0 - 1e-4, 1.0 - 1e-4, 0.5])
    solution = Raw(x, np.array([2e-4, 2e-5, 2e-6, 0.0]), np.array([-2e-5, 0.0]), np.ones(1))
    value = np.array([2.0 + 1e-4, 7.0])
    held, at_high = active_limits(solution, value, box)
    assert held.tolist() == [True, False, False, True, False, False]
    assert at_high[:3].all()
    assert not at_high[4]
    assert active_limits(solution, value, box, 10.0)[0].tolist() == [True, True, False, True, True, False]
