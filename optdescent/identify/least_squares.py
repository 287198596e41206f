"""Weighted nonlinear least squares over all segments, with the unknowns of each segment eliminated.

The output-error method: what a model shows is compared with what was measured, and the squares of the differences over
their variances are made as small as possible by Gauss-Newton steps; the inverse of the information matrix is the
Cramér-Rao bound of the errors (Maine and Iliff, NASA RP-1138, 1985; Jategaonkar, Flight Vehicle System
Identification, 2006). Each segment's own unknowns appear in its residuals alone, so they are projected out by
an orthogonal factorisation of their columns (Golub and Pereyra, SIAM J. Numer. Anal. 10, 1973), which leaves the normal
equations of the coefficients exact.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.identify.segments import first_state
from optdescent.identify.simulate import OWN, Predicted, Simulation

Array = NDArray[np.float64]

MOST_STEPS = 30
"""Gauss-Newton steps before a fit is given up."""
_MOST_PARTS = 8
_ROUNDING = 1e-9
_SETTLED = 1e-2
"""Largest step, in standard errors, at which a fit has settled."""
_LEAST_NOISE = 1e-9
_STEADY = 1e-2
"""Largest relative change of a standard deviation, estimated again, that makes no odds."""


@dataclass(frozen=True)
class Noise:
    """Standard deviation of the measured speed [m/s] and pressure altitude [m]; None is estimated from residuals."""

    speed: float | None = None
    altitude: float | None = None


UNKNOWN_NOISE = Noise()
"""Both estimated."""


@dataclass(frozen=True)
class Point:
    """Where a fit stands: unknowns of each segment (segment, 4), coefficients (n,), what they predict [SI]."""

    own: Array
    values: Array
    predicted: Predicted


@dataclass(frozen=True)
class Normal:
    """The fit linearised at a point, each segment's own unknowns eliminated.

    `rows` (n, n) is an upper triangle whose columns belong to the free coefficients, its product with itself the
    information matrix; `right` (n,) goes with it. `triangle` (segment, 4 + n + 1, 4 + n + 1) factors the weighted
    columns of each segment: its own unknowns, the free coefficients, the residuals. `own` (segment, rows, 4) and
    `by_free` (segment, rows, n) are those columns.
    """

    rows: Array
    right: Array
    triangle: Array
    own: Array
    by_free: Array

    @classmethod
    def of(cls, own: Array, by_free: Array, weighted: Array) -> Normal:
        """Factors of weighted columns (segment, rows, ...) [-]."""
        triangle = _triangle(np.concatenate([own, by_free, weighted[..., None]], axis=2))
        left = triangle[:, OWN:, OWN:].reshape(-1, by_free.shape[2] + 1)
        whole = _triangle(left)
        return cls(whole[:-1, :-1], whole[:-1, -1], triangle, own, by_free)

    @property
    def explained(self) -> float:
        """Sum of the weighted squares [-] that the linearised fit takes away."""
        return float(np.sum(self.triangle[:, :OWN, -1] ** 2) + np.sum(self.right**2))

    @property
    def step(self) -> Array:
        """Step of the free coefficients [-]."""
        return np.asarray(np.linalg.solve(self.rows, self.right), dtype=np.float64)

    def own_step(self, step: Array) -> Array:
        """Step (segment, 4) of the segments' own unknowns [SI] that goes with a step of the coefficients [-]."""
        left = self.triangle[:, :OWN, -1] - self.triangle[:, :OWN, OWN:-1] @ step
        return np.asarray(np.linalg.solve(self.triangle[:, :OWN, :OWN], left[..., None])[..., 0], dtype=np.float64)

    def covariance(self) -> Array:
        """Covariance (free, free) of the free coefficients [-]: the inverse of the information matrix."""
        inverse = np.linalg.inv(self.rows)
        return inverse @ inverse.T

    def leverages(self) -> Array:
        """How much of each padded row (segment, 2 points) its own measurement decides [-]."""
        alone = self.own @ np.linalg.inv(self.triangle[:, :OWN, :OWN])
        rest = (self.by_free - alone @ self.triangle[:, :OWN, OWN:-1]) @ np.linalg.inv(self.rows)
        return np.sum(alone**2, axis=2) + np.sum(rest**2, axis=2)


def _triangle(columns: Array) -> Array:
    """Upper triangles (..., n, n) of the factors of columns (..., m, n)."""
    return np.asarray(np.linalg.qr(columns, mode="r"), dtype=np.float64)


