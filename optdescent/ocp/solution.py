"""What came out of a solve: trajectories, multipliers, and what a warm start needs."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optdescent.ocp.basis import Array
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.mesh import Mesh, PhaseMesh
from optdescent.ocp.outcome import Outcome

if TYPE_CHECKING:
    from optdescent.ocp.certificate import Certificate

_FEASIBLE = 1e-6


@dataclass(frozen=True)
class PhaseSolution:
    """One phase of a solution.

    independent : (nodes,) state nodes, both ends included.
    states : name -> (nodes,). controls : name -> (n,) at ``control_at`` (n,), the collocation points.
    integral : integral of the integrand; ``cumulative`` (nodes,) from the start to each node; ``integral_weight``
        derivative of the cost to it.
    boundaries : (elements + 1,) element boundaries; a re-flight should stop at them.
    costates : name -> (n,) at ``control_at``, so that the Hamiltonian to minimise is
        integral_weight * integrand + costates . rates.
    path_multipliers : name -> (n,) per unit of the independent variable at ``control_at``;
        not a number where the phase has no length.
    control_limits : name -> (lower, upper), to which ``control`` is held between the points.
    mesh : the mesh of the phase.
    """

    independent: Array
    states: Mapping[str, Array]
    controls: Mapping[str, Array]
    control_at: Array
    integral: float
    integral_weight: float
    cumulative: Array
    boundaries: Array
    costates: Mapping[str, Array]
    path_multipliers: Mapping[str, Array]
    control_limits: Mapping[str, tuple[float, float]]
    mesh: PhaseMesh

    @property
    def start(self) -> float:
        """The independent variable at the start, in its own unit [-]."""
        return float(self.independent[0])

    @property
    def end(self) -> float:
        """The independent variable at the end, in its own unit [-]."""
        return float(self.independent[-1])

    @property
    def length(self) -> float:
        """End minus start, in the independent variable's unit [-]."""
        return self.end - self.start

    def _position(self, at: ArrayLike) -> Array:
        base = np.atleast_1d(np.asarray(at, dtype=float)) - self.start
        return np.clip(base / self.length, 0.0, 1.0) if self.length > 0.0 else np.zeros(base.shape)

    def state(self, name: str, at: ArrayLike) -> Array:
        """Values (m,) of a state at ``at`` (own units [-]), from the element polynomials; held outside the phase.

        Raises
        ------
        ProblemFault : there is no such state.
        """
        if name not in self.states:
            raise ProblemFault("no such state", variable=name)
        return self.mesh.state_at(self.states[name], self._position(at))

    def control(self, name: str, at: ArrayLike) -> Array:
        """Values (m,) of a control at ``at`` (own units [-]), from the element polynomials, held to its limits.

        Raises
        ------
        ProblemFault : there is no such control.
        """
        if name not in self.controls:
            raise ProblemFault("no such control", variable=name)
        return np.clip(self.mesh.control_at(self.controls[name], self._position(at)), *self.control_limits[name])


@dataclass(frozen=True)
class Multipliers:
    """Derivatives of the cost: how it changes per unit of what each constraint holds.

    links : (before, after) -> one per linked state, then the independent variable.
    boundaries : name -> per unit of the boundary function; positive: pushing the function up costs.
    limits : (kind, phase, name) -> (k,) per unit of the variable, for every limit on statics, starts, ends,
        states, controls; positive at an upper limit.
    path_totals : (phase, name) -> (rows,) per unit of each path constraint's row, not divided by quadrature weights;
        the rows at the collocation points, then those at the other state nodes if no control appears.
    """

    links: Mapping[tuple[str, str], Array]
    boundaries: Mapping[str, float]
    limits: Mapping[tuple[str, str, str], Array]
    path_totals: Mapping[tuple[str, str], Array]


class Start(Enum):
    """How the successful (or last) attempt was started."""

    COLD = "from the guess"
    WARM = "from the given solution and its multipliers"
    NEIGHBOUR = "from the given solution by Newton's method, the limits in force followed"
    WARM_THEN_COLD = "from the given solution without its multipliers, after a warm start failed"


@dataclass(frozen=True)
class Raw:
    """The program's own vectors (scaled), for a warm start on the same mesh."""

    x: Array
    lam_x: Array
    lam_g: Array
    scales: Array


@dataclass(frozen=True)
class Round:
    """One mesh of a refinement: its size, what the solve gave, and the errors found.

    ``local_error`` and ``excess`` in units of the scales; ``cost_error`` estimated by the costates; seconds.
    """

    elements: int
    points: int
    cost: float
    local_error: float
    excess: float
    cost_error: float
    iterations: int
    seconds: float
    outcome: Outcome


@dataclass(frozen=True)
class Solution:
    """Result of one solve; ``outcome`` says whether it may be used.

    ``constraint_violation`` is the largest scaled violation of any row or bound, ``dual_infeasibility`` the
    solver's own (scaled) figure, ``slackness`` the part of the cost that the interior point leaves,
    times are in seconds, ``scales`` lists the scale of every variable. ``examiner`` makes its certificate; it knows
    the problem, and is left behind when a solution is pickled. ``fault`` names what was not finite where the solver
    gave up for it, or at a point of a finer mesh, for which this one was not refined further.
    """

    problem: str
    outcome: Outcome
    cost: float
    phases: Mapping[str, PhaseSolution]
    statics: Mapping[str, float]
    values: Mapping[str, NDArray[np.float64]]
    mesh: Mesh
    start: Start
    iterations: int
    constraint_violation: float
    dual_infeasibility: float
    slackness: float
    seconds_build: float
    seconds_solve: float
    scales: Mapping[str, float]
    multipliers: Multipliers
    raw: Raw
    history: tuple[Round, ...] = ()
    fault: ProblemFault | None = None
    examiner: Callable[[Solution], Certificate] | None = field(default=None, repr=False, compare=False)

    def __getstate__(self) -> dict[str, object]:
        """Data only, for copies too: functions of a problem cannot be pickled."""
        return {name: value for name, value in vars(self).items() if name not in ("examiner", "certificate")}

    @cached_property
    def certificate(self) -> Certificate:
        """What it can show for itself, by means other than the solver that found it.

        Raises
        ------
        ProblemFault : it has travelled without its problem; ``Certificate`` examines it with one.
        """
        if self.examiner is None:
            raise ProblemFault("a solution without its problem has no certificate: give both to Certificate")
        return self.examiner(self)

    @property
    def is_usable(self) -> bool:
        """Whether it may be refined or shown: solved, or feasible at the acceptable level of optimality."""
        is_near = self.outcome is Outcome.ACCEPTABLE and self.constraint_violation < _FEASIBLE
        return self.outcome.is_success or is_near

    def __getitem__(self, phase: str) -> PhaseSolution:
        """The phase called ``phase``. Raises ProblemFault if there is none."""
        if phase not in self.phases:
            raise ProblemFault("no such phase", phase=phase)
        return self.phases[phase]
