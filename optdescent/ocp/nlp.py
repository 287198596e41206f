"""The nonlinear program: a problem on a mesh, solved again and again from guesses and from solutions."""

from __future__ import annotations

import time
from collections.abc import Mapping
from dataclasses import replace
from functools import cached_property, partial

import numpy as np
from numpy.typing import ArrayLike

from optdescent.ocp.assemble import Functions, assemble
from optdescent.ocp.basis import Array
from optdescent.ocp.central import centre, suits
from optdescent.ocp.certificate import Certificate
from optdescent.ocp.fault import ProblemFault
from optdescent.ocp.form import parameter_column
from optdescent.ocp.guess import Guess
from optdescent.ocp.interior import Ending, InteriorPoint
from optdescent.ocp.layout import Layout
from optdescent.ocp.limits import Box, bounds, limit_values
from optdescent.ocp.mesh import Mesh
from optdescent.ocp.neighbour import Chord
from optdescent.ocp.outcome import Outcome
from optdescent.ocp.pattern import Entries
from optdescent.ocp.piece import Piece
from optdescent.ocp.problem import Problem
from optdescent.ocp.recover import recover
from optdescent.ocp.residue import not_finite, slackness, violation
from optdescent.ocp.scale import column_scales, cost_scale, scales
from optdescent.ocp.settings import SolverSettings, Warmth
from optdescent.ocp.slopes import Around, Slopes
from optdescent.ocp.solution import Raw, Solution, Start
from optdescent.ocp.start import from_guess, from_solution
from optdescent.ocp.transfer import transfer


