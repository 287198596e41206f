"""What a solution can show for itself, by means other than the solver that found it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import casadi as ca
import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.chatter import Chatter, find_chatter
from optdescent.ocp.error import local_errors
from optdescent.ocp.form import PhaseForm, parameter_column
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.problem import Phase, Problem
from optdescent.ocp.reflight import Reflight, refly
from optdescent.ocp.solution import PhaseSolution, Solution

_AT_LIMIT = 1e-5


@dataclass(frozen=True)
class Switching:
    """How one control obeys the minimum principle.

    derivative : (points,) of the Hamiltonian (path constraints included) to the control, at the collocation points.
    wrong : how many points push a control against the inner side of a limit it sits at, or hold it at a limit that
    the derivative points away from. stationarity : largest derivative between the limits times the control's scale,
    as a fraction of the Hamiltonian's size. is_linear : whether the Hamiltonian is linear in the control, so that
    an arc between the limits is singular.
    """

    derivative: Array
    wrong: int
    stationarity: float
    is_linear: bool


@dataclass(frozen=True)
class Arc:
    """Certificate of one phase.

    hamiltonian : (points,); is_autonomous : whether it must be constant; drift : its largest less its smallest value;
    size : typical magnitude of its terms. reflight, switching : see there.
    """

    local_error: float
    excess: float
    reflight: Reflight
    hamiltonian: Array
    is_autonomous: bool
    drift: float
    size: float
    switching: Mapping[str, Switching]


@dataclass(frozen=True)
class Certificate:
    """Figures of a whole solution; see the fields of Arc for each phase.

    optimality, violation : of the nonlinear program, scaled. slackness : part of the cost that its interior point
    leaves, in the cost's unit. local_error, excess : largest of any element, in units
    of the scales. cost_error : cost that the local residuals explain, by the costates. reflight : name -> largest
    difference of that state over all phases, in its own unit. hamiltonian_drift : largest drift of a phase where the
    Hamiltonian must be constant, as a fraction of its size; 0 if there is none.
    """

    outcome: Outcome
    optimality: float
    violation: float
    slackness: float
    local_error: float
    excess: float
    cost_error: float
    reflight: Mapping[str, float]
    hamiltonian_drift: float
    chatter: tuple[Chatter, ...]
    arcs: Mapping[str, Arc]


def certify(problem: Problem, solution: Solution) -> Certificate:
    """Examine ``solution``: errors between the points, a re-flight, the minimum principle."""
    errors = local_errors(problem, solution)
    flown = refly(problem, solution)
    principles = _principles(problem, solution)
    arcs = {
        name: Arc(
            local_error=float(np.max(errors[name].state)),
            excess=float(np.max(errors[name].violation)),
            reflight=flown[name],
            hamiltonian=principle.hamiltonian,
            is_autonomous=principle.is_autonomous,
            drift=principle.drift,
            size=principle.size,
            switching=principle.switching,
        )
        for name, principle in principles.items()
    }
    names = {n for form in problem.phase_forms for n in form.states}
    return Certificate(
        outcome=solution.outcome,
        optimality=solution.dual_infeasibility,
        violation=solution.constraint_violation,
        slackness=solution.slackness,
        local_error=max(a.local_error for a in arcs.values()),
        excess=max(a.excess for a in arcs.values()),
        cost_error=sum(e.cost for e in errors.values()),
        reflight={n: max(f.difference[n] for f in flown.values() if n in f.difference) for n in sorted(names)},
        hamiltonian_drift=_largest_drift(principles),
        chatter=find_chatter(solution),
        arcs=arcs,
    )


def hamiltonian_drift(problem: Problem, solution: Solution) -> float:
    """Largest drift of a phase where the Hamiltonian must be constant, as a fraction of its size [-]; 0 without one."""
    return _largest_drift(_principles(problem, solution))


@dataclass(frozen=True)
class _Principle:
    """The Hamiltonian of one phase and how its controls obey it; see the fields of Arc."""

    hamiltonian: Array
    is_autonomous: bool
    drift: float
    size: float
    switching: Mapping[str, Switching]


def _principles(problem: Problem, solution: Solution) -> dict[str, _Principle]:
    parameters = np.asarray(parameter_column(problem, solution.values), dtype=float)
    statics = np.asarray([solution.statics[v.name] for v in problem.statics])
    return {
        phase.name: _principle(phase, form, solution[phase.name], statics, parameters, solution.scales)
        for phase, form in zip(problem.phases, problem.phase_forms, strict=True)
    }


def _largest_drift(principles: Mapping[str, _Principle]) -> float:
    return max((p.drift / p.size for p in principles.values() if p.is_autonomous and p.size > 0.0), default=0.0)


def _is_autonomous(form: PhaseForm) -> bool:
    symbols = form.function.sx_in()
    return not any(ca.depends_on(expression, symbols[0]) for expression in form.function.call(symbols))


def _principle(
    phase: Phase,
    form: PhaseForm,
    own: PhaseSolution,
    statics: Array,
    parameters: Array,
    scales: Mapping[str, float],
) -> _Principle:
    t, x, u, s, p = form.function.sx_in()
    rates, path, integrand = form.function.call([t, x, u, s, p])
    costate, push = ca.SX.sym("costate", x.size1()), ca.SX.sym("push", path.size1())
    plain = own.integral_weight * integrand + ca.dot(costate, rates)
    terms = ca.fabs(own.integral_weight * integrand) + ca.dot(ca.fabs(costate), ca.fabs(rates))
    gradient = ca.gradient(plain + ca.dot(push, path), u)
    examine = ca.Function("examine", [t, x, u, s, p, costate, push], [plain, terms, gradient])
    pushes = [own.path_multipliers[n] for n in form.path]
    empty = np.empty((0, own.mesh.points))
    found = examine.call(
        [
            own.control_at[None, :],
            np.vstack([own.states[n][own.mesh.collocation_nodes] for n in form.states]),
            np.vstack([empty, *[own.controls[n] for n in form.controls]]),
            statics,
            parameters,
            np.vstack([own.costates[n] for n in form.states]),
            np.nan_to_num(np.vstack([empty, *pushes])),
        ]
    )
    hamiltonian, size, slopes = (np.asarray(v.full(), dtype=float) for v in found)
    typical = float(np.median(size))
    switching: dict[str, Switching] = {}
    for i, name in enumerate(form.controls):
        linear = not ca.depends_on(ca.jacobian(plain, u)[i], u)
        switching[name] = _switching(own, name, slopes[i], scales[f"{phase.name}.{name}"], typical, linear)
    drift = float(np.ptp(hamiltonian[0])) if own.length > 0.0 else 0.0
    return _Principle(hamiltonian[0], _is_autonomous(form), drift, typical, switching)


def _switching(own: PhaseSolution, name: str, slope: Array, scale: float, typical: float, linear: bool) -> Switching:
    low, high = own.control_limits[name]
    value = own.controls[name]
    at_low, at_high = value - low < _AT_LIMIT * scale, high - value < _AT_LIMIT * scale
    inside = ~(at_low | at_high)
    size = typical if typical > 0.0 else 1.0
    relative = slope * scale / size
    wrong = int(
        np.sum(at_low & ~at_high & (relative < -_AT_LIMIT)) + np.sum(at_high & ~at_low & (relative > _AT_LIMIT))
    )
    return Switching(slope, wrong, float(np.max(np.abs(relative[inside]), initial=0.0)), linear)
