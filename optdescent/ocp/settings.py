"""Closed choices of how a program is built and solved."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum

from optdescent.ocp.fault import ProblemFault


class Warmth(Enum):
    """How near a given solution is expected to be; only used when a solution is the start."""

    CLOSE = "small change, same active bounds"
    NEAR = "bounds may become active or free"
    COLD = "use the point, not the multipliers"


@dataclass(frozen=True)
class SolverSettings:
    """Limits of one solve of a nonlinear program.

    ``tolerance`` is on scaled optimality and violation; without any ``iterations`` a neighbour is reached by Newton's
    method or not at all; ``seconds`` is processor time; ``push`` is how far a cold start
    is moved off its limits, as a fraction of their width: small for a guess that is nearly a solution; ``barrier``
    is where the barrier parameter of a cold start begins to fall from (None: it is chosen anew in every iteration,
    which forgives a poor guess; 3e-5 suits a flown one); ``again`` says whether a warm start that failed is
    followed by a cold one; ``newton`` whether a warm start begins with Newton's method; ``central`` whether a cold
    start of a small program begins with an interior point of our own, which takes at most 40 iterations and
    ``seconds`` more and does not know ``barrier`` and ``log``; ``log`` 0 is silent, 5 shows every iteration.
    """

    tolerance: float = 1e-9
    iterations: int = 1000
    seconds: float = 300.0
    warmth: Warmth = Warmth.NEAR
    push: float = 0.1
    barrier: float | None = None
    again: bool = True
    newton: bool = True
    central: bool = True
    log: int = 0

    def __post_init__(self) -> None:
        """Raises ProblemFault: ``push`` is no such fraction."""
        if not 0.0 < self.push <= 0.5:
            raise ProblemFault(f"a cold start is pushed by more than 0 and at most 0.5 of a width, not {self.push}")
