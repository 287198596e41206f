"""The corridor beside optimal control: collocation finds a descent from its edge on, and none from far above it.

The two know nothing of each other: dynamic programming over places and speeds, and collocation that moves heights,
speeds and devices continuously, found cold. The grid slows in whole steps of speed, aims 5 kt below the gate's largest
speed and knows no lags. So they are asked 250 ft below the edge and 1000 ft above it.
"""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks.corridor import SPEED, is_reached
from optdescent.corridor import EVERYTHING, SCHEDULE, DeviceSet, Grid, edges_for
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY

DISTANCE = 20.0
STILL = ("air.wind.kind=none", "arrival.windows=[]")
NO_BRAKE = "handling.speed_brake_above_ft=10000"
"""Higher than any start here is: the brake stays stowed."""
FREE = "handling.configuration=free"


@pytest.mark.parametrize(
    ("devices", "settings"),
    [
        (SCHEDULE, (NO_BRAKE,)),
        pytest.param(EVERYTHING, (FREE,), marks=pytest.mark.long),
    ],
    ids=lambda value: value.name if isinstance(value, DeviceSet) else "",
)
def test_collocation_finds_a_descent_from_below_the_edge_and_none_from_far_above(
    devices: DeviceSet, settings: tuple[str, ...]
) -> None:
    """At 20 nm, level at 250 kt, where the speed limit below 10 000 ft lets it not rise first.

    Its guess slows down first: from the usual one it took descents with few devices for a conflict of demands.
    """
    scenario = Scenario.from_toml(STUDY, (*STILL, *settings))
    place, speed = DISTANCE * NAUTICAL_MILE, SPEED * KNOT
    edge = edges_for(scenario, Grid((place,), (speed,)), (devices,), lambda _: None).of(devices)
    at = int(np.argmin(np.abs(edge.states.speeds - speed)))
    height = float(edge.altitude[-1, at, edge.states.scheduled[at]]) / FOOT
    assert NO_BRAKE not in settings or height + 1000.0 < 10600.0
    assert is_reached(DISTANCE, height - 250.0, (*STILL, *settings))
    assert not is_reached(DISTANCE, height + 1000.0, (*STILL, *settings))
