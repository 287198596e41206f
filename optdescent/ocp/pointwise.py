"""The kernels of a problem: scaled rates, path and integrand at a point, and everything at the ends.

They do not depend on the mesh and are kept with the problem, so that a refinement compiles nothing again.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import casadi as ca
import numpy as np

from optdescent.ocp.basis import Index
from optdescent.ocp.form import PhaseForm
from optdescent.ocp.kernel import Kernel
from optdescent.ocp.layout import Layout, PhaseLayout
from optdescent.ocp.problem import Phase, Problem


def phase_kernel(problem: Problem, number: int, places: Layout) -> Kernel:
    """(states, controls; start, end, statics) -> (-rates, path, -quadrature), all scaled.

    The place is (position on [0, 1], element fraction, quadrature weight); shared are `phase_shared`.
    """
    return _remembered(problem, number, places, "phase", _phase)


def open_kernel(problem: Problem, number: int, places: Layout) -> Kernel:
    """(states; start, end, statics) -> control-free path functions, scaled; the place is the position on [0, 1]."""
    return _remembered(problem, number, places, "open", _open)


_Build = Callable[[PhaseForm, Phase, PhaseLayout, int, int], Kernel]


def _remembered(problem: Problem, number: int, places: Layout, what: str, build: _Build) -> Kernel:
    """The kernel of a phase, or of its kind, built when first asked for."""
    phase = problem.phases[number]
    memory = problem.memory.kernels if phase.kind else problem.compiled
    key = f"{what} {problem.kept_as(phase) if phase.kind else number}"
    if key not in memory:
        form, place = problem.phase_forms[number], places.phases[number]
        memory[key] = build(form, phase, place, _parameters(problem), len(places.statics))
    return memory[key]


def phase_shared(problem: Problem, place: PhaseLayout, places: Layout) -> Index:
    """Entries of (parameters, scales) that the kernels of a phase see: the parameters, then its own scales.

    These are of the independent variable, the states, the controls, the statics and the integral.
    """
    scales = [[1], place.state_scales, place.control_scales, places.static_scales, [place.integral_scale]]
    parameters = _parameters(problem)
    own = parameters + np.concatenate([np.asarray(part, dtype=np.int64) for part in scales])
    return np.concatenate([np.arange(parameters, dtype=np.int64), own])


def ends_kernel(problem: Problem, places: Layout) -> Kernel:
    """(ends, statics) -> (links, boundaries with a row, cost), scaled; absent integrals are left out of the ends."""
    if "ends" not in problem.compiled:
        problem.compiled["ends"] = _ends(problem, places, _parameters(problem))
    return problem.compiled["ends"]


def _parameters(problem: Problem) -> int:
    return sum(q.size for q in problem.parameters)


@dataclass(frozen=True)
class _Scales:
    """The scales that a phase's kernels see, in the order of `phase_shared`."""

    independent: ca.SX
    states: ca.SX
    controls: ca.SX
    statics: ca.SX
    integral: ca.SX


def _shared(form: PhaseForm, parameters: int, statics: int) -> tuple[ca.SX, _Scales]:
    sizes = [1, len(form.states), len(form.controls), statics, 1]
    shared = ca.SX.sym("p", parameters + sum(sizes))
    parts = ca.vertsplit(shared[parameters:], np.concatenate([[0], np.cumsum(sizes)]).tolist())
    return shared, _Scales(*parts)


def _phase(form: PhaseForm, phase: Phase, place: PhaseLayout, parameters: int, statics: int) -> Kernel:
    size, inputs = len(form.states), len(form.controls)
    shared, scale = _shared(form, parameters, statics)
    z = ca.SX.sym("z", size + inputs + 2 + statics)
    where = ca.SX.sym("place", 3)
    start, end = z[size + inputs], z[size + inputs + 1]
    length = (end - start) * scale.independent
    rates, path, integrand = form.function(
        start * scale.independent + where[0] * length,
        z[:size] * scale.states,
        z[size : size + inputs] * scale.controls,
        z[size + inputs + 2 :] * scale.statics,
        shared[:parameters],
    )
    outputs = [-where[1] * length * rates / scale.states, path / np.array([c.scale for c in phase.path])]
    if place.has_integrand:
        outputs.append(-where[2] * length * integrand / scale.integral)
    return Kernel(z, size + inputs, ca.vertcat(*outputs), where, shared, parameters)


def _open(form: PhaseForm, phase: Phase, place: PhaseLayout, parameters: int, statics: int) -> Kernel:
    size = len(form.states)
    shared, scale = _shared(form, parameters, statics)
    z, where = ca.SX.sym("z", size + 2 + statics), ca.SX.sym("place")
    start, end = z[size] * scale.independent, z[size + 1] * scale.independent
    path = form.function(
        start + where * (end - start),
        z[:size] * scale.states,
        ca.SX.zeros(len(form.controls)),
        z[size + 2 :] * scale.statics,
        shared[:parameters],
    )[1]
    chosen = [path[i] / phase.path[i].scale for i in form.control_free]
    return Kernel(z, size, ca.vertcat(*chosen), where, shared, parameters)


def _ends(problem: Problem, places: Layout, parameters: int) -> Kernel:
    shared = ca.SX.sym("p", parameters + places.scales)
    scale = shared[parameters:]
    sizes = [len(form.states) for form in problem.phase_forms]
    first = np.concatenate([[0], np.cumsum([2 * size + 3 for size in sizes])])
    edges = int(first[-1])
    z = ca.SX.sym("z", edges + len(places.statics))
    kept = [i for i in range(z.size1()) if i not in set(absent_integrals(places, first))]
    units: list[ca.SX] = []
    for number, place in enumerate(places.phases):
        states = scale[place.state_scales.tolist()]
        units += [states, states, scale[1], scale[1], scale[place.integral_scale]]
        if not place.has_integrand:
            z[int(first[number + 1]) - 1] = 0
    physical = z * ca.vertcat(*units, scale[places.static_scales.tolist()])
    cost, boundaries = problem.boundary_form.function(physical[:edges], physical[edges:], shared[:parameters])
    outputs: list[ca.SX] = []
    for link in problem.links:
        one, two = problem.phase_names.index(link.before), problem.phase_names.index(link.after)
        end, start = int(first[one]) + sizes[one], int(first[two])
        before, after = places.phases[one].state_scales, places.phases[two].state_scales
        for name in link.states:
            i = problem.phase_forms[one].states.index(name)
            j = problem.phase_forms[two].states.index(name)
            outputs.append(z[end + i] - z[start + j] * scale[int(after[j])] / scale[int(before[i])])
        outputs.append(z[end + sizes[one] + 1] - z[start + 2 * sizes[two]])
    for i, constraint in enumerate(problem.boundaries):
        if problem.boundary_form.simple[i] is None:
            outputs.append(boundaries[i] / constraint.scale)
    outputs.append(cost / scale[0])
    return Kernel(z[kept], len(kept), ca.vertcat(*outputs), ca.SX(0, 1), shared, parameters)


def absent_integrals(places: Layout, first: np.ndarray) -> list[int]:
    """Positions in the ends column [-] of the integrals of phases without an integrand."""
    return [int(first[i + 1]) - 1 for i, place in enumerate(places.phases) if not place.has_integrand]
