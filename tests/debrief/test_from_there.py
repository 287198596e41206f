"""The optimum begun where a recorded flight is."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.arrival import floor_at
from optdescent.debrief.from_there import begun_at, optimum_told
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE
from tests.debrief.recordings import FOLDER, SCENARIO, flight


def test_it_begins_where_the_flight_is_and_keeps_what_is_ahead() -> None:
    own = flight("good")
    begun = begun_at(SCENARIO, own, 25.0 * NAUTICAL_MILE)
    assert begun is not None
    assert begun.start.distance == 25.0 * NAUTICAL_MILE
    assert begun.start.altitude == pytest.approx(own.at_distance("altitude", 25.0 * NAUTICAL_MILE))
    assert begun.start.mass == pytest.approx(own.at_distance("mass", 25.0 * NAUTICAL_MILE))
    assert begun.arrival.glide_path == SCENARIO.arrival.glide_path
    assert begun.digest != SCENARIO.digest


def test_demands_that_lie_behind_are_left_out() -> None:
    windows = ",".join(f'{{name="W{nm}",distance_nm={nm},altitude_at_least_ft=1000}}' for nm in (90, 60, 30, 12))
    asked = Scenario.from_toml(FOLDER / "scenario.toml", (f"arrival.windows=[{windows}]",))
    begun = begun_at(asked, flight("good"), 40.0 * NAUTICAL_MILE)
    assert begun is not None
    assert [window.name for window in begun.arrival.windows] == ["W30", "W12"]


def test_a_floor_and_a_hold_down_that_the_flight_is_in_begin_just_ahead() -> None:
    """Half-way between two points of the floor it is half-way between their altitudes, to the clearance of 0.2 nm."""
    asked = Scenario.from_toml(
        FOLDER / "scenario.toml",
        (
            "arrival.floor=[{distance_nm=60,altitude_ft=9000},{distance_nm=40,altitude_ft=7000},"
            "{distance_nm=12,altitude_ft=3000}]",
            "arrival.hold_downs=[{altitude_ft=12000,from_nm=52,to_nm=48},{altitude_ft=16000,from_nm=70,to_nm=60}]",
        ),
    )
    begun = begun_at(asked, flight("good"), 50.0 * NAUTICAL_MILE)
    assert begun is not None
    first, *others = begun.arrival.floor
    assert first.distance / NAUTICAL_MILE == pytest.approx(49.8)
    inside = floor_at(
        [point.distance for point in asked.arrival.floor],
        [point.altitude for point in asked.arrival.floor],
        np.array([first.distance]),
    )
    assert first.altitude == pytest.approx(float(inside[0]))
    assert [point.distance / NAUTICAL_MILE for point in others] == pytest.approx([40.0, 12.0])
    (level,) = begun.arrival.hold_downs
    assert (level.from_ / NAUTICAL_MILE, level.to / NAUTICAL_MILE) == pytest.approx((49.8, 48.0))


@pytest.mark.parametrize("distance_nm", [19.0, 8.0])
def test_too_near_nothing_is_begun(distance_nm: float) -> None:
    assert begun_at(SCENARIO, flight("good"), distance_nm * NAUTICAL_MILE) is None
    assert optimum_told(SCENARIO, flight("good"), distance_nm * NAUTICAL_MILE) == ""


def test_what_the_optimum_takes_is_told() -> None:
    """At 250 kt and on the path; idle takes some 5 to 6 kg a minute: less than 150 kg for the last 25 miles."""
    told = optimum_told(SCENARIO, flight("good"), 25.0 * NAUTICAL_MILE)
    assert told.startswith("from there the optimum takes ")
    assert 50.0 < float(told.split()[5]) < 150.0
