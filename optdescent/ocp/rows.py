"""The rows and the cost of a problem on a mesh: one mapped pointwise function per phase, sparse by construction.

Rows of a phase: ``D x - fraction (end - start) f`` at every collocation point, in units of the state's scale;
path functions at every collocation point; the phase's length; the integral, which is a column of its own so
that nothing but its one row is dense. Ends, links and boundaries are one more small function.
"""

from __future__ import annotations

import numpy as np

from optdescent.ocp.basis import Index
from optdescent.ocp.kernel import Kernel
from optdescent.ocp.layout import Layout, PhaseLayout, edge_columns
from optdescent.ocp.mesh import Mesh, PhaseMesh
from optdescent.ocp.pattern import Entries
from optdescent.ocp.piece import Piece
from optdescent.ocp.pointwise import ends_kernel, open_kernel, phase_kernel, phase_shared
from optdescent.ocp.problem import Problem


def rows_of(problem: Problem, mesh: Mesh, places: Layout) -> tuple[Entries, tuple[Piece, ...]]:
    """The linear part of all rows, and the pieces that are added to it, the cost among them."""
    pieces: list[Piece] = []
    for number, (name, place) in enumerate(zip(problem.phase_names, places.phases, strict=True)):
        shared = phase_shared(problem, place, places)
        pieces.append(_phase(phase_kernel(problem, number, places), place, mesh.phases[name], places, shared))
        if place.open_path.size:
            kernel = open_kernel(problem, number, places)
            pieces.append(_open_path(kernel, place, mesh.phases[name], places, shared))
    pieces.append(_ends(problem, places))
    return _linear(problem, mesh, places), tuple(pieces)


def _linear(problem: Problem, mesh: Mesh, places: Layout) -> Entries:
    """Coefficients of the linear part of all rows: differentiation, lengths, integrals."""
    rows: list[Index] = []
    columns: list[Index] = []
    values: list[np.ndarray] = []
    for phase, place in zip(problem.phases, places.phases, strict=True):
        grid = mesh.phases[phase.name]
        for matrix, where in ((grid.differentiation, place.defects), (grid.closure, place.closures)):
            rows.append(where[:, matrix.row].ravel())
            columns.append(place.states[:, matrix.column].ravel())
            values.append(np.tile(matrix.values, len(phase.states)))
        rows.append(np.array([place.length, place.length]))
        columns.append(np.array([place.end, place.start]))
        values.append(np.array([1.0, -1.0]))
        if place.has_integrand:
            rows.append(np.array([place.quadrature]))
            columns.append(np.array([place.integral]))
            values.append(np.ones(1))
    shape = places.rows, places.columns
    return Entries(np.concatenate(rows), np.concatenate(columns), np.concatenate(values), shape)


def _phase(kernel: Kernel, place: PhaseLayout, mesh: PhaseMesh, places: Layout, shared: Index) -> Piece:
    """The dynamics, path and integrand of one phase at its collocation points."""
    rows = [place.defects, place.path]
    if place.has_integrand:
        rows.append(np.full((1, mesh.points), place.quadrature, dtype=np.int64))
    where = np.vstack([mesh.collocation, mesh.widths, mesh.weights])
    columns = np.vstack([place.states[:, mesh.collocation_nodes], place.controls])
    return Piece(kernel, where, columns, _common(place, places), shared, np.vstack(rows))


def _open_path(kernel: Kernel, place: PhaseLayout, mesh: PhaseMesh, places: Layout, shared: Index) -> Piece:
    """Control-free path functions at the state nodes without a collocation point."""
    where = mesh.nodes[mesh.open_nodes][None, :]
    return Piece(kernel, where, place.states[:, mesh.open_nodes], _common(place, places), shared, place.open_path)


def _common(place: PhaseLayout, places: Layout) -> Index:
    return np.concatenate([[place.start, place.end], places.statics]).astype(np.int64)


def _ends(problem: Problem, places: Layout) -> Piece:
    """Links, boundaries and cost at the ends."""
    columns = edge_columns(problem, places.phases, places.statics)
    rows = np.concatenate([*places.links, places.boundaries[places.boundaries >= 0], [-1]]).astype(np.int64)
    empty = np.empty(0, dtype=np.int64)
    kernel = ends_kernel(problem, places)
    everything = np.arange(sum(q.size for q in problem.parameters) + places.scales, dtype=np.int64)
    return Piece(kernel, np.empty((0, 1)), columns[columns >= 0][:, None], empty, everything, rows[:, None])
