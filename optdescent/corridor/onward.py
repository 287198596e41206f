"""From where a flight is, on to the gate by the plan of an edge, flown through the full equations of motion.

An edge bounds energy by legs without lags, on a grid. Here its plan is begun from the flight's own height, speed, path
angle and devices, so that what is said of a flight is what can be flown. A flight below the plan stays level until it
meets it; one a little above keeps, of its height above the glide path, the larger part that it has of the plan's. The
edge's plan itself may miss the gate by what lags take; one that does is eased (`corridor.told`) and flown once more, if
the flight is still no higher: at the edge itself nothing is eased, since no crew flies better than its plan.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import GEAR
from optdescent.corridor.again import Begun, Use, flown_again
from optdescent.corridor.edges import Edges
from optdescent.corridor.ground import Ground
from optdescent.corridor.margin import ON_PATH, configurations
from optdescent.corridor.path import Paths, joined, paths, paths_along, paths_at_once
from optdescent.corridor.reach import Reach
from optdescent.corridor.thrusting import thrust_along
from optdescent.corridor.told import eased, too_much, until_kept
from optdescent.results import Flight
from optdescent.units import KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]
STEP = 200.0
"""Between two evaluations of the orders [m]: twice that of a corridor's points."""
_BAND = 3.0 * KNOT
"""Speed [m/s] above the one of the schedule at which a device may be selected, below its limit speed (our choice)."""
FLIGHTS = 3
"""How often a descent is flown from one state at most."""
_SETTLED = 1.0 * NAUTICAL_MILE
"""Way [m] in which a small height above the glide path is lost."""


@dataclass(frozen=True)
class Standing:
    """A flight at some places of the ground, by their indices (state,): what it has there [SI].

    `out` (device, state) says how far the steps and then the gear are out [-].
    """

    place: Indices
    begun: Begun
    configuration: Indices

    def of(self, which: Indices) -> Standing:
        """Some of the states, by their indices [-]."""
        begun = Begun(*(np.asarray(values)[..., which] for values in vars(self.begun).values()))
        return Standing(self.place[which], begun, self.configuration[which])


def standing(found: Reach, flight: Flight, places: Indices, thrust: Array) -> Standing:
    """A flight at places, straight between its points, with a thrust (point,) [-] of its points [SI].

    Brake and path angle not known are at rest.
    """
    at = found.ground.to_go[places]

    def value(name: str) -> Array:
        return np.nan_to_num(flight.at_distance(name, at))

    flaps, gear = value("flaps"), value("gear")
    count = len(flight.marks.steps) - 1
    out = np.array([*(np.clip(flaps - step, 0.0, 1.0) for step in range(count)), np.clip(gear, 0.0, 1.0)])
    brake = np.clip(value("speed_brake"), 0.0, 1.0)
    known = np.isfinite(thrust)
    pushed = np.clip(np.interp(-at, -flight.column("distance_to_go")[known], thrust[known]), 0.0, 1.0)
    begun = Begun(
        value("pressure_altitude"), value("calibrated_airspeed"), value("flight_path_angle"), pushed, brake, out
    )
    return Standing(places, begun, configurations(found, flaps, gear))


def are_saved(edges: Edges, flight: Flight, asked: list[tuple[Reach, Indices]]) -> list[Flags]:
    """Whether the gate is met from where a flight is, for places (place,) asked of some edges, by their indices [-].

    It is when a descent by the edge's plan, flown from there, passes the gate stable, keeps the limit speeds on the way
    and is on the side of the glide path that the arrival asks for.
    """
    ground = edges.ground
    thrust = thrust_along(ground.around, flight)
    tries = [
        (index, which, plan, own)
        for index, (edge, places) in enumerate(asked)
        for which, plan, own in _tries(edge, standing(edge, flight, places, thrust))
    ]
    found = [np.zeros(places.size, dtype=np.bool_) for _, places in asked]
    if not tries:
        return found
    sizes = [which.size for _, which, _, _ in tries]
    edge_of = np.repeat([index for index, *_ in tries], sizes)
    state = np.concatenate([which for _, which, _, _ in tries])
    plan, at = joined([plan for *_, plan, _ in tries]), _side_by_side([own for *_, own in tries])
    latest, brakes = (np.array([take(own) for own, _ in asked]) for take in (_latest, _brakes))
    use = Use(brakes[edge_of], np.ones(edge_of.size), latest[edge_of].T)

    def fly(_: int, still: Indices, lower: Array, slower: Array) -> tuple[Flags, Array, Array]:
        own, standing_there = plan.of(still), at.of(still)
        ready = _begun_from(ground, eased(ground, own, lower, slower), standing_there)
        again = flown_again(ground, ready, use.of(still), STEP, standing_there.begun)
        for number in still[again.is_kept].tolist():
            found[edge_of[number]][state[number]] = True
        height, speed = too_much(ground, own, again)
        spare = plan.altitude[at.place[still], still] - at.begun.altitude[still]
        is_saved = np.array([found[edge_of[number]][state[number]] for number in still.tolist()], dtype=np.bool_)
        return is_saved | ~(lower + height <= spare), height, speed

    until_kept(edge_of.size, FLIGHTS, fly)
    return found


