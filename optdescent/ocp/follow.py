"""A robust way to a solution: the guess, a neighbour's solution followed in its parameters, perturbed restarts.

Every attempt is recorded, so that a result says how it was reached.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import ArrayLike

from optdescent.ocp.basis import Array
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.guess import Guess, PhaseGuess
from optdescent.ocp.nlp import NonlinearProgram
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.settings import SolverSettings
from optdescent.ocp.solution import Solution


class Step(Enum):
    """What an attempt started from."""

    NEIGHBOUR = "a neighbour's solution"
    GUESS = "the guess"
    FOLLOWED = "a neighbour's solution, its parameters moved little by little"
    RESTART = "the guess, perturbed"


@dataclass(frozen=True)
class Attempt:
    """One attempt: how it started, how it ended; ``reached`` is the part of the way for FOLLOWED."""

    step: Step
    outcome: Outcome
    iterations: int
    reached: float


@dataclass(frozen=True)
class Persistence:
    """How long to try: smallest part of the way in one move, restarts, size of the perturbation, its seed."""

    smallest_move: float = 1.0 / 64.0
    restarts: int = 3
    size: float = 0.05
    seed: int = 1


def persist(
    program: NonlinearProgram,
    values: Mapping[str, ArrayLike],
    guess: Guess,
    near: Solution | None = None,
    settings: SolverSettings | None = None,
    persistence: Persistence | None = None,
) -> tuple[Solution, tuple[Attempt, ...]]:
    """Try a neighbour, the guess, the way from the neighbour, then perturbed restarts, until one succeeds.

    ``values`` are in the problem's own units [-]. Returns the first success (else the last failure) and the record
    of attempts.

    Raises
    ------
    ProblemFault : the values or the guess are badly posed.
    """
    solver, effort = settings or SolverSettings(), persistence or Persistence()
    log: list[Attempt] = []
    starts: list[tuple[Step, Guess | Solution]] = [(Step.GUESS, guess)]
    if near is not None:
        starts.insert(0, (Step.NEIGHBOUR, near))
    found = program.solve(values, starts[0][1], solver)
    log.append(Attempt(starts[0][0], found.outcome, found.iterations, 1.0))
    if found.outcome.is_success:
        return found, tuple(log)
    for step, start in starts[1:]:
        found = program.solve(values, start, solver)
        log.append(Attempt(step, found.outcome, found.iterations, 1.0))
        if found.outcome.is_success:
            return found, tuple(log)
    if near is not None:
        found = _follow(program, values, near, solver, effort, log)
        if found.outcome.is_success:
            return found, tuple(log)
    random = np.random.default_rng(effort.seed)
    for number in range(1, effort.restarts + 1):
        try:
            found = program.solve(values, _perturbed(guess, effort.size * number, random), solver)
        except ProblemFault:
            # Shaken to where a function is not finite.
            log.append(Attempt(Step.RESTART, Outcome.INVALID_NUMBER, 0, 1.0))
            continue
        log.append(Attempt(Step.RESTART, found.outcome, found.iterations, 1.0))
        if found.outcome.is_success:
            break
    return found, tuple(log)


def _follow(
    program: NonlinearProgram,
    values: Mapping[str, ArrayLike],
    near: Solution,
    solver: SolverSettings,
    effort: Persistence,
    log: list[Attempt],
) -> Solution:
    """Move from the neighbour's values to ``values``, halving the move after a failure, doubling after a success."""
    goal = {name: np.atleast_1d(np.asarray(v, dtype=float)) for name, v in values.items()}
    reached, move, iterations = 0.0, 0.5, 0
    last = found = near
    while reached < 1.0 and move >= effort.smallest_move:
        target = min(1.0, reached + move)
        between = {n: (1.0 - target) * near.values[n] + target * goal[n] for n in goal}
        found = program.solve(between, last, solver)
        iterations += found.iterations
        if found.outcome.is_success:
            reached, last, move = target, found, 2.0 * move
        else:
            move /= 2.0
    log.append(Attempt(Step.FOLLOWED, found.outcome, iterations, reached))
    return found


def _perturbed(guess: Guess, size: float, random: np.random.Generator) -> Guess:
    """Every series plus a smooth random curve of about ``size`` times its range, ends included."""

    def shaken(series: ArrayLike) -> Array:
        values = np.asarray(series, dtype=float)
        span = float(np.ptp(values)) or float(np.max(np.abs(values))) or 1.0
        at = np.linspace(0.0, np.pi, values.size)
        curve = sum((random.standard_normal() * np.cos(k * at) / (k + 1) for k in range(4)), np.zeros(values.size))
        return values + size * span * curve

    return Guess(
        {
            name: PhaseGuess(
                own.independent,
                {n: shaken(s) for n, s in own.states.items()},
                {n: shaken(s) for n, s in own.controls.items()},
            )
            for name, own in guess.phases.items()
        },
        guess.statics,
    )
