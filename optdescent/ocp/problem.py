"""The statement of an optimal-control problem: frozen records, complete when they exist.

The engine minimises ``cost`` over phases whose states obey ``dx/ds = rates(point)`` along an increasing
independent variable ``s`` (time, distance, ...). All names that a function may look up in one phase
(states, controls, statics, parameters) are different from each other.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, Generic, TypeVar

import casadi as ca
import numpy as np

from optdescent.ocp.fault import ProblemFault, numbers
from optdescent.ocp.form import BoundaryForm, PhaseForm, Symbols, boundary_form, phase_form, symbols
from optdescent.ocp.kernel import Kernel
from optdescent.ocp.point import Ends, Parameters, Point
from optdescent.ocp.template import Template

Expression = ca.SX
Limit = float | Callable[[Parameters], ca.SX]
Seen = TypeVar("Seen")


def _check_limits(lower: Limit, upper: Limit, name: str) -> None:
    for bound in (lower, upper):
        if not callable(bound) and np.isnan(numbers(bound, "", name)).any():
            raise ProblemFault("a bound is not a number", variable=name)


def _check_crossing(limited: Iterable[Variable | Constraint[Any]], phase: str = "") -> None:
    """Constant bounds that cross, told where phase and place among others are known."""
    for index, own in enumerate(limited):
        lower, upper = own.lower, own.upper
        if not callable(lower) and not callable(upper) and lower > upper:
            said = f"lower bound {lower:g} lies above upper bound {upper:g}"
            raise ProblemFault(said, phase, own.name, index)


def _check_scale(scale: float | None, name: str) -> None:
    if scale is not None and not (math.isfinite(scale) and scale > 0.0):
        raise ProblemFault(f"scale must be positive and finite, not {scale}", variable=name)


def _check_unique(names: tuple[str, ...], phase: str, what: str) -> None:
    for index, name in enumerate(names):
        if not name:
            raise ProblemFault(f"a {what} has no name", phase=phase, index=index)
        if name in names[:index]:
            raise ProblemFault(f"the name of this {what} is used twice", phase=phase, variable=name, index=index)


@dataclass(frozen=True)
class Parameter:
    """A quantity that is given with every solve; changing it never rebuilds the program.

    ``size`` is the length of its column.
    """

    name: str
    size: int = 1

    def __post_init__(self) -> None:
        if self.size < 1:
            raise ProblemFault(f"size must be at least 1, not {self.size}", variable=self.name)


@dataclass(frozen=True)
class Variable:
    """A state, control or static variable with its bounds; ``scale`` None chooses from bounds and guess."""

    name: str
    lower: Limit = -math.inf
    upper: Limit = math.inf
    scale: float | None = None

    def __post_init__(self) -> None:
        _check_limits(self.lower, self.upper, self.name)
        _check_scale(self.scale, self.name)


@dataclass(frozen=True)
class Constraint(Generic[Seen]):
    """``lower <= function(seen) <= upper``; ``scale`` is what counts as one unit of the function."""

    name: str
    function: Callable[[Seen], ca.SX]
    lower: Limit = -math.inf
    upper: Limit = math.inf
    scale: float = 1.0

    def __post_init__(self) -> None:
        _check_limits(self.lower, self.upper, self.name)
        _check_scale(self.scale, self.name)


class PathConstraint(Constraint[Point]):
    """A constraint at every collocation point of a phase."""


class BoundaryConstraint(Constraint[Ends]):
    """A constraint on the ends of the phases."""


@dataclass(frozen=True)
class Span:
    """Where the independent variable of a phase may start or end; equal limits fix it."""

    lower: Limit
    upper: Limit

    def __post_init__(self) -> None:
        _check_limits(self.lower, self.upper, "span")


@dataclass(frozen=True)
class Phase:
    """One arc: its variables, the derivatives of its states, its limits.

    ``rates`` returns one derivative with respect to the independent variable for every state.
    ``integrand`` is integrated over the phase (``ends[phase].integral``). Phases of one ``kind`` (not empty) promise to
    have the same variables, rates, path functions and integrand, none of them of statics: these are formed and compiled
    once. ``least_length`` is the smallest length of the phase; 0 allows it to collapse, a negative one to run
    backwards.
    """

    name: str
    states: tuple[Variable, ...]
    controls: tuple[Variable, ...]
    rates: Callable[[Point], Mapping[str, ca.SX]]
    start: Span
    end: Span
    path: tuple[PathConstraint, ...] = ()
    integrand: Callable[[Point], ca.SX] | None = None
    least_length: float = 0.0
    kind: str = ""

    def __post_init__(self) -> None:
        _check_unique(tuple(v.name for v in self.states + self.controls), self.name, "variable")
        _check_unique(tuple(c.name for c in self.path), self.name, "path constraint")
        _check_crossing((*self.states, *self.controls), self.name)
        _check_crossing(self.path, self.name)
        for span, which in ((self.start, "start"), (self.end, "end")):
            _check_crossing((Variable(which, span.lower, span.upper),), self.name)
        if not self.states:
            raise ProblemFault("a phase needs at least one state", phase=self.name)
        if math.isnan(self.least_length):
            raise ProblemFault("least length is not a number", phase=self.name)


@dataclass(frozen=True)
class Link:
    """The end of phase ``before`` is the start of phase ``after``, for ``states`` and the independent variable."""

    before: str
    after: str
    states: tuple[str, ...]


@dataclass(frozen=True)
class Memory:
    """What was formed and compiled for the kinds of phases; problems with the same parameters may share it.

    ``templates`` are for whoever poses them: what several kinds have in common, by a name of his.
    """

    templates: dict[str, Template[Any]] = field(default_factory=dict[str, Template[Any]])
    forms: dict[str, PhaseForm] = field(default_factory=dict[str, PhaseForm])
    kernels: dict[str, Kernel] = field(default_factory=dict[str, Kernel])


@dataclass(frozen=True)
class Problem:
    """A multi-phase optimal-control problem. User functions are called once, when it is made.

    ``compiled`` holds what was compiled for any mesh; it follows from the rest. ``memory`` does so for phases that name
    their kind, over all problems that it is given to. ``is_tidy`` says that what the functions of a phase give repeats
    nothing worth looking for, as when most of it comes from a `Template`: then common parts are not sought again.

    Raises
    ------
    ProblemFault : names not unique or unknown, a rate missing or of wrong shape, a link to nothing.
    """

    name: str
    phases: tuple[Phase, ...]
    cost: Callable[[Ends], ca.SX]
    links: tuple[Link, ...] = ()
    boundaries: tuple[BoundaryConstraint, ...] = ()
    statics: tuple[Variable, ...] = ()
    parameters: tuple[Parameter, ...] = ()
    memory: Memory = field(default_factory=Memory, repr=False, compare=False)
    is_tidy: bool = False
    phase_forms: tuple[PhaseForm, ...] = field(init=False, repr=False, compare=False)
    boundary_form: BoundaryForm = field(init=False, repr=False, compare=False)
    compiled: dict[str, Kernel] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        if not self.phases:
            raise ProblemFault(f"problem '{self.name}' has no phase")
        _check_unique(tuple(p.name for p in self.phases), "", "phase")
        _check_unique(tuple(b.name for b in self.boundaries), "", "boundary constraint")
        shared = tuple(v.name for v in self.statics) + tuple(q.name for q in self.parameters)
        _check_unique(shared, "", "static or parameter")
        for phase in self.phases:
            own = tuple(v.name for v in phase.states + phase.controls)
            _check_unique(own + shared, phase.name, "variable")
        _check_crossing(self.statics)
        _check_crossing(self.boundaries)
        for index, link in enumerate(self.links):
            self._check_link(link, index)
        object.__setattr__(self, "compiled", {})
        common = symbols(self)
        object.__setattr__(self, "phase_forms", tuple(self._form(phase, common) for phase in self.phases))
        object.__setattr__(self, "boundary_form", boundary_form(self, common))

    def _form(self, phase: Phase, common: Symbols) -> PhaseForm:
        if not phase.kind:
            return phase_form(self, phase, common)
        name = self.kept_as(phase)
        if name not in self.memory.forms:
            self.memory.forms[name] = phase_form(self, phase, common)
        return self.memory.forms[name]

    def kept_as(self, phase: Phase) -> str:
        """Name of what is kept for the kind of a phase: its functions take the statics, so their number counts too."""
        return f"{phase.kind}; {len(self.statics)} statics"

    def _check_link(self, link: Link, index: int) -> None:
        for name in (link.before, link.after):
            if name not in self.phase_names:
                raise ProblemFault("a link names a phase that does not exist", phase=name, index=index)
            known = tuple(v.name for v in self.phase(name).states)
            for state in link.states:
                if state not in known:
                    raise ProblemFault("a link names a state that does not exist", name, state, index)
        if link.before == link.after:
            raise ProblemFault("a link joins a phase to itself", phase=link.before, index=index)

    @property
    def phase_names(self) -> tuple[str, ...]:
        """Names of the phases in order."""
        return tuple(p.name for p in self.phases)

    def phase(self, name: str) -> Phase:
        """The phase called ``name``. Raises ProblemFault if there is none."""
        for phase in self.phases:
            if phase.name == name:
                return phase
        raise ProblemFault(f"no such phase; there are {', '.join(self.phase_names)}", phase=name)
