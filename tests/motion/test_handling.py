"""Limits of handling: steepest path, load factor, thrust, speed brake; and where a limit begins."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from optdescent.motion.excess import held, time_since
from optdescent.motion.verdict import breaches
from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.motion.flights import SCENARIO, Columns, above, dataset_of, found, good_columns, near, put
from tests.scenario.files import scenario

BRAKE = SCENARIO.airframe.speed_brake
LATER = SCENARIO.airframe.steps[BRAKE.last_step + 1]
WITH = f"speed brake with {LATER.name}"


@pytest.mark.parametrize(
    ("name", "value", "demand", "amount", "words"),
    [
        ("flight_path_angle", -9.5 * DEGREE, "steepest path", 1.5 * DEGREE, "1.5 degrees too steep"),
        ("load_factor", 0.80, "least load factor", 0.05, "0.05 under the limit"),
        ("load_factor", 1.25, "largest load factor", 0.10, "0.10 over the limit"),
        ("thrust_fraction", -0.03, "idle thrust", 0.03, "3.0 % of the range from idle to largest less than idle"),
        ("thrust_fraction", 1.2, "largest thrust", 0.2, "20.0 % of the range from idle to largest too much"),
    ],
)
def test_a_limit_of_handling_not_kept(name: str, value: float, demand: str, amount: float, words: str) -> None:
    all_found = found(put(name, value, lambda c: near(c, 80.0)))
    assert list(all_found) == [demand]
    breach = all_found[demand]
    assert breach.amount == pytest.approx(amount)
    assert breach.distance_to_go / NAUTICAL_MILE == pytest.approx(80.4, abs=0.11)
    assert breach.sentence == f"{demand}: {words} at {breach.distance_to_go / NAUTICAL_MILE:.1f} nm to go"


@pytest.mark.parametrize(
    ("name", "value"),
    [
        ("flight_path_angle", -8.19 * DEGREE),
        ("load_factor", 0.831),
        ("load_factor", 1.169),
        ("thrust_fraction", -0.0049),
        ("thrust_fraction", 1.0049),
        ("speed_brake", 1.0),
    ],
)
def test_what_cannot_be_read_and_what_is_allowed_is_no_breach(name: str, value: float) -> None:
    assert found(put(name, value, lambda c: near(c, 80.0))) == {}


def test_the_steepest_path_is_the_scenario_s() -> None:
    spoil = put("flight_path_angle", -5.0 * DEGREE, lambda c: near(c, 80.0))
    assert found(spoil, "handling.steepest_path_deg=4.5")["steepest path"].amount == pytest.approx(0.5 * DEGREE)


# speed brake


def out_until(column: str, level: float, late: float, fraction: float) -> Callable[[Columns], None]:
    """Speed brake out at a fraction from 25 nm to some time [s] after a column passes a level [SI], rising."""

    def spoil(columns: Columns) -> None:
        past = int(np.argmax(columns[column] > level if column == "flaps" else columns[column] < level))
        before, after = columns[column][past - 1], columns[column][past]
        share = (level - before) / (after - before)
        passed = columns["time"][past - 1] + share * (columns["time"][past] - columns["time"][past - 1])
        out = (columns["distance_to_go"] < 25.0 * NAUTICAL_MILE) & (columns["time"] <= passed + late)
        columns["speed_brake"] = np.where(out, fraction, 0.0)

    return spoil


@pytest.mark.parametrize(
    ("late", "fraction", "broken"), [(5.9, 1.0, False), (7.1, 0.04, False), (7.1, 0.4, True), (60.0, 0.06, True)]
)
def test_the_speed_brake_is_stowed_below_its_height_after_twice_its_travel_time(
    late: float, fraction: float, broken: bool
) -> None:
    """6 s after 5000 ft, at samples 0.94 s apart."""
    assert pytest.approx(3.0) == BRAKE.travel_time
    breach = found(
        out_until("height_above_threshold", 5000.0 * FOOT, late, fraction), "handling.speed_brake_above_ft=5000"
    ).get("speed brake below 5000 ft")
    assert (breach is not None) is broken
    if breach:
        assert breach.amount == pytest.approx(fraction)
        assert f"{100.0 * fraction:.0f} % still out at " in breach.sentence


@pytest.mark.parametrize(("late", "broken"), [(10.9, False), (12.1, True)])
def test_the_speed_brake_is_stowed_with_a_later_step(late: float, broken: bool) -> None:
    """6 s and the 5 s in which the step travels, from where it begins to move."""
    assert pytest.approx(5.0) == LATER.travel_time
    all_found = found(out_until("flaps", BRAKE.last_step + 0.02, late, 0.3), "handling.speed_brake_above_ft=0")
    assert list(all_found) == ([WITH] if broken else [])
    if broken:
        assert all_found[WITH].amount == pytest.approx(0.3)
        assert "30 % still out at " in all_found[WITH].sentence


def test_a_later_step_left_half_out_does_not_permit_the_speed_brake() -> None:
    def spoil(columns: Columns) -> None:
        columns["flaps"] = np.where(near(columns, 80.0, 2.0), BRAKE.last_step + 0.5, columns["flaps"])
        columns["speed_brake"] = np.where(near(columns, 80.0, 2.0), 0.5, 0.0)

    assert list(found(spoil)) == [WITH]


def test_the_time_to_stow_begins_anew_each_time() -> None:
    time = np.arange(8.0)
    margin = np.array([-1.0, 1.0, 1.0, -1.0, -3.0, 1.0, 1.0, 1.0])
    since = time_since(time, margin)
    assert since[[1, 2, 5, 6, 7]] == pytest.approx([0.5, 1.5, 0.25, 1.25, 2.25])
    assert np.all(since[[0, 3, 4]] == -np.inf)
    assert time_since(time, np.ones(8)) == pytest.approx(time)


# where a limit begins


def test_a_margin_held_includes_the_points_where_it_begins_and_ends() -> None:
    margin, values = np.array([-1.0, 3.0, 2.0, -2.0, -1.0, 0.0]), np.array([0.0, 4.0, 5.0, 7.0, 9.0, 9.5])
    place, kept = held(margin, np.arange(6.0), values)
    assert place == pytest.approx([0.25, 1.0, 2.0, 2.5, 5.0, 5.0])
    assert kept == pytest.approx([1.0, 4.0, 5.0, 6.0, 9.5, 9.5])
    assert held(-np.ones(3), np.arange(3.0))[0].size == 0


@pytest.mark.parametrize("every", [1, 4, 16])
def test_sink_is_judged_at_the_height_where_its_limit_begins(every: int) -> None:
    """Sink that falls with height: 2160 ft/min at 5000 ft, whatever the points: 0.1 nm to 1.6 nm apart."""
    columns = good_columns()
    height = columns["height_above_threshold"] / FOOT
    columns["vertical_speed"] = -np.clip(height * 0.432, 700.0, 2600.0) * FOOT_PER_MINUTE
    coarse = {name: values[::every] for name, values in columns.items()}
    asked = scenario("air.wind.kind=none", "arrival.sink_limits[0].below_height_ft=5000")
    breach = next(b for b in breaches(asked, dataset_of(coarse)) if b.demand == "sink below 5000 ft")
    assert breach.amount / FOOT_PER_MINUTE == pytest.approx(160.0, abs=1.0)
    assert "160 ft/min too much" in breach.sentence


def test_speed_is_judged_at_the_altitude_where_its_limit_begins() -> None:
    """Passing 10 000 ft between two points 1.6 nm apart while slowing: 250 kt + 8 kt there, less at the point below."""
    columns = good_columns()
    altitude = columns["pressure_altitude"] / FOOT
    columns["calibrated_airspeed"] = np.where(
        altitude < 12000.0, (258.0 + (altitude - 10000.0) * 0.02) * KNOT, columns["calibrated_airspeed"]
    )
    columns["calibrated_airspeed"] = np.maximum(columns["calibrated_airspeed"], good_columns()["calibrated_airspeed"])
    columns["limit_speed"] = np.where(altitude < 10000.0, 250.0, 300.0) * KNOT
    coarse = {name: values[::16] for name, values in columns.items()}
    assert float(np.max((coarse["calibrated_airspeed"] - coarse["limit_speed"]) / KNOT)) < 7.0
    breach = next(b for b in breaches(SCENARIO, dataset_of(coarse)) if b.demand == "largest speed")
    assert breach.amount / KNOT == pytest.approx(8.0, abs=0.2)


def test_sinking_fast_just_above_the_height_of_the_limit_is_no_breach() -> None:
    assert found(put("vertical_speed", -1990.0 * FOOT_PER_MINUTE, lambda c: above(c, 2000.0, 3100.0))) == {}
