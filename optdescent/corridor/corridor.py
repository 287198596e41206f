"""The corridor of a scenario on a grid of distances and speeds, every point flown again."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.again import Use
from optdescent.corridor.devices import ONE_BY_ONE, DeviceSet, held_by
from optdescent.corridor.edges import Edges, Grid
from optdescent.corridor.farther import Asked, lowest_with_thrust, no_lower
from optdescent.corridor.ground import Ground
from optdescent.corridor.path import Paths, joined, paths
from optdescent.corridor.reach import Edge, Reach
from optdescent.corridor.told import told_of
from optdescent.motion.record import marks_of
from optdescent.results import Provenance
from optdescent.results.corridor import Corridor, corridor_dataset
from optdescent.scenario import Scenario
from optdescent.units import KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
Indices = NDArray[np.int64]


def usual_grid(scenario: Scenario) -> Grid:
    """Up to twenty distances [m] from before the farthest capture of the glide path on, and five usual speeds [m/s]."""
    path = scenario.arrival.glide_path
    nearest = np.ceil(-path.distance(path.capture_at_most) / NAUTICAL_MILE) + 1.0
    every = 2.0 if scenario.start.distance >= (nearest + 38.0) * NAUTICAL_MILE else 1.0
    every_one = (float(NAUTICAL_MILE * (nearest + every * index)) for index in range(20))
    distances = tuple(distance for distance in every_one if distance <= scenario.start.distance)
    most = scenario.airframe.limits.maximum_speed
    wanted = (190.0, 210.0, 230.0, 250.0, 280.0)
    return Grid(distances, tuple(knots * KNOT for knots in wanted if knots * KNOT <= most))


def corridor(edges: Edges, grid: Grid) -> Corridor:
    """Corridor on the points of a grid that the edges were worked out for, at the mass of the start [SI].

    Sets of devices are those of `ONE_BY_ONE`. From every height that is told the descent was flown again and kept: it
    passed the gate stable and kept limits and demands on the way; from a lowest height thrust added at most 25 ft of
    energy. A point from which none was kept has no height.
    """
    ground = edges.ground
    reaches = [edges.of(devices) for devices in ONE_BY_ONE]
    places = np.array([int(np.argmin(np.abs(ground.to_go - distance))) for distance in grid.distances])
    speeds = np.array([int(np.argmin(np.abs(reaches[0].states.speeds - speed))) for speed in grid.speeds])
    place, speed = (index.ravel() for index in np.meshgrid(places, speeds, indexing="ij"))
    at = _Points(place, speed, reaches[0].states.scheduled[speed])
    told, low = _highest(ground, reaches, at), _lowest(edges, at)
    # a lowest height above all that reaches the gate is no part of the corridor
    most = np.fmax.reduce(told["highest"])
    for heights, names in (("lowest", ("lowest", "raised")), ("lowest_with_thrust", ("lowest_with_thrust",))):
        is_part = low[heights] <= most
        low |= {name: np.where(is_part, low[name], np.nan) for name in names}
    flat = {**told, **low}
    shape = (places.size, speeds.size)
    columns = {name: values.reshape(*values.shape[:-1], *shape) for name, values in flat.items()}
    scenario = ground.scenario
    names = tuple(edge.devices.name for edge in reaches)
    dataset = corridor_dataset(names, ground.to_go[places], reaches[0].states.speeds[speeds], columns)
    provenance = Provenance(scenario.title, scenario.text, scenario.digest)
    return Corridor(dataset, ground.mass, provenance, marks_of(scenario))


@dataclass(frozen=True)
class _Points:
    """Points of the grid (point,): place, speed and configuration by their indices [-]."""

    place: Indices
    speed: Indices
    configuration: Indices

    def on(self, edge: Reach) -> Array:
        """Pressure altitude (point,) [m] of an edge."""
        return edge.altitude[self.place, self.speed, self.configuration]

    def plan(self, edge: Reach) -> Paths:
        """Descents of an edge from where it is known."""
        known = np.isfinite(self.on(edge))
        return paths(edge, self.place[known], self.speed[known], self.configuration[known])


def _height(ground: Ground, altitude: Array) -> Array:
    """Height [m] above the threshold of a pressure altitude [m]."""
    return np.asarray(ground.around.air.height(altitude)) - ground.scenario.arrival.elevation


def _highest(ground: Ground, reaches: Sequence[Reach], at: _Points) -> dict[str, Array]:
    """Columns (set, point) [SI] of the highest descents."""
    planned = np.array([at.on(edge) for edge in reaches])
    known = np.isfinite(planned)
    columns = {name: np.full(planned.shape, np.nan) for name in _FLOWN}
    if known.any():
        is_allowed = np.array([edge.devices.speed_brake for edge in reaches])[np.nonzero(known)[0]]
        use = Use(is_allowed, np.ones(is_allowed.size))
        told = told_of(ground, joined([at.plan(edge) for edge in reaches]), use, Edge.HIGHEST)
        own_set, point = np.nonzero(known)
        told = no_lower(ground, told, use, own_set * (at.speed.max() + 1) + at.speed[point], Edge.HIGHEST)
        own = planned[known]
        height = np.where(told.is_kept, _height(ground, own - told.taken_off), np.nan)
        taken_off = _height(ground, own) - height
        again = (told.excess, told.off, told.over, told.outside, told.steep, told.climb, told.rise)
        for name, value in zip(_FLOWN, (height, taken_off, told.is_kept, *again), strict=True):
            columns[name][known] = value
    return _nested(columns, [edge.devices for edge in reaches])


_AGAIN = ("excess_again", "off_again", "over_again", "outside_again", "steep_again", "climb_again", "rise_again")
_FLOWN = ("highest", "taken_off", "stable_again", *_AGAIN)


def _lowest(edges: Edges, at: _Points) -> dict[str, Array]:
    """Columns (point,) [SI] of the lowest heights without thrust, and with it.

    How far the first were raised, and what thrust still adds to them.
    """
    ground, edge = edges.ground, edges.lowest
    altitude = at.on(edge)
    known = np.isfinite(altitude)
    columns = {name: np.full(altitude.shape, np.nan) for name in (*_WITHOUT_THRUST, "lowest_with_thrust")}
    if known.any():
        use, own = _sparing(int(known.sum())), altitude[known]
        told = told_of(ground, at.plan(edge), use, edge.edge)
        told = no_lower(ground, told, use, at.speed[known], edge.edge)
        height = np.where(told.is_kept, _height(ground, own - told.taken_off), np.nan)
        without = height, height - _height(ground, own), told.added
        for name, value in zip(_WITHOUT_THRUST, without, strict=True):
            columns[name][known] = value
        asked = Asked(at.place, at.speed, at.configuration, _sparing(at.place.size), known)
        least = lowest_with_thrust(asked, told, edge, edges.of(DeviceSet(speed_brake=True)))
        columns["lowest_with_thrust"] = _height(ground, least)
    return columns


_WITHOUT_THRUST = ("lowest", "raised", "added_again")


def _sparing(count: int) -> Use:
    """Use of so many descents [-]: the speed brake only where a flight is well above its planned speed."""
    return Use(np.ones(count, dtype=np.bool_), np.full(count, -3.0))


def _nested(columns: dict[str, Array], sets: Sequence[DeviceSet]) -> dict[str, Array]:
    """Columns (set, point) [SI] of the best that a set of devices holds: what one reaches, any that holds it does."""
    height = columns["highest"]
    point: Indices = np.arange(height.shape[1], dtype=np.int64)
    best: list[Indices] = []
    for own, held in enumerate(held_by(sets)):
        order = [own, *(other for other in held if other != own)]
        ranked = np.where(np.isfinite(height[order]), height[order], -np.inf)
        best.append(np.array(order, dtype=np.int64)[np.argmax(ranked, axis=0)])
    return {name: values[np.array(best), point] for name, values in columns.items()}
