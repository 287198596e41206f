"""Exact windows, limits by distance, floor, hold-downs, further gates and capture from above, on made-up flights."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from optdescent.motion.verdict import breaches, gate_report
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.motion.flights import (
    SCENARIO,
    SINK,
    Columns,
    above,
    anywhere,
    dataset_of,
    found,
    good_columns,
    near,
    nothing,
    put,
    raise_by,
)
from tests.scenario.files import scenario

HEIGHT = float(np.interp(-30.0, -good_columns()["distance_to_go"] / NAUTICAL_MILE, good_columns()["altitude"])) / FOOT
"""Altitude of the good flight at 30 nm [ft]: 8600."""
SPEED = float(
    np.interp(-30.0, -good_columns()["distance_to_go"] / NAUTICAL_MILE, good_columns()["calibrated_airspeed"]) / KNOT
)
"""Its speed there [kt]."""


def window(**demands: float) -> str:
    entries = ",".join(f"{key}={value}" for key, value in demands.items())
    return f'arrival.windows=[{{name="POINT",distance_nm=30,{entries}}}]'


# windows


@pytest.mark.parametrize(("off", "broken"), [(49.0, False), (-49.0, False), (51.0, True), (-51.0, True)])
def test_an_exact_altitude_is_kept_within_50_feet(off: float, broken: bool) -> None:
    breach = found(nothing, window(altitude_at_ft=HEIGHT - off)).get("POINT")
    assert (breach is not None) is broken
    if breach:
        assert f"51 ft {'above' if off > 0 else 'below'} the window at 30.0 nm" in breach.sentence


@pytest.mark.parametrize(("off", "broken"), [(1.9, False), (-1.9, False), (2.6, True), (-2.6, True)])
def test_an_exact_speed_is_kept_within_2_knots(off: float, broken: bool) -> None:
    breach = found(nothing, window(speed_at_kt=SPEED - off)).get("POINT")
    assert (breach is not None) is broken
    if breach:
        assert f"3 kt {'faster' if off > 0 else 'slower'} than the window" in breach.sentence


def test_the_allowance_is_the_window_s_own() -> None:
    assert "POINT" in found(nothing, window(altitude_at_ft=HEIGHT - 40.0, altitude_allowance_ft=30.0))
    assert "POINT" not in found(nothing, window(speed_at_kt=SPEED - 9.0, speed_allowance_kt=10.0))


# speed limits by distance


def test_a_limit_from_a_distance_on_is_judged_from_there() -> None:
    """The flight slows from 250 kt at 40 nm to 230 at 28: 235 at 31 nm, 230 at 28 nm."""
    limit = "arrival.speed_limits=[{within_nm=31,speed_kt=230}]"
    breach = found(nothing, limit)["largest speed"]
    assert breach.distance_to_go / NAUTICAL_MILE == pytest.approx(31.0, abs=0.01)
    assert breach.amount / KNOT == pytest.approx(5.0, abs=0.01)
    assert "largest speed" not in found(nothing, "arrival.speed_limits=[{within_nm=28,speed_kt=230}]")


# floor

FLOOR = (
    "arrival.floor=[{distance_nm=60,altitude_ft=16000},{distance_nm=30,altitude_ft=8000},"
    "{distance_nm=10,altitude_ft=3000}]"
)


def test_a_flight_above_the_floor_keeps_it() -> None:
    assert "floor" not in found(nothing, FLOOR)


@pytest.mark.parametrize(("feet", "broken"), [(-610.0, False), (-625.0, True)])
def test_below_the_floor_by_more_than_can_be_read(feet: float, broken: bool) -> None:
    """At 30 nm the flight has 8600 ft and the floor 8000."""
    breach = found(lambda columns: raise_by(columns, near(columns, 30.0, 0.05), feet), FLOOR).get("floor")
    assert (breach is not None) is broken
    if breach:
        assert breach.sentence == f"floor: {-feet - 600.0:.0f} ft below the floor at 30.0 nm to go"


def test_a_corner_of_the_floor_between_two_points_of_a_flight_is_judged() -> None:
    """Seen every 5 nm: 9266.7 ft at 32 nm and 7842.4 ft at 27 nm, so 8697 ft at 30 nm, under a corner at 9000 ft."""
    columns = {name: values[30::50] for name, values in good_columns().items()}
    points = ((31, 0), (30, 9000), (29, 0))
    entries = ",".join(f"{{distance_nm={distance},altitude_ft={altitude}}}" for distance, altitude in points)
    corner = f"arrival.floor=[{entries}]"
    asked = scenario("air.wind.kind=none", corner)
    breach = next(one for one in breaches(asked, dataset_of(columns)) if one.demand == "floor")
    assert breach.amount / FOOT == pytest.approx(303.0, abs=0.1)
    assert breach.distance_to_go / NAUTICAL_MILE == pytest.approx(30.0)


def test_from_the_capture_on_the_floor_does_not_hold() -> None:
    """3000 ft above mean sea level is 2400 above the threshold, below which the glide path leads."""
    assert "floor" not in found(nothing, "arrival.floor=[{distance_nm=12,altitude_ft=3000}]")


# hold-downs

LEVEL = "arrival.hold_downs=[{altitude_ft=10000,from_nm=45,to_nm=35}]"


def levelled(off: float = 0.0) -> Callable[[Columns], None]:
    """The good flight level at 10 000 ft from 45 to 35 nm, but for some feet in the middle."""

    def spoil(columns: Columns) -> None:
        inside = near(columns, 40.0, 5.05)
        raise_by(columns, inside, 10000.0 - columns["altitude"] / FOOT)
        raise_by(columns, near(columns, 40.0, 1.0), off)

    return spoil


@pytest.mark.parametrize(("off", "word"), [(0.0, ""), (95.0, ""), (-95.0, ""), (140.0, "above"), (-140.0, "below")])
def test_a_hold_down_is_kept_within_its_allowance(off: float, word: str) -> None:
    breach = found(levelled(off), LEVEL, "arrival.windows=[]").get("hold-down at 10000 ft")
    assert (breach is not None) is bool(word)
    if breach:
        assert f"140 ft {word} it at" in breach.sentence


def test_a_hold_down_is_judged_at_its_ends() -> None:
    """The good flight comes down through the level: highest above it where the hold-down begins."""
    breach = found(nothing, LEVEL)["hold-down at 10000 ft"]
    assert breach.distance_to_go / NAUTICAL_MILE == pytest.approx(45.0, abs=0.01)


# gates


def test_a_further_gate_is_judged_by_its_own_demands_and_named() -> None:
    fast = put("calibrated_airspeed", 200.0 * KNOT, lambda columns: above(columns, 0.0, 700.0))
    found_there = found(fast, "arrival.more_gates=[{height_ft=500}]")
    assert set(found_there) == {"gate at 500 ft"}
    assert "kt too fast at 1.4 nm to go" in found_there["gate at 500 ft"].sentence


def test_what_a_further_gate_does_not_ask_for_is_no_breach() -> None:
    up = put("gear", 0.0, lambda columns: above(columns, 0.0, 700.0))
    assert "gate at 500 ft" in found(up, "arrival.more_gates=[{height_ft=500}]")
    assert found(up, "arrival.more_gates=[{height_ft=500,gear_down=false,landing_configuration=false}]") == {}


def test_the_gate_that_decides_is_not_changed_by_further_ones() -> None:
    columns = good_columns()
    asked = scenario("air.wind.kind=none", "arrival.more_gates=[{height_ft=500,sink_ft_per_min=500}]")
    assert gate_report(asked, dataset_of(columns), 1000.0 * FOOT).stable
    gate = asked.arrival.more_gates[0]
    assert gate_report(asked, dataset_of(columns), gate.height, gate).reasons == ("sink rate 700 ft/min",)


def test_a_further_gate_that_is_never_passed_is_named() -> None:
    breach = found(lambda columns: raise_by(columns, anywhere(columns), 600.0), "arrival.more_gates=[{height_ft=500}]")
    assert "never passed" in breach["gate at 500 ft"].sentence


# capture from above

ABOVE = 'arrival.glide_path.capture="above"'
PATH = SCENARIO.arrival.glide_path


def from_above(columns: Columns) -> None:
    """Down to the path at 3000 ft along a line 150 ft per nm steeper than it."""
    to_go = columns["distance_to_go"] / NAUTICAL_MILE
    met = -PATH.distance(3000.0 * FOOT) / NAUTICAL_MILE
    wanted = np.asarray(PATH.height(-columns["distance_to_go"])) / FOOT + 150.0 * np.maximum(to_go - met, 0.0)
    late = to_go < 14.0
    raise_by(columns, late, wanted - columns["height_above_threshold"] / FOOT)


def test_from_above_is_kept_from_above_and_not_from_below() -> None:
    assert not {"capture from above", "capture from below", "height at capture"} & set(found(from_above, ABOVE))
    assert "capture from below" in found(from_above)
    assert "capture from above" in found(nothing, ABOVE)


@pytest.mark.parametrize(("feet", "broken"), [(-19.0, False), (-30.0, True)])
def test_below_the_path_before_it_is_met_from_above(feet: float, broken: bool) -> None:
    def spoil(columns: Columns) -> None:
        from_above(columns)
        dip = near(columns, 11.0, 0.2)
        on_path = np.asarray(PATH.height(-columns["distance_to_go"])) - columns["height_above_threshold"]
        raise_by(columns, dip, on_path / FOOT + feet)

    breach = found(spoil, ABOVE).get("capture from above")
    assert (breach is not None) is broken
    if breach:
        assert "30 ft below the glide path" in breach.sentence


@pytest.mark.parametrize(("sink", "broken"), [(2015.0, False), (2100.0, True)])
def test_sinking_too_fast_to_a_capture_from_above(sink: float, broken: bool) -> None:
    def spoil(columns: Columns) -> None:
        from_above(columns)
        columns["vertical_speed"] = np.where(near(columns, 11.0, 0.3), -sink * FOOT_PER_MINUTE, -SINK)

    breach = found(spoil, ABOVE).get("sink to a capture from above")
    assert (breach is not None) is broken
    if breach:
        assert "100 ft/min too much" in breach.sentence
    assert "sink to a capture from above" not in found(spoil)
