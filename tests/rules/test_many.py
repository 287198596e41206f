"""Thousands of flights at once: each is the one that is flown alone."""

from __future__ import annotations

from copy import deepcopy
from dataclasses import fields, replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from optdescent.results import Flight
from optdescent.rules import Rule, read_rules
from optdescent.rules.fleet import Fleet, flown_together
from optdescent.rules.fly import flown_by, pilot_of, starts_of
from optdescent.rules.many import Flights
from optdescent.scenario import Scenario
from optdescent.units import GRAVITY, KNOT, NAUTICAL_MILE
from tests.rules.made import STEEP, rule
from tests.scenario.files import STUDY

Array = NDArray[np.float64]
COLUMNS = {
    "height": "height_above_threshold",
    "speed": "calibrated_airspeed",
    "true_airspeed": "true_airspeed",
    "vertical_speed": "vertical_speed",
    "ground_speed": "ground_speed",
    "asked_height": "rule_height",
    "asked_speed": "rule_speed",
    "mass": "mass",
    "time": "time",
    "thrust_fraction": "thrust_fraction",
    "speed_brake": "speed_brake",
    "flaps": "flaps",
    "gear": "gear",
    "energy_height": "specific_energy_height",
}
"""What many flights hold, and the column of one flight that it is."""

JET = 'air.wind={{kind="perturbed",of={{kind="profile",sounding="nashville-2014-02-21"}},{}}}'
CREW = (
    "technique.late_s=8",
    "technique.late_spread_s=4",
    "technique.wind_error_kt=10",
    "technique.height_error_ft=200",
    "technique.check_every_s=45",
)
DIFFERENT = (
    (JET.format("seed=1"), "technique.seed=1"),
    (JET.format("random_kt=9,seed=4"), "technique.seed=2", "start.mass_kg=54000"),
    (JET.format("bias_from_deg=305,bias_kt=30"), "technique.seed=3", "air.temperature_offset_k=18", "air.qnh_hpa=990"),
    (JET.format("scale=0.2"), "technique.seed=4", "start.mass_kg=67000", "start.mach=0.74"),
    (JET.format("scale=1.4,shear_kt_per_1000ft=1"), "technique.seed=5", "start.altitude_ft=31000"),
)
"""Mass, wind, temperature, setting, cruise and crew: all that enters a flight as numbers."""
FULL = rule(
    {
        "kind": "points",
        "points": [{"distance_nm": 60, "height_ft": 17000}, {"distance_nm": 10, "height_ft": 3000}],
        "terms": [
            {"kind": "tailwind", "distance_nm": 1.0},
            {"kind": "tailwind_only", "distance_nm": 1.0, "above_height_ft": 9000.0, "below_height_ft": 16000.0},
            {"kind": "mass_above", "distance_nm": 0.3, "reference_t": 60.0},
            {"kind": "temperature_offset", "distance_nm": 1.0},
        ],
        "round_up_nm": 0.5,
    },
    devices=[{"device": "gear", "distance_nm": 14.0, "terms": [{"kind": "tailwind", "distance_nm": 0.5}]}],
    when=[
        {"kind": "high", "use": "speed brake", "by_ft": 400.0, "until_ft": 100.0},
        {"kind": "fast", "use": "level off", "by_kt": 25.0, "until_kt": 5.0},
        {"kind": "slow", "use": "thrust", "by_kt": 8.0, "until_kt": 2.0},
    ],
)


def scenarios(*settings: str, of: tuple[tuple[str, ...], ...] = DIFFERENT) -> list[Scenario]:
    return [Scenario.from_toml(STUDY, (*own, *settings)) for own in of]


def flown(made: Rule, cases: list[Scenario]) -> tuple[Flights, list[Flight]]:
    """Together, and each alone."""
    pilot = pilot_of(cases[0], made)
    assert all(pilot_of(case, made) == pilot for case in cases)
    return flown_together(pilot, cases)[1], [flown_by(pilot, case) for case in cases]


@cache
def library(number: int, *settings: str) -> tuple[Flights, list[Flight]]:
    """A rule of the library, together and each alone."""
    return flown(read_rules()[number], scenarios(*settings))


