"""Techniques flown: what a crew that is late, coarse, mistaken or cautious does otherwise."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from optdescent.airframe import read_airframe
from optdescent.results import Flight
from optdescent.rules import fly, read_rules
from optdescent.rules.fly import rule_heights
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.rules.made import (
    STEEP,
    feet,
    feet_above,
    first,
    first_where,
    flown,
    index,
    knots,
    knots_over,
    miles,
    rule,
    scenario,
    told,
)
from tests.scenario.files import STUDY

AIRFRAME = read_airframe("narrow-body-twin")
THREE_TO_ONE = read_rules()[0]
"""One mile for each 10 kt of tailwind."""
LOOK = 0.55
"""Distance [nm] between two looks in cruise."""


def top(flight: Flight) -> float:
    """Distance to go [nm] at which the crew leaves the cruise height."""
    return float(miles(flight)[first_where(flight.column("vertical_speed") < -1.0)])


# late


@pytest.mark.parametrize("late", [0.0, 8.0, 20.0])
def test_a_late_crew_starts_down_so_much_later(late: float) -> None:
    """From the look at which the perfect crew does."""
    perfect, flight = flown(rule()), flown(rule(), f"technique.late_s={late}")
    starts = [first_where(one.column("vertical_speed") < -1.0) for one in (perfect, flight)]
    time = perfect.column("time")
    assert abs(time[starts[1]] - time[starts[0]] - late) <= np.diff(time)[starts[0]]


def test_the_log_has_a_late_crew_start_down_where_it_does() -> None:
    flight = flown(rule(), "technique.late_s=20")
    assert abs(first(flight, "starts down") - first_where(flight.column("vertical_speed") < -1.0)) <= 1


def test_a_late_crew_selects_devices_so_much_later_than_its_schedule() -> None:
    flight = flown(rule(), "technique.late_s=12")
    time = flight.column("time")
    for name in (*(step.name for step in AIRFRAME.steps[1:]), "gear"):
        (action,) = told(flight, f"selects {name}")
        speed = float(action.reason.partition("at ")[2].partition(" kt")[0])
        due = first_where(knots(flight) < speed + 0.5)
        assert abs(time[index(flight, action)] - time[due] - 12.0) <= 1.5 * np.max(np.diff(time[due:]))
        assert action.reason.endswith("s late")


def test_a_late_crew_uses_the_brake_so_much_later() -> None:
    """A path too steep for idle: brake is due at 150 ft and lags from there."""
    late = 20.0
    flight = flown(rule({"kind": "angle", "angle_deg": 4.5}), f"technique.late_s={late}")
    time = flight.column("time")
    due = first_where((feet_above(flight) > 150.0) & (miles(flight) < top(flight)))
    out = first_where(flight.column("speed_brake") > 0.01)
    assert abs(time[out] - time[due] - late) <= 2.0 * np.max(np.diff(time[due : out + 1]))


# the wind believed


def wind(bias: float, believed: str, *more: str) -> Flight:
    """Three to one in the measured jet with some knots added from astern, by a crew that believes a wind."""
    added = (
        f'air.wind={{kind="perturbed",of={{kind="profile",sounding="{SOUNDING}"}},bias_from_deg=305,bias_kt={bias}}}'
    )
    settings = ("arrival.windows=[]", added, f'technique.wind="{believed}"', *more)
    return fly(Scenario.from_toml(STUDY, settings), THREE_TO_ONE)


SOUNDING = "nashville-2014-02-21"


def test_who_knows_the_wind_met_starts_down_four_miles_earlier_for_40_knots_from_astern() -> None:
    assert top(wind(40.0, "met")) - top(wind(0.0, "met")) == pytest.approx(4.0, abs=LOOK)


def test_who_believes_the_forecast_starts_down_where_it_would_without_what_disturbs_it() -> None:
    """And goes by heights 1333 ft higher than the wind it meets would have it: 4 nm at 1000 ft in 3 nm."""
    flight = wind(40.0, "forecast")
    assert top(flight) == top(wind(0.0, "forecast")) == top(wind(0.0, "met"))
    free = (miles(flight) > 30.0) & (miles(flight) < 110.0)
    known = rule_heights(scenario(), THREE_TO_ONE, flight)
    assert (flight.column("rule_height") - known)[free] / FOOT == pytest.approx(np.full(free.sum(), 1333.0), abs=10.0)


BAND = rule(
    {
        "kind": "angle",
        "angle_deg": 3.0,
        "terms": [{"kind": "tailwind", "distance_nm": 1.0, "above_height_ft": 10000.0, "below_height_ft": 25000.0}],
    }
)
"""One mile for each 10 kt of mean tailwind of a band of heights."""


def test_the_mean_wind_of_a_band_is_that_met_in_it_and_counts_before_it_is_reached() -> None:
    """With a jet in the band that grows with height; the mean by hand, of what a flight down through it meets."""
    jet = ("air.wind={kind='profile',sounding='nashville-2014-02-21'}",)
    flight = flown(BAND, *jet)
    up, wind_along = feet(flight)[::-1], flight.column("wind_along")[::-1] / KNOT
    within = np.linspace(10000.0, 25000.0, 1501)
    mean = float(np.mean(np.interp(within, up, wind_along)))
    assert mean > 40.0
    assert top(flight) - top(flown(BAND)) == pytest.approx(mean / 10.0, abs=LOOK + 0.1)
    down = (feet(flight) < 10000.0) & (miles(flight) > 13.0)
    assert flight.column("rule_height")[down] == pytest.approx(
        rule_heights(scenario(), rule({"kind": "angle", "angle_deg": 3.0}), flight)[down], abs=0.1
    )
    free = (miles(flight) > 30.0) & (miles(flight) < 100.0)
    same = rule_heights(scenario(*jet), BAND, flight)
    assert flight.column("rule_height")[free] == pytest.approx(same[free], abs=0.1)


def test_who_believes_in_no_wind_starts_down_where_it_would_in_still_air() -> None:
    still = flown(THREE_TO_ONE)
    tops = [top(wind(bias, "none")) for bias in (0.0, 40.0)]
    assert tops == [top(still)] * 2
    assert top(wind(0.0, "met")) > top(still)


def test_the_wind_is_flown_whatever_is_believed() -> None:
    for believed in ("met", "forecast", "none"):
        flight = wind(40.0, believed)
        course = Scenario.from_toml(STUDY).arrival.course
        assert np.degrees(course) == pytest.approx(125.0)
        base = wind(0.0, believed)
        added = np.interp(20e3 * FOOT, flight.column("altitude")[::-1], flight.column("wind_along")[::-1])
        without = np.interp(20e3 * FOOT, base.column("altitude")[::-1], base.column("wind_along")[::-1])
        assert (added - without) / KNOT == pytest.approx(40.0, abs=0.5)


def tail(speed: float, *more: str) -> Flight:
    """Three to one in a constant tailwind [kt]."""
    constant = f"air.wind={{kind='constant',wind_from_deg=305,wind_speed_kt={speed}}}"
    return flown(THREE_TO_ONE, constant, *more)


def test_a_wind_rounded_to_50_knots_jumps_by_five_miles() -> None:
    coarse = "technique.wind_rounding_kt=50"
    assert top(tail(26.0, coarse)) - top(tail(24.0, coarse)) == pytest.approx(5.0, abs=LOOK)
    assert top(tail(26.0)) - top(tail(24.0)) == pytest.approx(0.2, abs=LOOK)
    assert top(tail(24.0, coarse)) == top(tail(0.0))


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_the_error_of_the_believed_wind_moves_the_start_down_by_the_rule_s_miles(seed: int) -> None:
    settings = ("technique.wind_error_kt=30", f"technique.seed={seed}")
    error = scenario(*settings).technique.drawn.wind_error / KNOT
    assert abs(error) > 5.0
    moved = top(flown(THREE_TO_ONE, *settings)) - top(flown(THREE_TO_ONE))
    assert moved == pytest.approx(error / 10.0, abs=LOOK)


# checks


def error_kept(flight: Flight) -> np.ndarray:
    """Height to have less height (look,) [ft]: what a crew that checks now and then goes by."""
    return -feet_above(flight)


@pytest.mark.parametrize("every", [30.0, 60.0])
def test_between_two_checks_a_crew_goes_by_the_error_it_found_at_the_first(every: float) -> None:
    flight = flown(rule(), f"technique.check_every_s={every}")
    time, error = flight.column("time"), error_kept(flight)
    begun = first(flight, "starts down")
    free = np.flatnonzero((np.arange(time.size) > begun) & (miles(flight) > 12.5))
    checks = free[np.abs(error[free] - error[free - 1]) > 1e-6]
    assert checks.size == pytest.approx((time[free[-1]] - time[free[0]]) / (every + 2.0), abs=2)
    between = np.diff(time[checks])
    assert np.all(between >= every - 1e-6)
    assert np.all(between < every + np.max(np.diff(time)))
    asked = rule_heights(scenario(), rule(), flight) - flight.column("height_above_threshold")
    assert error[checks] == pytest.approx(asked[checks] / FOOT, abs=1e-3)


def test_a_crew_that_checks_seldom_is_farther_off_what_its_rule_asks_for() -> None:
    off = []
    for every in (0, 30, 120):
        flight = flown(rule(STEEP), f"technique.check_every_s={every}")
        asked = rule_heights(scenario(), rule(STEEP), flight) - flight.column("height_above_threshold")
        free = (miles(flight) > 15.0) & (miles(flight) < 90.0)
        off.append(float(np.sqrt(np.mean(asked[free] ** 2))))
    assert off[0] < off[1] < off[2]


def test_a_height_worked_out_coarsely_is_a_multiple_of_the_step() -> None:
    flight = flown(rule(), "technique.height_rounding_ft=500")
    free = (miles(flight) < 110.0) & (miles(flight) > 13.0)
    asked = flight.column("rule_height")[free] / FOOT
    assert asked == pytest.approx(np.round(asked / 500.0) * 500.0, abs=1e-6)
    exact = rule_heights(scenario(), rule(), flight)[free] / FOOT
    assert np.max(np.abs(asked - exact)) == pytest.approx(250.0, abs=50.0)


def test_an_error_of_arithmetic_stays_for_five_miles_and_has_the_size_it_is_said_to_have() -> None:
    """Checks a second apart: at every look."""
    errors: list[float] = []
    for seed in range(4):
        settings = ("technique.height_error_ft=300", "technique.check_every_s=1", f"technique.seed={seed}")
        flight = flown(rule(), *settings)
        exact = rule_heights(scenario(*settings), rule(), flight)
        free = (miles(flight) < top(flight) - 1.0) & (miles(flight) > 13.0)
        error = (flight.column("rule_height") - exact)[free] / FOOT
        block = np.floor(miles(flight)[free] / 5.0)
        for number in np.unique(block):
            own = error[block == number]
            assert np.ptp(own) < 1e-3
            errors.append(float(own[0]))
    assert len(errors) > 60
    assert np.std(errors) == pytest.approx(300.0, rel=0.25)
    assert abs(np.mean(errors)) < 3.0 * 300.0 / np.sqrt(len(errors))


# seeds


CARELESS = (
    "technique.height_error_ft=400",
    "technique.wind_error_kt=15",
    "technique.late_s=10",
    "technique.late_spread_s=6",
    "technique.check_every_s=45",
)


def test_the_same_seed_is_the_same_flight_and_another_another() -> None:
    first_one, again, other = (flown(THREE_TO_ONE, *CARELESS, f"technique.seed={seed}") for seed in (3, 3, 4))
    assert first_one.dataset.identical(again.dataset)
    assert first_one.actions == again.actions
    assert not first_one.dataset.identical(other.dataset)
    assert first_one.summary.fuel != other.summary.fuel


@pytest.mark.parametrize(
    "drawn", ["height_error_ft=400", "wind_error_kt=15", "late_spread_s=10"], ids=["arithmetic", "wind", "delay"]
)
def test_each_thing_that_is_drawn_differs_from_seed_to_seed(drawn: str) -> None:
    settings = (f"technique.{drawn}", "technique.late_s=10", "technique.check_every_s=30")
    one, again, other = (flown(THREE_TO_ONE, *settings, f"technique.seed={seed}") for seed in (1, 1, 3))
    assert one.dataset.identical(again.dataset)
    assert not one.dataset.identical(other.dataset)


def test_a_seed_without_anything_to_draw_changes_nothing() -> None:
    one, other = (flown(THREE_TO_ONE, "technique.late_s=5", f"technique.seed={seed}") for seed in (1, 2))
    assert one.dataset.identical(other.dataset)


@pytest.mark.parametrize("seed", [1, 5])
def test_each_crew_is_as_late_as_its_seed_says(seed: int) -> None:
    settings = ("technique.late_s=15", "technique.late_spread_s=8", f"technique.seed={seed}")
    late = scenario(*settings).technique.drawn.late
    assert abs(late - 15.0) > 1.0
    flight = flown(rule(devices=[{"device": "gear", "distance_nm": 14.0}]), *settings)
    time, due = flight.column("time"), first_where(miles(flight) <= 14.0)
    assert abs(time[first(flight, "selects gear")] - time[due] - late) <= np.max(np.diff(time[due:]))


# habits


@pytest.mark.parametrize("margin", [2.0, 10.0])
def test_a_margin_is_kept_below_limits(margin: float) -> None:
    """On a path that takes the crew to 250 kt at 10 000 ft and to the limits of each step."""
    flight = flown(rule(STEEP), f"technique.limit_margin_kt={margin}")
    room = (flight.column("limit_speed") - flight.column("calibrated_airspeed")) / KNOT
    low = (miles(flight) < 90.0) & (flight.column("flaps") == 0.0) & (flight.column("gear") == 0.0)
    assert np.min(room[low]) > margin - 3.0
    assert np.min(room[low]) < margin + 3.0


@pytest.mark.parametrize("most", [300.0, 1000.0])
def test_a_height_is_flown_off_no_faster_than_the_crew_does_at_most(most: float) -> None:
    """The profile falls by 1500 ft where the planned speed falls below minimum clean."""
    profile = {
        "kind": "height",
        "gradient_ft_per_nm": 300.0,
        "allowances": [{"above": "minimum clean", "height_ft": 1500.0}],
    }
    flight = flown(rule(profile), f"technique.most_correction_ft_per_min={most}")
    sink = -flight.column("vertical_speed") / FOOT_PER_MINUTE
    planned = 300.0 * flight.column("ground_speed") / NAUTICAL_MILE * 60.0
    after = (miles(flight) < 16.0) & (miles(flight) > 13.0)
    assert np.max(feet_above(flight)[after]) > 500.0
    more = (sink - planned)[after]
    assert np.max(more) <= most + 20.0
    assert np.max(more) > 0.9 * most


@pytest.mark.parametrize("name", ["step 2", "step 3", "gear"])
def test_devices_are_selected_early_by_so_many_knots(name: str) -> None:
    early = "technique.gear_early_kt=12" if name == "gear" else "technique.flaps_early_kt=12"
    usual, soon = flown(rule()), flown(rule(), early)
    speeds = [knots(flight)[first(flight, f"selects {name}") - 1 :][:2] for flight in (usual, soon)]
    # the schedule's own speed, moved by the mass burned on the way only, lies between two looks
    assert speeds[1][0] > speeds[0][1] + 12.0
    assert speeds[1][1] <= speeds[0][0] + 12.0


def test_early_does_not_mean_above_the_limit_speed() -> None:
    flight = flown(rule(), "technique.flaps_early_kt=60", "technique.gear_early_kt=80")
    for step in AIRFRAME.steps[1:]:
        assert step.limit_speed is not None
        assert knots(flight)[first(flight, f"selects {step.name}")] <= step.limit_speed / KNOT
    assert knots(flight)[first(flight, "selects gear")] <= AIRFRAME.gear.limit_speed / KNOT
    assert not any("step" in breach.sentence or "gear" in breach.sentence for breach in flight.summary.breaches)


def test_the_brake_is_used_from_the_height_at_which_the_crew_does() -> None:
    settings = (
        "technique.brake_full_height_ft=2000",
        "technique.brake_full_speed_kt=100",
        "technique.brake_from_speed_kt=80",
    )
    for height in (300.0, 1200.0):
        flight = flown(rule(STEEP), *settings, f"technique.brake_from_height_ft={height}")
        out = first(flight, "speed brake out")
        assert feet_above(flight)[out] > height
        assert np.all(feet_above(flight)[first(flight, "starts down") : out] <= height)
        assert flight.column("speed_brake")[out] < 0.02 < flight.column("speed_brake")[out + 2]


@pytest.mark.parametrize("below", [5.0, 12.0])
def test_thrust_waits_for_the_speed_at_which_the_crew_uses_it(below: float) -> None:
    flight = flown(rule({"kind": "height", "gradient_ft_per_nm": 220.0}), f"technique.thrust_below_kt={below}")
    settled = (miles(flight) < 100.0) & (miles(flight) > 50.0)
    pushed = settled & (flight.column("thrust_fraction") > 0.02)
    assert pushed.sum() > 20
    assert np.all(knots_over(flight)[pushed] < -below + 3.0)
    assert np.all(knots_over(flight)[settled] >= -below - 0.5)


# what is kept


def test_a_flight_with_its_actions_survives_its_file(tmp_path: Path) -> None:
    flight = flown(rule(devices=[{"device": "gear", "distance_nm": 14.0}]), *CARELESS)
    assert len(flight.actions) > 8
    flight.to_netcdf(tmp_path / "flight.nc")
    again = Flight.from_netcdf(tmp_path / "flight.nc")
    assert again.actions == flight.actions
    assert again.summary == flight.summary
    assert again.dataset.identical(flight.dataset)
