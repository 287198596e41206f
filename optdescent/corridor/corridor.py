"""The corridor of a scenario on a grid of distances and speeds, every point flown again."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from optdescent.corridor.again import Use, flown_again
from optdescent.corridor.devices import ONE_BY_ONE, DeviceSet, held_by
from optdescent.corridor.edges import Edges, Grid
from optdescent.corridor.margin import ON_PATH
from optdescent.corridor.onward import OVER
from optdescent.corridor.path import joined, paths
from optdescent.corridor.reach import Edge, Reach
from optdescent.motion.record import marks_of
from optdescent.results import Provenance
from optdescent.results.corridor import Corridor, corridor_dataset
from optdescent.scenario import Scenario
from optdescent.units import GRAVITY, KNOT, NAUTICAL_MILE

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

    Sets of devices are those of `ONE_BY_ONE`. Every point is flown again. What then is left of energy at the gate is
    taken off the height, and so is what a limit speed or a height that the arrival demands was passed by on the way.
    """
    ground = edges.ground
    reaches = [*(edges.of(devices) for devices in ONE_BY_ONE), edges.lowest]
    places = np.array([int(np.argmin(np.abs(ground.to_go - distance))) for distance in grid.distances])
    speeds = np.array([int(np.argmin(np.abs(reaches[0].states.speeds - speed))) for speed in grid.speeds])
    shape = (len(reaches), places.size, speeds.size)
    place, speed = (index.ravel() for index in np.meshgrid(places, speeds, indexing="ij"))
    configuration = reaches[0].states.scheduled[speed]
    altitude = np.array([edge.altitude[place, speed, configuration] for edge in reaches])
    excess, added, off, over, outside = (np.full(altitude.shape, np.nan) for _ in range(5))
    known = np.isfinite(altitude)
    plans = [paths(edge, place[own], speed[own], configuration[own]) for edge, own in zip(reaches, known, strict=True)]
    if known.any():
        again = flown_again(ground, joined(plans), _brakes(reaches, known))
        excess[known], added[known], off[known] = again.excess, again.added, again.off
        over[known], outside[known] = again.over, again.outside
    height = np.asarray(ground.around.air.height(altitude)) - ground.scenario.arrival.elevation
    lost = _lost(reaches[0].states.speeds[speed], excess, over, outside)
    height[:-1] = _nested((height - lost)[:-1], [edge.devices for edge in reaches[:-1]])
    # a lowest height above all that reaches the gate is no part of the corridor
    height[-1] = np.where(height[-1] <= np.fmax.reduce(height[:-1]), height[-1], np.nan)
    flown = (height, excess, added, off, over, outside)
    height, excess, added, off, over, outside = (values.reshape(shape) for values in flown)
    columns = {
        "highest": height[:-1],
        "lowest": height[-1],
        "excess_again": excess[:-1],
        "off_again": off[:-1],
        "added_again": added[-1],
        "over_again": over[:-1],
        "outside_again": outside[:-1],
    }
    scenario = ground.scenario
    names = tuple(edge.devices.name for edge in reaches[:-1])
    dataset = corridor_dataset(names, ground.to_go[places], reaches[0].states.speeds[speeds], columns)
    provenance = Provenance(scenario.title, scenario.text, scenario.digest)
    return Corridor(dataset, ground.mass, provenance, marks_of(scenario))


def _lost(speed: Array, excess: Array, over: Array, outside: Array) -> Array:
    """Height (set, point) [m] to be taken off by descents flown again from some speeds (point,) [m/s].

    It is the energy left at the gate, that of the speed above a limit, and the height outside what is demanded; of the
    latter two what lies beyond that by which limit and path count as kept.
    """
    too_fast, too_high = np.fmax(over - OVER, 0.0), np.fmax(outside - ON_PATH, 0.0)
    return np.fmax(excess, 0.0) + speed * too_fast / GRAVITY + too_high


def _nested(height: Array, sets: Sequence[DeviceSet]) -> Array:
    """Heights (set, point) [m]: what a set of devices reaches, any set that holds it reaches too."""
    return np.array([np.fmax.reduce(height[index]) for index in held_by(sets)])


def _brakes(edges: Sequence[Reach], known: NDArray[np.bool_]) -> Use:
    """The highest descents may have the brake out in full at the planned speed; the lowest use it well above only."""
    is_low = np.array([edge.edge is Edge.LOWEST for edge in edges])
    is_allowed = np.array([edge.devices.speed_brake for edge in edges]) | is_low
    index = np.nonzero(known)[0]
    return Use(is_allowed[index], np.where(is_low[index], -3.0, 1.0))