def assert_same(flights: Flights, alone: list[Flight]) -> None:
    for own, column in COLUMNS.items():
        together: Array = getattr(flights, own)
        single = np.array([flight.column(column) for flight in alone]).T
        if own == "energy_height":  # of one flight above the sea
            single = single - (alone[0].column("altitude") - alone[0].column("height_above_threshold"))[0]
        room = 1e-6 * np.max(np.abs(single))
        np.testing.assert_allclose(together, single, rtol=1e-6, atol=room, err_msg=own)
    assert flights.x == pytest.approx(-alone[0].column("distance_to_go"), abs=1e-6)


@pytest.mark.parametrize(
    ("made", "settings"),
    [
        (read_rules()[1], ()),
        (FULL, (*CREW, "technique.wind_rounding_kt=10")),
        (FULL, ("technique.wind=forecast", "technique.sink_rounding_ft_per_min=100")),
        (rule(STEEP, sink={"rounding_ft_per_min": 100.0}), ("technique.wind=none", "handling.anti_ice.kind=on")),
        (read_rules()[2], ("air.temperature_sounding=nashville-2014-02-21",)),
    ],
    ids=["per mile", "all parts", "forecast", "sink", "warmth"],
)
def test_flights_together_are_those_flown_alone(made: Rule, settings: tuple[str, ...]) -> None:
    flights, alone = flown(made, scenarios(*settings))
    assert_same(flights, alone)
    assert not np.any(flights.is_lost)
    assert np.unique(flights.time[-1]).size == len(alone)


@pytest.mark.parametrize(
    "settings",
    [
        ('air.wind={kind="section",stations=[{sounding="norman-1999-05-04",distance_nm=150},'
         '{sounding="topeka-1999-05-04",distance_nm=20}]}',),
        ("arrival.legs=[{course_deg=80,until_nm=60,radius_nm=5},{course_deg=100,until_nm=30,radius_nm=5}]",),
        ("arrival.hold_downs=[{altitude_ft=11000,from_nm=50,to_nm=40}]", "arrival.windows=[]"),
        ('arrival.glide_path.capture="above"',),
        ('airframe="wide-body-twin"', "start.mass_kg=170000"),
    ],
    ids=["section", "turns", "hold-down", "from above", "other airframe"],
)  # fmt: skip
def test_in_any_scenario(settings: tuple[str, ...]) -> None:
    crews = tuple((f"technique.seed={seed}", f"air.temperature_offset_k={5 * seed}") for seed in range(3))
    flights, alone = flown(read_rules()[0], scenarios(*settings, *CREW, of=crews))
    assert_same(flights, alone)


def test_those_of_the_library_s_first_rule_are_those_flown_alone() -> None:
    for settings in ((), CREW):
        assert_same(*library(0, *settings))


def test_what_they_used_is_what_the_summaries_say() -> None:
    flights, alone = library(0, *CREW)
    summaries = [flight.summary for flight in alone]
    distance, fuel = flights.thrust()
    assert distance == pytest.approx([one.thrust_distance for one in summaries], rel=1e-6)
    assert fuel == pytest.approx([one.thrust_fuel for one in summaries], rel=1e-6)
    assert flights.brake() == pytest.approx([one.brake_distance for one in summaries], rel=1e-6)
    assert -flights.x[flights.first_down] == pytest.approx([one.top_of_descent for one in summaries])
    assert np.ptp(distance) > 1000.0
    assert np.ptp(flights.brake()) > 1000.0


@pytest.mark.parametrize("distance", [160.0, 100.03, 30.0, 4.2, 0.0])
def test_values_at_a_distance_lie_between_those_of_two_looks(distance: float) -> None:
    flights, alone = library(0)
    places = np.array([-flight.column("distance_to_go") for flight in alone])
    for own in ("height", "speed", "mass"):
        expected = [
            np.interp(-distance * NAUTICAL_MILE, place, flight.column(COLUMNS[own]))
            for place, flight in zip(places, alone, strict=True)
        ]
        assert flights.at(getattr(flights, own), distance * NAUTICAL_MILE) == pytest.approx(expected, rel=1e-6)


@pytest.mark.parametrize("distance", [160.01, 400.0, -0.01])
def test_beyond_the_flight_there_is_nothing(distance: float) -> None:
    flights, _ = library(0)
    assert np.all(np.isnan(flights.at(flights.height, distance * NAUTICAL_MILE)))


