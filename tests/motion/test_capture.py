"""Capture of the glide path: where it is, from below, at what height and speed."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.motion.capture import capture_breaches, capture_index
from optdescent.units import DEGREE, FOOT, KNOT, NAUTICAL_MILE
from tests.motion.flights import (
    SCENARIO,
    SINK,
    Columns,
    anywhere,
    dataset_of,
    found,
    good_columns,
    near,
    nothing,
    raise_by,
)
from tests.scenario.files import scenario

PATH = SCENARIO.arrival.glide_path


def test_capture_from_above() -> None:
    breach = found(lambda columns: raise_by(columns, near(columns, 7.0, 1.5), 300.0))["capture from below"]
    assert breach.amount / FOOT == pytest.approx(300.0, abs=1.0)
    assert "300 ft above the glide path" in breach.sentence


def test_above_the_path_farther_out_than_asked_is_no_breach() -> None:
    assert "capture from below" not in found(lambda columns: raise_by(columns, near(columns, 14.0, 1.0), 900.0))


def test_capture_is_where_the_flight_joins_the_path_for_good() -> None:
    """3000 ft above the threshold is on a 3° path at (3000 − 50)/318.4 = 9.26 nm, and 75 ft below it 0.24 nm before."""
    columns = good_columns()
    index = capture_index(SCENARIO, dataset_of(columns))
    assert index is not None
    within = SCENARIO.arrival.gate.off_path / FOOT / 318.44
    assert 9.26 + within - 0.1 <= columns["distance_to_go"][index] / NAUTICAL_MILE <= 9.26 + within


def test_a_flight_that_leaves_the_path_again_captures_later() -> None:
    columns = good_columns()
    raise_by(columns, near(columns, 5.0, 0.55), 100.0)
    index = capture_index(SCENARIO, dataset_of(columns))
    assert index is not None
    assert columns["distance_to_go"][index] / NAUTICAL_MILE == pytest.approx(4.4, abs=0.06)


def test_a_flight_that_never_joins_has_no_capture() -> None:
    columns = good_columns()
    raise_by(columns, columns["distance_to_go"] > 0.0, 200.0)
    assert capture_index(SCENARIO, dataset_of(columns)) in (None, columns["time"].size - 1)


# from below


@pytest.mark.parametrize(("feet", "broken"), [(19.0, False), (21.0, True)])
def test_before_the_path_is_met_20_feet_above_it_count(feet: float, broken: bool) -> None:
    """On the path from 12.5 nm to 11 nm but for some feet, back to level, and to the path from below."""

    def spoil(columns: Columns) -> None:
        early = near(columns, 11.75, 0.75)
        on_path = np.asarray(PATH.height(-columns["distance_to_go"])) - columns["height_above_threshold"]
        raise_by(columns, early, on_path / FOOT + feet)

    breach = found(spoil).get("capture from below")
    assert (breach is not None) is broken
    if breach:
        assert breach.amount / FOOT == pytest.approx(feet, abs=0.01)


@pytest.mark.parametrize(("feet", "broken"), [(70.0, False), (80.0, True)])
def test_a_flight_that_overshoots_as_it_joins_keeps_the_demand_within_75_feet(feet: float, broken: bool) -> None:
    breach = found(lambda columns: raise_by(columns, near(columns, 8.8, 0.42), feet)).get("capture from below")
    assert (breach is not None) is broken


def test_a_flight_that_slides_onto_the_path_from_a_little_above_is_not_from_below() -> None:
    """It is 60 ft above at 12 nm and on the path at 10 nm; the gate's 75 ft do not excuse it."""

    def spoil(columns: Columns) -> None:
        to_go = columns["distance_to_go"] / NAUTICAL_MILE
        on_path = np.asarray(PATH.height(-columns["distance_to_go"])) - columns["height_above_threshold"]
        lift = np.where(to_go < 12.3, on_path / FOOT + np.interp(to_go, [10.0, 12.0], [0.0, 60.0]), 0.0)
        raise_by(columns, anywhere(columns), lift)

    breach = found(spoil, "arrival.glide_path.capture_at_most_ft=3800")["capture from below"]
    assert breach.amount / FOOT == pytest.approx(60.0, abs=0.1)
    assert breach.distance_to_go / NAUTICAL_MILE == pytest.approx(12.0, abs=0.01)


