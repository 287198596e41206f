"""Thrust that a recording has not, worked out from its motion."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optdescent.corridor.thrusting import thrust_along
from optdescent.motion.record import surroundings
from optdescent.recording import read_columns, read_recording
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE

RECORDINGS = Path(__file__).parents[2] / "studies" / "recordings"


@pytest.mark.parametrize("name", ["good", "late-gear"])
def test_thrust_that_is_not_recorded_is_what_the_motion_asks_for(name: str) -> None:
    """Against the thrust of the same recording, idle on the way and holding the approach speed in the end."""
    scenario = Scenario.from_toml(RECORDINGS / "scenario.toml")
    columns = read_columns(RECORDINGS / "columns.toml")
    lacking = {key: column for key, column in columns.columns.items() if key != "thrust_fraction"}
    with_it = read_recording(RECORDINGS / f"{name}.csv", columns, scenario).flight
    without = read_recording(
        RECORDINGS / f"{name}.csv", columns.model_copy(update={"columns": lacking}), scenario
    ).flight
    around = surroundings(scenario)
    assert not np.isfinite(without.column("thrust_fraction")).any()
    assert thrust_along(around, with_it) == pytest.approx(with_it.column("thrust_fraction"), nan_ok=True)
    found, to_go = thrust_along(around, without), without.column("distance_to_go")
    recorded = with_it.at_distance("thrust_fraction", to_go)
    for low, high in ((0.2, 3.0), (5.0, 40.0)):
        there = (to_go > low * NAUTICAL_MILE) & (to_go < high * NAUTICAL_MILE)
        assert np.median(np.abs(found[there] - recorded[there])) < 0.03
    near = (to_go > 0.2 * NAUTICAL_MILE) & (to_go < 3.0 * NAUTICAL_MILE)
    assert np.median(recorded[near]) > 0.1
