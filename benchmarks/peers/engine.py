"""The engine: the problem is posed and transcribed afresh, then solved on that mesh without refinement."""

from __future__ import annotations

from dataclasses import dataclass

from benchmarks.peers.adapter import Answer
from benchmarks.peers.cases import Case
from optdescent.ocp import Guess, Mesh, NonlinearProgram, Solution, transcribe


@dataclass(frozen=True)
class _Held:
    case: Case
    program: NonlinearProgram
    guess: Guess

    def first(self) -> Answer:
        return self._solve(self.case.nominal, self.guess)

    def again(self, value: float, before: Answer) -> Answer:
        if not isinstance(before.kept, Solution):
            raise TypeError("the engine restarts from its own solution")
        return self._solve(value, before.kept)

    def count(self) -> None:
        """Iterations are always told."""

    def _solve(self, value: float, start: Guess | Solution) -> Answer:
        found = self.program.solve({self.case.parameter: value}, start)
        return Answer(found.outcome.is_success, found.cost, found.iterations, found.outcome.name.lower(), found)


class Engine:
    """``transcribe(problem, mesh).solve(values, start)`` with default settings."""

    name = "optdescent.ocp"
    distribution = "optdescent"
    way = "parameter; from the solution and its multipliers (default: bounds may change)"

    def pose(self, case: Case, elements: int, degree: int) -> _Held:
        """Build the nonlinear program."""
        problem, guess = case.pose()
        return _Held(case, transcribe(problem, Mesh.uniform(problem, elements, degree)), guess)
