"""The library's rules flown: laws that hold whatever the numbers are."""

from __future__ import annotations

from functools import cache
from importlib import import_module

import numpy as np
import pytest

from optdescent.results import Flight, Kind
from optdescent.rules import Rule, fly, read_rules
from optdescent.rules.fly import looks
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT
from tests.scenario.files import STUDY

RULES = {rule.name: rule for rule in read_rules()}
STILL = ("air.wind.kind=none",)
WARM = ("air.wind.kind=none", "air.temperature_offset_k=20", "air.qnh_hpa=995")
HEAD = ("air.wind.kind=constant", "air.wind.wind_from_deg=5", "air.wind.wind_speed_kt=60", "arrival.course_deg=5")
AIRS = pytest.mark.parametrize(
    "settings", [(), STILL, WARM, HEAD], ids=["jet", "still", "warm low pressure", "headwind"]
)
EACH = pytest.mark.parametrize("name", RULES)


def rule(name: str) -> Rule:
    return RULES[name]


@cache
def flown(name: str, settings: tuple[str, ...] = ()) -> Flight:
    return fly(Scenario.from_toml(STUDY, settings), rule(name))


@EACH
def test_a_flight_is_the_same_every_time(name: str) -> None:
    again = fly(Scenario.from_toml(STUDY), rule(name))
    assert again.dataset.identical(flown(name).dataset)
    assert again.summary == flown(name).summary
    assert again.kind is Kind.RULE
    assert again.name == name


@AIRS
@EACH
def test_a_flight_goes_from_the_start_to_the_threshold(name: str, settings: tuple[str, ...]) -> None:
    flight, scenario = flown(name, settings), Scenario.from_toml(STUDY, settings)
    assert flight.column("distance_to_go")[0] == pytest.approx(scenario.start.distance)
    assert flight.column("distance_to_go")[-1] == pytest.approx(0.0, abs=1e-6)
    assert flight.column("mach")[0] == pytest.approx(scenario.start.mach)
    assert all(np.all(np.isfinite(flight.column(str(column)))) for column in flight.dataset.data_vars)


@AIRS
@EACH
def test_a_flight_never_climbs_more_than_can_be_read(name: str, settings: tuple[str, ...]) -> None:
    altitude = flown(name, settings).column("altitude")
    assert float(np.max(altitude - np.minimum.accumulate(altitude))) < 20.0 * FOOT


@AIRS
@EACH
def test_time_and_fuel_only_rise(name: str, settings: tuple[str, ...]) -> None:
    flight = flown(name, settings)
    assert np.all(np.diff(flight.column("time")) > 0.0)
    assert np.all(np.diff(flight.column("mass")) < 0.0)
    fuel = np.diff(flight.column("fuel_used"))
    flow, seconds = flight.column("fuel_flow"), np.diff(flight.column("time"))
    assert float(fuel.sum()) == pytest.approx(float((0.5 * (flow[1:] + flow[:-1]) * seconds).sum()), rel=1e-4)


@EACH
def test_at_idle_in_still_air_energy_height_only_falls(name: str) -> None:
    flight = flown(name, STILL)
    idle = flight.column("thrust_fraction") < 1e-4  # the engines approach idle as a lag does, never quite
    energy = flight.column("specific_energy_height")
    both = idle[1:] & idle[:-1]
    assert float(np.sum(-np.diff(flight.column("distance_to_go"))[both])) > 20e3
    assert np.all(np.diff(energy)[both] < 0.0)


@AIRS
@EACH
def test_controls_and_devices_stay_within_their_ends(name: str, settings: tuple[str, ...]) -> None:
    flight, scenario = flown(name, settings), Scenario.from_toml(STUDY, settings)
    for column in ("thrust_fraction", "speed_brake", "gear"):
        values = flight.column(column)
        assert values.min() >= 0.0
        assert values.max() <= 1.0
    limits = scenario.airframe.limits
    load_factor = flight.column("load_factor")
    assert load_factor.min() >= limits.least_load_factor - 1e-12
    assert load_factor.max() <= limits.most_load_factor + 1e-12


@AIRS
@EACH
def test_devices_that_are_out_stay_out(name: str, settings: tuple[str, ...]) -> None:
    flight = flown(name, settings)
    assert np.all(np.diff(flight.column("flaps")) >= -1e-12)
    assert np.all(np.diff(flight.column("gear")) >= -1e-12)


@AIRS
@EACH
def test_the_speed_brake_is_stowed_low_down_and_with_the_landing_steps(name: str, settings: tuple[str, ...]) -> None:
    """Two travel times after the height or the step at which it has to be in, for the crew to stow it."""
    flight, scenario = flown(name, settings), Scenario.from_toml(STUDY, settings)
    brake, time = flight.column("speed_brake"), flight.column("time")
    low = flight.column("height_above_threshold") < scenario.handling.speed_brake_above
    late = flight.column("flaps") > scenario.airframe.speed_brake.last_step + 0.98
    for forbidden in (low, late):
        first = np.flatnonzero(forbidden)[:1]  # none where the landing steps never come out
        for index in first:
            since = time - time[index]
            assert brake[since > 2.0 * scenario.airframe.speed_brake.travel_time].max() < 0.02


