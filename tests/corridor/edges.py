"""Edges of the first study in still air on a coarse grid, worked out once for the tests of this room."""

from __future__ import annotations

from functools import cache

import numpy as np

from optdescent.corridor.devices import DeviceSet
from optdescent.corridor.ground import Ground, ground_of
from optdescent.corridor.reach import Edge, Reach, reach
from optdescent.scenario import Scenario
from optdescent.units import KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY

STILL = ("air.wind.kind=none",)
SPEEDS = tuple(knots * KNOT for knots in (190.0, 210.0, 230.0, 250.0))
FARTHEST, COARSE = 22.0 * NAUTICAL_MILE, 0.5 * NAUTICAL_MILE
MARKS = tuple(nm * NAUTICAL_MILE for nm in (12.0, 15.0, 18.0, 22.0))


@cache
def ground(settings: tuple[str, ...] = STILL, spacing: float = COARSE) -> Ground:
    return ground_of(Scenario.from_toml(STUDY, settings), FARTHEST, MARKS, spacing)


@cache
def edge(devices: DeviceSet, settings: tuple[str, ...] = STILL, spacing: float = COARSE) -> Reach:
    return reach(ground(settings, spacing), devices, Edge.HIGHEST, SPEEDS)


@cache
def lowest(settings: tuple[str, ...] = STILL) -> Reach:
    return reach(ground(settings), DeviceSet(), Edge.LOWEST, SPEEDS)


def scheduled(found: Reach, distance: float) -> np.ndarray:
    """Pressure altitude of the edge [m] at a distance to go [m], at each of SPEEDS with what the schedule has out."""
    place = int(np.argmin(np.abs(found.ground.to_go - distance)))
    at = [int(np.argmin(np.abs(found.states.speeds - speed))) for speed in SPEEDS]
    return found.altitude[place, at, found.states.scheduled[at]]
