"""Devices by places, sink rates and checks of a rule, flown."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.airframe import read_airframe
from optdescent.results import Flight
from optdescent.rules.fly import ruled
from optdescent.rules.parts import DeviceName
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT
from tests.rules.made import STEEP, Part, feet, first, first_where, flown, index, knots, miles, rule, scenario, told

AIRFRAME = read_airframe("narrow-body-twin")
NOT_YET = ("technique.gear_early_kt=-20", "technique.flaps_early_kt=-20")
"""So that the schedule selects nothing before the rule does."""
TAIL = ("air.wind={kind='constant',wind_from_deg=305,wind_speed_kt=30}",)
CAPTURE = 9.265
"""3000 ft on a path of 3° through 50 ft at the threshold [nm]."""


def delay(flight: Flight, what: str, due: int) -> tuple[float, float]:
    """Time [s] from the look at which an action was due to when it was taken, and between two looks there."""
    time, at = flight.column("time"), first(flight, what)
    return float(time[at] - time[due]), float(np.max(np.diff(time[due - 1 : at + 2])))


@pytest.mark.parametrize("late", [0.0, 10.0, 25.0])
@pytest.mark.parametrize(
    ("place", "reason"),
    [
        ({"distance_nm": 12.0}, "gear down by 12 nm"),
        ({"height_ft": 4000.0}, "gear down by 4000 ft"),
        ({"at_capture": True}, "gear down by the capture of the glide path"),
    ],
)
def test_a_device_is_selected_at_its_place_and_as_much_later_as_the_crew_is(
    place: Part, reason: str, late: float
) -> None:
    flight = flown(rule(devices=[{"device": "gear", **place}]), *NOT_YET, f"technique.late_s={late}")
    if "height_ft" in place:
        due = first_where(feet(flight) <= 4000.0)
    else:
        due = first_where(miles(flight) <= place.get("distance_nm", CAPTURE))
    taken, look = delay(flight, "selects gear", due)
    assert abs(taken - late) <= look
    (action,) = told(flight, "selects gear")
    assert action.reason.startswith(reason)
    assert ("late" in action.reason) is (late > 0.0)
    assert flight.column("gear")[first(flight, "selects gear") + 1] > 0.0


def test_a_device_travels_for_its_time() -> None:
    """The gear, and each step of slats and flaps, from the look at which it is selected: to within a look each way."""
    flight = flown(rule())
    time, gear, flaps = (flight.column(name) for name in ("time", "gear", "flaps"))
    travels = [("selects gear", gear, 1.0, AIRFRAME.gear.travel_time)]
    for number, step in enumerate(AIRFRAME.steps[1:], 1):
        name = "selects landing" if number == len(AIRFRAME.steps) - 1 else f"selects step {number}"
        travels.append((name, flaps, float(number), step.travel_time))
    for what, column, end, seconds in travels:
        at = first(flight, what)
        out = first_where(column >= end - 1e-6)
        look = float(np.max(np.diff(time[at : out + 1])))
        assert float(time[out] - time[at]) == pytest.approx(seconds, abs=2.0 * look), what


def test_a_device_waits_for_its_limit_speed() -> None:
    flight = flown(rule(devices=[{"device": "gear", "distance_nm": 40.0}]))
    at = first(flight, "selects gear")
    assert miles(flight)[at] < 25.0
    assert knots(flight)[at - 1] >= AIRFRAME.gear.limit_speed / KNOT - 4.0 > knots(flight)[at]


@pytest.mark.parametrize("name", [name for name in DeviceName if name is not DeviceName.GEAR])
def test_a_step_brings_those_before_it_each_below_its_limit(name: DeviceName) -> None:
    flight = flown(rule(devices=[{"device": name.value, "distance_nm": 30.0}]), *NOT_YET)
    asked = list(DeviceName).index(name) + 1
    before = 0
    for step in AIRFRAME.steps[1 : asked + 1]:
        (action,) = told(flight, f"selects {step.name}")
        at = index(flight, action)
        assert at >= before
        assert action.reason.startswith(f"{name.value} of slats and flaps by 30 nm")
        assert step.limit_speed is not None
        assert at == first_where(knots(flight) < step.limit_speed / KNOT - 4.0)
        before = at
    for step in AIRFRAME.steps[asked + 1 :]:
        assert not any("by 30 nm" in action.reason for action in told(flight, f"selects {step.name}"))
    assert miles(flight)[first(flight, "selects gear")] < 12.0


def test_the_schedule_still_selects_what_no_place_asks_for_in_time() -> None:
    flight, without = (flown(rule(devices=devices)) for devices in ([{"device": "gear", "distance_nm": 1.0}], []))
    assert first(flight, "selects gear") == first(without, "selects gear")
    assert told(flight, "selects gear")[0].reason.startswith("airframe's schedule, at 17")


@pytest.mark.parametrize(("miles_earlier", "place"), [(3.0, {"distance_nm": 12.0}), (3.0, {"height_ft": 3500.0})])
def test_a_tailwind_brings_a_device_earlier_by_the_rule_s_miles(miles_earlier: float, place: Part) -> None:
    """One mile for 10 kt; a height is taken higher by what the glide path is in those miles: 955 ft."""
    device = {"device": "gear", **place, "terms": [{"kind": "tailwind", "distance_nm": 1.0, "per_wind_kt": 10.0}]}
    still, tail = (flown(rule(devices=[device]), *NOT_YET, *wind) for wind in ((), TAIL))
    if "height_ft" in place:
        dues = [first_where(feet(f) <= 3500.0 + more) for f, more in ((still, 0.0), (tail, miles_earlier * 318.436))]
    else:
        dues = [first_where(miles(f) <= 12.0 + more) for f, more in ((still, 0.0), (tail, miles_earlier))]
    for flight, due in zip((still, tail), dues, strict=True):
        assert first(flight, "selects gear") == due


# the sink rate that a rule sets


@pytest.mark.parametrize("wind", [(), TAIL])
def test_five_times_the_ground_speed_is_flown_until_the_glide_path(wind: tuple[str, ...]) -> None:
    """Where no speed limit has the crew raise the nose: above 11 000 ft, from a minute after the start down."""
    sink = {"per_speed_ft_per_min": 500.0, "of_speed_kt": 100.0}
    flight = flown(rule(sink=sink), *wind)
    time = flight.column("time")
    free = (time > time[first(flight, "starts down")] + 60.0) & (feet(flight) > 11000.0)
    assert free.sum() > 100
    ratio = -flight.column("vertical_speed") / FOOT_PER_MINUTE / (flight.column("ground_speed") / KNOT)
    assert ratio[free] == pytest.approx(np.full(free.sum(), 5.0), rel=0.01)


def test_who_sets_a_sink_rate_does_not_push_while_high() -> None:
    flight = flown(rule(sink={"per_speed_ft_per_min": 500.0, "of_speed_kt": 100.0}))
    high = (flight.column("height_above_threshold") > flight.column("rule_height") + 500.0 * FOOT) & (
        miles(flight) < 100.0
    )
    assert high.sum() > 50
    assert not np.any(flight.column("thrust_fraction")[high] > 0.05)


def test_the_sink_rate_is_set_whatever_the_height() -> None:
    """4 ft/min for each knot is 240 ft per nm: starting down on 300 ft per nm, the crew ends up high, and flies on."""
    flight = flown(rule(sink={"per_speed_ft_per_min": 400.0}))
    ratio = -flight.column("vertical_speed") / FOOT_PER_MINUTE / (flight.column("ground_speed") / KNOT)
    high = (miles(flight) < 80.0) & (miles(flight) > 40.0)
    assert np.all(flight.column("height_above_threshold")[high] > flight.column("rule_height")[high] + 1000.0 * FOOT)
    assert ratio[high] == pytest.approx(np.full(high.sum(), 4.0), rel=0.01)


def test_a_set_sink_rate_is_rounded_as_the_rule_says() -> None:
    flight = flown(rule(sink={"rounding_ft_per_min": 500.0}))
    sink = -flight.column("vertical_speed") / FOOT_PER_MINUTE
    free = (miles(flight) < 110.0) & (feet(flight) > 10500.0)
    five = 5.0 * flight.column("ground_speed") / KNOT
    nearest = np.floor(five / 500.0 + 0.5) * 500.0
    # the path angle lags by three looks after a change of step
    settled = free & np.array([np.ptp(nearest[max(at - 4, 0) : at + 1]) == 0.0 for at in range(nearest.size)])
    assert set(nearest[settled]) == {1500.0, 2000.0}
    assert sink[settled] == pytest.approx(nearest[settled], rel=0.01)


# what a rule keeps and checks


def test_a_sink_limit_of_the_rule_is_kept_beside_the_arrival_s() -> None:
    """The arrival's own: 2000 ft/min below 3000 ft."""
    limits = [{"below_height_ft": 8000.0, "sink_ft_per_min": 1200.0}]
    free, kept = flown(rule(STEEP)), flown(rule(STEEP, sink_limits=limits))
    low = [feet(flight) < 7900.0 for flight in (free, kept)]
    sinks = [-flight.column("vertical_speed") / FOOT_PER_MINUTE for flight in (free, kept)]
    assert np.max(sinks[0][low[0]]) > 1300.0
    assert np.max(sinks[1][low[1]]) <= 1205.0
    assert np.max(sinks[1][~low[1]]) > 1500.0


def test_a_check_of_the_rule_is_planned_for_and_judged_as_a_further_gate() -> None:
    check = {"height_ft": 2500.0, "speed_over_kt": 10.0}
    checked, plain, steep = flown(rule(checks=[check])), flown(rule()), flown(rule(STEEP, checks=[check]))
    (report,) = checked.summary.more_gates
    assert report.height == pytest.approx(2500.0 * FOOT)
    assert report.stable
    assert not plain.summary.more_gates
    at = first_where(feet(plain) < 2500.0)
    assert knots(plain)[at] > report.calibrated_airspeed / KNOT + 15.0
    assert not steep.summary.more_gates[0].stable
    assert "gate at 2500 ft" in {breach.demand for breach in steep.summary.breaches}
    assert "gate at 2500 ft" not in {breach.demand for breach in flown(rule(STEEP)).summary.breaches}


def test_a_rule_without_limits_and_checks_leaves_the_scenario_as_it_is() -> None:
    as_it_is = scenario()
    assert ruled(as_it_is, rule()) is as_it_is
    assert ruled(as_it_is, rule(checks=[{"height_ft": 2500.0}])).arrival != as_it_is.arrival