def test_a_flight_on_the_path_since_long_before_may_be_off_it_by_75_feet() -> None:
    def spoil(columns: Columns) -> None:
        to_go = columns["distance_to_go"] / NAUTICAL_MILE
        on_path = np.asarray(PATH.height(-columns["distance_to_go"])) - columns["height_above_threshold"]
        lift = np.where(to_go < 20.0, on_path / FOOT + np.where(near(columns, 11.8, 0.4), 60.0, 0.0), 0.0)
        raise_by(columns, anywhere(columns), lift)

    assert set(found(spoil, "arrival.glide_path.capture_at_most_ft=6500", "arrival.glide_path.below_within_nm=25")) <= {
        "no climb"
    }


# height and speed


def levelled(feet: float) -> Columns:
    """The good flight, level at another height until the path is met."""
    columns = good_columns()
    level = columns["distance_to_go"] < 12.0 * NAUTICAL_MILE
    on_path = np.asarray(PATH.height(-columns["distance_to_go"]))
    wanted = np.where(level, np.minimum(on_path, feet * FOOT), columns["height_above_threshold"])
    raise_by(columns, anywhere(columns), (wanted - columns["height_above_threshold"]) / FOOT)
    columns["vertical_speed"] = np.where(level & (on_path > wanted + 0.1), 0.0, -SINK)
    return columns


@pytest.mark.parametrize(
    ("feet", "amount", "word"),
    [(2785.0, 0.0, ""), (2700.0, 100.0, "low"), (3215.0, 0.0, ""), (3400.0, 200.0, "high")],
)
def test_height_at_capture(feet: float, amount: float, word: str) -> None:
    """2800 to 3200 ft allowed; level flight meets the path at its own height, within a sample's 32 ft."""
    breach = found(lambda columns: columns.update(levelled(feet))).get("height at capture")
    assert (breach is not None) is bool(word)
    if breach:
        assert breach.amount / FOOT == pytest.approx(amount, abs=32.0)
        assert f"ft too {word} at " in breach.sentence


@pytest.mark.parametrize("degrees", [1.0, 2.0, 2.7])
def test_a_slow_joining_that_is_somewhere_at_an_allowed_height_keeps_it(degrees: float) -> None:
    """Down to the path at 3200 ft on a shallow line: capture begins, 75 ft below the path, above 3200 + 20 ft."""

    def spoil(columns: Columns) -> None:
        met = PATH.distance(3200.0 * FOOT)
        shallow = 3200.0 * FOOT - np.tan(degrees * DEGREE) * (-columns["distance_to_go"] - met)
        early = (-columns["distance_to_go"] < met) & (shallow < columns["height_above_threshold"] + 2000.0 * FOOT)
        early &= columns["distance_to_go"] < 20.0 * NAUTICAL_MILE
        on_path = np.asarray(PATH.height(-columns["distance_to_go"]))
        wanted = np.where(early, shallow, np.minimum(on_path, columns["height_above_threshold"]))
        wanted = np.where(columns["distance_to_go"] <= -met, on_path, wanted)
        raise_by(columns, anywhere(columns), (wanted - columns["height_above_threshold"]) / FOOT)
        steep = np.tan(degrees * DEGREE) * columns["ground_speed"]
        columns["vertical_speed"] = np.where(early, -steep, columns["vertical_speed"])
        index = capture_index(SCENARIO, dataset_of(columns))
        assert index is not None
        assert columns["height_above_threshold"][index] > 3220.0 * FOOT

    assert "height at capture" not in found(spoil)


@pytest.mark.parametrize(("most", "broken"), [("165", False), ("140", True)])
def test_speed_at_capture(most: str, broken: bool) -> None:
    """The flight has about 157 kt at 9.4 nm."""
    breach = found(nothing, f"arrival.glide_path.capture_speed_at_most_kt={most}").get("speed at capture")
    assert (breach is not None) is broken
    if breach:
        columns = good_columns()
        at = int(np.argmin(np.abs(columns["distance_to_go"] - breach.distance_to_go)))
        assert breach.amount == pytest.approx(columns["calibrated_airspeed"][at] - 140.0 * KNOT)
        assert "kt faster than allowed" in breach.sentence


@pytest.mark.parametrize("feet", [0.0, 60.0, -60.0])
def test_of_a_flight_that_begins_on_the_path_no_capture_is_judged(feet: float) -> None:
    """From 7 nm, 2280 ft: below the 2800 ft of the lowest capture, which was before."""
    columns = good_columns()
    columns = {name: values[columns["distance_to_go"] < 7.0 * NAUTICAL_MILE] for name, values in columns.items()}
    raise_by(columns, near(columns, 6.8, 0.3), feet)
    tight = scenario("air.wind.kind=none", "arrival.glide_path.capture_speed_at_most_kt=120")
    assert capture_breaches(tight, dataset_of(columns)) == []
