"""Orders of events that are hard to find: selections that coincide with the capture, overlaps that pay, conflicts."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.airframe.speeds import devices
from optdescent.ocp import Memory, Outcome, find_chatter
from optdescent.optimum import DemandsConflict, find_optimum
from optdescent.optimum.columns import FIRST_FLIGHT
from optdescent.optimum.conflict import NotConverged, Shortfall, least_size, telling
from optdescent.optimum.events import Event, EventKind
from optdescent.optimum.first_trial import first_trial
from optdescent.optimum.optimise import Optimum
from optdescent.optimum.progress import silent
from optdescent.optimum.question import OptimumQuestion
from optdescent.optimum.trajectory import refly
from optdescent.results.sweep import Status
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.optimum.descents import SHORT, STILL, optimum, scenario
from tests.optimum.test_question import block_of

HARDLY_SLOWS = (
    "airframe=regional-jet",
    "start.mass_kg=31087",
    "start.altitude_ft=18000",
    "start.mach=0.57",
    "start.distance_nm=91.6",
    "air.temperature_offset_k=14.1",
    'air.wind={kind="constant",wind_from_deg=92,wind_speed_kt=11}',
    "arrival.course_deg=287",
    "arrival.windows=[]",
    "arrival.speed_limits=[{within_nm=30,speed_kt=220}]",
)
"""A heavy regional jet in a light tailwind: with its first step out it does not slow on the path of three degrees."""
HEAVY = (
    "airframe=wide-body-twin",
    "start.mass_kg=143637",
    "start.mach=0.764",
    "start.distance_nm=144.9",
    "air.temperature_offset_k=-22.8",
    'air.wind={kind="constant",wind_from_deg=56,wind_speed_kt=42}',
    "arrival.course_deg=265",
    "cost.time_kg_per_min=2",
    'arrival.windows=[{name="ALDER",distance_nm=55,altitude_at_least_ft=17519,altitude_at_most_ft=20619},'
    '{name="BRIAR",distance_nm=44,altitude_at_least_ft=16305}]',
    "arrival.gate.height_ft=500",
)
"""A heavy wide-body, which slows on the path with the gear only."""
FROM_ABOVE = (
    "airframe=narrow-body-twin",
    "start.mass_kg=61038",
    "start.altitude_ft=29000",
    "start.mach=0.686",
    "start.distance_nm=165.6",
    "air.temperature_offset_k=-24.7",
    "air.qnh_hpa=1007.7",
    "air.wind.sounding=nashville-2014-02-21",
    "arrival.elevation_ft=600",
    "arrival.course_deg=199",
    "cost.time_kg_per_min=25",
    "handling.configuration=scheduled",
    "arrival.glide_path.angle_deg=3.5",
    'arrival.windows=[{name="ALDER",distance_nm=72,altitude_at_most_ft=30600},{name="BRIAR",distance_nm=36,altitude_at_least_ft=12185}]',
    "arrival.speed_limits=[{below_altitude_ft=10000,speed_kt=250}]",
    "arrival.glide_path.capture=above",
    "arrival.gate.height_ft=500",
)
"""A costly minute, cold, and a steep path captured from above."""
LEVEL_AT_IDLE = (
    STILL,
    "airframe=wide-body-twin",
    "start.mass_kg=147373",
    "start.altitude_ft=12000",
    "start.mach=0.478",
    "start.distance_nm=72.7",
    "handling.configuration=free",
    'arrival.windows=[{name="ALDER",distance_nm=66,altitude_at_ft=10500},'
    '{name="BRIAR",distance_nm=43,altitude_at_ft=10500}]',
)
"""Two windows at one altitude, 23 nm apart, in a descent at idle."""


LOW_BY_THE_WINDOW = (
    STILL,
    'arrival.windows=[{name="ALDER",distance_nm=60,altitude_at_ft=21000},'
    '{name="BRIAR",distance_nm=30,altitude_at_least_ft=7000,altitude_at_most_ft=7800}]',
)
"""So low at 30 nm that it gets to the glide path only slowly: with two steps out, which no order tried first has."""


def _speed_beside(found: Optimum, event: Event, beyond: float) -> float:
    """Calibrated airspeed [m/s] a distance [m] before an event is reached."""
    leg = next(leg for leg in found.pose.legs if leg.ends == event)
    x = -found.flight.column("distance_to_go")
    return float(np.interp(found.solution[leg.name].end - beyond, x, found.flight.column("calibrated_airspeed")))


@pytest.mark.parametrize(
    "settings",
    [HARDLY_SLOWS, pytest.param(HEAVY, marks=pytest.mark.long)],
    ids=["regional jet", "wide-body"],
)
def test_a_device_is_selected_as_the_speed_falls_to_its_own(settings: tuple[str, ...]) -> None:
    """Not later, when it has fallen lower and rises again on the path: that would put off the drag for miles."""
    found = optimum(*settings)
    assert found.solution.outcome is Outcome.SOLVED
    assert find_chatter(found.solution) == ()
    assert found.flight.summary.gate.stable
    for device in devices(found.pose.scenario.airframe):
        event = Event(EventKind.SELECTED, device.number)
        leg = next(leg for leg in found.pose.legs if leg.ends == event)
        if leg.has_passed(EventKind.CAPTURE):
            begun, there = (_speed_beside(found, event, away) for away in (found.solution[leg.name].length, 0.0))
            assert begun > there, device.name


def test_an_order_whose_overlap_would_pay_is_flown_without_it() -> None:
    found = optimum(*FROM_ABOVE)
    assert found.solution.outcome is Outcome.SOLVED
    assert found.flight.summary.gate.stable
    assert [breach.sentence for breach in found.flight.summary.breaches] == []


@pytest.mark.slow
def test_a_demand_that_gives_way_in_one_order_may_hold_in_another() -> None:
    """Of two orders the better one gives up 108 ft of a window; in the one found by way of them nothing gives way."""
    found = optimum(*LOW_BY_THE_WINDOW)
    assert found.solution.outcome is Outcome.SOLVED
    assert found.flight.summary.gate.stable
    assert [breach.sentence for breach in found.flight.summary.breaches] == []
    assert found.solution.cost < 525.0


@pytest.mark.slow
def test_an_optimum_that_lives_by_the_room_of_a_speed_is_sought_without() -> None:
    """Light in still air: 0.2 kt below the second step's speed as the path is met puts that step off, for 9 kg."""
    settings = (STILL, "start.mass_kg=54000")
    assert first_trial(scenario(*settings), silent, Memory(), is_firm=False).lives_by_room
    found = optimum(*settings)
    assert found.pose.is_firm
    assert found.solution.cost > 445.0
    for leg in found.pose.legs:
        x = -found.flight.column("distance_to_go")
        within = (x >= found.solution[leg.name].start) & (x <= found.solution[leg.name].end)
        if leg.has_passed(EventKind.CAPTURE) and leg.pending and within.any():
            mass, speed = (found.flight.column(name)[within] for name in ("mass", "calibrated_airspeed"))
            least = leg.pending[0].scheduled_speed(found.pose.scenario.airframe, mass)
            assert float(np.max(least - speed)) < 0.01 * KNOT, leg.name