class NonlinearProgram:
    """A problem on a mesh. Held by the caller and solved again with new parameter values.

    Scales are fixed by the first solve (or by the solution it starts from) and stay for the program's life.
    """

    def __init__(
        self,
        problem: Problem,
        mesh: Mesh,
        layout: Layout,
        linear: Entries,
        pieces: tuple[Piece, ...],
        seconds_build: float,
    ) -> None:
        self.problem = problem
        self.mesh = mesh
        self.layout = layout
        self.linear = linear
        self.pieces = pieces
        self.seconds_build = seconds_build
        self._scales: Array | None = None
        self._chord: Chord | None = None

    @cached_property
    def slopes(self) -> Slopes:
        """Its functions and their derivatives, called with arrays."""
        return Slopes(self.linear, self.pieces)

    @cached_property
    def functions(self) -> Functions:
        """Its functions and their derivatives for the interior point."""
        parameters = sum(q.size for q in self.problem.parameters)
        return assemble(parameters + self.layout.scales, self.linear, self.pieces)

    @cached_property
    def _interior(self) -> InteriorPoint:
        return InteriorPoint(lambda: self.functions, self.slopes)

    @property
    def timing(self) -> Mapping[str, float]:
        """Time [s] that the latest run of the interior point spent in each kind of function."""
        return self._interior.timing

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
        x0 = np.clip(physical / unit, box.low, box.high)
        near = self._near(start, x0, scale) if settings.warmth is not Warmth.COLD else None
        attempt = self._beside(start, near, p, box, settings)
        if attempt is None:
            self._fill_integrals(x0, p)
            attempt = self._attempt(near, x0, p, box, settings)
        raw, ending = attempt
        cost, rows = self.slopes.values(raw.x, p)
        found = recover(self.problem, self.mesh, self.layout, raw, limits, parameters)
        return Solution(
            problem=self.problem.name,
            outcome=ending.outcome,
            cost=cost * float(scale[0]),
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
            fault=self._fault(ending.outcome, raw.x, p),
            examiner=partial(Certificate, self.problem),
        )

    def _beside(
        self, start: Guess | Solution, near: Raw | None, p: Array, box: Box, settings: SolverSettings
    ) -> tuple[Raw, Ending] | None:
        """By Newton's method from a solution, on this mesh or another, if the answer is near enough to it."""
        if not settings.newton or not isinstance(start, Solution) or near is None or not start.outcome.is_success:
            return None
        if np.any(box.low > box.high):
            return None
        scale = p[p.size - self.layout.scales :]
        is_here = start.mesh == self.mesh
        chord = self._held(start, scale) if is_here else Chord(self.slopes, near, p, box, is_rough=True)
        found = chord.to(p, box, settings.tolerance) if chord.is_useful else None
        if found is None:
            return None
        return found.raw, Ending(Outcome.SOLVED, Start.NEIGHBOUR, found.steps, found.residual)

    def _held(self, start: Solution, scale: Array) -> Chord:
        """What was factored at a solution on this mesh, kept for its other neighbours."""
        if self._chord is None or self._chord.base is not start.raw:
            parameters = np.asarray(parameter_column(self.problem, start.values), dtype=float)
            limits = limit_values(self.problem, parameters)
            box = bounds(self.problem, self.layout, limits, column_scales(self.layout, scale), scale)
            self._chord = Chord(self.slopes, start.raw, np.concatenate([parameters, scale]), box)
        return self._chord

    def _physical(self, start: Guess | Solution) -> Array:
        if not isinstance(start, Solution):
            return from_guess(self.problem, self.mesh, self.layout, start)
        if start.mesh == self.mesh:
            return start.raw.x * column_scales(self.layout, start.raw.scales)
        return from_solution(self.problem, self.mesh, self.layout, start)

    def _attempt(self, near: Raw | None, x0: Array, p: Array, box: Box, settings: SolverSettings) -> tuple[Raw, Ending]:
        """Warm if multipliers are at hand, then cold if that failed; nothing if bounds exclude each other."""
        scale = p[p.size - self.layout.scales :]
        given = {"lbx": box.low, "ubx": box.high, "lbg": box.row_low, "ubg": box.row_high, "p": p}
        nothing = Raw(x0, np.full(self.columns, np.nan), np.full(self.rows, np.nan), scale)
        if np.any(box.low > box.high):
            return nothing, Ending(Outcome.INFEASIBLE, Start.COLD, 0, np.nan)
        if settings.iterations == 0:
            return nothing, Ending(Outcome.ITERATIONS, Start.NEIGHBOUR, 0, np.nan)
        spent, how = 0, Start.COLD
        if near is not None:
            begin = {"x0": near.x, "lam_x0": near.lam_x, "lam_g0": near.lam_g}
            raw, ending = self._interior.run({**begin, **given}, settings, settings.warmth, scale)
            if ending.outcome.is_success or not settings.again:
                return raw, replace(ending, start=Start.WARM)
            spent, how = ending.iterations, Start.WARM_THEN_COLD
        if suits(self.layout, settings):
            found = centre(self.layout, self.slopes, x0, p, box, settings)
            spent += found.iterations
            if found.is_optimum:
                raw = Raw(found.x, -self.slopes.pull(found.x, p, found.lam)[1], found.lam, scale)
                return raw, Ending(Outcome.SOLVED, how, spent, found.residual)
        raw, ending = self._interior.run({"x0": x0, **given}, settings, Warmth.COLD, scale)
        return raw, replace(ending, start=how, iterations=ending.iterations + spent)

    def _near(self, start: Guess | Solution, x0: Array, scale: Array) -> Raw | None:
        """Point and multipliers to start warm from, if the start has any that fit."""
        if not isinstance(start, Solution) or not np.array_equal(start.raw.scales, scale):
            return None
        if start.mesh == self.mesh:
            return start.raw
        return transfer(self.problem, self.mesh, self.layout, start, x0)

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
            around = self._around(x, np.concatenate([parameters, scale]))
            cost = abs(around.cost)
            integrating = [place for place in self.layout.phases if place.has_integrand]
            for place in integrating:
                # A guess may make an integral vanish (a control at its bound): the cost says what is large.
                scale[place.integral_scale] = max(abs(around.value[place.quadrature]), 0.01 * cost) or 1.0
            if integrating:
                p = np.concatenate([parameters, scale])
                self._fill_integrals(x, p)
                around = self.slopes.around(x, p)
            scale[0] = cost_scale(cost, float(np.max(np.abs(around.gradient), initial=0.0)))
            self._scales = scale
        return self._scales

    def _around(self, x: Array, p: Array) -> Around:
        """Functions at x. Raises ProblemFault that names phase, variable and point of a cost or row not finite."""
        around = self.slopes.around(x, p)
        if np.all(np.isfinite(around.value)) and np.isfinite(around.cost):
            return around
        bad = self.slopes.not_finite(x, p)[0]
        raise not_finite(self.problem, self.layout, bad, "not finite at the start of the solve")

    def _fault(self, outcome: Outcome, x: Array, p: Array) -> ProblemFault | None:
        """What is not finite where the interior point gave up for it: phase, variable and point."""
        if outcome is not Outcome.INVALID_NUMBER:
            return None
        for what, bad in zip(("not finite", "its derivative is not finite"), self.slopes.not_finite(x, p), strict=True):
            if bad:
                return not_finite(self.problem, self.layout, bad, f"{what} where the solve ended")
        near = not_finite(self.problem, self.layout, self.slopes.bend_not_finite(x, p), "")
        return ProblemFault("a second derivative is not finite where the solve ended", near.phase, index=near.index)

    def _fill_integrals(self, x: Array, p: Array) -> None:
        """Set the integral columns of ``x`` to what the quadrature gives."""
        value = self._around(x, p).value
        for place in self.layout.phases:
            if place.has_integrand:
                x[place.integral] -= value[place.quadrature]
