"""Local error of a solution: its polynomials against a finer re-integration of the dynamics in every element.

In each element the controls and states are evaluated at more points than were collocated, the rates there are
integrated exactly as polynomials from the element's start, and the result is compared with the states
(Patterson and Rao, Optimal Control Applications and Methods 36, 2015). Between the points, limits are looked at too.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.ocp.basis import Array, Family, basis, integration, interpolation
from optdescent.ocp.form import PhaseForm, parameter_column
from optdescent.ocp.limits import limit_values
from optdescent.ocp.problem import Phase, Problem
from optdescent.ocp.solution import PhaseSolution, Round, Solution

_EXTRA = 2


@dataclass(frozen=True)
class PhaseError:
    """Errors of one phase.

    state : (elements,) largest difference of any state, in units of its scale. by_state : name -> (elements,)
    in the state's own unit. violation : (elements,) largest excess over a state bound or path limit between the
    points, in units of its scale. cost : the part of the cost that the local residuals explain, by the costates.
    """

    state: Array
    by_state: Mapping[str, Array]
    violation: Array
    cost: float


def largest_error(errors: Mapping[str, PhaseError]) -> float:
    """Largest error of any state in any element, in units of its scale [-]."""
    return max(float(np.max(error.state)) for error in errors.values())


def largest_excess(errors: Mapping[str, PhaseError]) -> float:
    """Largest excess over a limit between the points, in units of its scale [-]."""
    return max(float(np.max(error.violation)) for error in errors.values())


def cost_error(errors: Mapping[str, PhaseError]) -> float:
    """Cost that the local residuals explain, by the costates, in the cost's unit [-]."""
    return sum(error.cost for error in errors.values())


def round_of(found: Solution, errors: Mapping[str, PhaseError]) -> Round:
    """A mesh of a refinement: its size, what the solve gave, the largest errors [s, scaled, cost's unit]."""
    return Round(
        elements=sum(len(p.degrees) for p in found.mesh.phases.values()),
        points=found.mesh.points,
        cost=found.cost,
        local_error=largest_error(errors),
        excess=largest_excess(errors),
        cost_error=cost_error(errors),
        iterations=found.iterations,
        seconds=found.seconds_build + found.seconds_solve,
        outcome=found.outcome,
    )


@dataclass(frozen=True)
class Fine:
    """A phase evaluated between its points: all elements one after another.

    at : (m,) independent variable; element : (m,) element of each point; weights : (m,) of the integral;
    states (nx, m), slopes (nx, m) derivatives of the state polynomials, controls (nu, m) held to their limits,
    rates (nx, m), path (n_path, m), integrand (m,), costates (nx, m).
    """

    at: Array
    element: NDArray[np.int64]
    weights: Array
    states: Array
    slopes: Array
    controls: Array
    rates: Array
    path: Array
    integrand: Array
    costates: Array


def fine(form: PhaseForm, own: PhaseSolution, statics: ca.DM, parameters: ca.DM) -> Fine:
    """Evaluate a phase [any unit] at two more Gauss points per element than it has collocation points."""
    mesh = own.mesh
    states = np.vstack([own.states[n] for n in form.states])
    controls = np.vstack([np.empty((0, mesh.points)), *[own.controls[n] for n in form.controls]])
    costates = np.vstack([own.costates[n] for n in form.states])
    parts: list[tuple[Array, ...]] = []
    for k, degree in enumerate(mesh.degrees):
        gauss = basis(degree + _EXTRA, Family.GAUSS)
        nodes = slice(mesh.first_node[k], mesh.first_node[k] + degree + 1)
        points = slice(mesh.first_column[k], mesh.first_column[k + 1])
        to_states, to_controls, to_slopes = _to_fine(degree, mesh.family)
        width = own.length * mesh.fractions[k]
        slope = to_slopes / (width if width > 0.0 else np.inf)
        parts.append(
            (
                own.boundaries[k] + width * gauss.collocation,
                np.full(degree + _EXTRA, k),
                width * gauss.weights,
                states[:, nodes] @ to_states.T,
                states[:, nodes] @ slope.T,
                controls[:, points] @ to_controls.T,
                costates[:, points] @ to_controls.T,
            )
        )
    at, element_of, weights, x, slopes, u, p = (np.concatenate(part, axis=-1) for part in zip(*parts, strict=True))
    for row, name in enumerate(form.controls):
        u[row] = np.clip(u[row], *own.control_limits[name])
    found = form.function.call([at[None, :], x, u, statics, parameters])
    rates, path, integrand = (np.asarray(v.full(), dtype=float) for v in found)
    return Fine(at, element_of.astype(np.int64), weights, x, slopes, u, rates, path, integrand[0], p)


