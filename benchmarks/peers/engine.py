"""The engine: the problem is posed and transcribed afresh, then solved on that mesh without refinement.

A fine mesh is solved by way of a coarser one (`first_solved`), whose building counts as solving.
"""

from __future__ import annotations

from dataclasses import dataclass

from benchmarks.peers.adapter import Answer
from benchmarks.peers.cases import Case
from optdescent.ocp import Guess, Mesh, NonlinearProgram, Problem, Solution, first_solved


@dataclass
class _Held:
    case: Case
    problem: Problem
    mesh: Mesh
    guess: Guess
    program: NonlinearProgram | None = None

    def first(self) -> Answer:
        values = {self.case.parameter: self.case.nominal}
        self.program, found = first_solved(self.problem, self.mesh, self.guess, values)
        return _answer(found)

    def again(self, value: float, before: Answer) -> Answer:
        if self.program is None or not isinstance(before.kept, Solution):
            raise TypeError("the engine restarts from its own solution")
        return _answer(self.program.solve({self.case.parameter: value}, before.kept))

    def count(self) -> None:
        """Iterations are always told."""


def _answer(found: Solution) -> Answer:
    return Answer(found.outcome.is_success, found.cost, found.iterations, found.outcome.name.lower(), found)


class Engine:
    """``first_solved`` on a mesh, then ``NonlinearProgram.solve`` again, with default settings."""

    name = "optdescent.ocp"
    distribution = "optdescent"
    way = "parameter; from the solution and its multipliers (default: bounds may change); builds when it first solves"

    def pose(self, case: Case, elements: int, degree: int) -> _Held:
        """Pose the problem; its program is built on the way to the first solution."""
        problem, guess = case.pose()
        return _Held(case, problem, Mesh.uniform(problem, elements, degree), guess)
