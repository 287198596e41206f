"""What became of many flights: stable or not and why, energy too much on the way, what was used, limits passed.

The same judgement as that of one flight (`motion.verdict`), taken with arrays. Of the limits on the way those are
judged here that a descent is watched for: largest and least speeds, sink rates, windows, hold-downs, the floor, how the
glide path was captured, further gates. The brake's own limits, and those of handling that a crew's orders keep by
themselves (climb, steepest path, load factor, thrust), are left to the verdict of one flight.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import reference_speed
from optdescent.arrival import Gate
from optdescent.motion.excess import READABLE_SPEED
from optdescent.motion.stability import AtGate, Shortfall, shortfalls
from optdescent.rules.kept import demands_kept
from optdescent.rules.many import Flights
from optdescent.rules.pilot import Pilot
from optdescent.units import FOOT, GRAVITY, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]


@dataclass(frozen=True)
class Judged:
    """What became of flights (flight,) [SI].

    `gate_energy` is the energy height at the gate above the most that it allows on the glide path; `excess` (distance,
    flight) the energy height above what was asked at distances to go. `over_limit` is the largest speed above a limit
    after the top of descent: negative is room. `limits_kept` says that nothing of what is judged here was broken.
    `gear_distance` and `landing_flaps_distance` are the distances to go where the gear begins to come out, and slats
    and flaps to move to the landing step: not a number where they never do.
    """

    stable: Flags
    reasons: tuple[str, ...]
    limits_kept: Flags
    gate_speed: Array
    above_reference: Array
    gate_sink: Array
    gate_energy: Array
    excess: Array
    over_limit: Array
    fuel: Array
    time: Array
    top_of_descent: Array
    thrust_distance: Array
    thrust_fuel: Array
    brake_distance: Array
    gear_distance: Array
    landing_flaps_distance: Array


def judged(pilot: Pilot, flights: Flights, parameters: Array, distances: tuple[float, ...]) -> Judged:
    """What became of a pilot's flights in the airs of `parameters` (parameter, flight), excess at `distances` [m]."""
    gate, steps = pilot.arrival.gate, pilot.shape.steps
    reached, at, true_per_calibrated = _passed(pilot, flights, gate.height)
    found = shortfalls(gate, steps, at)
    stable = reached & ~flights.is_lost & ~_any(found)
    thrust_distance, thrust_fuel = flights.thrust()
    first = flights.first_down
    descending = np.arange(flights.x.size)[:, None] >= first
    over = np.max(np.where(descending & np.isfinite(flights.over_limit), flights.over_limit, -np.inf), axis=0)
    slow = np.max(np.where(descending & np.isfinite(flights.under_least), flights.under_least, -np.inf), axis=0)
    kept = (
        ~flights.is_lost
        & (over <= READABLE_SPEED)
        & (slow <= READABLE_SPEED)
        & demands_kept(pilot.arrival, pilot.world(parameters).air, flights)
    )
    for other in pilot.arrival.more_gates:
        passed, there, _ = _passed(pilot, flights, other.height)
        kept &= passed & ~_any(shortfalls(other, steps, there))
    return Judged(
        stable=stable,
        reasons=_reasons(flights, reached, gate, found),
        limits_kept=kept,
        gate_speed=np.asarray(at.calibrated_airspeed),
        above_reference=at.calibrated_airspeed - at.reference_speed,
        gate_sink=at.sink,
        gate_energy=_energy(at, gate, true_per_calibrated),
        excess=np.array([_excess(flights, distance) for distance in distances]).reshape(len(distances), first.size),
        over_limit=over,
        fuel=flights.mass[0] - flights.mass[-1],
        time=flights.time[-1],
        top_of_descent=-flights.x[first],
        thrust_distance=thrust_distance,
        thrust_fuel=thrust_fuel,
        brake_distance=flights.brake(),
        gear_distance=flights.moved(flights.gear, 0.0),
        landing_flaps_distance=flights.moved(flights.flaps, steps - 1.0),
    )


def _passed(pilot: Pilot, flights: Flights, height: float) -> tuple[Flags, AtGate, Array]:
    """Whether a height above the threshold [m] is passed, flights where they last pass it, and true per calibrated."""
    above = flights.height >= height
    last = flights.x.size - 1 - np.argmax(above[::-1], axis=0)
    reached = above.any(axis=0) & (last < flights.x.size - 1)
    before = np.minimum(last, flights.x.size - 2)
    lane: NDArray[np.int64] = np.arange(before.size, dtype=np.int64)
    upper, lower = flights.height[before, lane], flights.height[before + 1, lane]
    share = np.where(reached, (upper - height) / np.where(upper == lower, 1.0, upper - lower), np.nan)

    def here(values: Array) -> Array:
        first: Array = values[before, lane]
        return first + share * (values[before + 1, lane] - first)

    place = flights.x[before] + share * (flights.x[before + 1] - flights.x[before])
    at = AtGate(
        calibrated_airspeed=here(flights.speed),
        reference_speed=reference_speed(pilot.airframe, here(flights.mass)),
        sink=-here(flights.vertical_speed),
        off_path=height - pilot.arrival.glide_path.height(place),
        flaps=here(flights.flaps),
        gear=here(flights.gear),
    )
    return reached, at, here(flights.true_airspeed / flights.speed)


def _any(found: tuple[Shortfall, ...]) -> Flags:
    return np.any([one.counts for one in found], axis=0)


def _energy(at: AtGate, gate: Gate, true_per_calibrated: Array) -> Array:
    """Energy height [m], of true airspeed, above the fastest that a gate allows, on the glide path."""
    most = at.reference_speed + gate.speed_above_reference + gate.speed_over
    more = (at.calibrated_airspeed**2 - most**2) * true_per_calibrated**2
    return np.asarray(at.off_path + more / (2.0 * GRAVITY))


def _excess(flights: Flights, distance: float) -> Array:
    """Energy height [m] above that of the height and speed asked for at a distance to go [m]."""
    true_per_calibrated = flights.true_airspeed / flights.speed
    asked = flights.asked_height + (flights.asked_speed * true_per_calibrated) ** 2 / (2.0 * GRAVITY)
    return flights.at(flights.energy_height - asked, distance)


def _reasons(flights: Flights, reached: Flags, gate: Gate, found: tuple[Shortfall, ...]) -> tuple[str, ...]:
    """Why each flight is not stable, in the words of one flight's verdict; empty where it is."""
    lost, counts = flights.is_lost, np.array([one.counts for one in found])
    reasons: list[str] = []
    for index in range(reached.size):
        if lost[index]:
            last = int(np.flatnonzero(np.isfinite(flights.time[:, index]))[-1])
            speed = float(flights.speed[last, index]) / KNOT
            reasons.append(f"lost at {-flights.x[last] / NAUTICAL_MILE:.1f} nm to go, at {speed:.0f} kt")
        elif not reached[index]:
            reasons.append(f"never passes {gate.height / FOOT:.0f} ft above the threshold")
        else:
            told = [one.say(float(one.amount[index])) for one, on in zip(found, counts[:, index], strict=True) if on]
            reasons.append("; ".join(told))
    return tuple(reasons)
