"""A recorded flight is judged by the same verdict: no finer than its sigmas, and not where it has gaps."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.motion.excess import SIGMAS, readable, time_since
from optdescent.motion.verdict import breaches, gate_report
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.motion.flights import SCENARIO, Columns, above, dataset_of, good_columns


def fast(columns: Columns, knots: float) -> None:
    columns["calibrated_airspeed"] = np.where(
        np.abs(columns["distance_to_go"] - 50.0 * NAUTICAL_MILE) < 2000.0,
        (300.0 + knots) * KNOT,
        columns["calibrated_airspeed"],
    )


@pytest.mark.parametrize(("knots", "told"), [(3.9, []), (4.1, ["largest speed"])])
def test_nothing_is_judged_finer_than_four_sigmas_of_its_column(knots: float, told: list[str]) -> None:
    columns = good_columns()
    fast(columns, knots)
    dataset = dataset_of(columns)
    assert [one.demand for one in breaches(SCENARIO, dataset)] == ["largest speed"]
    dataset["calibrated_airspeed"].attrs["sigma"] = 1.0 * KNOT
    assert [one.demand for one in breaches(SCENARIO, dataset)] == told


def test_what_can_be_read_is_never_less_than_by_eye() -> None:
    dataset = dataset_of(good_columns())
    assert readable(dataset, "altitude", 6.0) == 6.0
    dataset["altitude"].attrs["sigma"] = 1.0
    assert readable(dataset, "altitude", 6.0) == 6.0
    assert readable(dataset, "altitude", 6.0, times=2) == 2.0 * SIGMAS


def test_a_good_flight_with_a_gap_has_no_breach_and_no_warning_of_numbers() -> None:
    columns = good_columns()
    for name, values in columns.items():
        if name not in ("distance_to_go", "time"):
            values[400:500] = np.nan
    dataset = dataset_of(columns)
    assert breaches(SCENARIO, dataset) == ()
    assert set(dataset["configuration"].to_numpy()[400:500]) == {-1}


@pytest.mark.parametrize(
    ("name", "reason"),
    [
        ("flaps", "slats and flaps not known"),
        ("gear", "gear not known"),
        ("calibrated_airspeed", "speed not known"),
        ("vertical_speed", "sink rate not known"),
    ],
)
def test_a_gate_is_not_passed_stable_by_what_is_not_known(name: str, reason: str) -> None:
    columns = good_columns()
    assert gate_report(SCENARIO, dataset_of(columns), 1000.0 * FOOT).stable
    columns[name][above(columns, 500.0, 1500.0)] = np.nan
    report = gate_report(SCENARIO, dataset_of(columns), 1000.0 * FOOT)
    assert report.reached
    assert report.reasons == (reason,)


def test_a_gate_in_a_gap_is_not_reached() -> None:
    columns = good_columns()
    columns["height_above_threshold"][above(columns, 900.0, 1100.0)] = np.nan
    report = gate_report(SCENARIO, dataset_of(columns), 1000.0 * FOOT)
    assert not report.reached
    assert report.reasons == ("passes 1000 ft above the threshold in a gap",)


def test_a_margin_out_of_a_gap_counts_from_there() -> None:
    time = np.arange(8.0)
    margin = np.array([-1.0, np.nan, np.nan, 2.0, 2.0, 2.0, -1.0, 1.0])
    assert time_since(time, margin)[3:] == pytest.approx([0.0, 1.0, 2.0, -np.inf, 0.5])