@pytest.mark.long
def test_in_a_sweep_an_optimum_without_room_is_no_start_for_its_neighbours() -> None:
    """In 11 kt less of tailwind its order costs 16 kg more than the best one, which needs no room."""
    axes = [{"kind": "values", "key": "added_tailwind_kt", "values": [0.0, -11.0]}]
    found = block_of(OptimumQuestion(with_slopes=False), axes, HARDLY_SLOWS).arrays
    assert found["status"].tolist() == [Status.SOLVED] * 2
    assert found["cost"] == pytest.approx([188.0, 194.7], abs=0.5)
    assert found["start"].tolist() == [FIRST_FLIGHT] * 2


def test_the_smallest_conflict_of_all_searches_is_told() -> None:
    large, small = (DemandsConflict((Shortfall("the floor", feet, "ft"),), size=feet / 100) for feet in (900.0, 10.0))
    nothing = NotConverged("iterations")
    assert telling(large, small) is small
    assert telling(nothing, large) is large
    assert telling(nothing, NotConverged("time")) is nothing


def test_a_conflict_names_what_stands_against_or_says_that_nothing_does() -> None:
    floor, gate = Shortfall("the floor", 10.0, "ft"), Shortfall("the height of the gate", 20.0, "ft")
    assert str(DemandsConflict((floor,), ("the height of a window",))).endswith("against: the height of a window")
    assert "none of the other demands" in str(DemandsConflict((floor,)))
    assert "stands against" not in str(DemandsConflict((floor, gate)))


def test_no_conflict_is_told_where_a_relaxation_relaxes_nothing() -> None:
    conflict, descent = DemandsConflict((Shortfall("the floor", 10.0, "ft"),), size=0.1), NotConverged("time", 0, True)
    assert telling(conflict, NotConverged("iterations"), descent) is descent


