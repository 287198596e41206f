"""Energy height inside an edge: by geopotential height, as in the descents that are flown again."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.corridor.devices import EVERYTHING
from optdescent.corridor.margin import margin
from optdescent.units import FOOT, GRAVITY, KNOT, NAUTICAL_MILE
from tests.corridor.edges import STILL, edge

HOT = (*STILL, "air.temperature_offset_k=25")


@pytest.mark.parametrize(("settings", "stretch"), [(STILL, 1.0), (HOT, 1.09)], ids=["standard", "hot"])
def test_a_flight_below_the_edge_has_the_height_between_them_to_spare(
    settings: tuple[str, ...], stretch: float
) -> None:
    """500 ft of pressure altitude are 545 ft in air 25 K warmer than standard: at 7000 ft 299 K over 274 K."""
    found = edge(EVERYTHING, settings)
    speed = int(np.argmin(np.abs(found.states.speeds - 210.0 * KNOT)))
    place = int(np.argmin(np.abs(found.ground.to_go - 15.0 * NAUTICAL_MILE)))
    out = found.states.scheduled[speed]
    on_edge, lower = found.altitude[place, speed, out], found.altitude[place, speed, out] - 500.0 * FOOT
    at = found.ground.to_go[[place, place]], np.array([on_edge, lower]), found.states.speeds[[speed, speed]]
    spare = margin(found, *at, np.array([out, out]))
    assert spare[0] == pytest.approx(0.0, abs=1e-6)
    true = found.ground.true_airspeed(at[2], at[1])
    slower = (true[0] ** 2 - true[1] ** 2) / (2.0 * GRAVITY)
    assert spare[1] - slower == pytest.approx(500.0 * FOOT * stretch, rel=0.01)
