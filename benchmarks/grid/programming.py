"""Backward dynamic programming on a grid of height and speed, step by step along the distance.

Bellman's equation for one step of length d with constant controls u,

    W_k(y) = min over u of [ cost of the step (y, u) + W_{k+1}(state at the end of the step (y, u)) ],

with W_N the price of the end. The grid is rectangular in height and in the place of the speed between its limits, so
every limit is a line of the grid. Rates do not depend on distance: each step is integrated once for every node and
control (RK4), and the sweep is a product with one sparse matrix of interpolation weights.

Interpolation is linear in each direction, so its weights are never negative: the scheme is monotone, and with spacing
of the nodes over length of a step going to zero it converges to the least cost of all descents, not to that of a
neighbourhood. The values between the nodes are those of a straight line: too large where the value is convex. Cubic
weights (tried) are more exact in smooth places, but some are negative, and the minimum seeks out the places where the
curve swings too low: the cost then comes from below and the policy is worse.

References
----------
Bellman, Dynamic Programming (1957), chapter III: the equation. Bertsekas, Dynamic Programming and Optimal Control,
vol. I: discretisation of continuous spaces. Barles and Souganidis, Asymptotic Analysis 4 (1991): convergence of
monotone schemes. Falcone and Ferretti, Semi-Lagrangian Approximation Schemes (2013): spacing against length of step.
All from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.sparse import csr_array

from benchmarks.grid.descent import Descent

Array = NDArray[np.float64]
_SLACK = 1e-9


@dataclass(frozen=True)
class Grid:
    """How many steps along the distance, nodes in height and in speed, path angles and thrusts (at least 4)."""

    steps: int
    heights: int
    speeds: int
    angles: int
    thrusts: int

    def __str__(self) -> str:
        """Sizes, largest first."""
        return f"{self.steps} x {self.heights} x {self.speeds}, {self.angles} x {self.thrusts}"


def stepped(
    descent: Descent, altitude: Array, true: Array, angle: Array, thrust: Array, length: float
) -> tuple[Array, Array, Array]:
    """Altitude [m], true airspeed [m/s] and cost [kg] after a distance [m] with constant controls: one step of RK4."""
    first = descent.rates(altitude, true, angle, thrust)
    half = 0.5 * length
    second = descent.rates(altitude + half * first.pressure_altitude, true + half * first.true_airspeed, angle, thrust)
    third = descent.rates(altitude + half * second.pressure_altitude, true + half * second.true_airspeed, angle, thrust)
    fourth = descent.rates(
        altitude + length * third.pressure_altitude, true + length * third.true_airspeed, angle, thrust
    )

    def mean(name: str) -> Array:
        a, b, c, d = (getattr(each, name) for each in (first, second, third, fourth))
        return length * (a + 2.0 * b + 2.0 * c + d) / 6.0

    return altitude + mean("pressure_altitude"), true + mean("true_airspeed"), mean("cost")


def steepest_to_floor(descent: Descent, altitude: Array, true: Array, length: float) -> Array:
    """Steepest path angle [rad] whose step of a length [m] at idle ends on the floor, or the steepest allowed."""
    angle = np.full(altitude.shape, -descent.steepest)
    room = altitude - descent.floor
    for _ in range(4):
        below = altitude - stepped(descent, altitude, true, angle, np.zeros_like(angle), length)[0]
        before, angle = angle, np.maximum(-descent.steepest, angle * room / np.maximum(below, 1e-9))
        if np.array_equal(before, angle):
            break
    return angle


def on_floor(descent: Descent, altitude: Array) -> Array:
    """Altitudes [m] with those put on the floor that the iteration for it left within a centimetre."""
    return np.where(np.abs(altitude - descent.floor) < 0.01, descent.floor, altitude)


def choices(descent: Descent, grid: Grid, altitude: Array, true: Array, length: float) -> list[tuple[Array, Array]]:
    """Path angles [rad] and thrust fractions [-] to choose from at nodes (m,), each an array (m,).

    Angles are spread from level to the floor or the steepest. Thrusts are idle, parts of what holds level flight at
    constant speed, that itself, half as much again and full.
    """
    hold = np.clip(descent.level_thrust(altitude, true), 0.0, 1.0)
    parts = np.linspace(0.0, 1.0, grid.thrusts - 2)
    thrusts = [*(part * hold for part in parts), np.minimum(1.0, 1.5 * hold), np.ones_like(hold)]
    steepest = steepest_to_floor(descent, altitude, true, length)
    return [(share * steepest, thrust) for thrust in thrusts for share in np.linspace(0.0, 1.0, grid.angles)]


@dataclass(frozen=True)
class Programme:
    """Values of the states of a descent on a grid. Arrays of nodes are (heights * speeds,), heights outermost."""

    descent: Descent
    grid: Grid

    @property
    def length(self) -> float:
        """Length of a step [m]."""
        return self.descent.distance / self.grid.steps

    @cached_property
    def nodes(self) -> tuple[Array, Array]:
        """Pressure altitude [m] and true airspeed [m/s] of the nodes."""
        heights = np.linspace(self.descent.floor, self.descent.start_altitude, self.grid.heights)
        height, place = np.meshgrid(heights, np.linspace(0.0, 1.0, self.grid.speeds), indexing="ij")
        slow, fast = self.descent.slowest(height), self.descent.fastest(height)
        return height.ravel(), (slow + place * (fast - slow)).ravel()

    def places(self, altitude: Array, true: Array) -> tuple[Array, Array]:
        """Place in height and in speed [-], each 0 to 1 within the limits, of states (m,) [m], [m/s]."""
        slow, fast = self.descent.slowest(altitude), self.descent.fastest(altitude)
        height = (altitude - self.descent.floor) / (self.descent.start_altitude - self.descent.floor)
        return height, (true - slow) / (fast - slow)

    def interpolation(self, altitude: Array, true: Array) -> tuple[csr_array, NDArray[np.bool_]]:
        """Matrix (m, nodes) of weights [-] at states (m,) [m], [m/s], and which of them are within the limits."""
        height, speed = self.places(altitude, true)
        row, share = _between(height, self.grid.heights)
        column, other = _between(speed, self.grid.speeds)
        corner = row * self.grid.speeds + column
        nodes = corner[:, None] + np.array([0, 1, self.grid.speeds, self.grid.speeds + 1])
        weights = np.stack(
            [(1.0 - share) * (1.0 - other), (1.0 - share) * other, share * (1.0 - other), share * other], axis=1
        )
        start = np.arange(altitude.size + 1) * 4
        shape = (altitude.size, self.grid.heights * self.grid.speeds)
        return csr_array((weights.ravel(), nodes.ravel(), start), shape), _inside(height, speed)

    @cached_property
    def values(self) -> Array:
        """Cost to go [kg] (steps + 1, nodes), the end last."""
        altitude, true = self.nodes
        parts = [self._part(angle, thrust) for angle, thrust in self._choices]
        values = np.empty((self.grid.steps + 1, altitude.size))
        values[-1] = self.descent.end_price(altitude, true)
        for k in range(self.grid.steps - 1, -1, -1):
            best = np.full(altitude.size, np.inf)
            for matrix, cost in parts:
                np.minimum(best, cost + matrix @ values[k + 1], out=best)
            values[k] = best
        return values

    @property
    def _choices(self) -> list[tuple[Array, Array]]:
        return choices(self.descent, self.grid, *self.nodes, self.length)

    def _part(self, angle: Array, thrust: Array) -> tuple[csr_array, Array]:
        """Matrix (nodes, nodes) to the ends of the steps under a choice, and their costs [kg]; infinite outside."""
        altitude, true, cost = stepped(self.descent, *self.nodes, angle, thrust, self.length)
        matrix, inside = self.interpolation(on_floor(self.descent, altitude), true)
        return matrix, np.where(inside, cost, np.inf)

    def value(self, step: int, altitude: Array, true: Array) -> Array:
        """Cost to go [kg] at the start of a step from states (m,) [m], [m/s]; infinite outside the limits."""
        matrix, inside = self.interpolation(altitude, true)
        return np.where(inside, matrix @ self.values[step], np.inf)

    @property
    def cost(self) -> float:
        """Cost [kg] from the start, as the grid has it."""
        altitude, true = np.array([self.descent.start_altitude]), np.array([self.descent.start_speed])
        return float(self.value(0, altitude, true)[0])


def _inside(height: Array, speed: Array) -> NDArray[np.bool_]:
    """Which places (m,) [-] are within the limits."""
    return (height >= -_SLACK) & (height <= 1.0 + _SLACK) & (speed >= -_SLACK) & (speed <= 1.0 + _SLACK)


def _between(place: Array, count: int) -> tuple[NDArray[np.int64], Array]:
    """Node before (m,) and share of the way to the next (m,) [-] at places (m,) from 0 to 1 on even nodes."""
    at = np.clip(place, 0.0, 1.0) * (count - 1)
    before = np.minimum(at.astype(np.int64), count - 2)
    return before, at - before
