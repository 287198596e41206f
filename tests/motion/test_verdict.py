"""Each way of not keeping a demand, and each reason for not being stable, on made-up flights."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest

from optdescent.airframe.speeds import manoeuvre_speed
from optdescent.motion.verdict import breaches, gate_report
from optdescent.results import GateReport
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.motion.flights import (
    MASS,
    SCENARIO,
    TARGET,
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

GATE = SCENARIO.arrival.gate.height


def report(spoil: Callable[[Columns], None], *settings: str) -> GateReport:
    columns = good_columns()
    spoil(columns)
    return gate_report(scenario("air.wind.kind=none", *settings), dataset_of(columns), GATE)


def test_a_good_flight_breaks_nothing_and_is_stable() -> None:
    assert found(nothing) == {}
    gate = report(nothing)
    assert gate.stable
    assert gate.reasons == ()
    assert gate.calibrated_airspeed == pytest.approx(TARGET)
    assert gate.sink == pytest.approx(700.0 * FOOT_PER_MINUTE)
    assert gate.off_path == pytest.approx(0.0, abs=1e-6)


# windows


@pytest.mark.parametrize(
    ("feet", "distance", "window", "amount", "words"),
    [
        (5000.0, 60.0, "ALDER", 1600.0, "1600 ft above the window"),
        (-4000.0, 60.0, "ALDER", 1400.0, "1400 ft below the window"),
        (3000.0, 30.0, "BRIAR", 1600.0, "1600 ft above the window"),
    ],
)
def test_a_window_missed_in_altitude(feet: float, distance: float, window: str, amount: float, words: str) -> None:
    """The flight passes 60 nm at 18 600 ft (16 000 to 22 000) and 30 nm at 8600 ft (7000 to 10 000)."""
    breach = found(lambda columns: raise_by(columns, near(columns, distance), feet))[window]
    assert breach.amount / FOOT == pytest.approx(amount, abs=1.0)
    assert breach.distance_to_go / NAUTICAL_MILE == pytest.approx(distance)
    assert words in breach.sentence
    assert f"{distance:.1f} nm" in breach.sentence


@pytest.mark.parametrize(
    ("setting", "amount", "words"),
    [
        ("arrival.windows[0].speed_at_most_kt=270", 10.0, "10 kt faster"),
        ("arrival.windows[0].speed_at_least_kt=300", 20.0, "20 kt slower"),
    ],
)
def test_a_window_missed_in_speed(setting: str, amount: float, words: str) -> None:
    """The flight passes 60 nm at 280 kt."""
    breach = found(nothing, setting)["ALDER"]
    assert breach.amount / KNOT == pytest.approx(amount, abs=0.1)
    assert words in breach.sentence


@pytest.mark.parametrize(("feet", "broken"), [(3419.0, False), (3421.0, True)])
def test_a_window_is_judged_to_20_feet(feet: float, broken: bool) -> None:
    """18 600 + 3420 = 22 000 + 20 ft."""
    assert ("ALDER" in found(lambda columns: raise_by(columns, near(columns, 60.0), feet))) is broken


def test_windows_are_judged_by_qnh_below_the_transition() -> None:
    """At 1003.25 hPa the window's 10 000 ft are 10 274 ft pressure altitude: 200 ft above 10 000 is then inside."""

    def spoil(columns: Columns) -> None:
        columns["pressure_altitude"] = np.where(near(columns, 30.0), 10200.0 * FOOT, columns["pressure_altitude"])

    assert "BRIAR" in found(spoil)
    assert "BRIAR" not in found(spoil, "air.qnh_hpa=1003.25")


# limits


def test_too_fast() -> None:
    breach = found(put("calibrated_airspeed", 305.0 * KNOT, lambda c: near(c, 100.0)))["largest speed"]
    assert breach.amount / KNOT == pytest.approx(5.0)
    assert breach.distance_to_go / NAUTICAL_MILE == pytest.approx(100.5, abs=1.0)
    assert "5 kt over the limit" in breach.sentence


@pytest.mark.parametrize(("excess", "broken"), [(0.4, False), (0.6, True)])
def test_speed_is_judged_to_half_a_knot(excess: float, broken: bool) -> None:
    assert bool(found(put("calibrated_airspeed", (300.0 + excess) * KNOT, lambda c: near(c, 100.0)))) is broken


def test_too_slow_for_the_step_that_is_out() -> None:
    clean = float(manoeuvre_speed(SCENARIO.airframe, 0, MASS))
    breach = found(put("calibrated_airspeed", clean - 8.0 * KNOT, lambda c: near(c, 25.0)))["least speed"]
    assert breach.amount / KNOT == pytest.approx(8.0)
    assert "8 kt under the manoeuvring speed" in breach.sentence


