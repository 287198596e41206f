"""Turns, courses and positions of a track."""

from __future__ import annotations

import math

import numpy as np
import pytest
from geographiclib.geodesic import Geodesic

from optdescent.arrival import Track
from optdescent.arrival.legs import Leg, Position, leg_faults, route_along, track_of, turns_of
from optdescent.arrival.track import Turn
from optdescent.inputs import validated

MILE, DEGREE = 1852.0, math.pi / 180.0
LEGS = tuple(
    validated(Leg, table, "legs")
    for table in (
        {"course_deg": 125.0, "until_nm": 18.5, "radius_nm": 2.5},
        {"course_deg": 35.0, "until_nm": 13.0, "radius_nm": 2.5},
    )
)
FINAL = 305.0 * DEGREE
TRACK = Track(FINAL, turns_of(LEGS, FINAL))
HOME = validated(Position, {"latitude_deg": 36.0, "longitude_deg": -94.5}, "position")
THERE = (HOME.latitude, HOME.longitude)
X = np.linspace(-60e3, 0.0, 60001)


def test_courses_before_between_and_after_the_turns() -> None:
    at = [float(TRACK.course(-MILE * d)) / DEGREE % 360.0 for d in (100.0, 15.8, 5.0)]
    assert at == pytest.approx([125.0, 35.0, 305.0], abs=1e-9)


def test_curvature_is_the_slope_of_the_course_and_steady_at_the_radius() -> None:
    curvature = np.asarray(TRACK.curvature(X))
    assert curvature == pytest.approx(np.gradient(np.asarray(TRACK.course(X)), X), abs=2e-8)
    assert curvature.min() == pytest.approx(-1.0 / (2.5 * MILE), rel=1e-12)
    assert curvature.max() == 0.0


def test_the_course_is_twice_differentiable() -> None:
    turn = TRACK.turns[0]
    for edge in (turn.begins, turn.begins + turn.roll, turn.ends - turn.roll, turn.ends):
        for step in (0.5, 0.25):
            left = (turn.curvature(edge) - turn.curvature(edge - step)) / step
            right = (turn.curvature(edge + step) - turn.curvature(edge)) / step
            assert abs(float(right) - float(left)) < 1e-8 * step


def test_a_closed_traffic_pattern_comes_back() -> None:
    """The course integrated by hand, on a plane: downwind, base and final end where they should."""
    course = np.asarray(TRACK.course(X))
    east, north = np.trapezoid(np.sin(course), X), np.trapezoid(np.cos(course), X)
    # Sharp corners, less what each rounded corner saves of both legs: R tan(45 deg) - R pi/4 a leg.
    saved = 2.5 * MILE * (math.tan(math.pi / 4) - math.pi / 4)
    legs = [(125.0, 60e3 - 18.5 * MILE + saved), (35.0, 5.5 * MILE + 2 * saved), (305.0, 13.0 * MILE + saved)]
    assert east == pytest.approx(sum(d * math.sin(c * DEGREE) for c, d in legs), abs=60.0)
    assert north == pytest.approx(sum(d * math.cos(c * DEGREE) for c, d in legs), abs=60.0)


def test_the_side_may_be_the_longer_way_round() -> None:
    table = {"course_deg": 125.0, "until_nm": 30.0, "radius_nm": 2.0, "side": "right"}
    turn = turns_of((validated(Leg, table, "leg"),), 35.0 * DEGREE)[0]
    assert turn.change == pytest.approx(270.0 * DEGREE)


def test_positions_are_the_geodesics_own() -> None:
    """GeographicLib (Karney 2013) both as the tool and, by its inverse, as the check."""
    straight = Track(125.0 * DEGREE)
    route, added = route_along(straight, THERE, (-296e3, -100e3, 0.0, 15e3))
    line = Geodesic.WGS84.Inverse(float(route.latitude[0]), float(route.longitude[0]), 36.0, -94.5)
    assert line["s12"] == pytest.approx(296e3, abs=1e-3)
    assert line["azi2"] == pytest.approx(125.0, abs=1e-9)
    assert (125.0 + added[0] / DEGREE) == pytest.approx(line["azi1"], abs=1e-9)
    assert added[2] == 0.0


def test_convergence_is_that_of_clairaut() -> None:
    """On a sphere sin(course) cos(latitude) is constant along a geodesic (Clairaut); the ellipsoid is near one."""
    track = track_of(125.0 * DEGREE, (), HOME)
    route, _ = route_along(Track(125.0 * DEGREE), THERE, (-296e3,))
    course = float(track.course(-296e3))
    expected = math.sin(125.0 * DEGREE) * math.cos(36.0 * DEGREE)
    assert math.sin(course) * math.cos(float(route.latitude[0]) * DEGREE) == pytest.approx(expected, abs=2e-4)
    assert course < 125.0 * DEGREE - 0.02


def test_a_turning_track_keeps_its_length_on_the_ellipsoid() -> None:
    places = tuple(np.linspace(-40e3, 0.0, 401))
    route, _ = route_along(TRACK, THERE, places)
    steps = [
        Geodesic.WGS84.Inverse(*a, *b)["s12"]
        for a, b in zip(
            list(zip(route.latitude, route.longitude, strict=True))[:-1],
            list(zip(route.latitude, route.longitude, strict=True))[1:],
            strict=True,
        )
    ]
    assert sum(steps) == pytest.approx(40e3, abs=2.0)


@pytest.mark.parametrize(
    ("tables", "said"),
    [
        ([{"until_nm": 18.5}, {"until_nm": 20.0}], "less than the leg before, 18.5 nm"),
        ([{"until_nm": 18.5}, {"until_nm": 16.0, "course_deg": 35.0}], "overlap by"),
        ([{"until_nm": 9.0, "course_deg": 35.0}], "before the glide path may be captured"),
        ([{"until_nm": 40.0, "course_deg": 125.0}], "a `side`, 'left' or 'right', for half a turn"),
        ([{"until_nm": 40.0, "course_deg": 305.01, "side": "right"}], "turns of up to 340 degrees"),
    ],
)
def test_legs_that_cannot_be_flown_are_named(tables: list[dict[str, float]], said: str) -> None:
    legs = tuple(validated(Leg, {"course_deg": 125.0, "radius_nm": 2.5, **table}, "legs") for table in tables)
    faults = leg_faults(legs, FINAL, 9.9 * MILE)
    assert any(said in f"{given} {allowed}" for _, given, allowed in faults)


def test_a_turn_of_a_half_mile_is_rolled_in_over_half_its_length() -> None:
    turn = Turn(-20e3, 900.0, 0.5)
    assert turn.roll == pytest.approx(0.5 * turn.length)
    assert float(turn.turned(turn.ends)) == pytest.approx(1.0, abs=1e-12)
    assert float(turn.turned(turn.begins)) == 0.0
