"""From the program's scaled vectors back to trajectories and multipliers in physical units."""

from __future__ import annotations

from dataclasses import dataclass

import casadi as ca
import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.form import PhaseForm
from optdescent.ocp.layout import Layout, PhaseLayout
from optdescent.ocp.limits import Item, limit_places, row_scales
from optdescent.ocp.mesh import Mesh, PhaseMesh
from optdescent.ocp.problem import Problem
from optdescent.ocp.scale import column_scales, scale_report
from optdescent.ocp.solution import Multipliers, PhaseSolution, Raw


@dataclass(frozen=True)
class Recovered:
    """The parts of a Solution that follow from the program's vectors."""

    phases: dict[str, PhaseSolution]
    statics: dict[str, float]
    scales: dict[str, float]
    multipliers: Multipliers


def recover(
    problem: Problem,
    mesh: Mesh,
    layout: Layout,
    raw: Raw,
    limits: dict[Item, tuple[float, float]],
    parameters: Array,
) -> Recovered:
    """Trajectories, statics, multipliers in the problem's own units [-]."""
    unit = column_scales(layout, raw.scales)
    x = raw.x * unit
    lam_x = raw.lam_x / unit * raw.scales[0]
    lam_g = raw.lam_g * raw.scales[0] / row_scales(problem, layout)
    constants = ca.DM(x[layout.statics]), ca.DM(parameters)
    phases: dict[str, PhaseSolution] = {}
    for phase, form, place in zip(problem.phases, problem.phase_forms, layout.phases, strict=True):
        names = tuple(v.name for v in phase.states), tuple(v.name for v in phase.controls)
        held = {n: limits["control", phase.name, n] for n in names[1]}
        path = tuple(c.name for c in phase.path)
        grid = mesh.phases[phase.name]
        cumulative = _cumulative(form, place, grid, x, *constants)
        phases[phase.name] = _phase(x, lam_g, raw.scales, place, grid, names, path, held, cumulative)
    statics = {v.name: float(x[i]) for v, i in zip(problem.statics, layout.statics, strict=True)}
    places = limit_places(problem, layout)
    found = {item: lam_x[index] for item, kind, index in places if kind == "column"}
    totals = {(i[1], i[2]): lam_g[index] for i, _, index in places if i[0] == "path"}
    boundaries = {
        i[2]: float((lam_g if kind == "row" else lam_x)[index[0]]) for i, kind, index in places if i[0] == "boundary"
    }
    links: dict[tuple[str, str], Array] = {}
    for link, rows in zip(problem.links, layout.links, strict=True):
        before = layout.phases[problem.phase_names.index(link.before)]
        names = [v.name for v in problem.phase(link.before).states]
        where = [int(before.state_scales[names.index(s)]) for s in link.states]
        links[link.before, link.after] = lam_g[rows] / np.append(raw.scales[where], raw.scales[1])
    report = scale_report(problem, layout, raw.scales)
    return Recovered(phases, statics, report, Multipliers(links, boundaries, found, totals))


def _cumulative(
    form: PhaseForm, place: PhaseLayout, grid: PhaseMesh, x: Array, statics: ca.DM, parameters: ca.DM
) -> Array:
    """Integral of the integrand (node_count,) from the start to every node; ``x`` is physical."""
    if not form.has_integrand:
        return np.zeros(grid.node_count)
    length = x[place.end] - x[place.start]
    at = x[place.start] + length * grid.collocation
    states = x[place.states[:, grid.collocation_nodes]]
    found = form.function.call([at[None, :], states, x[place.controls], statics, parameters])
    return length * grid.cumulative(np.asarray(found[2].full(), dtype=float)[0])


def _phase(
    x: Array,
    lam_g: Array,
    scales: Array,
    place: PhaseLayout,
    grid: PhaseMesh,
    names: tuple[tuple[str, ...], tuple[str, ...]],
    path: tuple[str, ...],
    held: dict[str, tuple[float, float]],
    cumulative: Array,
) -> PhaseSolution:
    start, end = float(x[place.start]), float(x[place.end])
    length = end - start
    state_scale = scales[place.state_scales]
    costates = -lam_g[place.defects] / (grid.local_weights * state_scale[:, None])
    with np.errstate(divide="ignore", invalid="ignore"):
        density = lam_g[place.path] / (grid.weights * (length if length > 0.0 else np.nan))
    integral = float(x[place.integral]) if place.has_integrand else 0.0
    weight = -float(lam_g[place.quadrature] / scales[place.integral_scale]) if place.has_integrand else 0.0
    return PhaseSolution(
        independent=start + length * grid.nodes,
        states=dict(zip(names[0], x[place.states], strict=True)),
        controls=dict(zip(names[1], x[place.controls], strict=True)),
        control_at=start + length * grid.collocation,
        integral=integral,
        integral_weight=weight,
        cumulative=cumulative,
        boundaries=start + length * grid.edges,
        costates=dict(zip(names[0], costates, strict=True)),
        path_multipliers=dict(zip(path, density, strict=True)),
        control_limits=held,
        mesh=grid,
    )
