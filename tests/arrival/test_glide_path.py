"""The glide path and the track."""

from __future__ import annotations

import math

import pytest
from hypothesis import given

from optdescent.arrival import GlidePath, Track
from optdescent.inputs import InputFault, validated
from tests.strategies import between


def path(angle: float = 3.0, crossing: float = 50.0) -> GlidePath:
    return validated(GlidePath, {"angle_deg": angle, "threshold_crossing_height_ft": crossing}, "x")


@given(between(2.0, 5.5), between(30.0, 80.0), between(0.0, 2000.0))
def test_height_and_distance_are_inverses(angle: float, crossing: float, height: float) -> None:
    line = path(angle, crossing)
    assert float(line.height(line.distance(height))) == pytest.approx(height, abs=1e-9)


@given(between(2.0, 5.5), between(-60000.0, 0.0))
def test_it_is_a_straight_line_at_its_angle(angle: float, distance: float) -> None:
    line = path(angle)
    rise = float(line.height(distance) - line.height(0.0))
    assert math.degrees(math.atan2(rise, -distance)) == pytest.approx(angle) if distance < -1.0 else True
    assert float(line.height(0.0)) == pytest.approx(15.24)


def test_before_the_threshold_is_a_negative_coordinate() -> None:
    assert path().distance(300.0) < 0.0 < path().distance(0.0)


@pytest.mark.parametrize("angle", [1.9, 5.6])
def test_a_path_outside_its_range_is_refused(angle: float) -> None:
    with pytest.raises(InputFault, match=r"2 to 5\.5 °"):
        path(angle)


def test_a_straight_track_has_one_course() -> None:
    assert Track(1.25).course(-3e5) == Track(1.25).course(0.0) == 1.25
