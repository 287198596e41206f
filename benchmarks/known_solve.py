"""How fast a machine solves: one program in plain CasADi that was timed where the asked times come from.

The hang glider of Bulirsch, Nerz, Pesch and von Stryk (Combining direct and indirect methods in optimal control, 1993)
on 50 elements of 5 Radau points, the last of them at the element's end: 1255 variables, 1000 rows, all written out,
IPOPT with MUMPS and its defaults, from the straight guess. It is posed anew from its description, and takes as many
iterations as it took there. Nothing of the engine is in it: its time does not change with the engine's.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from statistics import median

import casadi as ca
import numpy as np

_ELEMENTS, _DEGREE = 50, 5
_BEGIN, _END = (0.0, 1000.0, 13.2275675, -1.28750052), (1248.0, 900.0, 13.2275675, -1.28750052)
_LOW, _HIGH = (0.0, 0.0, 0.0, -10.0), (1500.0, 1100.0, 20.0, 10.0)
_DURATION, _SHORTEST, _LONGEST, _MOST_LIFT = 100.0, 10.0, 200.0, 1.4
_FARTHEST, _DIGITS = 1248.031, 1e-5
_THERE, _ITERATIONS = 32.5e-3, 19
"""Where the asked times come from: 31 to 34 ms, two cores, CasADi 3.8.2."""


@dataclass(frozen=True)
class KnownSolve:
    """Seconds and iterations of a solve."""

    seconds: float
    iterations: int

    @property
    def slowness(self) -> float:
        """How many times as long it takes here [-]."""
        return self.seconds / _THERE

    @property
    def sentence(self) -> str:
        """What was measured, and what it says of this machine."""
        return (
            f"the hang glider in plain CasADi takes {1e3 * self.seconds:.0f} ms here ({self.iterations} iterations); "
            f"where the asked times come from it took 31 to 34 ms ({_ITERATIONS}), so that this machine needs about "
            f"{self.slowness:.1f} times as long"
        )


def known_solve(repeats: int = 7) -> KnownSolve:
    """Median of so many solves.

    Raises
    ------
    ArithmeticError : the solver does not find the published optimum.
    """
    solver, arguments = _posed()
    seconds: list[float] = []
    for _ in range(repeats):
        began = time.perf_counter()
        found = solver(**arguments)
        seconds.append(time.perf_counter() - began)
        flown = -float(found["f"])
        if abs(flown / _FARTHEST - 1.0) > _DIGITS:
            raise ArithmeticError(f"the hang glider flies {flown:.3f} m instead of {_FARTHEST:.3f} m")
    return KnownSolve(median(seconds), int(solver.stats()["iter_count"]))


def _rates(state: ca.SX, lift: ca.SX) -> ca.SX:
    x, _, along, up = (state[i] for i in range(4))
    core = (x / 100 - 2.5) ** 2
    rising = up - 2.5 * (1 - core) * ca.exp(-core)
    speed = ca.sqrt(along**2 + rising**2)
    pressure = 0.5 * 1.13 * 14 * speed**2 / 100
    drag = pressure * (0.034 + 0.069662 * lift**2)
    pull = pressure * lift
    return ca.vertcat(
        along,
        up,
        (-pull * rising - drag * along) / speed,
        (pull * along - drag * rising) / speed - 9.80665,
    )


def _posed() -> tuple[ca.Function, dict[str, np.ndarray]]:
    """The solver and its arguments; columns are the duration [100 s], the states node by node, the lift."""
    points = _ELEMENTS * _DEGREE
    slopes = ca.collocation_coeff(ca.collocation_points(_DEGREE, "radau"))[0]
    duration, states, lift = ca.SX.sym("duration"), ca.SX.sym("states", 4, points + 1), ca.SX.sym("lift", points)
    defects: list[ca.SX] = []
    for first in range(0, points, _DEGREE):
        change = states[:, first : first + _DEGREE + 1] @ slopes
        for j in range(_DEGREE):
            rates = _rates(states[:, first + j + 1], lift[first + j])
            defects.append(change[:, j] - duration * _DURATION / _ELEMENTS * rates)
    program = {"x": ca.vertcat(duration, ca.vec(states), lift), "f": -states[0, points], "g": ca.vertcat(*defects)}
    solver = ca.nlpsol("solver", "ipopt", program, {"print_time": False, "ipopt.print_level": 0, "ipopt.sb": "yes"})
    guess = np.linspace(_BEGIN, _END, points + 1)
    low, high = (np.tile(np.asarray(limit), (points + 1, 1)) for limit in (_LOW, _HIGH))
    low[0] = high[0] = guess[0]
    low[-1, 1:] = high[-1, 1:] = guess[-1, 1:]
    return solver, {
        "x0": np.concatenate([[1.0], guess.ravel(), np.ones(points)]),
        "lbx": np.concatenate([[_SHORTEST / _DURATION], low.ravel(), np.zeros(points)]),
        "ubx": np.concatenate([[_LONGEST / _DURATION], high.ravel(), np.full(points, _MOST_LIFT)]),
        "lbg": np.zeros(4 * points),
        "ubg": np.zeros(4 * points),
    }