@pytest.mark.slow
def test_orders_tried_in_vain_are_relaxed_beside_a_small_conflict() -> None:
    """600 ft/min are 120 too few on three degrees; in the first order step 2 would have to come 3 kt sooner besides."""
    with pytest.raises(DemandsConflict) as caught:
        optimum(*SHORT, STILL, "arrival.gate.sink_ft_per_min=600")
    (only,) = caught.value.shortfalls
    assert (only.demand, only.unit) == ("the sink limit of the gate", "ft/min")
    assert caught.value.size == pytest.approx(only.amount / 100.0), "counted once, though several phases have it"


def test_a_conflict_that_every_order_has_is_told_after_one() -> None:
    """The path has 1002 ft where the gate asks for 1000: no other order gives way by less."""
    told: list[str] = []
    two_off = scenario("arrival.gate.distance_nm=2.98961")
    with pytest.raises(DemandsConflict) as caught:
        find_optimum(two_off, told.append)
    assert sum("looking for the demands that conflict" in words for words in told) == 1
    assert caught.value.size == pytest.approx(least_size(two_off), rel=1e-3)


@pytest.mark.parametrize(("gates", "feet"), [((2.983334,), 0.0), ((2.98961,), 1.98), ((2.98961, 1.41), 1.98)])
def test_the_least_size_of_a_conflict_is_that_of_the_gate_farthest_from_the_path(
    gates: tuple[float, ...], feet: float
) -> None:
    """The path has 1000 ft at 2.98333 nm, 500 ft at 1.41316 nm: (500 - 50) ft / tan 3 degrees; 0.02 ft are no fault."""
    first, *more = gates
    others = ",".join(f"{{height_ft=500,distance_nm={distance}}}" for distance in more)
    asked = scenario(f"arrival.gate.distance_nm={first}", f"arrival.more_gates=[{others}]")
    assert least_size(asked) * 100.0 == pytest.approx(feet, abs=0.01)


@pytest.mark.long
def test_of_the_conflicts_of_many_orders_the_smallest_is_told() -> None:
    """The windows by some thousand feet in one order, and the glide path too by as much in eight others."""
    with pytest.raises(DemandsConflict) as caught:
        optimum(*LEVEL_AT_IDLE)
    named = {shortfall.demand: shortfall.amount for shortfall in caught.value.shortfalls}
    assert {"the altitude of window 'ALDER'", "the altitude of window 'BRIAR'"} <= set(named)
    assert named["the altitude of window 'BRIAR'"] < 1000.0
    assert caught.value.size < 200.0


@pytest.mark.long
def test_a_descent_that_the_room_of_a_least_speed_hides_is_found() -> None:
    """Light, cold, with the raised idle of anti-ice: the gear has to come before the aircraft slows on the path."""
    found = optimum(STILL, "start.mass_kg=54000", "air.temperature_offset_k=-20", "handling.anti_ice.kind=on")
    summary = found.flight.summary
    assert summary.gate.stable
    assert [breach.sentence for breach in summary.breaches] == []
    again = refly(found.pose, found.solution)
    assert again.altitude < 5.0 * FOOT
    assert again.speed < 0.2 * KNOT


@pytest.mark.slow
def test_a_start_too_near_is_told_in_miles_and_so_much_farther_out_there_is_a_descent() -> None:
    """Beside the demands that would have to give way: the start is where the aircraft is, they are what was asked."""
    with pytest.raises(DemandsConflict, match=r"or the descent begins 2\.\d nm farther out$") as caught:
        find_optimum(scenario("start.distance_nm=28", *SHORT[1:]), silent)
    assert {missing.unit for missing in caught.value.shortfalls} <= {"ft", "kt", "ft/min"}
    assert caught.value.farther_out is not None
    far_enough = 28.2 + caught.value.farther_out / NAUTICAL_MILE
    farther = find_optimum(scenario(f"start.distance_nm={far_enough}", *SHORT[1:]), silent)
    assert farther.solution.outcome is Outcome.SOLVED


def test_a_window_a_little_too_low_beside_the_start_is_told_in_feet() -> None:
    """Beginning 35 m farther out would mend it too, which is no reason to say that nothing conflicts."""
    with pytest.raises(DemandsConflict) as caught:
        optimum(*SHORT[:3], SHORT[4], 'arrival.windows=[{name="ALDER",distance_nm=47,altitude_at_most_ft=10400}]')
    (missing,) = caught.value.shortfalls
    assert missing.unit == "ft"
    assert 2.0 < missing.amount < 40.0
    assert caught.value.farther_out is None