def test_room_below_the_limits_is_that_of_the_verdict() -> None:
    """But near an altitude or a distance from which on a limit holds: the crew's own approaches it along a ramp."""
    flights, alone = library(0)
    for lane, flight in enumerate(alone):
        over = flight.column("calibrated_airspeed") - flight.column("limit_speed")
        settled = (flight.column("altitude") < 9500.0 * 0.3048) | (flight.column("altitude") > 6000.0)
        own = flights.over_limit[:, lane]
        assert own[settled] == pytest.approx(over[settled], abs=1e-6)


# groups


@pytest.mark.parametrize("settings", [(), CREW], ids=["perfect", "crew"])
def test_a_flight_is_the_same_to_the_last_bit_whichever_flights_it_is_taken_with(settings: tuple[str, ...]) -> None:
    """What is equal in all flights of a group is worked out once: alone all is, in a mixed group little."""
    cases = scenarios(*settings)
    pilot = pilot_of(cases[0], read_rules()[0])
    mixed = flown_together(pilot, cases)[1]
    lighter = [replace(cases[1], start=cases[1].start.model_copy(update={"mass": mass})) for mass in (53e3, 57e3)]
    groups = {0: [cases[0]], 1: [*lighter, cases[1]], 4: [cases[4], cases[2], cases[4]]}
    for number, group in groups.items():
        own = flown_together(pilot, group)[1]
        for name in (one.name for one in fields(Flights) if one.name != "x"):
            together, apart = getattr(mixed, name)[:, number], getattr(own, name)
            lane = len(group) - 1
            assert np.array_equal(apart[:, lane], together, equal_nan=True), (number, name)


def test_what_scenarios_share_is_worked_out_as_if_they_did_not() -> None:
    base = scenarios(*CREW)[1]
    shared = [base, replace(base, temperature_offset=7.0), replace(base, qnh=99000.0)]
    apart = [replace(one, wind=deepcopy(one.wind), technique=deepcopy(one.technique)) for one in shared]
    pilot = pilot_of(base, read_rules()[0])
    for one, other in zip(starts_of(pilot, shared), starts_of(pilot, apart), strict=True):
        assert np.array_equal(one, other)
    late = [replace(base, technique=base.technique.model_copy(update={"seed": seed})) for seed in (1, 2, 1)]
    delays = starts_of(pilot, late)[0][5]
    assert delays[0] == delays[2] != delays[1]


# loss

ABSURD = pytest.mark.filterwarnings("ignore:(invalid value|overflow|divide by zero):RuntimeWarning")
"""What the equations give just before a motion has no solution."""
HEADWIND = "air.wind={{kind='constant',wind_from_deg=125,wind_speed_kt={}}}"


@ABSURD
def test_a_lost_flight_is_told_and_takes_no_other_with_it() -> None:
    """A headwind of 150 kt to the ground: slower than that over the ground the aircraft stands still."""
    cases = scenarios(
        "arrival.windows=[]", of=((HEADWIND.format(20),), (HEADWIND.format(150),), (HEADWIND.format(40),))
    )
    flights, alone = flown(rule(), cases)
    assert flights.is_lost.tolist() == [False, True, False]
    assert alone[1].column("distance_to_go")[-1] > NAUTICAL_MILE
    known = np.isfinite(flights.time[:, 1])
    assert abs(int(known.sum()) - alone[1].column("time").size) <= 1
    assert not np.any(np.isfinite(flights.height[~known, 1]))
    for lane in (0, 2):
        assert flights.height[:, lane] == pytest.approx(
            alone[lane].column("height_above_threshold"), rel=1e-6, abs=1e-3
        )
    judged = Fleet(rule()).judged(cases)
    assert judged.stable.tolist() == [True, False, True]
    assert judged.reasons[1].startswith("lost at ")
    assert not judged.limits_kept[1]


# fleets


