"""The nonlinear program and its solver: the only file that knows IPOPT."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property

import casadi as ca
import numpy as np
from numpy.typing import ArrayLike

from optdescent.interrupt import interruptible
from optdescent.ocp.assemble import Functions, Piece
from optdescent.ocp.basis import Array
from optdescent.ocp.form import parameter_column
from optdescent.ocp.guess import Guess
from optdescent.ocp.layout import Layout
from optdescent.ocp.limits import Box, bounds, limit_values
from optdescent.ocp.mesh import Mesh
from optdescent.ocp.neighbour import Chord
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.problem import Problem
from optdescent.ocp.recover import recover
from optdescent.ocp.residue import not_finite, slackness, violation
from optdescent.ocp.scale import column_scales, cost_scale, scales
from optdescent.ocp.settings import SolverSettings, Warmth
from optdescent.ocp.slopes import Slopes
from optdescent.ocp.solution import Raw, Solution, Start
from optdescent.ocp.start import from_guess, from_solution
from optdescent.ocp.transfer import transfer

_OUTCOMES = {
    "Solve_Succeeded": Outcome.SOLVED,
    "Feasible_Point_Found": Outcome.SOLVED,
    "Solved_To_Acceptable_Level": Outcome.ACCEPTABLE,
    "Infeasible_Problem_Detected": Outcome.INFEASIBLE,
    "Maximum_Iterations_Exceeded": Outcome.ITERATIONS,
    "Maximum_CpuTime_Exceeded": Outcome.TIME,
    "Maximum_WallTime_Exceeded": Outcome.TIME,
    "Invalid_Number_Detected": Outcome.INVALID_NUMBER,
    "Restoration_Failed": Outcome.RESTORATION_FAILED,
    "Diverging_Iterates": Outcome.DIVERGING,
    "Search_Direction_Becomes_Too_Small": Outcome.STEP_TOO_SMALL,
    "Error_In_Step_Computation": Outcome.STEP_TOO_SMALL,
    "Not_Enough_Degrees_Of_Freedom": Outcome.OVERDETERMINED,
}


@dataclass(frozen=True)
class _Ending:
    outcome: Outcome
    start: Start
    iterations: int
    dual: float


class NonlinearProgram:
    """A problem on a mesh. Held by the caller and solved again with new parameter values.

    Scales are fixed by the first solve (or by the solution it starts from) and stay for the program's life.
    """

    def __init__(
        self,
        problem: Problem,
        mesh: Mesh,
        layout: Layout,
        functions: Functions,
        pieces: tuple[Piece, ...],
        seconds_build: float,
    ) -> None:
        self.problem = problem
        self.mesh = mesh
        self.layout = layout
        self.functions = functions
        self.pieces = pieces
        self.seconds_build = seconds_build
        self._scales: Array | None = None
        self._chord: Chord | None = None
        self._solvers: dict[tuple[SolverSettings, Warmth], ca.Function] = {}

    @cached_property
    def _slopes(self) -> Slopes:
        return Slopes(self.functions)

    @property
    def columns(self) -> int:
        """Number of variables."""
        return self.layout.columns

    @property
    def rows(self) -> int:
        """Number of constraints."""
        return self.layout.rows

    def solve(
        self,
        values: Mapping[str, ArrayLike],
        start: Guess | Solution,
        settings: SolverSettings = SolverSettings(),
    ) -> Solution:
        """Solve for these parameter values, in their own units [-], from a guess, or warm from a solution.

        Raises
        ------
        ProblemFault : a value or guess is missing or not finite, bounds cross, a function is not finite at the start.
        KeyboardInterrupt : the solve was interrupted.
        """
        began = time.perf_counter()
        parameters = np.asarray(parameter_column(self.problem, values), dtype=float)
        limits = limit_values(self.problem, parameters)
        physical = self._physical(start)
        scale = self._fix_scales(physical, parameters, limits, start)
        unit = column_scales(self.layout, scale)
        p = np.concatenate([parameters, scale])
        box = bounds(self.problem, self.layout, limits, unit, scale)
        attempt = self._beside(start, physical / unit, p, box, settings)
        if attempt is None:
            x0 = np.clip(physical / unit, box.low, box.high)
            self._fill_integrals(x0, p)
            attempt = self._attempt(start, x0, p, box, settings)
        raw, ending = attempt
        cost, row_values = self.functions.nlp(raw.x, p)
        rows = np.asarray(row_values.full(), dtype=float).ravel()
        found = recover(self.problem, self.mesh, self.layout, raw, limits, parameters)
        return Solution(
            problem=self.problem.name,
            outcome=ending.outcome,
            cost=float(cost) * float(scale[0]),
            phases=found.phases,
            statics=found.statics,
            values={k: np.atleast_1d(np.asarray(v, dtype=float)) for k, v in values.items()},
            mesh=self.mesh,
            start=ending.start,
            iterations=ending.iterations,
            constraint_violation=violation(raw, rows, box),
            slackness=slackness(raw, rows, box) * float(scale[0]),
            dual_infeasibility=ending.dual,
            seconds_build=self.seconds_build,
            seconds_solve=time.perf_counter() - began,
            scales=found.scales,
            multipliers=found.multipliers,
            raw=raw,
        )

    def _beside(
        self, start: Guess | Solution, x: Array, p: Array, box: Box, settings: SolverSettings
    ) -> tuple[Raw, _Ending] | None:
        """By Newton's method from a solution, on this mesh or another, if the answer is near enough to it."""
        if not isinstance(start, Solution) or settings.warmth is Warmth.COLD or not start.outcome.is_success:
            return None
        scale = p[p.size - self.layout.scales :]
        if not np.array_equal(start.raw.scales, scale) or np.any(box.low > box.high):
            return None
        if start.mesh != self.mesh:
            near = transfer(self.problem, self.mesh, self.layout, start, np.clip(x, box.low, box.high))
            chord = Chord(self._slopes, near, p, box)
        else:
            chord = self._held(start, scale)
        found = chord.to(p, box, settings.tolerance) if chord.is_useful else None
        if found is None:
            return None
        return found.raw, _Ending(Outcome.SOLVED, Start.NEIGHBOUR, found.steps, found.residual)

    def _held(self, start: Solution, scale: Array) -> Chord:
        """What was factored at a solution on this mesh, kept for its other neighbours."""
        if self._chord is None or self._chord.base is not start.raw:
            parameters = np.asarray(parameter_column(self.problem, start.values), dtype=float)
            limits = limit_values(self.problem, parameters)
            box = bounds(self.problem, self.layout, limits, column_scales(self.layout, scale), scale)
            self._chord = Chord(self._slopes, start.raw, np.concatenate([parameters, scale]), box)
        return self._chord

    def _physical(self, start: Guess | Solution) -> Array:
        if not isinstance(start, Solution):
            return from_guess(self.problem, self.mesh, self.layout, start)
        if start.mesh == self.mesh:
            return start.raw.x * column_scales(self.layout, start.raw.scales)
        return from_solution(self.problem, self.mesh, self.layout, start)

    def _attempt(
        self, start: Guess | Solution, x0: Array, p: Array, box: Box, settings: SolverSettings
    ) -> tuple[Raw, _Ending]:
        """Warm if multipliers are at hand, then cold if that failed; nothing if bounds exclude each other."""
        scale = p[p.size - self.layout.scales :]
        given = {"lbx": box.low, "ubx": box.high, "lbg": box.row_low, "ubg": box.row_high, "p": p}
        if np.any(box.low > box.high):
            nothing = Raw(x0, np.full(self.columns, np.nan), np.full(self.rows, np.nan), scale)
            return nothing, _Ending(Outcome.INFEASIBLE, Start.COLD, 0, np.nan)
        near = self._near(start, x0, scale) if settings.warmth is not Warmth.COLD else None
        spent = 0
        if near is not None:
            begin = {"x0": near.x, "lam_x0": near.lam_x, "lam_g0": near.lam_g}
            raw, ending = self._run({**begin, **given}, settings, settings.warmth, scale)
            if ending.outcome.is_success:
                return raw, replace(ending, start=Start.WARM)
            spent = ending.iterations
        raw, ending = self._run({"x0": x0, **given}, settings, Warmth.COLD, scale)
        how = Start.COLD if near is None else Start.WARM_THEN_COLD
        return raw, replace(ending, start=how, iterations=ending.iterations + spent)

    def _near(self, start: Guess | Solution, x0: Array, scale: Array) -> Raw | None:
        """Point and multipliers to start warm from, if the start has any that fit."""
        if not isinstance(start, Solution) or not np.array_equal(start.raw.scales, scale):
            return None
        if start.mesh == self.mesh:
            return start.raw
        return transfer(self.problem, self.mesh, self.layout, start, x0)

    def _run(
        self, arguments: Mapping[str, Array], settings: SolverSettings, warmth: Warmth, scale: Array
    ) -> tuple[Raw, _Ending]:
        solver = self._solver(settings, warmth)
        with interruptible():
            result = solver(**arguments)
        stats = solver.stats()
        outcome = _OUTCOMES.get(stats["return_status"], Outcome.FAILED)
        duals = stats.get("iterations", {}).get("inf_du", [])
        x, lam_g = (np.asarray(result[k].full(), dtype=float).ravel() for k in ("x", "lam_g"))
        # The solver leaves out the multipliers of fixed columns; the gradient of the Lagrangian has them all.
        lam_x = -self._slopes.pull(x, arguments["p"], lam_g)[1]
        dual = float(duals[-1]) if duals else np.nan
        return Raw(x, lam_x, lam_g, scale), _Ending(outcome, Start.COLD, int(stats["iter_count"]), dual)

    def _solver(self, settings: SolverSettings, warmth: Warmth) -> ca.Function:
        key = (replace(settings, warmth=Warmth.COLD), warmth)
        if key not in self._solvers:
            options: dict[str, bool | int | float | str | ca.Function] = {
                "print_time": False,
                "no_nlp_grad": True,
                "calc_lam_p": False,
                "grad_f": self.functions.gradient,
                "jac_g": self.functions.jacobian,
                "hess_lag": self.functions.hessian,
                "show_eval_warnings": False,
                "ipopt.print_level": settings.log,
                "ipopt.sb": "yes",
                "ipopt.tol": settings.tolerance,
                "ipopt.max_iter": settings.iterations,
                "ipopt.max_cpu_time": settings.seconds,
                "ipopt.nlp_scaling_method": "none",
                "ipopt.mu_strategy": "adaptive",
                "ipopt.bound_mult_init_method": "mu-based",
                "ipopt.bound_push": settings.push,
                "ipopt.bound_frac": settings.push,
            }
            if settings.barrier is not None:
                options |= {"ipopt.mu_strategy": "monotone", "ipopt.mu_init": settings.barrier}
            if warmth is not Warmth.COLD:
                options["ipopt.warm_start_init_point"] = "yes"
                for name in (
                    "bound_push",
                    "bound_frac",
                    "slack_bound_push",
                    "slack_bound_frac",
                    "mult_bound_push",
                ):
                    options[f"ipopt.warm_start_{name}"] = 1e-8
                close = warmth is Warmth.CLOSE
                options["ipopt.mu_init"] = 1e-9 if close else 1e-4
                options["ipopt.mu_strategy"] = "monotone" if close else "adaptive"
            self._solvers[key] = ca.nlpsol("solver", "ipopt", self.functions.nlp, options)
        return self._solvers[key]

    def _fix_scales(
        self,
        physical: Array,
        parameters: Array,
        limits: dict[tuple[str, str, str], tuple[float, float]],
        start: Guess | Solution,
    ) -> Array:
        if self._scales is None and isinstance(start, Solution) and start.raw.scales.size == self.layout.scales:
            self._scales = start.raw.scales
        if self._scales is None:
            scale = scales(self.problem, self.layout, physical, limits)
            x = physical / column_scales(self.layout, scale)
            value = self._value(x, np.concatenate([parameters, scale]))
            cost = abs(float(self.functions.nlp(x, np.concatenate([parameters, scale]))[0]))
            for place in self.layout.phases:
                if place.has_integrand:
                    # A guess may make an integral vanish (a control at its bound): the cost says what is large.
                    scale[place.integral_scale] = max(abs(value[place.quadrature]), 0.01 * cost) or 1.0
            p = np.concatenate([parameters, scale])
            self._fill_integrals(x, p)
            scale[0] = cost_scale(cost, float(np.max(np.abs(self.functions.gradient(x, p)[1].full()), initial=0.0)))
            self._scales = scale
        return self._scales

    def _value(self, x: Array, p: Array) -> Array:
        """Rows at x. Raises ProblemFault that names phase, variable and point of a value that is not finite."""
        cost, rows = self.functions.nlp(x, p)
        value = np.asarray(rows.full(), dtype=float).ravel()
        if np.all(np.isfinite(value)) and np.isfinite(float(cost)):
            return value
        raise not_finite(self.problem, self.layout, value)

    def _fill_integrals(self, x: Array, p: Array) -> None:
        """Set the integral columns of ``x`` to what the quadrature gives."""
        value = self._value(x, p)
        for place in self.layout.phases:
            if place.has_integrand:
                x[place.integral] -= value[place.quadrature]
