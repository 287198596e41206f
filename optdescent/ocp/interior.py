"""The interior-point solver: the only file that knows IPOPT."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

import casadi as ca
import numpy as np

from optdescent.interrupt import interruptible
from optdescent.ocp.assemble import Functions
from optdescent.ocp.basis import Array
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.settings import SolverSettings, Warmth
from optdescent.ocp.slopes import Slopes
from optdescent.ocp.solution import Raw, Start

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
_TIMED = {
    "cost and rows": ("nlp_f", "nlp_g"),
    "gradient": ("nlp_grad_f",),
    "Jacobian": ("nlp_jac_g",),
    "Hessian": ("nlp_hess_l",),
}


@dataclass(frozen=True)
class Ending:
    """How a solve ended: iterations or Newton steps, and the largest slope of the Lagrangian left [-].

    Where IPOPT was not asked that is the largest residual of all conditions.
    """

    outcome: Outcome
    start: Start
    iterations: int
    dual: float


class InteriorPoint:
    """Solvers of one program, one for each set of settings that was asked for, made when first needed.

    ``functions`` gives the program's, which take time to make.

    ``timing`` : seconds that the latest run spent in each kind of function.
    """

    def __init__(self, functions: Callable[[], Functions], slopes: Slopes) -> None:
        self._functions, self._slopes = functions, slopes
        self._solvers: dict[tuple[SolverSettings, Warmth], ca.Function] = {}
        self.timing: Mapping[str, float] = dict.fromkeys(_TIMED, 0.0)

    def run(
        self, arguments: Mapping[str, Array], settings: SolverSettings, warmth: Warmth, scale: Array
    ) -> tuple[Raw, Ending]:
        """One run, from ``arguments`` of the solver: start, limits, parameters, all scaled [-].

        Raises
        ------
        KeyboardInterrupt : it was interrupted.
        """
        solver = self._solver(settings, warmth)
        with interruptible():
            result = solver(**arguments)
        stats = solver.stats()
        self.timing = {name: sum(float(stats[f"t_wall_{part}"]) for part in parts) for name, parts in _TIMED.items()}
        outcome = _OUTCOMES.get(stats["return_status"], Outcome.FAILED)
        duals = stats.get("iterations", {}).get("inf_du", [])
        x, lam_g = (np.asarray(result[k].full(), dtype=float).ravel() for k in ("x", "lam_g"))
        # The solver leaves out the multipliers of fixed columns; the gradient of the Lagrangian has them all.
        with np.errstate(invalid="ignore"):  # a derivative that is not finite is told by the outcome
            lam_x = -self._slopes.pull(x, arguments["p"], lam_g)[1]
        dual = float(duals[-1]) if duals else np.nan
        return Raw(x, lam_x, lam_g, scale), Ending(outcome, Start.COLD, int(stats["iter_count"]), dual)

    def _solver(self, settings: SolverSettings, warmth: Warmth) -> ca.Function:
        key = (replace(settings, warmth=Warmth.COLD), warmth)
        if key not in self._solvers:
            functions = self._functions()
            options: dict[str, bool | int | float | str | ca.Function] = {
                "print_time": False,
                "no_nlp_grad": True,
                "calc_lam_p": False,
                "grad_f": functions.gradient,
                "jac_g": functions.jacobian,
                "hess_lag": functions.hessian,
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
            self._solvers[key] = ca.nlpsol("solver", "ipopt", functions.nlp, options)
        return self._solvers[key]