@AIRS
@EACH
def test_thrust_waits_until_the_speed_brake_is_in(name: str, settings: tuple[str, ...]) -> None:
    """Both at once only while one of them follows its lag: a few seconds of a whole descent."""
    flight = flown(name, settings)
    descending = flight.column("distance_to_go") < flight.summary.top_of_descent
    both = descending & (flight.column("speed_brake") > 0.1) & (flight.column("thrust_fraction") > 0.05)
    step = np.gradient(flight.column("time"))
    assert float(np.sum(step[both])) < 10.0


@AIRS
@EACH
def test_speed_never_passes_the_limit_by_more_than_a_few_knots_without_saying_so(
    name: str, settings: tuple[str, ...]
) -> None:
    flight = flown(name, settings)
    over = flight.column("calibrated_airspeed") - flight.column("limit_speed")
    reported = any(breach.demand == "largest speed" for breach in flight.summary.breaches)
    # the verdict also looks between the points, at the altitude where a limit begins
    assert reported or float(over.max()) <= 0.5 * KNOT
    assert not reported or float(over.max()) > 0.25 * KNOT


@AIRS
@EACH
def test_a_flight_keeps_flying_speed(name: str, settings: tuple[str, ...]) -> None:
    flight = flown(name, settings)
    assert not any(breach.demand == "least speed" for breach in flight.summary.breaches)


def test_a_crew_looks_every_three_or_four_seconds_to_the_threshold() -> None:
    """At 140 kt near the threshold and 460 kt in cruise; a quarter of the spacing is four times the looks."""
    x = looks(300e3)
    assert x[0] == pytest.approx(-300e3)
    assert x[-1] == 0.0
    spacing = np.diff(x)
    assert np.all(np.diff(spacing) <= 1e-9)
    assert 2.5 < spacing[-1] / (140.0 * KNOT) < 4.5
    assert 2.5 < spacing[0] / (460.0 * KNOT) < 4.5
    assert looks(300e3, 0.25).size == pytest.approx(4 * x.size, rel=0.01)


@EACH
def test_looks_twice_as_often_change_nothing_that_can_be_read(name: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """At the gate: less than 5 ft and half a knot."""
    coarse = flown(name)
    # `optdescent.rules.fly` by attribute is the function of that name
    monkeypatch.setattr(import_module("optdescent.rules.fly"), "looks", lambda length: looks(length, 0.5))
    fine = fly(Scenario.from_toml(STUDY), rule(name))
    assert fine.column("time").size == pytest.approx(2 * coarse.column("time").size, abs=2)
    gate = coarse.summary.gate
    assert gate.reached
    assert abs(fine.summary.gate.calibrated_airspeed - gate.calibrated_airspeed) < 0.5 * KNOT
    where = coarse.column("distance_to_go")[coarse.column("height_above_threshold") >= gate.height][-1]
    heights = [
        float(np.interp(-where, -flight.column("distance_to_go"), flight.column("altitude")))
        for flight in (coarse, fine)
    ]
    assert abs(heights[1] - heights[0]) < 5.0 * FOOT
    # elsewhere the feedback of crew and thresholds magnifies a difference of steps; fuel is the sum of all
    assert fine.summary.fuel == pytest.approx(coarse.summary.fuel, rel=0.005)


def test_a_rule_that_starts_down_too_late_is_high_and_says_so() -> None:
    """A 6.5° line to the threshold: idle and full brake cannot hold it, and the report hides nothing.

    The glide path bounds the height asked for only on the last miles (`below_within`), not out to the cruise.
    """
    late = rule("three-degrees")
    profile = late.profile.model_copy(update={"angle": np.radians(6.5)})
    scenario = Scenario.from_toml(STUDY, ["arrival.windows=[]", "air.wind.kind=none"])
    flight = fly(scenario, late.model_copy(update={"name": "steep", "profile": profile}))
    assert flight.summary.top_of_descent < 0.6 * fly(scenario, late).summary.top_of_descent
    assert flight.summary.breaches or not flight.summary.gate.stable


def test_another_crew_flies_another_flight() -> None:
    name = "three-degrees"
    flight = flown(name, ("technique.height_time_s=40",))
    assert flight.summary.fuel != flown(name).summary.fuel
    assert flight.summary.fuel == pytest.approx(flown(name).summary.fuel, rel=0.1)


def test_a_headwind_costs_time_and_moves_the_top_of_descent_in() -> None:
    still, head = flown("three-to-one", STILL).summary, flown("three-to-one", HEAD).summary
    assert head.time > still.time
    assert head.top_of_descent < still.top_of_descent
