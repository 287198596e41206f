"""What each library must do: pose a case on a mesh, solve it, solve it again with another value of its parameter."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from benchmarks.peers.cases import Case


@dataclass(frozen=True)
class Answer:
    """One solve. ``iterations`` of IPOPT, -1 if not told; ``kept`` is what the library starts again from."""

    succeeded: bool
    cost: float
    iterations: int
    status: str
    kept: object = None


class Posed(Protocol):
    """A case posed to a library on a mesh, held for repeated solves."""

    def first(self) -> Answer:
        """Solve from the straight guess with the nominal value."""
        ...

    def again(self, value: float, before: Answer) -> Answer:
        """Solve with another value of the parameter, starting from ``before`` in the library's best documented way."""
        ...

    def count(self) -> None:
        """From now on count iterations even if that costs time."""
        ...


class Library(Protocol):
    """A library that cases can be posed to. ``way`` says how it takes a changed parameter."""

    name: str
    distribution: str
    way: str

    def pose(self, case: Case, elements: int, degree: int) -> Posed:
        """Build what can be built before solving, on ``elements`` elements of ``degree`` points per phase."""
        ...