def test_a_fleet_answers_in_the_order_asked_whatever_it_has_to_compile() -> None:
    """Starts at other distances, and technique and airframe that are compiled anew."""
    cases = scenarios(
        of=(
            ("start.distance_nm=150",),
            ("technique.check_every_s=60",),
            ("start.distance_nm=160", "start.mass_kg=58000"),
            ("start.distance_nm=150", "start.mass_kg=64000"),
            ("technique.check_every_s=60", "start.mass_kg=66000"),
        )
    )
    made = read_rules()[0]
    distances = (30.0 * NAUTICAL_MILE, 10.0 * NAUTICAL_MILE)
    judged = Fleet(made).judged(cases, distances)
    for number, case in enumerate(cases):
        flight = flown_by(pilot_of(case, made), case)
        summary = flight.summary
        names = ("height_above_threshold", "rule_height", "true_airspeed", "calibrated_airspeed", "rule_speed")
        for place, distance in enumerate(distances):
            there = [float(np.interp(-distance, -flight.column("distance_to_go"), flight.column(n))) for n in names]
            height, asked_height, true, calibrated, asked_speed = there
            more = (true**2 - (asked_speed * true / calibrated) ** 2) / (2.0 * GRAVITY)
            assert judged.excess[place, number] == pytest.approx(height - asked_height + more, abs=2.0)
        assert judged.fuel[number] == pytest.approx(summary.fuel, rel=1e-6)
        assert judged.time[number] == pytest.approx(summary.time, rel=1e-6)
        assert judged.top_of_descent[number] == pytest.approx(summary.top_of_descent, rel=1e-6)


@pytest.mark.parametrize("number", range(3))
def test_many_are_judged_as_one_is(number: int) -> None:
    made, cases = read_rules()[number], scenarios()
    judged = Fleet(made).judged(cases)
    for lane, flight in enumerate(library(number)[1]):
        summary = flight.summary
        assert bool(judged.stable[lane]) == summary.gate.stable
        assert judged.reasons[lane] == "; ".join(summary.gate.reasons)
        assert judged.gate_sink[lane] == pytest.approx(summary.gate.sink, rel=1e-4)
        above = (summary.gate.calibrated_airspeed - summary.gate.reference_speed) / KNOT
        assert judged.above_reference[lane] / KNOT == pytest.approx(above, abs=1e-3)


def test_energy_at_a_gate_far_above_the_sea_is_that_of_true_airspeed() -> None:
    """At 8000 ft a knot too fast counts a quarter more than at the sea."""
    case = scenarios(of=(("arrival.elevation_ft=7000", "arrival.windows=[]", "air.wind.kind=none"),))
    (energy,) = Fleet(rule(STEEP)).judged(case).gate_energy
    flight = flown_by(pilot_of(case[0], rule(STEEP)), case[0])
    gate, height = flight.summary.gate, flight.column("height_above_threshold")
    place, true = (
        float(np.interp(-gate.height, -height, flight.column(name))) for name in ("distance_to_go", "true_airspeed")
    )
    rules = case[0].arrival.gate
    most = gate.reference_speed + rules.speed_above_reference + rules.speed_over
    kinetic = (true**2 - (true * most / gate.calibrated_airspeed) ** 2) / (2.0 * GRAVITY)
    off = gate.height - case[0].arrival.glide_path.height(-place)
    assert (true / gate.calibrated_airspeed) ** 2 > 1.2
    assert kinetic > 200.0
    assert energy == pytest.approx(off + kinetic, abs=2.0)


def test_a_fleet_of_more_than_it_takes_at_a_time_keeps_their_order(monkeypatch: pytest.MonkeyPatch) -> None:
    made, cases = read_rules()[0], scenarios()
    whole = Fleet(made).judged(cases)
    monkeypatch.setattr("optdescent.rules.fleet.AT_A_TIME", 2)
    parts: Any = Fleet(made).judged(cases)
    assert parts.fuel == pytest.approx(whole.fuel, rel=1e-12)
    assert parts.reasons == whole.reasons


def test_scenarios_that_differ_in_the_course_share_a_pilot_unless_legs_turn_onto_it() -> None:
    """The course is a parameter; turns, and the convergence of the meridians, are compiled for it."""
    courses = tuple((f"arrival.course_deg={course}",) for course in (20, 125, 300))
    flights, alone = flown(read_rules()[0], scenarios("arrival.windows=[]", of=courses))
    assert_same(flights, alone)
    assert np.ptp(flights.time[-1]) > 60.0, "other courses meet other tailwinds"
    legs = "arrival.legs=[{course_deg=80,until_nm=60,radius_nm=5}]"
    first, second = scenarios(legs, of=(("arrival.course_deg=100",), ("arrival.course_deg=110",)))
    assert pilot_of(first, rule()) != pilot_of(second, rule())
    assert pilot_of(first, rule()) == pilot_of(first, rule())
