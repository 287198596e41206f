"""A posed problem read as plain parts, so that each peer can be told the same thing in its own words.

The engine's ``Problem`` holds its functions as functions of anything that can be looked up by name. Here they are
called with plain mappings: limits with the parameters' numbers (or a peer's parameter symbols), ends and cost with
a recorder that notes which quantity is meant.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from enum import Enum
from typing import Any

import numpy as np

from optdescent.ocp import Guess, Limit, Phase, Problem

Value = Any  # a number, or a symbol of the library that is being told
Values = Mapping[str, Value]


class Place(Enum):
    """Where a quantity of the ends is taken."""

    START = "start"
    END = "end"
    INTEGRAL = "integral"


@dataclass(frozen=True)
class Quantity:
    """One quantity at the ends: a state, the independent variable (``name`` empty) or the integral; with its sign."""

    phase: str
    place: Place
    name: str = ""
    sign: float = 1.0

    def __neg__(self) -> Quantity:
        """The same quantity with the other sign."""
        return replace(self, sign=-self.sign)


@dataclass(frozen=True)
class _Edge:
    phase: str
    place: Place

    @property
    def independent(self) -> Quantity:
        return Quantity(self.phase, self.place)

    def __getitem__(self, name: str) -> Quantity:
        return Quantity(self.phase, self.place, name)


@dataclass(frozen=True)
class _PhaseEnds:
    phase: str

    @property
    def start(self) -> _Edge:
        return _Edge(self.phase, Place.START)

    @property
    def end(self) -> _Edge:
        return _Edge(self.phase, Place.END)

    @property
    def integral(self) -> Quantity:
        return Quantity(self.phase, Place.INTEGRAL)


class _Ends:
    def __getitem__(self, phase: str) -> _PhaseEnds:
        return _PhaseEnds(phase)


@dataclass(frozen=True)
class Row:
    """A path constraint: ``lower <= function(point) <= upper``."""

    function: Callable[[Values], Value]
    lower: Value
    upper: Value


@dataclass(frozen=True)
class Arc:
    """One phase. ``low``, ``high`` per variable; ``fixed`` maps a place and a state to the value it must have.

    ``rates``, ``integrand`` take a mapping of every name. ``line`` maps a variable to its guess at start and end.
    ``scale`` is the size of a variable where the statement gives one, else 1.
    """

    name: str
    states: tuple[str, ...]
    controls: tuple[str, ...]
    low: Values
    high: Values
    start: tuple[Value, Value]
    end: tuple[Value, Value]
    rates: Callable[[Values], list[Value]]
    integrand: Callable[[Values], Value] | None
    path: tuple[Row, ...]
    fixed: Mapping[tuple[Place, str], Value]
    times: tuple[float, float]
    line: Mapping[str, tuple[float, float]]
    scale: Mapping[str, float]

    def guessed(self, name: str, at: np.ndarray) -> np.ndarray:
        """The straight line of a variable's guess at ``at`` on [0, 1]."""
        first, last = self.line[name]
        return first + (last - first) * np.asarray(at, dtype=float)


@dataclass(frozen=True)
class Statement:
    """All phases in order, each linked to the next in all states and the independent variable; the cost."""

    name: str
    arcs: tuple[Arc, ...]
    cost: Quantity


def read(problem: Problem, guess: Guess, values: Values) -> Statement:
    """The parts of ``problem`` with its parameters set to ``values`` (numbers or a peer's own symbols)."""
    ends: Any = _Ends()
    fixed: dict[str, dict[tuple[Place, str], Value]] = {p.name: {} for p in problem.phases}
    for row in problem.boundaries:
        what: Any = row.function(ends)
        fixed[what.phase][what.place, what.name] = _limit(row.lower, values)
    cost: Any = problem.cost(ends)
    arcs = tuple(_arc(p, fixed[p.name], guess, values) for p in problem.phases)
    return Statement(problem.name, arcs, cost)


def _limit(limit: Limit, values: Values) -> Value:
    if not callable(limit):
        return limit
    bound: Any = limit
    return bound(values)


def _arc(phase: Phase, fixed: Mapping[tuple[Place, str], Value], guess: Guess, values: Values) -> Arc:
    variables = (*phase.states, *phase.controls)
    own = guess.phases[phase.name]
    series = {**own.states, **own.controls}
    order = tuple(v.name for v in phase.states)

    def rates(point: Values) -> list[Value]:
        told: Any = {**values, **point}
        found = phase.rates(told)
        return [found[name] for name in order]

    def with_values(function: Callable[..., Value]) -> Callable[[Values], Value]:
        return lambda point: function({**values, **point})

    return Arc(
        name=phase.name,
        states=order,
        controls=tuple(v.name for v in phase.controls),
        low={v.name: _limit(v.lower, values) for v in variables},
        high={v.name: _limit(v.upper, values) for v in variables},
        start=(_limit(phase.start.lower, values), _limit(phase.start.upper, values)),
        end=(_limit(phase.end.lower, values), _limit(phase.end.upper, values)),
        rates=rates,
        integrand=None if phase.integrand is None else with_values(phase.integrand),
        path=tuple(Row(with_values(c.function), _limit(c.lower, values), _limit(c.upper, values)) for c in phase.path),
        fixed=fixed,
        times=(float(np.asarray(own.independent)[0]), float(np.asarray(own.independent)[-1])),
        line={n: (float(np.asarray(s)[0]), float(np.asarray(s)[-1])) for n, s in series.items()},
        scale={v.name: v.scale or 1.0 for v in variables},
    )