@dataclass(frozen=True)
class Problem:
    """Segments, which coefficients act in each (segment, role), and which of all are free (n,)."""

    simulation: Simulation
    acting: NDArray[np.intp]
    free: NDArray[np.intp]

    def start(self, values: Array) -> Point:
        """Point of some coefficients (n,) [-] with every segment's own unknowns as recorded."""
        own = np.array([first_state(one, self.simulation.speed) for one in self.simulation.segments])
        return self.at(own, values)

    def at(self, own: Array, values: Array) -> Point:
        """Point of unknowns of each segment (segment, 4) [SI] and coefficients (n,) [-]."""
        return Point(own, values, self.simulation.run(own, values[self.acting]))

    def residuals(self, point: Point) -> Array:
        """Recorded less predicted (segment, point, 2) [m/s, m]; zero where a segment has no point."""
        found = self.simulation.recorded - point.predicted.values
        return np.where(self.simulation.is_point[..., None], found, 0.0)

    def cost(self, point: Point, deviation: Array) -> float:
        """Half the sum of squared residuals over their standard deviations (2,) [-]."""
        return 0.5 * float(np.sum((self.residuals(point) / deviation) ** 2))

    def linearised(self, point: Point, deviation: Array) -> Normal:
        """Normal equations at a point, residuals weighted by standard deviations (2,) [m/s, m]."""
        count = len(self.simulation.segments)
        weight = self.simulation.is_point[..., None] / deviation
        weighted = (self.residuals(point) / deviation).reshape(count, -1)
        own = (point.predicted.by_own * weight[..., None]).reshape(count, -1, OWN)
        local = (point.predicted.by_local * weight[..., None]).reshape(count, weighted.shape[1], -1)
        by_free = np.zeros((count, weighted.shape[1], self.free.size))
        place = {int(coefficient): column for column, coefficient in enumerate(self.free)}
        for segment, acting in enumerate(self.acting):
            for role, coefficient in enumerate(acting):
                if int(coefficient) in place:
                    by_free[segment, :, place[int(coefficient)]] = local[segment, :, role]
        return Normal.of(own, by_free, weighted)

    def deviations(self, point: Point, normal: Normal, noise: Noise) -> Array:
        """Standard deviations (2,) [m/s, m] of the measurements: given, or from the residuals.

        Squares are summed over the measurements less the sum of their leverages, the number that the fit used up.
        """
        residuals, count = self.residuals(point), int(self.simulation.is_point.sum())
        used = normal.leverages().reshape(residuals.shape).sum(axis=(0, 1))
        found = np.sqrt(np.sum(residuals**2, axis=(0, 1)) / np.maximum(count - used, 1.0)) + _LEAST_NOISE
        given = (noise.speed, noise.altitude)
        return np.array([value if one is None else one for value, one in zip(found, given, strict=True)])


@dataclass(frozen=True)
class Solved:
    """A settled fit: point, normal equations there, standard deviations (2,) [m/s, m], steps taken."""

    point: Point
    normal: Normal
    deviation: Array
    steps: int


def solve(problem: Problem, start: Point, deviation: Array, noise: Noise) -> Solved | None:
    """Fit from a start, with first standard deviations (2,) [m/s, m]; None if it does not settle.

    The noise is estimated anew once the coefficients move by less than a standard error.
    """
    point, normal = start, problem.linearised(start, deviation)
    is_weighted = False
    for number in range(1, MOST_STEPS + 1):
        step = normal.step
        size = float(np.max(np.abs(step) / np.sqrt(np.diag(normal.covariance())), initial=0.0))
        moved = _moved(problem, point, normal, step, deviation)
        if moved is None:
            return None
        point, normal = moved, problem.linearised(moved, deviation)
        if size < _SETTLED and is_weighted:
            return Solved(point, normal, deviation, number)
        if size < 1.0 and not is_weighted:
            before, deviation = deviation, problem.deviations(point, normal, noise)
            is_weighted = bool(np.all(np.abs(deviation / before - 1.0) < _STEADY))
            normal = problem.linearised(point, deviation)
    return None


def _moved(problem: Problem, point: Point, normal: Normal, step: Array, deviation: Array) -> Point | None:
    """Point after the part of a step that the squares ask for; None if no part of it makes them fall.

    Where the squares at the full step and their slope at its beginning, taken as a parabola, have their least well
    before its end, that part of it is taken: full steps would swing about the solution.
    """
    own_step, cost, slope = normal.own_step(step), problem.cost(point, deviation), -normal.explained
    part = 1.0
    best: tuple[float, Point] | None = None
    for _ in range(_MOST_PARTS):
        values = point.values.copy()
        values[problem.free] += part * step
        moved = problem.at(point.own + part * own_step, values)
        after = problem.cost(moved, deviation)
        if np.isfinite(after) and after <= (cost * (1.0 + _ROUNDING) if best is None else best[0]):
            best = (after, moved)
        bend = (after - cost - slope * part) / part**2
        asked = -0.5 * slope / bend if np.isfinite(bend) and bend > 0.0 else 0.25 * part
        if best is not None and (asked > 0.75 * part or part < 1.0):
            break
        part = min(max(asked, 0.1 * part), 0.75 * part)
    return None if best is None else best[1]
