"""Along a flight, the last point at which each drag device still saves the approach, and where nothing does any more.

At each place the question is whether the gate can be met from there with idle thrust, the schedule and a set of
devices, with what is out already. The edges (`corridor.reach`) say about where the answer turns to no; from the places
about there the descent is flown from the flight's own state (`corridor.onward`). The last place from which it passes
the gate stable, and from the place before it too if the flight has one, is the last at which the set is of use: one
place alone may be luck of the moments at which devices come out. Beyond the last of everything the approach is lost.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.devices import EVERYTHING, DeviceSet, held_by
from optdescent.corridor.edges import Edges
from optdescent.corridor.onward import are_saved
from optdescent.corridor.reach import Reach
from optdescent.results import Flight
from optdescent.results.last_action import LastAction, LastActions, Lost
from optdescent.units import NAUTICAL_MILE

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
_NEARER, _FARTHER = 1.5 * NAUTICAL_MILE, 2.5 * NAUTICAL_MILE
"""Distances [m] from where an edge is left to those about it from which the descent is flown."""
_NEAR_GATE = 0.3 * NAUTICAL_MILE
"""Distance [m] to the gate from which on nothing is lost any more."""


@dataclass(frozen=True)
class Still:
    """A set of devices of which no last useful point can be told.

    It is still of use at the distance to go [m] after which the flight is not known; not a number if it is known
    nowhere before the gate. `lost_by` is the first distance to go [m] after that at which it is known again and the
    set is of no use any more; not a number if there is none.
    """

    devices: str
    distance_to_go: float
    lost_by: float


@dataclass(frozen=True)
class LastFound:
    """The last useful points that can be told along a flight, and the sets of which none can [SI]."""

    told: LastActions
    still: tuple[Still, ...]


def last_actions(edges: Edges, flight: Flight) -> LastActions:
    """The last useful point of each set of devices along a flight [SI]; sets of which none can be told are left out."""
    return last_found(edges, flight).told


def last_found(edges: Edges, flight: Flight) -> LastFound:
    """The last useful point of each set of devices along a flight, where it can be told [SI]."""
    sets, known = edges.highest, _known(edges, flight)
    names = [own.devices.name for own in sets]
    if not known.size:
        nowhere = tuple(Still(name, float("nan"), float("nan")) for name in names)
        return LastFound(LastActions(flight.name, (), flight.provenance), nowhere)
    ends = [_left_at(edges, flight, left) for left in edges.margins(flight)]
    about = [known[_within(edges, known, end)] for end in ends]
    found = _last_of(edges, flight, sets, about, known)
    # where none of them serves, all are asked
    rest = [known if last is None else known[:0] for last in found]
    others = _last_of(edges, flight, sets, rest, known)
    found = [other if one is None else one for one, other in zip(found, others, strict=True)]
    found = _nested(found, [own.devices for own in sets])
    last = {name: place for name, place in zip(names, found, strict=True) if not _is_open(edges, known, place)}
    actions = tuple(_told(name, edges, flight, place) for name, place in last.items())
    still = tuple(
        _still(name, edges, known, place)
        for name, place in zip(names, found, strict=True)
        if name not in last and place is not None
    )
    lost = _lost(edges, flight, known, last)
    return LastFound(LastActions(flight.name, actions, flight.provenance, lost), still)


def _lost(edges: Edges, flight: Flight, known: Indices, last: dict[str, int | None]) -> Lost | None:
    """The first of the known places at which not even everything saves the approach any more, if that is told."""
    if EVERYTHING.name not in last:
        return None
    place = last[EVERYTHING.name]
    to_go = edges.ground.to_go
    if place is not None and to_go[place] - to_go[0] <= _NEAR_GATE:
        return None
    nearer = known if place is None else known[known < place]
    if not nearer.size:
        return None
    at = float(to_go[nearer.max()])
    return Lost(at, *(float(flight.at_distance(name, at)) for name in _PASSED))


_PASSED = ("height_above_threshold", "calibrated_airspeed", "time")


def _still(devices: str, edges: Edges, known: Indices, place: int) -> Still:
    """A set that is of use at a place, the nearest of the known ones from which it is."""
    to_go, nearer = edges.ground.to_go, known[known < place]
    return Still(devices, float(to_go[place]), float(to_go[nearer.max()]) if nearer.size else float("nan"))


def _is_open(edges: Edges, known: Indices, place: int | None) -> bool:
    """Whether a last place is one after which the flight is not known, before the gate."""
    if place is None or edges.ground.to_go[place] - edges.ground.to_go[0] <= _NEAR_GATE:
        return False
    return place > 1 and place - 1 not in known


def _known(edges: Edges, flight: Flight) -> Indices:
    """Places, by their indices, that a flight passes before the gate, all that matters known about them."""
    to_go = flight.column("distance_to_go")
    values = [flight.column(name) for name in ("pressure_altitude", "calibrated_airspeed", "flaps", "gear")]
    known = np.isfinite(np.sum(values, axis=0))
    places = edges.ground.to_go
    if not known.any():
        return np.empty(0, dtype=np.int64)
    after = np.clip(np.searchsorted(-to_go, -places), 1, to_go.size - 1)
    inside = (places <= to_go.max()) & (places >= to_go.min()) & known[after] & known[after - 1]
    inside[0] = False  # at the gate itself nothing is left to fly
    return np.flatnonzero(inside).astype(np.int64)


def _left_at(edges: Edges, flight: Flight, left: Array) -> float:
    """Distance to go [m] at which a flight with so much left (point,) [m] is last inside an edge; else the farthest."""
    to_go = flight.column("distance_to_go")
    inside = np.flatnonzero(left >= 0.0)
    return float(to_go[inside[-1]]) if inside.size else float(edges.ground.to_go[-1])


def _within(edges: Edges, known: Indices, end: float) -> NDArray[np.bool_]:
    to_go = edges.ground.to_go[known]
    return (to_go >= end - _NEARER) & (to_go <= end + _FARTHER)


def _last_of(
    edges: Edges, flight: Flight, sets: tuple[Reach, ...], places: list[Indices], known: Indices
) -> list[int | None]:
    """The nearest of some places from which each set of devices saves the approach, of those `known`."""
    saved = are_saved(edges, flight, list(zip(sets, places, strict=True)))
    return [_nearest(edges, *own, known) for own in zip(places, saved, strict=True)]


def _nearest(edges: Edges, places: Indices, is_met: NDArray[np.bool_], known: Indices) -> int | None:
    """The nearest of some places, in order, from which the gate is met, and from the place before it, if any, too."""
    follows = np.append(np.diff(places), 0) == 1
    before = np.append(is_met[1:], False) & follows | (~follows & ~np.isin(places + 1, known))
    to_go = edges.ground.to_go[places] - edges.ground.to_go[0]
    saved = places[is_met & (before | (to_go <= _NEAR_GATE))]
    return int(saved.min()) if saved.size else None


def _nested(found: list[int | None], sets: list[DeviceSet]) -> list[int | None]:
    """What a set of devices saves, any set that holds it saves too: it need not use them."""
    reached = ([last for last in (found[other] for other in own) if last is not None] for own in held_by(sets))
    return [min(lasts, default=None) for lasts in reached]


def _told(devices: str, edges: Edges, flight: Flight, place: int | None) -> LastAction:
    if place is None:
        return LastAction(devices, flight.marks.gate_height, False, False, *([np.nan] * 6))
    to_go = float(edges.ground.to_go[place])
    is_kept = to_go - float(edges.ground.to_go[0]) <= _NEAR_GATE
    values = [float(flight.at_distance(name, to_go)) for name in (*_PASSED, "flaps", "gear")]
    return LastAction(devices, flight.marks.gate_height, True, is_kept, to_go, *values)
