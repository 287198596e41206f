"""A crew and the arrival's demands: what it flies where the rule says something else."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from optdescent.arrival import Arrival
from optdescent.inputs import validated
from optdescent.results import Flight
from optdescent.rules import fly, read_rules
from optdescent.rules.bounds import bounded
from optdescent.rules.rule import Ask
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY

RULES = {rule.name: rule for rule in read_rules()}
FLOOR = (
    "arrival.floor=[{distance_nm=70,altitude_ft=19000},{distance_nm=50,altitude_ft=16000},"
    "{distance_nm=35,altitude_ft=9800},{distance_nm=12,altitude_ft=3000}]"
)
LEVEL = "arrival.hold_downs=[{altitude_ft=11000,from_nm=50,to_nm=40}]"
WITHIN = "arrival.speed_limits=[{below_altitude_ft=10000,speed_kt=250},{within_nm=25,speed_kt=210}]"
EXACT = (
    'arrival.windows=[{name="ALDER",distance_nm=60,altitude_at_ft=17000},'
    '{name="BRIAR",distance_nm=30,altitude_at_ft=8000,speed_at_kt=240}]'
)
SLOWER = "300-feet-per-mile"


@cache
def flown(name: str, *settings: str) -> Flight:
    return fly(Scenario.from_toml(STUDY, settings), RULES[name])


def at(flight: Flight, name: str, distance: float) -> float:
    return float(np.interp(-distance * NAUTICAL_MILE, -flight.column("distance_to_go"), flight.column(name)))


def breached(flight: Flight) -> set[str]:
    return {breach.demand for breach in flight.summary.breaches}


def arrival(**tables: object) -> Arrival:
    return validated(Arrival, {"airport": "Made (invented)", "elevation_ft": 0, "course_deg": 0, **tables}, "x")


def asked(made: Arrival, distance: float, feet: float) -> Ask:
    """What a crew makes of a rule that asks for a height [ft] at a distance to go [nm], in the standard atmosphere."""
    return bounded(made, -distance * NAUTICAL_MILE, Ask(100.0, feet * FOOT, 0.05), lambda published: published)


# what the crew asks of itself


@pytest.mark.parametrize(("distance", "floor"), [(70.0, 15000.0), (60.0, 15000.0), (40.0, 10000.0), (20.0, 5000.0)])
def test_a_rule_below_the_floor_is_raised_to_it(distance: float, floor: float) -> None:
    made = arrival(floor=[{"distance_nm": 60, "altitude_ft": 15000}, {"distance_nm": 20, "altitude_ft": 5000}])
    assert float(asked(made, distance, 3500.0).height) / FOOT == pytest.approx(floor)
    assert float(asked(made, distance, 20000.0).height) / FOOT == pytest.approx(20000.0)


def test_the_floor_ahead_counts_where_it_rises() -> None:
    hill = [
        {"distance_nm": 50, "altitude_ft": 5000},
        {"distance_nm": 30, "altitude_ft": 9000},
        {"distance_nm": 20, "altitude_ft": 4000},
    ]
    made = arrival(floor=hill)
    heights = [float(asked(made, distance, 3500.0).height) / FOOT for distance in (50.0, 31.0, 25.0, 20.0)]
    assert heights == pytest.approx([9000.0, 9000.0, 6500.0, 4000.0])


def test_a_hold_down_is_asked_for_before_on_and_not_after_it() -> None:
    made = arrival(hold_downs=[{"altitude_ft": 8000, "from_nm": 40, "to_nm": 30}])
    low = [asked(made, distance, 4000.0) for distance in (60.0, 40.0, 35.0, 29.0)]
    assert [float(ask.height) / FOOT for ask in low] == pytest.approx([8000.0, 8000.0, 8000.0, 4000.0])
    assert [float(ask.held) for ask in low] == [0.0, 0.0, 1.0, 0.0]
    high = [float(asked(made, distance, 30000.0).height) / FOOT for distance in (55.0, 45.0, 35.0, 29.0)]
    assert high == pytest.approx([11000.0, 8000.0, 8000.0, 30000.0])


def test_from_above_the_crew_flies_a_line_that_meets_the_path_at_the_middle_of_the_capture() -> None:
    """3000 ft on a 3° path is 9.26 nm out; at 12 nm the line is 150 ft per nm of 2.74 nm above 3871 ft."""
    made = arrival(glide_path={"capture": "above"})
    assert float(asked(made, 12.0, 2000.0).height) / FOOT == pytest.approx(4282.0, abs=2.0)
    assert float(asked(made, 20.0, 2000.0).height) / FOOT == pytest.approx(4282.0, abs=2.0)
    assert float(asked(made, 9.26, 2000.0).height) / FOOT == pytest.approx(3000.0, abs=2.0)
    assert float(asked(made, 5.0, 2000.0).height) / FOOT == pytest.approx(50.0 + 5.0 * 318.44, abs=1.0)


# flights


@pytest.mark.parametrize("name", RULES)
def test_no_rule_is_flown_below_the_floor(name: str) -> None:
    assert "floor" not in breached(flown(name, FLOOR))


def test_without_the_floor_the_same_rule_is_below_it() -> None:
    """So that the floor is what keeps it up."""
    flight, raised = flown("three-to-one"), flown("three-to-one", FLOOR)
    assert at(flight, "altitude", 50.0) < 16000.0 * FOOT - 300.0 * FOOT
    assert at(raised, "altitude", 50.0) > 16000.0 * FOOT - 20.0 * FOOT


@pytest.mark.parametrize("name", RULES)
def test_a_hold_down_is_flown_level_with_thrust_that_the_engines_spool_to(name: str) -> None:
    flight = flown(name, LEVEL)
    assert "hold-down at 11000 ft" not in breached(flight)
    to_go = flight.column("distance_to_go") / NAUTICAL_MILE
    late = (to_go < 45.0) & (to_go > 40.5)
    assert flight.column("thrust_fraction")[late].min() > 0.01
    speed = flight.column("calibrated_airspeed")[late]
    assert np.max(np.abs(speed - flight.column("rule_speed")[late])) < 5.0 * KNOT
    spool = Scenario.from_toml(STUDY).airframe.engines.spool_time
    rate = np.abs(np.diff(flight.column("thrust_fraction"))) / np.diff(flight.column("time"))
    assert rate.max() <= 1.0 / spool + 1e-6


def test_after_the_hold_down_the_rule_goes_on() -> None:
    flight = flown("three-to-one", LEVEL)
    assert at(flight, "altitude", 30.0) < 10000.0 * FOOT
    assert flight.summary.gate.stable


@pytest.mark.parametrize("name", RULES)
def test_a_limit_by_distance_is_kept(name: str) -> None:
    assert "largest speed" not in breached(flown(name, WITHIN))
    assert at(flown(name, WITHIN), "calibrated_airspeed", 24.9) < 211.0 * KNOT
    assert at(flown("three-degrees"), "calibrated_airspeed", 24.9) > 215.0 * KNOT


def test_a_crew_can_keep_exact_windows() -> None:
    assert not {"ALDER", "BRIAR"} & breached(flown("three-to-one", EXACT))


def test_a_window_s_least_speed_is_planned_and_held_with_thrust() -> None:
    slow = 'arrival.windows=[{name="CEDAR",distance_nm=15}]'
    fast = 'arrival.windows=[{name="CEDAR",distance_nm=15,speed_at_least_kt=220}]'
    assert at(flown(SLOWER, slow), "calibrated_airspeed", 15.0) < 215.0 * KNOT
    assert "CEDAR" not in breached(flown(SLOWER, fast))


def test_a_further_gate_s_least_speed_is_held_until_it() -> None:
    gate = (
        "arrival.more_gates=[{height_ft=1500,speed_above_reference_kt=20,speed_under_kt=5,landing_configuration=false}]"
    )
    flight = flown(SLOWER, gate)
    assert "gate at 1500 ft" not in breached(flight)
    assert flight.summary.gate.stable


@pytest.mark.parametrize("name", ["300-feet-per-mile", "three-degrees"])
def test_a_capture_from_above_is_flown_from_above(name: str) -> None:
    flight = flown(name, 'arrival.glide_path.capture="above"', "air.wind.kind=none")
    assert not {"capture from above", "sink to a capture from above", "height at capture"} & breached(flight)
