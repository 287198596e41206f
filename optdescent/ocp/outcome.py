"""How a solve ended: a closed list whose values are the sentences a user reads."""

from __future__ import annotations

from enum import Enum


class Outcome(Enum):
    """End of a solve. The value is the sentence to show, with the next step in it."""

    SOLVED = "Solved: feasible and locally optimal to the tolerance asked for."
    COARSE = "Solved, but the local error asked for was not reached: allow more rounds or a larger error."
    ACCEPTABLE = "Solved only to the acceptable level: look at the violation and dual error before using it."
    INFEASIBLE = "No feasible point was found near the start: relax the demands or ask which of them conflict."
    ITERATIONS = "Stopped at the iteration limit: start nearer to the answer or allow more iterations."
    TIME = "Stopped at the time limit: allow more time or start nearer to the answer."
    INVALID_NUMBER = "A function or derivative was not finite: look for a root, logarithm or division near zero."
    RESTORATION_FAILED = "Feasibility could not be regained: start from another guess or check the scales."
    DIVERGING = "The iterates grow without limit: bound the variables or check the sign of the cost."
    STEP_TOO_SMALL = "The search stalled: the problem may be degenerate or badly scaled here."
    OVERDETERMINED = "More equations than free variables: remove a fixed end or a boundary constraint."
    FAILED = "The solver stopped for another reason: see its log."

    @property
    def is_success(self) -> bool:
        """Whether the result may be used as an optimum."""
        return self is Outcome.SOLVED
