"""What a solution can show for itself, by means other than the solver that found it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property

import casadi as ca
import numpy as np

from optdescent.ocp.basis import Array
from optdescent.ocp.chatter import Chatter, find_chatter
from optdescent.ocp.curvature import lacking_curvature
from optdescent.ocp.error import PhaseError, cost_error, largest_error, largest_excess, local_errors
from optdescent.ocp.form import PhaseForm, parameter_column
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.problem import Phase, Problem
from optdescent.ocp.reflight import Reflight, refly
from optdescent.ocp.solution import PhaseSolution, Solution

_AT_LIMIT = 1e-5
_NO_LENGTH = 1e-9


@dataclass(frozen=True)
class Switching:
    """How one control obeys the minimum principle.

    derivative : (points,) of the Hamiltonian (path constraints included) to the control, at the collocation points.
    wrong : how many points push a control against the inner side of a limit it sits at, or hold it at a limit that
    the derivative points away from. stationarity : largest derivative between the limits times the control's scale,
    as a fraction of the Hamiltonian's size. Both are 0 in a phase of no length (a billionth of all phases) or one that
    runs backwards, where no control is judged. is_linear : whether the Hamiltonian is linear in the control, so that an
    arc between the limits is singular.
    """

    derivative: Array
    wrong: int
    stationarity: float
    is_linear: bool


@dataclass(frozen=True)
class Arc:
    """The minimum principle along one phase.

    hamiltonian : (points,); is_autonomous : whether it must be constant; drift : its largest less its smallest value;
    size : typical magnitude of its terms. switching : by control, see there.
    """

    hamiltonian: Array
    is_autonomous: bool
    drift: float
    size: float
    switching: Mapping[str, Switching]


@dataclass(frozen=True)
class Certificate:
    """Errors between the points of a solution, a re-flight, the minimum principle; each made when first asked for.

    The re-flight takes a second or more on a problem of many phases, all else a fraction of one.
    """

    problem: Problem
    solution: Solution

    @property
    def outcome(self) -> Outcome:
        """How the solver ended."""
        return self.solution.outcome

    @property
    def optimality(self) -> float:
        """Largest slope of the Lagrangian left in the nonlinear program, scaled [-]."""
        return self.solution.dual_infeasibility

    @property
    def violation(self) -> float:
        """Largest violation of a row or bound of the nonlinear program, scaled [-]."""
        return self.solution.constraint_violation

    @property
    def slackness(self) -> float:
        """Part of the cost that the interior point leaves, in the cost's unit [-]."""
        return self.solution.slackness

    @cached_property
    def lacking_curvature(self) -> float:
        """What the curvature lacks for a minimum nearby, scaled [-]: 0 at one, 1e-3 to 1e5 at a saddle."""
        return lacking_curvature(self.problem, self.solution)

    @cached_property
    def errors(self) -> Mapping[str, PhaseError]:
        """Local errors of each phase, by element."""
        return local_errors(self.problem, self.solution)

    @property
    def local_error(self) -> float:
        """Largest error of any state in any element, in units of its scale [-]."""
        return largest_error(self.errors)

    @property
    def excess(self) -> float:
        """Largest excess over a limit between the points, in units of its scale [-]."""
        return largest_excess(self.errors)

    @property
    def cost_error(self) -> float:
        """Cost that the local residuals explain, by the costates, in the cost's unit [-]."""
        return cost_error(self.errors)

    @cached_property
    def reflights(self) -> Mapping[str, Reflight]:
        """Each phase flown again by an independent integrator."""
        return refly(self.problem, self.solution)

    @property
    def reflight(self) -> Mapping[str, float]:
        """Name -> largest difference of that state over all phases, in its own unit [-]."""
        differences = [flown.difference for flown in self.reflights.values()]
        names = sorted({name for one in differences for name in one})
        return {name: max(one[name] for one in differences if name in one) for name in names}

    @cached_property
    def arcs(self) -> Mapping[str, Arc]:
        """The minimum principle along each phase."""
        problem, solution = self.problem, self.solution
        parameters = np.asarray(parameter_column(problem, solution.values), dtype=float)
        statics = np.asarray([solution.statics[v.name] for v in problem.statics])
        shortest = _NO_LENGTH * sum(abs(own.length) for own in solution.phases.values())
        return {
            phase.name: _arc(phase, form, solution[phase.name], statics, parameters, solution.scales, shortest)
            for phase, form in zip(problem.phases, problem.phase_forms, strict=True)
        }

    @property
    def hamiltonian_drift(self) -> float:
        """Largest drift of a phase where the Hamiltonian must be constant, as a fraction of its size [-]; else 0."""
        arcs = self.arcs.values()
        return max((arc.drift / arc.size for arc in arcs if arc.is_autonomous and arc.size > 0.0), default=0.0)

    @property
    def wrong_signs(self) -> int:
        """Points of all phases and controls at which a switching function has the wrong sign for the control."""
        return sum(one.wrong for arc in self.arcs.values() for one in arc.switching.values())

    @property
    def stationarity(self) -> float:
        """Largest stationarity of any control in any phase [-]; see `Switching`."""
        found = (one.stationarity for arc in self.arcs.values() for one in arc.switching.values())
        return max(found, default=0.0)

    @property
    def chatter(self) -> tuple[Chatter, ...]:
        """Controls that swing from point to point."""
        return find_chatter(self.solution)


def _is_autonomous(form: PhaseForm) -> bool:
    symbols = form.function.sx_in()
    return not any(ca.depends_on(expression, symbols[0]) for expression in form.function.call(symbols))


def _arc(
    phase: Phase,
    form: PhaseForm,
    own: PhaseSolution,
    statics: Array,
    parameters: Array,
    scales: Mapping[str, float],
    shortest: float,
) -> Arc:
    """``shortest`` : a phase no longer than this is not judged."""
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
    judged = own.length > shortest
    for i, name in enumerate(form.controls):
        linear = not ca.depends_on(ca.jacobian(plain, u)[i], u)
        scale = scales[f"{phase.name}.{name}"]
        switching[name] = _switching(own, name, slopes[i], scale, typical, linear=linear, judged=judged)
    drift = float(np.ptp(hamiltonian[0])) if own.length > 0.0 else 0.0
    return Arc(hamiltonian[0], _is_autonomous(form), drift, typical, switching)


def _switching(
    own: PhaseSolution, name: str, slope: Array, scale: float, typical: float, *, linear: bool, judged: bool
) -> Switching:
    if not judged:
        return Switching(slope, 0, 0.0, linear)
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
