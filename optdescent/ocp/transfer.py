"""Multipliers of a solution carried to another mesh, for a warm start after refinement."""

from __future__ import annotations

import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.layout import Layout, PhaseLayout, layout
from optdescent.ocp.mesh import Mesh, PhaseMesh
from optdescent.ocp.problem import Problem
from optdescent.ocp.solution import Raw, Solution


def transfer(problem: Problem, mesh: Mesh, places: Layout, solution: Solution, x: Array) -> Raw:
    """Scaled multipliers of ``solution`` interpolated to ``mesh``, beside the starting point ``x`` (scaled).

    Costates are continuous functions of the independent variable; multipliers of limits are so per unit of
    quadrature weight. Both are carried point by point; single rows and columns are copied.
    """
    before, old = layout(problem, solution.mesh), solution.raw
    lam_x, lam_g = np.zeros(places.columns), np.zeros(places.rows)
    lam_x[places.statics] = old.lam_x[before.statics]
    for ours, theirs in zip((*places.links, places.boundaries), (*before.links, before.boundaries), strict=True):
        rows = ours >= 0
        lam_g[ours[rows]] = old.lam_g[theirs[rows]]
    for name, here, there in zip(problem.phase_names, places.phases, before.phases, strict=True):
        _phase(mesh.phases[name], here, solution.mesh.phases[name], there, old, (lam_x, lam_g))
    return Raw(x, lam_x, lam_g, old.scales)


def _phase(
    mesh: PhaseMesh,
    here: PhaseLayout,
    before: PhaseMesh,
    there: PhaseLayout,
    old: Raw,
    lam: tuple[Array, Array],
) -> None:
    lam_x, lam_g = lam
    for name in ("start", "end", "integral"):
        if getattr(here, name) >= 0:
            lam_x[getattr(here, name)] = old.lam_x[getattr(there, name)]
    lam_g[here.length] = old.lam_g[there.length]
    if here.has_integrand:
        lam_g[here.quadrature] = old.lam_g[there.quadrature]
    costates = old.lam_g[there.defects] / before.local_weights
    lam_g[here.defects] = before.control_at(costates, mesh.collocation) * mesh.local_weights
    if here.closures.size:
        lam_g[here.closures] = before.control_at(costates, mesh.edges[1:])
    for row in range(here.states.shape[0]):
        density = old.lam_x[there.states[row][before.collocation_nodes]] / before.weights
        held = np.interp(mesh.collocation, before.collocation, density) * mesh.weights
        lam_x[here.states[row][mesh.collocation_nodes]] = held
        lam_x[here.states[row][[0, -1]]] = old.lam_x[there.states[row][[0, -1]]]
    for target, source, ours, theirs in (
        (here.controls, there.controls, lam_x, old.lam_x),
        (here.path, there.path, lam_g, old.lam_g),
    ):
        for row in range(target.shape[0]):
            density = theirs[source[row]] / before.weights
            ours[target[row]] = np.interp(mesh.collocation, before.collocation, density) * mesh.weights
