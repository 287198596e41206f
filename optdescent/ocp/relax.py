"""The smallest relaxation that makes a problem feasible: which demands give way, by how much, against which.

Every demand that may give way gets an amount >= 0 by which its limits move apart; the weighted sum of the amounts
is the cost. The amounts read in the demand's own unit; the weights say what one unit of each is worth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any, TypeVar

import casadi as ca
import numpy as np
from numpy.typing import ArrayLike

from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.guess import Guess
from optdescent.ocp.mesh import Mesh
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.point import Ends
from optdescent.ocp.problem import BoundaryConstraint, Constraint, Limit, PathConstraint, Phase, Problem, Span, Variable
from optdescent.ocp.settings import SolverSettings
from optdescent.ocp.solution import Solution
from optdescent.ocp.transcribe import transcribe

Stated = TypeVar("Stated", bound=Constraint[Any])


class Kind(Enum):
    """What a demand limits."""

    BOUNDARY = "a boundary constraint"
    PATH = "a path constraint"
    STATE = "the bounds of a state"
    CONTROL = "the bounds of a control"
    START = "where a phase starts"
    END = "where a phase ends"


@dataclass(frozen=True)
class Demand:
    """A limit that may give way: its kind, its name (not for START and END), its phase (not for BOUNDARY).

    ``weight`` : cost of one unit of relaxation; ``largest`` : most that may be given.
    """

    kind: Kind
    name: str = ""
    phase: str = ""
    weight: float = 1.0
    largest: float = math.inf

    @property
    def label(self) -> str:
        """A name that is unique among demands."""
        return f"{self.kind.name.lower()} {self.phase} {self.name}".strip()


@dataclass(frozen=True)
class Relaxation:
    """Result of an elastic solve.

    amounts : every demand -> how far it gave way, in its own unit. given : those above the tolerance asked for.
    opposing : demands that hold but push, with the derivative of the weighted sum to their limit.
    """

    outcome: Outcome
    total: float
    amounts: Mapping[Demand, float]
    given: Mapping[Demand, float]
    opposing: Mapping[Demand, float]
    solution: Solution


def relax(
    problem: Problem,
    demands: tuple[Demand, ...],
    guess: Guess,
    values: Mapping[str, ArrayLike],
    mesh: Mesh,
    settings: Sequence[SolverSettings] = (SolverSettings(),),
    smallest: float = 1e-4,
    beside: Callable[[Ends], ca.SX] | None = None,
) -> Relaxation:
    """Find the least weighted sum of relaxations of ``demands``, plus ``beside``.

    It is sought with each of the ``settings`` in turn until a solution can be used; the last one is told. Amounts below
    ``smallest``, in the demand's own unit [-], count as none.

    Raises
    ------
    ProblemFault : a demand names nothing in the problem.
    """
    elastic = elastic_problem(problem, demands, beside)
    statics = dict(guess.statics) | {d.label: 0.0 for d in demands}
    program = transcribe(elastic, mesh)
    first, *others = settings
    found = program.solve(values, Guess(guess.phases, statics), first)
    while others and not found.is_usable:
        found = program.solve(values, Guess(guess.phases, statics), others.pop(0))
    amounts = {d: max(0.0, found.statics[d.label]) for d in demands}
    given = {d: a for d, a in amounts.items() if a > smallest}
    opposing: dict[Demand, float] = {}
    least = min((d.weight for d in demands), default=1.0)
    for demand in demands:
        push = _push(found, demand)
        if demand not in given and push > 1e-3 * least:
            opposing[demand] = push
    return Relaxation(found.outcome, found.cost, amounts, given, opposing, found)


def _push(found: Solution, demand: Demand) -> float:
    """How hard a demand's limits push: its two elastic sides may cancel, as the two sides of an equation do."""
    total = np.zeros(1)
    for side in ("at least", "at most"):
        name = f"{demand.label} {side}"
        if demand.kind in (Kind.BOUNDARY, Kind.START, Kind.END):
            total = total + found.multipliers.boundaries.get(name, 0.0)
        else:
            total = total + found.multipliers.path_totals.get((demand.phase, name), np.zeros(1))
    return float(np.abs(total).sum())