@lru_cache(maxsize=256)
def _to_fine(degree: int, family: Family) -> tuple[Array, Array, Array]:
    """Matrices to the fine points: from nodes to states, from collocation points to controls, from nodes to slopes."""
    element, at = basis(degree, family), basis(degree + _EXTRA, Family.GAUSS).collocation
    to_controls = interpolation(element.collocation, at)
    return interpolation(element.nodes, at), to_controls, to_controls @ element.differentiation


def local_errors(problem: Problem, solution: Solution) -> dict[str, PhaseError]:
    """Errors of every phase of ``solution``."""
    parameters = np.asarray(parameter_column(problem, solution.values), dtype=float)
    limits = limit_values(problem, parameters)
    constants = ca.DM([solution.statics[v.name] for v in problem.statics]), ca.DM(parameters)
    errors: dict[str, PhaseError] = {}
    for phase, form in zip(problem.phases, problem.phase_forms, strict=True):
        own = solution[phase.name]
        scale = np.asarray([solution.scales[f"{phase.name}.{n}"] for n in form.states])
        points = fine(form, own, *constants)
        by_state = _state_errors(own, points, np.vstack([own.states[n] for n in form.states]))
        excess = _excess(phase, points, scale, limits)
        elements = len(own.mesh.degrees)
        violation = np.zeros(elements)
        np.maximum.at(violation, points.element, excess)
        residual = np.sum(points.costates * (points.rates - points.slopes), axis=0)
        residual += own.integral_weight * points.integrand
        errors[phase.name] = PhaseError(
            state=np.max(by_state / scale[:, None], axis=0),
            by_state=dict(zip(form.states, by_state, strict=True)),
            violation=violation,
            cost=float(points.weights @ residual) - own.integral_weight * own.integral,
        )
    return errors


def _state_errors(own: PhaseSolution, points: Fine, states: Array) -> Array:
    """(nx, elements) largest difference between re-integrated and collocated states."""
    mesh = own.mesh
    result = np.zeros((states.shape[0], len(mesh.degrees)))
    for k, degree in enumerate(mesh.degrees):
        inside = points.element == k
        gauss = basis(degree + _EXTRA, Family.GAUSS)
        matrix = np.vstack([integration(degree + _EXTRA, Family.GAUSS)[1:], gauss.weights])
        width = own.length * mesh.fractions[k]
        first, last = mesh.first_node[k], mesh.first_node[k + 1]
        again = states[:, [first]] + width * points.rates[:, inside] @ matrix.T
        here = np.hstack([points.states[:, inside], states[:, [last]]])
        result[:, k] = np.max(np.abs(again - here), axis=1)
    return result


def _excess(phase: Phase, points: Fine, scale: Array, limits: dict[tuple[str, str, str], tuple[float, float]]) -> Array:
    """(m,) largest excess over state bounds and path limits at every fine point."""
    excess = np.zeros(points.at.size)
    for row, (variable, unit) in enumerate(zip(phase.states, scale, strict=True)):
        low, high = limits["state", phase.name, variable.name]
        value = points.states[row]
        excess = np.maximum(excess, np.maximum(low - value, value - high) / unit)
    for row, constraint in enumerate(phase.path):
        low, high = limits["path", phase.name, constraint.name]
        value = points.path[row]
        excess = np.maximum(excess, np.maximum(low - value, value - high) / constraint.scale)
    return excess
