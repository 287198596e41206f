"""Where everything sits in the columns and rows of the nonlinear program."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from optdescent.ocp.basis import Index
from optdescent.ocp.mesh import Mesh
from optdescent.ocp.problem import Problem


@dataclass(frozen=True)
class PhaseLayout:
    """Columns and rows of one phase.

    Columns: ``start``, ``end``, ``integral``, ``states`` (nx, nodes), ``controls`` (nu, points).
    Rows: ``defects`` (nx, points), ``closures`` (nx, elements or 0), ``path`` (n_path, points),
    ``open_path`` (control-free path functions, state nodes without a collocation point), ``length``,
    ``quadrature`` (-1 without integrand).
    ``scales``: positions of the state, control and integral scales in the column of scales.
    """

    start: int
    end: int
    integral: int
    states: Index
    controls: Index
    defects: Index
    closures: Index
    path: Index
    open_path: Index
    length: int
    quadrature: int
    state_scales: Index
    control_scales: Index
    integral_scale: int

    @property
    def has_integrand(self) -> bool:
        """Whether the phase carries an integral as a column."""
        return self.quadrature >= 0


@dataclass(frozen=True)
class Layout:
    """Columns: statics, then phase by phase. Rows: phase by phase, links, boundaries.

    Scales: cost, independent variable, statics, then phase by phase. ``boundaries`` (k,) holds the row of each
    boundary constraint, or -1 when it only bounds the column ``boundary_columns`` (k,) (-1 where a row is used).
    """

    statics: Index
    phases: tuple[PhaseLayout, ...]
    links: tuple[Index, ...]
    boundaries: Index
    boundary_columns: Index
    columns: int
    rows: int
    static_scales: Index
    scales: int


class _Counter:
    def __init__(self) -> None:
        self.count = 0

    def take(self, *shape: int) -> Index:
        """The next indices, column by column (the point is the slow index)."""
        first, self.count = self.count, self.count + math.prod(shape)
        return np.arange(first, self.count, dtype=np.int64).reshape(shape[::-1]).T

    def one(self) -> int:
        self.count += 1
        return self.count - 1


def layout(problem: Problem, mesh: Mesh) -> Layout:
    """Number the columns, rows and scales of ``problem`` on ``mesh``."""
    columns, rows, scales = _Counter(), _Counter(), _Counter()
    scales.take(2)
    statics = columns.take(len(problem.statics))
    static_scales = scales.take(len(problem.statics))
    phases: list[PhaseLayout] = []
    for phase, form in zip(problem.phases, problem.phase_forms, strict=True):
        grid = mesh.phases[phase.name]
        points = grid.points
        integrates = phase.integrand is not None
        size = len(phase.states)
        phases.append(
            PhaseLayout(
                start=columns.one(),
                end=columns.one(),
                integral=columns.one() if integrates else -1,
                states=columns.take(size, grid.node_count),
                controls=columns.take(len(phase.controls), points),
                defects=rows.take(size, points),
                closures=rows.take(size, grid.closed),
                path=rows.take(len(phase.path), points),
                open_path=rows.take(len(form.control_free), grid.node_count - points),
                length=rows.one(),
                quadrature=rows.one() if integrates else -1,
                state_scales=scales.take(size),
                control_scales=scales.take(len(phase.controls)),
                integral_scale=scales.one(),
            )
        )
    links = tuple(rows.take(len(link.states) + 1) for link in problem.links)
    targets = edge_columns(problem, tuple(phases), statics)
    simple = problem.boundary_form.simple
    boundary_columns = np.array([-1 if k is None else targets[k] for k in simple], dtype=np.int64)
    boundaries = np.array([rows.one() if k is None else -1 for k in simple], dtype=np.int64)
    return Layout(
        statics,
        tuple(phases),
        links,
        boundaries,
        boundary_columns,
        columns.count,
        rows.count,
        static_scales,
        scales.count,
    )


def edge_columns(problem: Problem, phases: tuple[PhaseLayout, ...], statics: Index) -> Index:
    """Columns that the boundary function sees: its ``ends`` column, then the statics; -1 for no integral."""
    parts = [
        np.concatenate([place.states[:, 0], place.states[:, -1], [place.start, place.end, place.integral]])
        for place in phases
    ]
    return np.concatenate([*parts, statics]).astype(np.int64)