def _side_by_side(some: Sequence[Standing]) -> Standing:
    """Flights at places, one after the other [-]."""
    begun = Begun(
        *(np.concatenate(parts, axis=-1) for parts in zip(*(vars(one.begun).values() for one in some), strict=True))
    )
    place, configuration = (np.concatenate([getattr(one, name) for one in some]) for name in ("place", "configuration"))
    return Standing(place, begun, configuration)


def _brakes(found: Reach) -> bool:
    return found.devices.speed_brake


def _latest(found: Reach) -> Array:
    """Largest speed [m/s] at which each device is selected (device,), the steps and then the gear."""
    latest = found.states.latest + _BAND
    return np.minimum(np.append(latest[GEAR + 1 :], latest[GEAR]), found.ground.limit_speeds)


def _tries(found: Reach, at: Standing) -> Iterator[tuple[Indices, Paths, Standing]]:
    """Plans for some of the states, by their indices, and these states.

    Off the path those of the edge at the next faster and slower speeds; on it that of the edge, and everything at once.
    """
    states, ground = found.states, found.ground
    least, most = states.least[at.configuration], states.most[at.configuration]
    held = np.clip(at.begun.speed, np.maximum(least, states.speeds[0]), most)
    above = np.clip(np.searchsorted(states.speeds, held - 1e-6), 0, states.speeds.size - 1)
    for speed in (above, np.maximum(above - 1, 0)):
        which = np.flatnonzero(np.isfinite(found.altitude[at.place, speed, at.configuration]))
        if which.size:
            own = at.of(which)
            plan = paths(found, own.place, speed[which].astype(np.int64), own.configuration)
            yield which, plan, own
    nearest = np.minimum(at.place, found.on_path.shape[0] - 1)
    near = np.abs(at.begun.altitude - ground.path[at.place]) <= ON_PATH
    which = np.flatnonzero(near & (nearest == at.place) & np.isfinite(found.on_path[nearest, at.configuration]))
    if which.size:
        own = at.of(which)
        plan = paths_along(found, own.place, own.begun.speed, own.configuration)
        yield which, plan, own
    which = np.flatnonzero(near)
    if which.size:
        own = at.of(which)
        plan = paths_at_once(found, own.place, own.configuration)
        yield which, plan, own


def _begun_from(ground: Ground, plan: Paths, at: Standing) -> Paths:
    """A plan with the heights of flights that begin elsewhere than it does, and no faster than they are."""
    count = np.arange(at.place.size)
    gap, planned = at.begun.altitude - ground.path[at.place], plan.altitude[at.place, count] - ground.path[at.place]
    over = plan.altitude - ground.path[:, None]
    run = np.clip(1.0 - (ground.to_go[at.place] - ground.to_go[:, None]) / _SETTLED, 0.0, 1.0)
    is_high = planned > ON_PATH
    scaled = np.where(is_high, gap / np.where(is_high, planned, 1.0) * over, np.maximum(over, gap * run))
    higher = ground.path[:, None] + scaled
    altitude = np.where(gap > planned, higher, np.minimum(at.begun.altitude, plan.altitude))
    altitude = np.where(np.isfinite(plan.altitude), altitude, np.nan)
    return replace(plan, altitude=altitude, speed=np.minimum(plan.speed, np.maximum(at.begun.speed, plan.speed[0])))
