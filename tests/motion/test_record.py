"""Trajectory to Flight: columns, summary, marks."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.air import airspeed, atmosphere
from optdescent.airframe.engine import idle_flow, maximum_flow
from optdescent.airframe.speeds import reference_speed
from optdescent.motion import record, surroundings
from optdescent.motion.verdict import breaches, gate_report
from optdescent.results import Flight, Kind
from optdescent.results.schema import COLUMNS
from optdescent.units import FOOT, GRAVITY, KNOT, NAUTICAL_MILE
from tests.motion.trajectories import straight_down
from tests.scenario.files import scenario

STILL = scenario("air.wind.kind=none")


def recorded(*settings: str, **stretches: tuple[float, float]) -> Flight:
    return record(scenario("air.wind.kind=none", *settings), straight_down(**stretches), Kind.RULE, "made up")


FLIGHT = recorded()


def test_every_column_of_the_schema_is_there_with_its_unit_and_name() -> None:
    assert set(FLIGHT.dataset.data_vars) | {"distance_to_go"} == set(COLUMNS)
    for name, column in COLUMNS.items():
        attributes = FLIGHT.dataset[name].attrs
        assert attributes["long_name"] == column.long_name
        assert attributes.get("units", "1") == column.unit


def test_the_coordinate_is_distance_to_go_and_falls() -> None:
    assert list(FLIGHT.dataset.sizes) == ["point"]
    to_go = FLIGHT.column("distance_to_go")
    assert np.all(np.diff(to_go) < 0.0)
    assert (to_go[0] / NAUTICAL_MILE, to_go[-1]) == pytest.approx((160.0, 0.0))


def test_heights_speeds_and_energy_belong_together() -> None:
    assert FLIGHT.column("altitude")[-1] / FOOT == pytest.approx(600.0)
    assert FLIGHT.column("height_above_threshold") == pytest.approx(FLIGHT.column("altitude") - 600.0 * FOOT)
    true = FLIGHT.column("true_airspeed")
    assert FLIGHT.column("specific_energy_height") - FLIGHT.column("altitude") == pytest.approx(true**2 / (2 * GRAVITY))
    sound = atmosphere.speed_of_sound(FLIGHT.column("pressure_altitude"), 0.0)
    assert FLIGHT.column("mach") == pytest.approx(true / sound)
    assert FLIGHT.column("calibrated_airspeed") == pytest.approx(
        airspeed.calibrated_at(true, FLIGHT.column("pressure_altitude"), sound)
    )
    assert FLIGHT.column("ground_speed") == pytest.approx(true * np.cos(FLIGHT.column("flight_path_angle")))
    assert FLIGHT.column("vertical_speed") == pytest.approx(true * np.sin(FLIGHT.column("flight_path_angle")))


def test_altitude_is_geopotential_and_differs_from_pressure_altitude_on_a_warm_day_and_by_qnh() -> None:
    warm = recorded("air.temperature_offset_k=20", "air.qnh_hpa=1003.25")
    assert warm.column("pressure_altitude") == pytest.approx(FLIGHT.column("pressure_altitude"))
    low = float(warm.column("altitude")[-1] - FLIGHT.column("altitude")[-1]) / FOOT
    assert low == pytest.approx(-274.4 * (288.15 + 20.0) / 288.15, abs=1.0)
    rise = float(warm.column("altitude")[0] - warm.column("altitude")[-1])
    assert rise > 1.06 * float(FLIGHT.column("altitude")[0] - FLIGHT.column("altitude")[-1])


def test_wind_is_recorded_on_the_track() -> None:
    settings = ["air.wind.kind=constant", "air.wind.wind_from_deg=185", "air.wind.wind_speed_kt=40"]
    tail = recorded(*settings, "arrival.course_deg=5")
    across = recorded(*settings, "arrival.course_deg=275")
    assert tail.column("wind_along") / KNOT == pytest.approx(40.0, abs=1e-6)
    assert tail.column("wind_across") == pytest.approx(0.0, abs=1e-6)
    assert across.column("wind_across") / KNOT == pytest.approx(40.0, abs=1e-6)
    assert tail.column("ground_speed") - FLIGHT.column("ground_speed") == pytest.approx(40.0 * KNOT, abs=1e-6)


def test_fuel_and_reference_speed_follow_the_mass() -> None:
    mass = FLIGHT.column("mass")
    assert FLIGHT.column("fuel_used") == pytest.approx(62000.0 - mass)
    assert FLIGHT.column("reference_speed") == pytest.approx(np.asarray(reference_speed(STILL.airframe, mass)))


def test_the_configuration_is_a_flag_of_the_nearest_step() -> None:
    variable = FLIGHT.dataset["configuration"]
    assert variable.dtype == np.int8
    assert variable.attrs["flag_values"].tolist() == [0, 1, 2, 3, 4]
    assert variable.attrs["flag_meanings"].split() == ["clean", "step_1", "step_2", "step_3", "landing"]
    assert np.array_equal(variable.to_numpy(), np.rint(FLIGHT.column("flaps")))


def test_the_limit_speed_is_the_lowest_of_all_that_apply() -> None:
    to_go, limit = FLIGHT.column("distance_to_go") / NAUTICAL_MILE, FLIGHT.column("limit_speed") / KNOT
    altitude = FLIGHT.column("pressure_altitude")
    mach_limit = airspeed.calibrated_from_mach(0.81, atmosphere.pressure(altitude)) / KNOT
    high = altitude > 32000.0 * FOOT
    assert limit[high] == pytest.approx(np.asarray(mach_limit)[high])
    middle = (altitude > 10100.0 * FOOT) & (altitude < 26000.0 * FOOT)
    assert limit[middle] == pytest.approx(335.0)
    below = (altitude < 9990.0 * FOOT) & (to_go > 20.5)
    assert np.any(below)
    assert limit[below] == pytest.approx(250.0)
    assert limit[to_go < 19.5] == pytest.approx(176.0)  # every step and the gear are out there


def test_a_step_is_limited_from_the_moment_it_moves() -> None:
    flaps, limit = FLIGHT.column("flaps"), FLIGHT.column("limit_speed") / KNOT
    just = (flaps > 4 * 0.03) & (flaps < 4 * 0.2)
    assert np.any(just)
    assert limit[just] == pytest.approx(176.0)


def test_the_summary_is_read_off_the_flight() -> None:
    summary = FLIGHT.summary
    assert summary.fuel == pytest.approx(480.0)
    assert summary.time == pytest.approx(1400.0)
    assert summary.top_of_descent / NAUTICAL_MILE == pytest.approx(100.0, abs=0.5)
    assert summary.thrust_distance == summary.thrust_fuel == summary.brake_distance == 0.0


def test_thrust_and_brake_are_counted_where_they_are_used_in_the_descent() -> None:
    flight = recorded(thrust=(50.0, 30.0), brake=(90.0, 80.0))
    assert flight.summary.thrust_distance / NAUTICAL_MILE == pytest.approx(20.0, abs=0.41)
    assert flight.summary.brake_distance / NAUTICAL_MILE == pytest.approx(10.0, abs=0.41)
    pushed = flight.column("thrust_fraction") > 0.0
    pressure = atmosphere.pressure(flight.column("pressure_altitude")[pushed])
    density = atmosphere.density(flight.column("pressure_altitude")[pushed], 0.0)
    idle = np.asarray(idle_flow(STILL.airframe, pressure, 0.0))
    above = 0.5 * (np.asarray(maximum_flow(STILL.airframe, density, flight.column("mach")[pushed])) - idle)
    per_metre = above / flight.column("ground_speed")[pushed]
    assert flight.summary.thrust_fuel == pytest.approx(float(np.mean(per_metre)) * 20.0 * NAUTICAL_MILE, rel=0.03)


def test_thrust_in_cruise_is_not_thrust_in_the_descent() -> None:
    assert recorded(thrust=(160.0, 101.0)).summary.thrust_distance == 0.0


@pytest.mark.parametrize("points", [201, 401, 1601])
def test_what_is_counted_does_not_depend_on_how_many_points_there_are(points: int) -> None:
    flight = record(STILL, straight_down(points, thrust=(50.0, 30.0)), Kind.RULE, "made up")
    assert flight.summary.thrust_distance / NAUTICAL_MILE == pytest.approx(20.0, abs=160.0 / (points - 1) + 1e-9)


def test_the_verdict_is_the_verdict_of_the_dataset() -> None:
    assert FLIGHT.summary.breaches == breaches(STILL, FLIGHT.dataset)
    gate = gate_report(STILL, FLIGHT.dataset, STILL.arrival.gate.height)
    assert FLIGHT.summary.gate == gate


def test_marks_are_what_the_arrival_demanded() -> None:
    marks = FLIGHT.marks
    assert [window.name for window in marks.windows] == ["ALDER", "BRIAR"]
    assert marks.windows[0].highest == pytest.approx(22000.0 * FOOT)
    assert marks.speed_limits[0].speed == pytest.approx(250.0 * KNOT)
    assert marks.gate_height == pytest.approx(1000.0 * FOOT)
    assert marks.steps == ("clean", "step 1", "step 2", "step 3", "landing")


def test_surroundings_are_those_of_the_scenario() -> None:
    around = surroundings(STILL)
    assert around.airframe is STILL.airframe
    assert float(around.track.course(0.0)) == STILL.arrival.course
    assert around.air.qnh == STILL.qnh


def test_a_flight_of_no_rule_has_no_rule_in_its_columns() -> None:
    assert np.all(np.isnan(FLIGHT.column("rule_height")))
