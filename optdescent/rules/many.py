"""Thousands of flights of one rule at once: the steps of one flight, taken with arrays over all.

All start at the same distance. A flight whose motion has no solution any more is not a number from there on. How many
are taken at a time is for the caller (`rules.fleet`): their arrays should stay in the processor's cache.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind import GIVEN
from optdescent.air.wind.lookup import WindLookup
from optdescent.curves.elementary import stacked
from optdescent.curves.lanes import Known, Lanes
from optdescent.motion.record import LEAST_BRAKE, LEAST_THRUST, LEFT_CRUISE
from optdescent.rules.lane import Lane, listed
from optdescent.rules.pilot import FIXED, Pilot
from optdescent.units import GRAVITY

Array = NDArray[np.float64]
KEPT, MOTION = 16, 5
"""Rows kept of each look, in the order of `Flights`; rows of a lane that are its motion."""
_MOVED = 1e-6
"""Position [-] beyond which a device has begun to move: more than what rounding adds."""


@dataclass(frozen=True)
class Flights:
    """Flights of one rule, as arrays (look, flight) or (flight,) [SI].

    `x` (look,) are the coordinates along the track [m] at which the crews look. Heights are above the threshold,
    `speed` is calibrated, `over_limit` is that above the largest allowed, `under_least`
    that below the least manoeuvring speed, `burned_above` fuel flow above idle [kg/s].
    `asked_height` and `asked_speed` are what the rule and the arrival ask for.
    What a flight has beyond its loss is not a number.
    """

    x: Array
    height: Array
    speed: Array
    true_airspeed: Array
    vertical_speed: Array
    ground_speed: Array
    over_limit: Array
    under_least: Array
    burned_above: Array
    asked_height: Array
    asked_speed: Array
    mass: Array
    time: Array
    thrust_fraction: Array
    speed_brake: Array
    flaps: Array
    gear: Array

    @property
    def energy_height(self) -> Array:
        """Height above the threshold plus kinetic energy over weight [m]."""
        return self.height + self.true_airspeed**2 / (2.0 * GRAVITY)

    @property
    def is_lost(self) -> NDArray[np.bool_]:
        """Whether the motion had no solution before the threshold [-]."""
        return ~np.isfinite(self.time[-1])

    def at(self, values: Array, distance: float) -> Array:
        """Values (flight,) at a distance to go [m], in their unit; not a number beyond the start."""
        if not self.x[0] <= -distance <= self.x[-1]:
            return np.asarray(np.full(values.shape[1], np.nan), dtype=np.float64)
        after = max(int(np.searchsorted(self.x, -distance)), 1)
        share = (-distance - self.x[after - 1]) / (self.x[after] - self.x[after - 1])
        found: Array = values[after - 1] + share * (values[after] - values[after - 1])
        return found

    @property
    def first_down(self) -> NDArray[np.int64]:
        """Index (flight,) of the first look at which the cruise is left [-]."""
        left = self.height < self.height[0] - LEFT_CRUISE
        first = np.where(left.any(axis=0), np.argmax(left, axis=0), self.x.size - 1)
        return np.asarray(first, dtype=np.int64)

    @property
    def _after_top(self) -> Array:
        """Length [m] that each look stands for after the top of descent, else 0."""
        descending = np.arange(self.x.size)[:, None] >= self.first_down
        return np.asarray(np.gradient(self.x)[:, None] * descending, dtype=float)

    def thrust(self) -> tuple[Array, Array]:
        """Distance [m] with thrust above idle after the top of descent, and fuel burned by it [kg] (flight,)."""
        length = self._after_top * (self.thrust_fraction > LEAST_THRUST)
        return np.sum(length, axis=0), np.sum(length * self.burned_above / self.ground_speed, axis=0)

    def moved(self, position: Array, beyond: float) -> Array:
        """Distance to go (flight,) [m] where a position (look, flight) first leaves a value; not a number if never."""
        is_beyond = position > beyond + _MOVED
        last = np.maximum(np.argmax(is_beyond, axis=0) - 1, 0)
        return np.where(is_beyond.any(axis=0), -self.x[last], np.nan)

    def brake(self) -> Array:
        """Distance (flight,) [m] with the speed brake out after the top of descent."""
        return np.sum(self._after_top * (self.speed_brake > LEAST_BRAKE), axis=0)


def stepped(pilot: Pilot, x: Array, parameters: Array, lanes: Array, noise: Array) -> Flights:
    """Flights from parameters (parameter, flight), starts (size, flight) and errors (look, flight) [SI]."""
    count, lane = lanes.shape[1], lanes.copy()
    dx = np.append(np.diff(x), x[-1] - x[-2])
    wind = WindLookup(pilot.field, parameters[FIXED : FIXED + pilot.field.size])
    here, half_way = (np.zeros((GIVEN.size, count)) for _ in range(2))
    step = Lanes(
        _step(pilot),
        count,
        known=Known({4: parameters}, {1: x, 2: dx}),
        read={0: lane, 5: here, 6: half_way},
        then={
            0: lambda at: wind.at(x[at], step.outputs[0][0], here),
            1: lambda at: wind.at(x[at] + 0.5 * dx[at], step.outputs[1][0], half_way),
        },
    )
    kept = np.empty((x.size, KEPT, count))
    for at in range(x.size):
        _, _, kept[at], lane[...] = step(noise[at][None], call=at)
    return Flights(x, *kept.swapaxes(0, 1))


@lru_cache(maxsize=8)
def _step(pilot: Pilot) -> ca.Function:
    """One step with what is kept of its look, as one function.

    (lane, coordinate [m], length [m], noise [m], parameters, winds met there and half-way) to (heights above the sea
    [m] at which these are met, what is kept, next lane).
    """
    sizes = [pilot.look.size1_in(index) for index in range(pilot.look.n_in())]
    names = ("lane", "x", "dx", "noise", "parameters", "wind")
    given = [ca.SX.sym(name, size) for name, size in zip(names, sizes, strict=True)]
    lane, x, dx, _, parameters, _ = given
    wind_half_way = ca.SX.sym("wind_half_way", GIVEN.size)
    after, half, watched = pilot.look.call(given)
    (rates,) = pilot.passage.call([half, x + 0.5 * dx, parameters, wind_half_way])
    air, out = pilot.world(parameters).air, listed(Lane.unpacked(lane, pilot.shape).out)
    found = [
        air.height(lane[0]),
        air.height(half[0]),
        stacked([watched, *(lane[row] for row in (3, 4, 5, 6)), sum(out[:-1]), out[-1]]),
        stacked([lane[:MOTION] + dx * rates, after[MOTION:]]),
    ]
    return ca.Function("step", [*given, wind_half_way], found, {"cse": True})
