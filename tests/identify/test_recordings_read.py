"""What a recording must have, and how its faults are named."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from optdescent.airframe.declaration import TabulatedPolar
from optdescent.identify import MeasuredSpeed, identify
from optdescent.identify.coefficients import coefficients_of, fixed_values
from optdescent.identify.segments import LONGEST_GAP, columns_used, segments_of
from optdescent.inputs import InputFault
from optdescent.results import Flight
from tests.identify.recordings import AIRFRAME, SCENARIO, Leg, flown, noisy, programme

SPEED = MeasuredSpeed.CALIBRATED
LEGS = (Leg(0, 0, 0, 12000, 280, -3.0, 90), Leg(1, 0, 0, 9000, 200, -3.8, 50), Leg(2, 1, 0, 6000, 170, -5.0, 40))


@cache
def recording() -> Flight:
    return noisy(flown(LEGS), 1)


def put(column: str, rows: list[int], value: float) -> Flight:
    values = recording().column(column).copy()
    values[rows] = value
    return replace(recording(), dataset=recording().dataset.assign({column: ("point", values)}))


def faults(flight: Flight) -> str:
    with pytest.raises(InputFault) as caught:
        identify([("descent.nc", flight)], AIRFRAME)
    return str(caught.value)


def test_segments_lie_at_idle_in_one_settled_configuration() -> None:
    found = segments_of([("a.nc", recording())], AIRFRAME, SPEED, None, 40.0)
    assert [(one.step, one.gear) for one in found] == [(0, 0.0)] * 3 + [(1, 0.0)] * 2 + [(2, 1.0)]
    assert [one.size for one in found] == [31, 30, 30, 26, 25, 41]
    rows = np.concatenate([np.arange(one.first, one.first + one.size) for one in found])
    assert rows.tolist() == list(range(recording().column("time").size)), "no row is used twice, none is lost"


@pytest.mark.parametrize(
    ("column", "value", "left"),
    [("thrust_fraction", 0.2, [30, 30]), ("flaps", 0.5, [30, 30]), ("gear", 0.5, [30, 30])],
)
def test_a_point_that_is_not_idle_or_not_settled_is_left_out(column: str, value: float, left: list[int]) -> None:
    found = segments_of([("a.nc", put(column, [30, 61], value))], AIRFRAME, SPEED, None, 100.0)
    assert [one.size for one in found if one.step == 0] == [*left, 29]
    assert not {30, 61} & {one.first for one in found}


def test_a_gap_in_time_ends_a_segment() -> None:
    late = recording().column("time") + np.where(np.arange(recording().column("time").size) >= 45, LONGEST_GAP, 0.0)
    flight = replace(recording(), dataset=recording().dataset.assign(time=("point", late)))
    found = segments_of([("a.nc", flight)], AIRFRAME, SPEED, None, 100.0)
    assert [one.size for one in found if one.step == 0] == [45, 46]


@pytest.mark.parametrize("column", columns_used(SPEED, None))
def test_a_missing_column_is_named_with_its_file(column: str) -> None:
    flight = replace(recording(), dataset=recording().dataset.drop_vars(column))
    assert f"descent.nc: {column}: column is missing" in faults(flight)


@pytest.mark.parametrize("column", columns_used(SPEED, None)[2:])
def test_rows_that_are_not_numbers_are_named(column: str) -> None:
    assert f"descent.nc: {column}: is not a number in rows 3, 17" in faults(put(column, [3, 17], np.nan))


def test_many_bad_rows_are_counted() -> None:
    text = faults(put("mass", list(range(10, 30)), np.nan))
    assert "rows 10, 11, 12, 13, 14 and 15 more" in text


def test_columns_that_are_not_used_may_be_absent_or_empty() -> None:
    flight = put("true_airspeed", [0], np.nan)
    flight = replace(flight, dataset=flight.dataset.drop_vars(["drag", "thrust"]))
    assert segments_of([("a.nc", flight)], AIRFRAME, SPEED, None, 60.0)


def test_time_must_rise_and_distance_fall() -> None:
    assert "time: stands still or turns back in row 8" in faults(put("time", [8], 7.0))
    to_go = recording().column("distance_to_go").copy()
    to_go[9] = to_go[8]
    flight = replace(recording(), dataset=recording().dataset.assign_coords(distance_to_go=("point", to_go)))
    assert "distance_to_go: stands still or turns back in row 9" in faults(flight)


def test_too_few_points_at_idle_are_refused() -> None:
    thrust = np.full(recording().column("time").size, 0.3)
    thrust[20:26] = 0.0
    flight = replace(recording(), dataset=recording().dataset.assign(thrust_fraction=("point", thrust)))
    text = faults(flight)
    assert "descent.nc: thrust_fraction: too few points at idle" in text
    assert "6 points in all" in text


def test_a_step_that_the_airframe_does_not_have_is_named() -> None:
    assert "flaps: no step of the airframe in row 4" in faults(put("flaps", [4], 7.0))


def test_unknown_and_wrong_fixed_coefficients_are_named() -> None:
    coefficients = coefficients_of(AIRFRAME, "twin")
    with pytest.raises(InputFault, match=r"--fix: gear\.dragg: is no coefficient"):
        fixed_values(["gear.dragg=3"], coefficients)
    with pytest.raises(InputFault, match=r"--fix: gear\.drag: got 'much'"):
        fixed_values(["gear.drag=much"], coefficients)
    assert fixed_values(["gear.drag", "speed_brake.drag=0.03"], coefficients) == {
        "gear.drag": AIRFRAME.gear.drag,
        "speed_brake.drag": 0.03,
    }


def test_an_airframe_in_tables_is_refused_by_its_keys() -> None:
    polar = TabulatedPolar(kind="table", lift_coefficient=(0.0, 0.5, 1.0), drag_coefficient=(0.026, 0.037, 0.07))
    tabled = AIRFRAME.steps[1].model_copy(update={"polar": polar})
    airframe = AIRFRAME.model_copy(update={"steps": (AIRFRAME.steps[0], tabled, *AIRFRAME.steps[2:])})
    with pytest.raises(InputFault) as caught:
        identify([("descent.nc", recording())], airframe, "mine.toml")
    assert [one.key for one in caught.value.faults] == [
        "steps[1].polar.zero_lift_drag",
        "steps[1].polar.induced_drag_factor",
    ]
    assert "not tables" in str(caught.value)


def test_the_air_of_a_scenario_stands_in_for_the_columns() -> None:
    """The flights were flown through the scenario's air, so both tell the same."""
    flight = noisy(flown(programme()), 3)
    own = identify([("a.nc", flight)], AIRFRAME).fit
    bare = replace(flight, dataset=flight.dataset.drop_vars(["wind_along", "wind_across", "temperature"]))
    given = identify([("a.nc", bare)], AIRFRAME, scenario=SCENARIO).fit
    gap = (own.column("value") - given.column("value")) / own.column("standard_error")
    assert np.abs(gap).max() < 0.2