def elastic_problem(
    problem: Problem, demands: tuple[Demand, ...], beside: Callable[[Ends], ca.SX] | None = None
) -> Problem:
    """The problem whose cost is the weighted sum of the relaxations of ``demands``, plus ``beside`` [-].

    Raises
    ------
    ProblemFault : a demand names nothing in the problem, or is given twice.
    """
    phases = {p.name: p for p in problem.phases}
    boundaries = list(problem.boundaries)
    amounts: list[Variable] = []
    for index, demand in enumerate(demands):
        if demand in demands[:index] or not demand.weight > 0.0:
            raise ProblemFault("demands must differ and have positive weights", demand.phase, demand.name, index)
        scale = 1.0
        if demand.kind is Kind.BOUNDARY:
            scale = _relax_boundary(boundaries, demand)
        else:
            if demand.phase not in phases:
                raise ProblemFault("a demand names a phase that does not exist", demand.phase, demand.name, index)
            phase = phases[demand.phase]
            if demand.kind in (Kind.START, Kind.END):
                phases[demand.phase], scale = _relax_span(phase, boundaries, demand)
            else:
                phases[demand.phase], scale = _relax_path(phase, demand)
        amounts.append(Variable(demand.label, 0.0, demand.largest, scale))

    def cost(ends: Ends) -> ca.SX:
        total = ca.SX(0) if beside is None else beside(ends)
        for demand in demands:
            total += demand.weight * ends.static[demand.label]
        return total

    return Problem(
        f"{problem.name}, relaxed",
        tuple(phases.values()),
        cost,
        problem.links,
        tuple(boundaries),
        (*problem.statics, *amounts),
        problem.parameters,
    )


def _is_open(limit: Limit) -> bool:
    return not callable(limit) and math.isinf(limit)


def _relax_boundary(boundaries: list[BoundaryConstraint], demand: Demand) -> float:
    for i, own in enumerate(boundaries):
        if own.name == demand.name:
            boundaries[i : i + 1] = _two_boundaries(own, demand)
            return own.scale
    raise ProblemFault("a demand names a boundary constraint that does not exist", variable=demand.name)


def _two_sides(own: Stated, amount: Callable[[Any], ca.SX], label: str) -> list[Stated]:
    """The two limits of a constraint as two constraints, which an amount moves apart; an open side is left out."""

    def apart(sign: float) -> Callable[[Any], ca.SX]:
        return lambda seen: own.function(seen) + sign * amount(seen)

    sides: list[Stated] = []
    if not _is_open(own.lower):
        sides.append(replace(own, name=f"{label} at least", function=apart(1.0), upper=math.inf))
    if not _is_open(own.upper):
        sides.append(replace(own, name=f"{label} at most", function=apart(-1.0), lower=-math.inf))
    return sides


def _two_boundaries(own: BoundaryConstraint, demand: Demand) -> list[BoundaryConstraint]:
    return _two_sides(own, lambda ends: ends.static[demand.label], demand.label)


def _two_paths(own: PathConstraint, demand: Demand) -> list[PathConstraint]:
    return _two_sides(own, lambda point: point[demand.label], demand.label)


def _relax_span(phase: Phase, boundaries: list[BoundaryConstraint], demand: Demand) -> tuple[Phase, float]:
    name, is_start = phase.name, demand.kind is Kind.START
    span = phase.start if is_start else phase.end

    def place(ends: Ends) -> ca.SX:
        return ends[name].start.independent if is_start else ends[name].end.independent

    # What costs one counts as one unit.
    scale = 1.0 / demand.weight
    boundaries += _two_boundaries(BoundaryConstraint(demand.label, place, span.lower, span.upper, scale), demand)
    free = Span(-math.inf, math.inf)
    return replace(phase, start=free) if is_start else replace(phase, end=free), scale


def _relax_path(phase: Phase, demand: Demand) -> tuple[Phase, float]:
    if demand.kind is Kind.PATH:
        for own in phase.path:
            if own.name == demand.name:
                rest = tuple(c for c in phase.path if c is not own)
                sides = _two_paths(own, demand)
                return replace(phase, path=(*rest, *sides), kind=""), own.scale
        raise ProblemFault("a demand names a path constraint that does not exist", phase.name, demand.name)
    variables = phase.states if demand.kind is Kind.STATE else phase.controls
    for own in variables:
        if own.name == demand.name:
            width = math.inf if callable(own.lower) or callable(own.upper) else own.upper - own.lower
            scale = own.scale or (width if math.isfinite(width) and width > 0.0 else None)
            free = tuple(Variable(v.name, scale=scale) if v is own else v for v in variables)
            bound = PathConstraint(demand.label, lambda p: p[demand.name], own.lower, own.upper, scale or 1.0)
            path = (*phase.path, *_two_paths(bound, demand))
            if demand.kind is Kind.STATE:
                return replace(phase, states=free, path=path, kind=""), scale or 1.0
            return replace(phase, controls=free, path=path, kind=""), scale or 1.0
    raise ProblemFault("a demand names a variable that does not exist", phase.name, demand.name)
