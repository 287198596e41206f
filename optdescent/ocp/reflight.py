"""The controls of a solution flown again by an independent adaptive integrator."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from scipy.integrate import solve_ivp

from optdescent.buffered import Buffered
from optdescent.ocp.basis import Array, interpolation
from optdescent.ocp.form import PhaseForm, parameter_column
from optdescent.ocp.problem import Problem
from optdescent.ocp.solution import PhaseSolution, Solution


@dataclass(frozen=True)
class Reflight:
    """One phase flown again from its start.

    independent (n,), states name -> (n,): where the integrator was compared; difference : name -> largest absolute
    difference to the solution, in the state's own unit; integral : of the integrand, by the integrator.
    """

    independent: Array
    states: Mapping[str, Array]
    difference: Mapping[str, float]
    integral: float


def refly(problem: Problem, solution: Solution, accuracy: float = 1e-10) -> dict[str, Reflight]:
    """Fly every phase with DOP853, stopping at the element boundaries.

    ``accuracy`` [-] is the relative tolerance, and the absolute one in units of each state's scale.
    """
    parameters = np.asarray(parameter_column(problem, solution.values), dtype=float)
    statics = np.asarray([solution.statics[v.name] for v in problem.statics])
    flown: dict[str, Reflight] = {}
    for phase, form in zip(problem.phases, problem.phase_forms, strict=True):
        scale = np.asarray([solution.scales[f"{phase.name}.{n}"] for n in form.states])
        flown[phase.name] = _phase(form, solution[phase.name], statics, parameters, accuracy, scale)
    return flown


def _phase(
    form: PhaseForm, own: PhaseSolution, statics: Array, parameters: Array, accuracy: float, scale: Array
) -> Reflight:
    mesh, size = own.mesh, len(form.states)
    controls = np.vstack([np.empty((0, mesh.points)), *[own.controls[n] for n in form.controls]])
    low = np.asarray([own.control_limits[n][0] for n in form.controls])
    high = np.asarray([own.control_limits[n][1] for n in form.controls])
    function = Buffered(form.function)
    now = np.append([own.states[n][0] for n in form.states], 0.0)
    tolerance = accuracy * np.append(scale, max(1.0, abs(own.integral)))
    nodes, values = [own.start], [now]

    for k, fraction in enumerate(mesh.fractions):
        width, begin = own.length * fraction, float(own.boundaries[k])
        if width <= 0.0:
            continue
        series = controls[:, mesh.first_column[k] : mesh.first_column[k + 1]]
        points = mesh.bases[k].collocation

        def slope(
            at: float, y: Array, u: Array = series, c: Array = points, t: float = begin, w: float = width
        ) -> Array:
            control = np.clip(u @ interpolation(c, np.array([(at - t) / w]))[0], low, high)
            rates, _, integrand = function(at, y[:size], control, statics, parameters)
            return np.append(rates, integrand)

        stops = begin + width * np.append(mesh.bases[k].nodes[1:-1], 1.0)
        stops = np.unique(np.minimum(stops, begin + width))
        result = solve_ivp(slope, (begin, begin + width), now, "DOP853", stops, rtol=accuracy, atol=tolerance)
        now = result.y[:, -1]
        nodes += result.t.tolist()
        values += list(result.y.T)
        if not result.success:
            now = np.full(size + 1, np.nan)
            values[-1] = now
            break
    at, flown = np.asarray(nodes), np.asarray(values).T
    found = {n: flown[i] for i, n in enumerate(form.states)}
    difference = {n: float(np.max(np.abs(found[n] - own.state(n, at)))) for n in form.states}
    return Reflight(at, found, difference, float(now[size]))
