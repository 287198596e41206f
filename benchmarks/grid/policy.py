"""The grid's policy flown forward through the equations of motion: a descent that exists, so an upper bound."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from benchmarks.grid.programming import Array, Grid, Programme, choices, on_floor, stepped

_PIECES = 2


@dataclass(frozen=True)
class Flown:
    """A descent flown in pieces of steps.

    ``distance`` (pieces + 1,) [m], ``altitude`` [m] and ``true`` airspeed [m/s] there; ``angle`` [rad] and ``thrust``
    [-] (pieces,) held along each; ``cost`` [kg], of which ``price`` [kg] for missing the end.
    """

    distance: Array
    altitude: Array
    true: Array
    angle: Array
    thrust: Array
    cost: float
    price: float


def fly(programme: Programme, angles: int = 81, thrusts: int = 9) -> Flown:
    """Fly the policy: at each step the choice with the least cost of the step plus value at its end.

    There are more angles and thrusts [-] to choose from than on the grid. Each chosen step is integrated in shorter
    pieces. The value is only used to choose, so its error cannot make the flown cost too low.

    The speed of a flown descent swings by a few knots about the optimum's. Path angle trades height for speed at nearly
    constant energy, so the cost hardly depends on it; between the nodes the value is too high by more than that, and
    the choice is drawn from node to node. The flown cost says what the swings cost. (Tried: a spline of the values to
    choose with, and a charge on changes of path angle; neither helps on the finer grids.)
    """
    descent, length = programme.descent, programme.length
    altitude, true = np.array([descent.start_altitude]), np.array([descent.start_speed])
    dense = Grid(1, 1, 1, angles, thrusts)
    altitudes, trues, held = [altitude], [true], list[tuple[Array, Array]]()
    total = 0.0
    for step in range(programme.grid.steps):
        options = choices(descent, dense, altitude, true, length)
        angle, thrust = (np.concatenate(each) for each in zip(*options, strict=True))
        ones = np.ones(angle.size)
        high, fast, cost = stepped(descent, ones * altitude, ones * true, angle, thrust, length)
        best = options[int(np.argmin(cost + programme.value(step + 1, on_floor(descent, high), fast)))]
        for _ in range(_PIECES):
            altitude, true, part = stepped(descent, altitude, true, *best, length / _PIECES)
            altitude = on_floor(descent, altitude)
            total += float(part[0])
            altitudes.append(altitude)
            trues.append(true)
            held.append(best)
    price = float(descent.end_price(altitude, true)[0])
    return Flown(
        distance=np.linspace(0.0, descent.distance, len(altitudes)),
        altitude=np.concatenate(altitudes),
        true=np.concatenate(trues),
        angle=np.concatenate([angle for angle, _ in held]),
        thrust=np.concatenate([thrust for _, thrust in held]),
        cost=total + price,
        price=price,
    )