def test_a_step_counts_for_the_least_speed_only_when_it_is_fully_out() -> None:
    slow = float(manoeuvre_speed(SCENARIO.airframe, 1, MASS)) + 1.0 * KNOT

    def spoil(flaps: float) -> Callable[[Columns], None]:
        def inner(columns: Columns) -> None:
            columns["calibrated_airspeed"] = np.where(near(columns, 25.0), slow, columns["calibrated_airspeed"])
            columns["flaps"] = np.where(near(columns, 25.0), flaps, columns["flaps"])

        return inner

    assert "least speed" not in found(spoil(1.0))
    assert "least speed" in found(spoil(0.9))


@pytest.mark.parametrize(("sink", "broken"), [(2015.0, False), (2150.0, True)])
def test_sinking_too_fast_low_down(sink: float, broken: bool) -> None:
    spoil = put("vertical_speed", -sink * FOOT_PER_MINUTE, lambda c: above(c, 2000.0, 2900.0))
    breach = found(spoil).get("sink below 3000 ft")
    assert (breach is not None) is broken
    if breach:
        assert breach.amount / FOOT_PER_MINUTE == pytest.approx(150.0)
        assert "150 ft/min too much" in breach.sentence


def test_sinking_fast_high_up_is_no_breach() -> None:
    assert found(put("vertical_speed", -4000.0 * FOOT_PER_MINUTE, lambda c: above(c, 3500.0, 30000.0))) == {}


def test_sinking_too_fast_at_the_last_point_counts() -> None:
    spoil = put("vertical_speed", -2500.0 * FOOT_PER_MINUTE, lambda c: c["distance_to_go"] < 1.0)
    assert "sink below 3000 ft" in found(spoil)


@pytest.mark.parametrize(("feet", "broken"), [(15.0, False), (200.0, True)])
def test_climbing(feet: float, broken: bool) -> None:
    """In cruise, so that a step up is a climb and nothing else."""
    breach = found(lambda columns: raise_by(columns, near(columns, 130.0), feet)).get("no climb")
    assert (breach is not None) is broken
    if breach:
        assert breach.amount / FOOT == pytest.approx(200.0)
        assert "climbs 200 ft" in breach.sentence


def test_a_slow_climb_counts_from_the_lowest_point_before_it() -> None:
    """Ten steps of 15 ft: none readable alone, together 150 ft."""

    def spoil(columns: Columns) -> None:
        to_go = columns["distance_to_go"] / NAUTICAL_MILE
        for step in range(10):
            raise_by(columns, (to_go < 150.0 - step) & (to_go > 115.0), 15.0)

    assert found(spoil)["no climb"].amount / FOOT == pytest.approx(150.0)


def test_a_climb_counts_in_the_middle_of_a_descent_too() -> None:
    """A bump of 500 ft at 20 nm, far below the cruise; the point before it is at most 26 ft higher."""
    breach = found(lambda columns: raise_by(columns, near(columns, 20.0), 500.0))["no climb"]
    assert 470.0 < breach.amount / FOOT < 500.0


def test_breaches_come_farthest_first_and_all_of_them() -> None:
    def spoil(columns: Columns) -> None:
        raise_by(columns, near(columns, 60.0), 5000.0)
        columns["calibrated_airspeed"] = np.where(near(columns, 100.0), 310.0 * KNOT, columns["calibrated_airspeed"])
        columns["vertical_speed"] = np.where(
            above(columns, 2000.0, 2900.0), -3000.0 * FOOT_PER_MINUTE, columns["vertical_speed"]
        )

    columns = good_columns()
    spoil(columns)
    places = [breach.distance_to_go for breach in breaches(SCENARIO, dataset_of(columns))]
    assert places == sorted(places, reverse=True)
    assert {"ALDER", "largest speed", "sink below 3000 ft"} <= set(found(spoil))


# gate


@pytest.mark.parametrize(
    ("column", "value", "words"),
    [
        ("flaps", 3.0, "flaps at 3.0 of 4, not in the landing configuration"),
        ("flaps", 3.9, "flaps at 3.9 of 4"),
        ("gear", 0.9, "gear not down"),
        ("calibrated_airspeed", TARGET + 15.0 * KNOT, "5 kt too fast"),
        ("calibrated_airspeed", TARGET - 3.0 * KNOT, "3 kt too slow"),
        ("vertical_speed", -1100.0 * FOOT_PER_MINUTE, "sink rate 1100 ft/min"),
    ],
)
def test_each_reason_for_not_being_stable(column: str, value: float, words: str) -> None:
    gate = report(put(column, value, lambda c: above(c, 0.0, 1300.0)))
    assert not gate.stable
    assert len(gate.reasons) == 1
    assert words in gate.reasons[0]


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("flaps", 3.985),
        ("gear", 0.985),
        ("calibrated_airspeed", TARGET + 10.4 * KNOT),
        ("calibrated_airspeed", TARGET - 0.4 * KNOT),
        ("vertical_speed", -1015.0 * FOOT_PER_MINUTE),
    ],
)
def test_what_cannot_be_read_is_not_judged(column: str, value: float) -> None:
    assert report(put(column, value, lambda c: above(c, 0.0, 1300.0))).stable


