"""How each phase is cut into elements, and the degree of each element."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optdescent.ocp.basis import Array, Basis, Family, basis, integration, interpolation
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.pattern import Entries
from optdescent.ocp.problem import Problem


@dataclass(frozen=True)
class PhaseMesh:
    """Elements of one phase: ``fractions`` of its length (sum 1) and ``degrees`` (collocation points)."""

    fractions: tuple[float, ...]
    degrees: tuple[int, ...]
    family: Family = Family.GAUSS

    def __post_init__(self) -> None:
        if len(self.fractions) != len(self.degrees) or not self.fractions:
            raise ProblemFault("a mesh needs as many degrees as fractions, and at least one")
        if min(self.fractions) <= 0.0 or abs(sum(self.fractions) - 1.0) > 1e-9:
            raise ProblemFault("element fractions must be positive and sum to 1")
        if min(self.degrees) < 1:
            raise ProblemFault("the degree of an element must be at least 1")

    @cached_property
    def bases(self) -> tuple[Basis, ...]:
        """The reference element of each element."""
        return tuple(basis(d, self.family) for d in self.degrees)

    @cached_property
    def edges(self) -> Array:
        """(elements + 1,) element boundaries on [0, 1]."""
        edges = np.concatenate([[0.0], np.cumsum(self.fractions)])
        edges[-1] = 1.0
        return edges

    @cached_property
    def first_column(self) -> tuple[int, ...]:
        """Index of the first collocation point of each element, and the total."""
        return tuple(int(i) for i in np.concatenate([[0], np.cumsum(self.degrees)]))

    @property
    def points(self) -> int:
        """Number of collocation points of the phase."""
        return self.first_column[-1]

    @cached_property
    def first_node(self) -> tuple[int, ...]:
        """Index of the state node at each element boundary, both ends of the phase included."""
        own = 1 if self.family is Family.GAUSS else 0
        return tuple(int(i) for i in np.concatenate([[0], np.cumsum(np.asarray(self.degrees) + own)]))

    @property
    def node_count(self) -> int:
        """Number of state nodes, both ends of the phase included."""
        return self.first_node[-1] + 1

    @cached_property
    def nodes(self) -> Array:
        """(node_count,) state nodes on [0, 1]."""
        nodes = np.ones(self.node_count)
        for k, element in enumerate(self.bases):
            start = self.first_node[k]
            nodes[start : start + element.nodes.size] = self.edges[k] + self.fractions[k] * element.nodes
        nodes[list(self.first_node)] = self.edges
        return nodes

    @cached_property
    def collocation_nodes(self) -> NDArray[np.int64]:
        """(points,) index [-] of the state node at each collocation point."""
        parts = [self.first_node[k] + b.first + np.arange(b.weights.size) for k, b in enumerate(self.bases)]
        return np.concatenate(parts)

    @cached_property
    def open_nodes(self) -> NDArray[np.int64]:
        """Index [-] of the state nodes that carry no collocation point (element or phase ends)."""
        return np.setdiff1d(np.arange(self.node_count), self.collocation_nodes)

    @cached_property
    def collocation(self) -> Array:
        """(points,) collocation points on [0, 1]."""
        return self.nodes[self.collocation_nodes]

    @cached_property
    def widths(self) -> Array:
        """(points,) the fraction of the element each collocation point lies in."""
        return np.repeat(np.asarray(self.fractions), self.degrees)

    @cached_property
    def local_weights(self) -> Array:
        """(points,) quadrature weights within the element, sum 1 per element."""
        return np.concatenate([b.weights for b in self.bases])

    @property
    def weights(self) -> Array:
        """(points,) quadrature weights on [0, 1]."""
        return self.local_weights * self.widths

    @cached_property
    def differentiation(self) -> Entries:
        """(points, node_count) sparse: element-local derivative at the collocation points from node values."""
        rows: list[NDArray[np.int64]] = []
        columns: list[NDArray[np.int64]] = []
        values: list[Array] = []
        degrees, points, nodes = (np.asarray(part) for part in (self.degrees, self.first_column, self.first_node))
        for degree in sorted(set(self.degrees)):
            alike = np.flatnonzero(degrees == degree)[:, None, None]
            row, column = np.indices((degree, degree + 1))
            rows.append((points[alike] + row).ravel())
            columns.append((nodes[alike] + column).ravel())
            values.append(np.tile(basis(degree, self.family).differentiation.ravel(), alike.size))
        shape = self.points, self.node_count
        return Entries(np.concatenate(rows), np.concatenate(columns), np.concatenate(values), shape)

    @property
    def closed(self) -> int:
        """Number of elements whose end needs an equation of its own: all with Gauss points, else none."""
        return len(self.degrees) if self.family is Family.GAUSS else 0

    @cached_property
    def closure(self) -> Entries:
        """(closed, node_count) sparse: end of element minus its polynomial's value there (Gauss only)."""
        shape = self.closed, self.node_count
        if not self.closed:
            nothing = np.empty(0, dtype=np.int64)
            return Entries(nothing, nothing, np.empty(0), shape)
        # An element's nodes with its end are one node more than its degree counts and that end.
        counts = np.diff(self.first_node) + 1
        rows = np.repeat(np.arange(counts.size), counts)
        columns = np.concatenate([np.arange(a, b + 1) for a, b in pairwise(self.first_node)])
        values = np.concatenate([np.append(-element.closure, 1.0) for element in self.bases])
        return Entries(rows, columns, values, shape)

    def locate(self, at: Array) -> NDArray[np.intp]:
        """Index of the element that holds each abscissa of ``at`` on [0, 1]."""
        return np.clip(np.searchsorted(self.edges, at, side="right") - 1, 0, len(self.degrees) - 1)

    def state_at(self, values: Array, at: Array) -> Array:
        """Element polynomials through node ``values`` (..., node_count) at ``at`` (m,) on [0, 1]."""
        return values.copy() if at is self.nodes else self._evaluate(values, at, over_nodes=True)

    def control_at(self, values: Array, at: Array) -> Array:
        """Element polynomials through collocation ``values`` (..., points) at ``at`` (m,) on [0, 1]."""
        return values.copy() if at is self.collocation else self._evaluate(values, at, over_nodes=False)

    def _evaluate(self, values: Array, at: Array, *, over_nodes: bool) -> Array:
        result = np.empty((*values.shape[:-1], at.size))
        for inside, own, matrix in self._readings(at, over_nodes=over_nodes):
            result[..., inside] = values[..., own] @ matrix.T
        return result

    def _readings(self, at: Array, *, over_nodes: bool) -> list[tuple[NDArray[np.bool_], slice, Array]]:
        """For each element: which of ``at`` it holds, where its values are, and the matrix between; the latest kept."""
        known = self._latest.get(over_nodes)
        if known is not None and np.array_equal(known[0], at):
            return known[1]
        found: list[tuple[NDArray[np.bool_], slice, Array]] = []
        element = self.locate(at)
        for k in sorted({int(k) for k in element}):
            inside = element == k
            local = (at[inside] - self.edges[k]) / self.fractions[k]
            nodes = self.bases[k].nodes if over_nodes else self.bases[k].collocation
            start = int(self.first_node[k] if over_nodes else self.first_column[k])
            found.append((inside, slice(start, start + nodes.size), interpolation(nodes, local)))
        self._latest[over_nodes] = at.copy(), found
        return found

    @cached_property
    def _latest(self) -> dict[bool, tuple[Array, list[tuple[NDArray[np.bool_], slice, Array]]]]:
        return {}

    def cumulative(self, values: Array) -> Array:
        """(node_count,) integral over [0, node] of the polynomials through collocation ``values`` (points,)."""
        result = np.zeros(self.node_count)
        for k, degree in enumerate(self.degrees):
            own = values[self.first_column[k] : self.first_column[k + 1]]
            first, last = self.first_node[k], self.first_node[k + 1]
            part = integration(degree, self.family) @ own
            result[first : first + degree + 1] = result[first] + self.fractions[k] * part
            result[last] = result[first] + self.fractions[k] * (self.bases[k].weights @ own)
        return result


