"""Solve a problem: transcribe on a mesh, solve, refine until the local error is small enough."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

from numpy.typing import ArrayLike

from optdescent.ocp.chatter import find_chatter
from optdescent.ocp.coarser import first_solved
from optdescent.ocp.damped import damped, has_stalled, is_stuck
from optdescent.ocp.error import local_errors, round_of
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.guess import Guess
from optdescent.ocp.mesh import Mesh
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.problem import Problem
from optdescent.ocp.refine import RefineSettings, enriched, has_settled, is_good, refine, stricter
from optdescent.ocp.settings import SolverSettings
from optdescent.ocp.solution import Round, Solution
from optdescent.ocp.transcribe import transcribe


@dataclass(frozen=True)
class Settings:
    """How to solve: the solver, the refinement, and the first mesh when none is given."""

    solver: SolverSettings = field(default_factory=SolverSettings)
    refinement: RefineSettings = field(default_factory=RefineSettings)
    elements: int = 10
    degree: int = 4


def solve(
    problem: Problem,
    guess: Guess | Solution,
    values: Mapping[str, ArrayLike] | None = None,
    mesh: Mesh | None = None,
    settings: Settings | None = None,
) -> Solution:
    """Solve on ``mesh`` (or a uniform one) and refine until local error and cost are settled.

    ``values`` are in the problem's own units [-]. The rounds are in ``Solution.history``;
    ``Outcome.COARSE`` says that the error asked for was not reached, or that more points no longer help.

    Raises
    ------
    ProblemFault : the problem, guess or values are badly posed; a function or its derivative is not finite at the start
        or where the first solve ends for it.
    """
    chosen = settings or Settings()
    grid = mesh or Mesh.uniform(problem, chosen.elements, chosen.degree)
    first = first_solved(problem, grid, guess, values or {}, chosen.solver)[1]
    if first.fault is not None:
        raise first.fault
    return refined(problem, first, chosen)


def refined(problem: Problem, first: Solution, settings: Settings | None = None) -> Solution:
    """Refine from a solution on its mesh, for its parameter values [-]; one that is not usable comes back as it is.

    Where more points no longer help, phases with too large errors are tried with Radau points. ``Outcome.COARSE`` says
    that the error asked for was not reached for all that.
    """
    chosen = settings or Settings()
    rules: RefineSettings = chosen.refinement
    found, left, history, begun = first, rules.calming, tuple[Round, ...](), 0
    enough: Solution | None = None
    may_damp = True
    while True:
        errors = local_errors(problem, found)
        history = (*history, round_of(found, errors))
        if not found.is_usable or rules.rounds == 0:
            return replace(found, history=history)
        good, swings = is_good(errors, rules), bool(find_chatter(found))
        if good and has_settled(history, found, rules):
            if left == 0 or not swings:
                return replace(found, history=history)
            rules, left, enough = stricter(rules), left - 1, found
            good = is_good(errors, rules)
        is_over = len(history) > rules.rounds or is_stuck(history[begun:], swings and enough is None, rules)
        if may_damp and enough is None and (is_over or has_stalled(history, rules)) and len(history) <= rules.rounds:
            may_damp, calmer = False, damped(problem, found, errors, chosen.solver, rules)
            if calmer is not None:
                found, begun = calmer, len(history)
                continue
        if is_over:
            return replace(enough or replace(found, outcome=Outcome.COARSE), history=history)
        grid, start = enriched(found.mesh, rules) if good else refine(found, errors, rules), found
        try:
            found = transcribe(problem, grid).solve(start.values, start, chosen.solver)
        except ProblemFault as fault:
            # At a point of the new mesh something is not finite that is so at all points of the mesh before.
            return replace(enough or replace(start, outcome=Outcome.COARSE), history=history, fault=fault)
        if not found.is_usable:
            history = (*history, round_of(found, local_errors(problem, found)))
            return replace(enough or replace(start, outcome=Outcome.COARSE, fault=found.fault), history=history)