@pytest.mark.parametrize(("feet", "side"), [(90.0, "above"), (-90.0, "below")])
def test_off_the_glide_path_at_the_gate(feet: float, side: str) -> None:
    gate = report(lambda columns: raise_by(columns, above(columns, 100.0, 2000.0), feet))
    assert gate.off_path / FOOT == pytest.approx(feet, abs=1.0)
    assert gate.reasons == (f"90 ft {side} the glide path",)


def test_what_the_gate_does_not_ask_for_is_no_reason() -> None:
    def spoil(columns: Columns) -> None:
        columns["flaps"] = np.zeros_like(columns["flaps"])
        columns["gear"] = np.zeros_like(columns["gear"])

    assert len(report(spoil).reasons) == 2
    assert report(spoil, "arrival.gate.gear_down=false", "arrival.gate.landing_configuration=false").stable


def test_several_reasons_are_all_given() -> None:
    def spoil(columns: Columns) -> None:
        columns["gear"] = np.zeros_like(columns["gear"])
        columns["calibrated_airspeed"] = columns["calibrated_airspeed"] + 40.0 * KNOT

    assert len(report(spoil).reasons) == 2


@pytest.mark.parametrize("feet", [5000.0, -40000.0])
def test_a_flight_that_never_passes_the_gate_is_not_stable_and_says_so(feet: float) -> None:
    gate = report(lambda columns: raise_by(columns, anywhere(columns), feet))
    assert not gate.reached
    assert not gate.stable
    assert "never passes 1000 ft" in gate.reasons[0]
    assert math.isnan(gate.calibrated_airspeed)


def test_the_last_passage_counts_and_is_interpolated() -> None:
    columns = good_columns()
    raise_by(columns, near(columns, 2.0, 0.3), 600.0)  # back above 1000 ft between 2.3 and 1.7 nm
    columns["gear"] = np.where(columns["distance_to_go"] / NAUTICAL_MILE < 2.2, 0.0, columns["gear"])
    gate = gate_report(SCENARIO, dataset_of(columns), GATE)
    assert "gear not down" in gate.reasons
    columns = good_columns()
    columns["calibrated_airspeed"] = columns["height_above_threshold"] / 10.0
    assert gate_report(SCENARIO, dataset_of(columns), GATE).calibrated_airspeed == pytest.approx(GATE / 10.0)


@pytest.mark.parametrize("every", [1, 3, 7, 11])
def test_the_gate_says_the_same_height_above_the_path_as_the_capture_from_below(every: int) -> None:
    """A flight ever farther above the path down to the gate, seen at few points: 0.1 nm to 1.1 nm apart.

    320 - 30 d ft above a path of 50 + 318.4 d ft, with d nm to go: 1000 ft are passed at 2.184 nm, 254.5 ft above it.
    """
    columns = good_columns()
    lift = np.interp(columns["distance_to_go"] / NAUTICAL_MILE, [0.0, 3.0, 7.0], [320.0, 230.0, 0.0])
    raise_by(columns, anywhere(columns), lift)
    dataset = dataset_of({name: values[::every] for name, values in columns.items()})
    above_path = gate_report(SCENARIO, dataset, GATE).off_path
    breach = next(b for b in breaches(SCENARIO, dataset) if b.demand == "capture from below")
    assert breach.amount == pytest.approx(above_path, abs=1e-6)
    assert breach.amount / FOOT == pytest.approx(254.5, abs=0.1)


def test_what_is_not_known_is_not_judged() -> None:
    """A recording may lack a column, or the worst point of it."""

    def spoil(columns: Columns) -> None:
        columns["load_factor"] = np.full_like(columns["load_factor"], np.nan)
        columns["thrust_fraction"] = np.where(near(columns, 50.0), np.nan, 1.2)

    assert set(found(spoil)) == {"largest thrust"}


@pytest.mark.parametrize(("over", "is_broken"), [(49.0, False), (51.0, True)])
def test_landing_mass_is_judged_where_the_flight_ends(over: float, is_broken: bool) -> None:
    """A recording may end miles before the threshold."""
    columns = {name: values[:1561] for name, values in good_columns().items()}
    columns["mass"] = np.full(columns["time"].size, SCENARIO.airframe.masses.most_landing + over)
    told = {breach.demand: breach for breach in breaches(SCENARIO, dataset_of(columns))}
    assert ("landing mass" in told) is is_broken
    if is_broken:
        assert told["landing mass"].amount == pytest.approx(over)
        assert told["landing mass"].distance_to_go == pytest.approx(4.0 * NAUTICAL_MILE)
