"""Read-only views that user functions receive: a point of a phase, the ends of phases, the parameters."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from difflib import get_close_matches

import casadi as ca

from optdescent.ocp.fault import ProblemFault


class Values(Mapping[str, ca.SX]):
    """Name -> expression, read only; an unknown name is a ProblemFault that suggests the nearest one."""

    def __init__(self, entries: Mapping[str, ca.SX], phase: str = "") -> None:
        self._entries = dict(entries)
        self._phase = phase
        # One element is told by its hash, a hundred times faster than by comparing expressions.
        self._single = {name: value for name, value in self._entries.items() if value.is_scalar() and value.is_dense()}
        self._hashes = [value.element_hash() for value in self._single.values()]
        self._others = {name: value for name, value in self._entries.items() if name not in self._single}
        self._as_made = self._column()

    def __getitem__(self, name: str) -> ca.SX:
        if name in self._entries:
            return self._entries[name]
        near = get_close_matches(name, self._entries, n=1)
        hint = f"did you mean '{near[0]}'?" if near else f"known are {', '.join(self._entries) or 'none'}"
        raise ProblemFault(f"unknown name; {hint}", phase=self._phase, variable=name)

    def check_unchanged(self) -> None:
        """What a user function has looked up [any unit] must be as it was.

        Raises
        ------
        ProblemFault : it has been changed in place.
        """
        for (name, value), as_made in zip(self._single.items(), self._hashes, strict=True):
            if not value.is_scalar() or value.element_hash() != as_made:
                raise self._changed(name)
        if not self._others or ca.is_equal(self._column(), self._as_made):
            return
        first = 0
        for name, value in self._others.items():
            if not ca.is_equal(value, self._as_made[first : first + value.size1()]):
                raise self._changed(name)
            first += value.size1()

    def _changed(self, name: str) -> ProblemFault:
        return ProblemFault("what is looked up must not be changed in place", self._phase, name)

    def _column(self) -> ca.SX:
        return ca.vertcat(*self._others.values()) if self._others else ca.SX()

    def __iter__(self) -> Iterator[str]:
        return iter(self._entries)

    def __len__(self) -> int:
        return len(self._entries)

    def __contains__(self, name: object) -> bool:
        return name in self._entries


class Parameters(Values):
    """The problem's parameters: name -> column of its size."""


class Point(Values):
    """One point of a phase: ``point["name"]`` is a state, control, static or parameter."""

    def __init__(self, independent: ca.SX, entries: Mapping[str, ca.SX], phase: str) -> None:
        super().__init__(entries, phase)
        self.independent = independent


class Edge(Values):
    """The start or end of a phase: its states and the independent variable there."""

    def __init__(self, independent: ca.SX, entries: Mapping[str, ca.SX], phase: str) -> None:
        super().__init__(entries, phase)
        self.independent = independent


@dataclass(frozen=True)
class PhaseEnds:
    """Both ends of one phase and the integral of its integrand (0 without one)."""

    start: Edge
    end: Edge
    integral: ca.SX


class Ends:
    """The ends of all phases: ``ends["phase"].end["state"]``, ``ends.static["name"]``, ``ends.parameters["name"]``."""

    def __init__(self, phases: Mapping[str, PhaseEnds], static: Values, parameters: Parameters) -> None:
        self._phases = dict(phases)
        self.static = static
        self.parameters = parameters

    def __getitem__(self, name: str) -> PhaseEnds:
        if name not in self._phases:
            raise ProblemFault(f"no such phase; there are {', '.join(self._phases)}", phase=name)
        return self._phases[name]

    def check_unchanged(self) -> None:
        """What a user function has looked up [any unit] must be as it was.

        Raises
        ------
        ProblemFault : it has been changed in place.
        """
        for own in self._phases.values():
            own.start.check_unchanged()
            own.end.check_unchanged()
        self.static.check_unchanged()
        self.parameters.check_unchanged()
