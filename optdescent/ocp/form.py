"""User functions called once with symbols: the expressions of a problem, in physical units."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import casadi as ca
import numpy as np

from optdescent.ocp.fault import ProblemFault, numbers
from optdescent.ocp.point import Edge, Ends, Parameters, PhaseEnds, Point, Values

if TYPE_CHECKING:
    from optdescent.ocp.problem import Limit, Phase, Problem


@dataclass(frozen=True)
class PhaseForm:
    """Pointwise expressions of a phase.

    ``function``: (independent, states, controls, statics, parameters) -> (rates, path, integrand).
    ``control_free``: positions of the path functions in which no control appears.
    """

    states: tuple[str, ...]
    controls: tuple[str, ...]
    path: tuple[str, ...]
    has_integrand: bool
    control_free: tuple[int, ...]
    function: ca.Function


@dataclass(frozen=True)
class BoundaryForm:
    """Expressions on the ends.

    ``function``: (ends, statics, parameters) -> (cost, boundaries), where ``ends`` is one column holding
    for every phase: start states, end states, start, end, integral.
    ``simple``: per boundary constraint, the position in (ends, statics) when it is just that variable, else None;
    such a constraint becomes a bound.
    ``limits``: parameters -> (lower, upper) of every limit, in the order of ``limit_items``.
    """

    function: ca.Function
    simple: tuple[int | None, ...]
    limits: ca.Function
    limit_items: tuple[tuple[str, str, str], ...]

    @cached_property
    def limit_slopes(self) -> ca.Function:
        """Parameters -> derivatives of the lower and of the upper limits to them."""
        parameters = ca.SX.sym("parameters", self.limits.size1_in(0))
        slopes = [ca.jacobian(limit, parameters) for limit in self.limits.call([parameters])]
        return ca.Function("limit_slopes", [parameters], slopes)


@dataclass(frozen=True)
class Symbols:
    """Symbols that all phases of a problem share: statics column, parameters column, and name -> part of either.

    They mean the same in each of them, so that one phase may use what another has looked up.
    """

    statics: ca.SX
    parameters: ca.SX
    entries: Mapping[str, ca.SX]


def symbols(problem: Problem) -> Symbols:
    """One symbol for each static and each value of a parameter [any unit]."""
    statics = ca.SX.sym("statics", len(problem.statics))
    parameters = ca.SX.sym("parameters", sum(q.size for q in problem.parameters))
    entries = {v.name: statics[i] for i, v in enumerate(problem.statics)}
    offset = 0
    for q in problem.parameters:
        entries[q.name] = parameters[offset : offset + q.size]
        offset += q.size
    return Symbols(statics, parameters, entries)


def _scalar(value: ca.SX | float, phase: str, name: str) -> ca.SX:
    # A copy: whoever gave it may change it afterwards. That of an element takes a fifth of the time.
    if isinstance(value, ca.SX) and value.is_scalar() and value.is_dense():
        return value[0]
    try:
        expression = ca.SX(value)
    except (NotImplementedError, TypeError, RuntimeError) as error:
        raise ProblemFault(f"expected an expression, got {type(value).__name__}", phase, name) from error
    if expression.shape != (1, 1):
        raise ProblemFault(f"expected a scalar, got shape {expression.shape}", phase, name)
    return expression if expression.is_dense() else ca.densify(expression)


def _function(
    name: str, inputs: list[ca.SX], outputs: list[ca.SX], phase: str, labels: tuple[list[str], list[str]]
) -> ca.Function:
    """Compile, and name a symbol that does not belong to the problem."""
    function = ca.Function(name, inputs, outputs, labels[0], labels[1], {"allow_free": True})
    if function.has_free():
        raise ProblemFault("an expression holds a symbol from outside the problem", phase, function.free_sx()[0].name())
    return function


def phase_form(problem: Problem, phase: Phase, shared: Symbols) -> PhaseForm:
    """Call the functions of ``phase`` with symbols.

    Raises
    ------
    ProblemFault : a rate is missing, unknown or not a scalar; an unknown name is looked up, or a known one changed.

    Notes
    -----
    Common parts are found before differentiating: on a large model this more than halves the second derivatives.
    Finding them again afterwards saves 4 % of the operations and takes longer than all the rest of the building.
    """
    names = tuple(v.name for v in phase.states)
    independent = ca.SX.sym("independent")
    states = ca.SX.sym("states", len(names))
    controls = ca.SX.sym("controls", len(phase.controls))
    own = {name: states[i] for i, name in enumerate(names)}
    own |= {v.name: controls[i] for i, v in enumerate(phase.controls)}
    point = Point(independent, {**shared.entries, **own}, phase.name)
    rates = phase.rates(point)
    # Whoever does not check types may have forgotten to return it.
    if not isinstance(rates, Mapping):  # pyright: ignore[reportUnnecessaryIsInstance]
        raise ProblemFault(f"expected a rate for each state, got {type(rates).__name__}", phase.name, "rates")
    for name in names:
        if name not in rates:
            raise ProblemFault("the rate of this state is missing", phase.name, name)
    for name in rates:
        if name not in names:
            raise ProblemFault("a rate is given for something that is not a state", phase.name, name)
    rate = ca.vertcat(*[_scalar(rates[name], phase.name, name) for name in names])
    path = ca.vertcat(ca.SX(0, 1), *[_scalar(c.function(point), phase.name, c.name) for c in phase.path])
    integrand = _scalar(0.0 if phase.integrand is None else phase.integrand(point), phase.name, "integrand")
    point.check_unchanged()
    inputs = [independent, states, controls, shared.statics, shared.parameters]
    labels = (["independent", "states", "controls", "statics", "parameters"], ["rates", "path", "integrand"])
    outputs = [rate, path, integrand] if problem.is_tidy else ca.cse([rate, path, integrand])
    function = _function("point", inputs, outputs, phase.name, labels)
    return PhaseForm(
        names,
        tuple(v.name for v in phase.controls),
        tuple(c.name for c in phase.path),
        phase.integrand is not None,
        tuple(i for i in range(path.size1()) if not ca.depends_on(path[i], controls)),
        function,
    )


def boundary_form(problem: Problem, shared: Symbols) -> BoundaryForm:
    """Call the cost, the boundary functions and the limits with symbols.

    Raises
    ------
    ProblemFault : an expression is not a scalar; an unknown name is looked up, or a known one changed.
    """
    statics, parameters, entries = shared.statics, shared.parameters, shared.entries
    columns: list[ca.SX] = []
    views: dict[str, PhaseEnds] = {}
    for phase in problem.phases:
        size = len(phase.states)
        column = ca.SX.sym(f"ends_{phase.name}", 2 * size + 3)
        columns.append(column)
        names = [v.name for v in phase.states]
        parts = ca.vertsplit(column)
        start = Edge(parts[2 * size], dict(zip(names, parts[:size], strict=True)), phase.name)
        end = Edge(parts[2 * size + 1], dict(zip(names, parts[size : 2 * size], strict=True)), phase.name)
        integral = parts[2 * size + 2] if phase.integrand is not None else ca.SX(0)
        views[phase.name] = PhaseEnds(start, end, integral)
    static = Values({v.name: entries[v.name] for v in problem.statics})
    known = Parameters({q.name: entries[q.name] for q in problem.parameters})
    ends = Ends(views, static, known)
    cost = _scalar(problem.cost(ends), "", "cost")
    values = [_scalar(b.function(ends), "", b.name) for b in problem.boundaries]
    boundaries = ca.vertcat(ca.SX(0, 1), *values)
    inputs = [ca.vertcat(*columns), statics, parameters]
    labels = ["ends", "statics", "parameters"], ["cost", "boundaries"]
    function = _function("ends", inputs, ca.cse([cost, boundaries]), "", labels)
    seen = ca.vertcat(inputs[0], statics)
    position = {part.element_hash(): i for i, part in enumerate(ca.vertsplit(seen))}
    simple = tuple(position.get(v.element_hash()) if v.is_symbolic() else None for v in values)
    items, lower, upper = _limits(problem, known)
    ends.check_unchanged()
    limits = _function("limits", [parameters], [lower, upper], "", (["parameters"], ["lower", "upper"]))
    return BoundaryForm(function, simple, limits, items)


def _limits(problem: Problem, known: Parameters) -> tuple[tuple[tuple[str, str, str], ...], ca.SX, ca.SX]:
    """All limits in a fixed order: items (kind, phase, name), lower column, upper column."""
    found: list[tuple[tuple[str, str, str], Limit, Limit]] = []
    found += [(("static", "", v.name), v.lower, v.upper) for v in problem.statics]
    for phase in problem.phases:
        found.append((("start", phase.name, "start"), phase.start.lower, phase.start.upper))
        found.append((("end", phase.name, "end"), phase.end.lower, phase.end.upper))
        found += [(("state", phase.name, v.name), v.lower, v.upper) for v in phase.states]
        found += [(("control", phase.name, v.name), v.lower, v.upper) for v in phase.controls]
        found += [(("path", phase.name, c.name), c.lower, c.upper) for c in phase.path]
    found += [(("boundary", "", b.name), b.lower, b.upper) for b in problem.boundaries]
    items = tuple(item for item, _, _ in found)
    return items, _column(items, [low for _, low, _ in found], known), _column(items, [h for _, _, h in found], known)


def _column(items: Sequence[tuple[str, str, str]], limits: Sequence[Limit], known: Parameters) -> ca.SX:
    """All limits below each other; numbers at once, because there are many of them."""
    column = ca.SX([0.0 if callable(limit) else float(limit) for limit in limits])
    for i, (item, limit) in enumerate(zip(items, limits, strict=True)):
        if callable(limit):
            column[i] = _scalar(limit(known), item[1], item[2])
    return column


def parameter_column(problem: Problem, values: Mapping[str, object]) -> list[float]:
    """The values of all parameters as one flat list in declaration order, in their own units [-].

    Raises
    ------
    ProblemFault : a value is missing, unknown, no number, of wrong size, or not finite.
    """
    known = {q.name for q in problem.parameters}
    for name in values:
        if name not in known:
            raise ProblemFault(f"no such parameter; there are {', '.join(sorted(known)) or 'none'}", variable=name)
    column: list[float] = []
    for q in problem.parameters:
        if q.name not in values:
            raise ProblemFault("the value of this parameter is missing", variable=q.name)
        array = np.atleast_1d(numbers(values[q.name], "", q.name)).ravel()
        if array.size != q.size:
            raise ProblemFault(f"expected {q.size} values, got {array.size}", variable=q.name)
        bad = np.flatnonzero(~np.isfinite(array))
        if bad.size:
            raise ProblemFault("the value is not finite", variable=q.name, index=int(bad[0]))
        column += array.tolist()
    return column
