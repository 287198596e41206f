"""The optimum begun where a recorded flight is."""

from __future__ import annotations

import pytest

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


@pytest.mark.parametrize("distance_nm", [19.0, 8.0])
def test_too_near_nothing_is_begun(distance_nm: float) -> None:
    assert begun_at(SCENARIO, flight("good"), distance_nm * NAUTICAL_MILE) is None
    assert optimum_told(SCENARIO, flight("good"), distance_nm * NAUTICAL_MILE) == ""


def test_what_the_optimum_takes_is_told() -> None:
    """At 250 kt and on the path; idle takes some 5 to 6 kg a minute: less than 150 kg for the last 25 miles."""
    told = optimum_told(SCENARIO, flight("good"), 25.0 * NAUTICAL_MILE)
    assert told.startswith("from there the optimum takes ")
    assert 50.0 < float(told.split()[5]) < 150.0
