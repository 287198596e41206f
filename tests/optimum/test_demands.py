"""Exact windows, limits by distance, floor, several gates, hold-downs, capture from above: the optimum keeps each."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from optdescent.arrival import floor_at
from optdescent.optimum import DemandsConflict
from optdescent.optimum.events import EventKind
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.pose import Pose
from optdescent.optimum.trajectory import FlownLeg, refly
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.optimum.descents import SHORT, STILL, optimum, scenario

EXACT = (
    'arrival.windows=[{name="ALDER",distance_nm=60,altitude_at_ft=17000},'
    '{name="BRIAR",distance_nm=30,altitude_at_ft=8000,speed_at_kt=240}]',
)
WITHIN = (
    "arrival.speed_limits=[{below_altitude_ft=10000,speed_kt=250},{within_nm=30,speed_kt=250},"
    "{within_nm=25,speed_kt=210}]",
)
FLOOR = (
    "arrival.floor=[{distance_nm=70,altitude_ft=19000},{distance_nm=50,altitude_ft=16000},"
    "{distance_nm=35,altitude_ft=9800},{distance_nm=30,altitude_ft=9000},{distance_nm=12,altitude_ft=3000}]",
)
GATES = (
    "arrival.more_gates=[{height_ft=500,speed_over_kt=5,gear_down=false,landing_configuration=false},"
    "{height_ft=1500,speed_above_reference_kt=20,speed_under_kt=5,landing_configuration=false}]",
)
LEVEL = ("arrival.hold_downs=[{altitude_ft=10000,from_nm=50,to_nm=40}]",)
FAR_LEVEL = ("arrival.hold_downs=[{altitude_ft=20000,from_nm=100,to_nm=90}]",)
ABOVE = ('arrival.glide_path.capture="above"',)
CASES = pytest.mark.parametrize(
    "settings",
    [EXACT, WITHIN, FLOOR, GATES, LEVEL, pytest.param(FAR_LEVEL, marks=pytest.mark.long), ABOVE],
    ids=["exact", "within", "floor", "gates", "level", "far level", "above"],
)


def at(settings: tuple[str, ...], name: str, distance: float) -> float:
    """A column at a distance to go [nm]."""
    flight = optimum(*settings).flight
    return float(np.interp(-distance * NAUTICAL_MILE, -flight.column("distance_to_go"), flight.column(name)))


def before(settings: tuple[str, ...], far: float, near: float) -> np.ndarray:
    """Points between two distances to go [nm]."""
    to_go = optimum(*settings).flight.column("distance_to_go") / NAUTICAL_MILE
    return (to_go <= far) & (to_go >= near)


@CASES
def test_nothing_is_broken_and_the_optimum_is_one(settings: tuple[str, ...]) -> None:
    found = optimum(*settings)
    summary, shown = found.flight.summary, found.solution.certificate
    assert [breach.sentence for breach in summary.breaches] == []
    assert summary.gate.stable
    assert all(gate.stable for gate in summary.more_gates)
    assert shown.local_error <= 1e-6
    assert shown.violation < 1e-6
    assert shown.chatter == ()
    again = refly(found.pose, found.solution)
    assert again.altitude < 5.0 * FOOT
    assert again.speed < 0.2 * KNOT


@pytest.mark.parametrize(("changed", "settings"), list(itertools.product([False, True], [FLOOR, LEVEL, GATES, WITHIN])))
def test_every_number_of_the_demands_is_a_parameter(changed: bool, settings: tuple[str, ...]) -> None:
    """The same demands with other numbers have the same parameters and phases: a sweep rebuilds nothing."""
    numbers = {
        "arrival.floor[0].altitude_ft": 18000,
        "arrival.hold_downs[0].altitude_ft": 10100,
        "arrival.more_gates[1].speed_over_kt": 12,
        "arrival.speed_limits[2].within_nm": 24,
    }
    key = next(name for name in numbers if name.split("[")[0] in settings[0])
    where, other = scenario(*settings), scenario(*settings, *([f"{key}={numbers[key]}"] if changed else []))
    values, others = parameter_values(where), parameter_values(other)
    assert set(values) == set(others)
    differing = [name for name in values if not np.array_equal(values[name], others[name])]
    assert bool(differing) is changed
    order = optimum(*settings).pose.order
    assert [leg.kind for leg in Pose(where, order).legs] == [leg.kind for leg in Pose(other, order).legs]


# windows


def test_an_exact_window_is_met_exactly() -> None:
    assert at(EXACT, "altitude", 60.0) / FOOT == pytest.approx(17000.0, abs=0.5)
    assert at(EXACT, "altitude", 30.0) / FOOT == pytest.approx(8000.0, abs=0.5)
    assert at(EXACT, "calibrated_airspeed", 30.0) / KNOT == pytest.approx(240.0, abs=0.05)


def test_an_exact_window_costs_no_less_than_a_wide_one() -> None:
    assert optimum(*EXACT).solution.cost > optimum().solution.cost


# limits by distance


def test_a_limit_by_distance_holds_from_there_on_and_not_before() -> None:
    speed = optimum(*WITHIN).flight.column("calibrated_airspeed") / KNOT
    assert speed[before(WITHIN, 25.0, 0.0)].max() <= 210.01
    assert speed[before(WITHIN, 26.0, 25.0)].max() > 211.0
    limit = optimum(*WITHIN).flight.column("limit_speed") / KNOT
    assert limit[before(WITHIN, 24.9, 20.0)].max() <= 210.01


# floor


def test_the_floor_is_cut_nowhere_by_more_than_a_foot() -> None:
    """Looked at between the collocation points, at 400 places of every phase, until the capture."""
    found = optimum(*FLOOR)
    floor = found.pose.scenario.arrival.floor
    distances, altitudes = [point.distance for point in floor], [point.altitude for point in floor]
    worst = -np.inf
    for leg in found.pose.legs:
        if leg.has_passed(EventKind.CAPTURE):
            break
        flown = FlownLeg(found.pose, leg, found.solution)
        x = np.linspace(flown.phase.start, flown.phase.end, 400)
        altitude = np.broadcast_to(np.asarray(flown.at(x)[0].pressure_altitude), x.shape)
        worst = max(worst, float(np.max(floor_at(distances, altitudes, -x) - altitude)))
    assert -50.0 * FOOT < worst < 1.0 * FOOT  # it is touched, and not cut


def test_a_floor_costs_fuel() -> None:
    assert optimum(*FLOOR).solution.cost > optimum().solution.cost + 10.0


# gates


def test_each_gate_has_its_own_speeds_and_devices() -> None:
    """Reference speed + 15 to + 30 kt and the gear at 1500 ft; + 5 to + 10 kt at 500 ft."""
    low, high = optimum(*GATES).flight.summary.more_gates
    assert 5.0 - 0.1 <= (low.calibrated_airspeed - low.reference_speed) / KNOT <= 10.1
    assert 15.0 - 0.1 <= (high.calibrated_airspeed - high.reference_speed) / KNOT <= 30.1
    assert high.gear == pytest.approx(1.0)
    assert (low.height, high.height) == (pytest.approx(500.0 * FOOT), pytest.approx(1500.0 * FOOT))


def test_a_gate_that_asks_for_everything_higher_up_brings_the_devices_out_there() -> None:
    settings = ("arrival.more_gates=[{height_ft=2300,speed_over_kt=30}]",)
    gate = optimum(*settings).flight.summary.more_gates[0]
    assert gate.stable
    assert gate.flaps == pytest.approx(4.0)
    assert gate.gear == pytest.approx(1.0)


@pytest.mark.long
def test_a_gate_that_asks_for_no_device_lets_it_travel_past() -> None:
    """A gate at 2000 ft that the optimum without it keeps changes nothing: the last steps are not out there."""
    easy = (
        "{height_ft=2000,speed_above_reference_kt=15,speed_under_kt=5,speed_over_kt=25,"
        "sink_ft_per_min=1500,gear_down=false,landing_configuration=false}"
    )
    found = optimum(f"arrival.more_gates=[{easy}]")
    assert found.flight.summary.more_gates[0].flaps < 3.9
    assert found.solution.cost == pytest.approx(optimum().solution.cost, abs=0.1)


# hold-downs


def test_a_hold_down_is_level_exactly_and_its_thrust_is_paid_for() -> None:
    flight = optimum(*LEVEL).flight
    inside = before(LEVEL, 50.0, 40.0)
    assert flight.column("altitude")[inside] / FOOT == pytest.approx(10000.0, abs=0.01)
    assert flight.column("flight_path_angle")[inside] == pytest.approx(0.0, abs=1e-9)
    thrust = flight.column("thrust_fraction")[inside]
    assert thrust.min() >= -1e-6
    assert thrust.max() > 0.03
    assert flight.summary.thrust_distance > optimum().flight.summary.thrust_distance + 3.0 * NAUTICAL_MILE
    fuel, flow, time = (flight.column(name)[inside] for name in ("fuel_used", "fuel_flow", "time"))
    summed = float(np.sum(0.5 * (flow[1:] + flow[:-1]) * np.diff(time)))
    assert fuel[-1] - fuel[0] == pytest.approx(summed, rel=2e-3)


def test_the_limit_of_the_hold_down_s_own_altitude_begins_with_it() -> None:
    assert optimum(*LEVEL).flight.column("calibrated_airspeed")[before(LEVEL, 50.0, 35.0)].max() <= 250.01 * KNOT


def test_a_hold_down_costs_fuel() -> None:
    assert optimum(*LEVEL).solution.cost > optimum().solution.cost + 5.0


@pytest.mark.long
def test_after_a_far_hold_down_the_level_is_kept_until_idle_reaches() -> None:
    """Idle from the end of a hold-down far out would not lead to the glide path: thrust holds the level longer."""
    found = optimum(*FAR_LEVEL)
    resumed = next(leg for leg in found.pose.legs if leg.ends.kind is EventKind.RESUMED)
    assert -found.solution[resumed.name].end < 88.0 * NAUTICAL_MILE
    flight = found.flight
    behind = flight.column("distance_to_go") < -found.solution[resumed.name].end - 100.0
    idle = behind & (flight.column("distance_to_go") > 10.0 * NAUTICAL_MILE)
    assert np.max(flight.column("thrust_fraction")[idle]) == 0.0


# capture from above


def test_from_above_the_path_is_met_from_above_and_not_too_steeply() -> None:
    flight, path = optimum(*ABOVE).flight, scenario(*ABOVE).arrival.glide_path
    above = flight.column("height_above_threshold") - np.asarray(path.height(-flight.column("distance_to_go")))
    near = before(ABOVE, 12.0, 0.0)
    assert above[near].min() > -1.1 * FOOT
    highest = -path.distance(path.capture_at_most) / NAUTICAL_MILE
    assert above[before(ABOVE, 12.0, highest + 0.5)].min() > scenario(*ABOVE).arrival.gate.off_path
    to_capture = before(ABOVE, 12.0, 10.0)
    assert -flight.column("vertical_speed")[to_capture].min() <= 2000.5 * FOOT_PER_MINUTE


# conflicts


@pytest.mark.parametrize(
    ("settings", "words", "unit"),
    [
        pytest.param(
            (
                *SHORT,
                STILL,
                'arrival.windows=[{name="ALDER",distance_nm=25,altitude_at_ft=10000},'
                '{name="BRIAR",distance_nm=18,altitude_at_ft=5000,speed_at_kt=240}]',
            ),
            "the altitude of window",
            "ft",
            marks=pytest.mark.long,
        ),
        pytest.param(
            (
                "arrival.speed_limits=[{within_nm=30,speed_kt=180}]",
                'arrival.windows=[{name="ALDER",distance_nm=31,speed_at_least_kt=300}]',
            ),
            "180 kt from 30 nm to go on",
            "kt",
            marks=pytest.mark.long,
        ),
        pytest.param(
            (
                STILL,
                "arrival.floor=[{distance_nm=100,altitude_ft=34000},{distance_nm=68,altitude_ft=33000},"
                "{distance_nm=67,altitude_ft=3000}]",
                'arrival.windows=[{name="ALDER",distance_nm=60,altitude_at_most_ft=24000},'
                '{name="BRIAR",distance_nm=57,altitude_at_most_ft=23000},'
                '{name="CEDAR",distance_nm=54,altitude_at_most_ft=22000}]',
            ),
            "the floor",
            "ft",
            marks=pytest.mark.long,
        ),
        pytest.param(
            (
                *SHORT,
                STILL,
                "arrival.more_gates=[{height_ft=1100,speed_above_reference_kt=30,speed_under_kt=5,"
                "gear_down=false,landing_configuration=false}]",
            ),
            "the speed at the gate (1100 ft",
            "kt",
            marks=pytest.mark.long,
        ),
        (
            ("arrival.hold_downs=[{altitude_ft=11000,from_nm=150,to_nm=140}]", "arrival.windows=[]"),
            "the level of the hold-down at 11000 ft from 150 to 140 nm",
            "ft",
        ),
        pytest.param(
            (
                *SHORT,
                STILL,
                *ABOVE,
                'arrival.windows=[{name="CEDAR",distance_nm=13,altitude_at_most_ft=3800}]',
            ),
            "capture from above",
            "ft",
            marks=pytest.mark.long,
        ),
        pytest.param(
            (
                *SHORT,
                STILL,
                "arrival.gate.height_ft=2700",
                'arrival.windows=[{name="LATE",distance_nm=10,speed_at_least_kt=225}]',
            ),
            "the slowest speed of window 'LATE'",
            "kt",
            marks=pytest.mark.long,
        ),
    ],
    ids=["exact", "within", "floor", "gates", "level", "above", "late"],
)
def test_a_demand_that_cannot_be_met_is_named_with_its_size(settings: tuple[str, ...], words: str, unit: str) -> None:
    """All of the way from the scenario, other orders of events included; five in still air, where each is cheaper."""
    with pytest.raises(DemandsConflict) as caught:
        optimum(*settings)
    named = [*(shortfall.demand for shortfall in caught.value.shortfalls), *caught.value.opposing]
    assert any(words in demand for demand in named), str(caught.value)
    assert all(shortfall.amount > 0.0 for shortfall in caught.value.shortfalls)
    assert unit in {shortfall.unit for shortfall in caught.value.shortfalls}, str(caught.value)


def test_a_gate_s_sink_limit_holds_from_its_own_height_on() -> None:
    """On a 3° path in a tailwind 1000 ft/min at 2000 ft is kept only more slowly than without the gate."""
    gate = "{height_ft=2000,speed_above_reference_kt=15,speed_under_kt=5,speed_over_kt=25,landing_configuration=false}"
    settings = (f"arrival.more_gates=[{gate}]",)
    sink = -optimum(*settings).flight.column("vertical_speed")[before(settings, 6.1, 3.0)] / FOOT_PER_MINUTE
    assert sink.max() <= 1000.5
    assert -at((), "vertical_speed", 6.1) / FOOT_PER_MINUTE > 1005.0
