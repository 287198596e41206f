"""Limits of columns and rows from parameter values; names for every column and row."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from optdescent.ocp.basis import Array, Index
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.form import PhaseForm
from optdescent.ocp.layout import Layout, PhaseLayout
from optdescent.ocp.problem import Problem

Item = tuple[str, str, str]


def limit_values(problem: Problem, parameters: Array) -> dict[Item, tuple[float, float]]:
    """(lower, upper) of every limit (kind, phase, name) in the problem's own units [-].

    Raises
    ------
    ProblemFault : bounds cross or are not numbers for these parameter values.
    """
    form = problem.boundary_form
    lower, upper = (np.asarray(v.full(), dtype=float).ravel() for v in form.limits.call([parameters]))
    for item, low, high in zip(form.limit_items, lower, upper, strict=True):
        if np.isnan(low) or np.isnan(high):
            raise ProblemFault(f"a bound of this {item[0]} is not a number", item[1], item[2])
        if low > high:
            raise ProblemFault(f"bounds cross: {low:g} lies above {high:g}", item[1], item[2])
    return {i: (float(a), float(b)) for i, a, b in zip(form.limit_items, lower, upper, strict=True)}


def limit_places(problem: Problem, layout: Layout) -> tuple[tuple[Item, str, Index], ...]:
    """Where each limit acts: (item, 'column' or 'row', indices), in the order of ``limit_items``."""
    found: list[tuple[Item, str, Index]] = []
    for v, i in zip(problem.statics, layout.statics, strict=True):
        found.append((("static", "", v.name), "column", np.atleast_1d(i)))
    for phase, form, place in zip(problem.phases, problem.phase_forms, layout.phases, strict=True):
        found.append((("start", phase.name, "start"), "column", np.array([place.start])))
        found.append((("end", phase.name, "end"), "column", np.array([place.end])))
        for v, row in zip(phase.states, place.states, strict=True):
            found.append((("state", phase.name, v.name), "column", row))
        for v, row in zip(phase.controls, place.controls, strict=True):
            found.append((("control", phase.name, v.name), "column", row))
        for i, c in enumerate(phase.path):
            found.append((("path", phase.name, c.name), "row", path_rows(form, place, i)))
    for b, i, k in zip(problem.boundaries, layout.boundaries, layout.boundary_columns, strict=True):
        found.append((("boundary", "", b.name), "column" if i < 0 else "row", np.array([k if i < 0 else i])))
    return tuple(found)


def path_rows(form: PhaseForm, place: PhaseLayout, index: int) -> Index:
    """All rows of one path constraint: at the collocation points, then at open nodes if no control appears."""
    if index not in form.control_free:
        return place.path[index]
    return np.concatenate([place.path[index], place.open_path[form.control_free.index(index)]])


def row_scales(problem: Problem, layout: Layout) -> Array:
    """Physical size of one unit of every row whose limits are physical (path, boundary); 1 elsewhere."""
    result = np.ones(layout.rows)
    for phase, form, place in zip(problem.phases, problem.phase_forms, layout.phases, strict=True):
        for i, constraint in enumerate(phase.path):
            result[path_rows(form, place, i)] = constraint.scale
    for constraint, i in zip(problem.boundaries, layout.boundaries, strict=True):
        if i >= 0:
            result[i] = constraint.scale
    return result


@dataclass(frozen=True)
class Box:
    """Limits of columns and rows, scaled."""

    low: Array
    high: Array
    row_low: Array
    row_high: Array

    @property
    def low_of_all(self) -> Array:
        """Lower limits (n + m,) [-] of columns, then rows."""
        return np.concatenate([self.low, self.row_low])

    @property
    def high_of_all(self) -> Array:
        """Upper limits (n + m,) [-] of columns, then rows."""
        return np.concatenate([self.high, self.row_high])


def bounds(
    problem: Problem,
    layout: Layout,
    values: dict[Item, tuple[float, float]],
    columns: Array,
    scales: Array,
) -> Box:
    """Scaled limits [-]; ``columns``: scale of each column.

    A column takes the narrowest of its limits; they may cross when two demands exclude each other.
    """
    low, high = np.full(layout.columns, -np.inf), np.full(layout.columns, np.inf)
    row_low, row_high = np.zeros(layout.rows), np.zeros(layout.rows)
    units = row_scales(problem, layout)
    for item, kind, index in limit_places(problem, layout):
        if kind == "column":
            low[index] = np.maximum(low[index], values[item][0] / columns[index])
            high[index] = np.minimum(high[index], values[item][1] / columns[index])
        else:
            row_low[index], row_high[index] = values[item][0] / units[index], values[item][1] / units[index]
    for phase, place in zip(problem.phases, layout.phases, strict=True):
        row_low[place.length], row_high[place.length] = phase.least_length / scales[1], np.inf
    return Box(low, high, row_low, row_high)