@dataclass(frozen=True)
class Mesh:
    """The mesh of every phase, by name."""

    phases: Mapping[str, PhaseMesh]

    @staticmethod
    def uniform(
        problem: Problem, elements: Mapping[str, int] | int, degree: int, family: Family = Family.GAUSS
    ) -> Mesh:
        """Equal elements of one degree; ``elements`` per phase or for all.

        Raises
        ------
        ProblemFault : a phase without a number of elements, or a number below 1.
        """
        phases: dict[str, PhaseMesh] = {}
        for name in problem.phase_names:
            if not isinstance(elements, int) and name not in elements:
                raise ProblemFault("the mesh says nothing about this phase", phase=name)
            count = elements if isinstance(elements, int) else elements[name]
            if count < 1:
                raise ProblemFault(f"a phase needs at least one element, not {count}", phase=name)
            phases[name] = PhaseMesh((1.0 / count,) * count, (degree,) * count, family)
        return Mesh(phases)

    def with_family(self, names: Collection[str], family: Family) -> Mesh:
        """The same elements with points of a family in the phases of these ``names``."""
        return Mesh({n: replace(p, family=family) if n in names else p for n, p in self.phases.items()})

    @property
    def points(self) -> int:
        """Number of collocation points of all phases."""
        return sum(p.points for p in self.phases.values())
