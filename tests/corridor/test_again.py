"""Descents of the edges flown again through the full equations of motion."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from optdescent.corridor.again import Again, Begun, Use, flown_again
from optdescent.corridor.devices import EVERYTHING, DeviceSet
from optdescent.corridor.ground import ground_of
from optdescent.corridor.path import Paths, paths, paths_at_once
from optdescent.corridor.reach import Edge, Reach, reach
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.corridor.edges import SPEEDS, STILL, edge, ground, lowest
from tests.scenario.files import STUDY

FINE = 0.25 * NAUTICAL_MILE


def planned(found: Reach) -> Paths:
    """From 15, 18 and 22 nm at each speed with what the schedule has out."""
    speeds = [int(np.argmin(np.abs(found.states.speeds - speed))) for speed in SPEEDS]
    places = [int(np.argmin(np.abs(found.ground.to_go - nm * NAUTICAL_MILE))) for nm in (15.0, 18.0, 22.0)]
    starts = [(place, speed, int(found.states.scheduled[speed])) for place in places for speed in speeds]
    known = np.array([start for start in starts if np.isfinite(found.altitude[start])])
    return paths(found, *known.T)


@cache
def again(step: float = 100.0) -> Again:
    found = edge(EVERYTHING, STILL, FINE)
    plan = planned(found)
    everyone = np.ones(plan.start.size, dtype=np.bool_)
    return flown_again(found.ground, plan, Use(everyone, 1.0 * everyone), step)


def test_the_highest_descents_reach_the_gate_no_faster_than_it_allows() -> None:
    """But for what lags cost on the shortest way: 25 ft of energy are 2 kt at the gate.

    Limit speeds are kept, and where no energy is left over the gate is passed stable. A flight too fast for the next
    device stays level until it is slow enough, for at most a mile.
    """
    assert np.max(again().excess) < 25.0 * FOOT
    assert np.max(again().over) < 2.0 * KNOT
    assert np.all(again().is_stable | (again().excess > 0.0))
    assert np.count_nonzero(again().is_stable) > 6
    assert np.max(again().off) < 400.0 * FOOT


def test_a_speed_limit_is_kept_where_it_begins() -> None:
    """From 280 kt at 29 nm and 11 000 ft, down to 250 kt at 10 000 ft: level above it until slow enough.

    A descent that follows its plan through 10 000 ft with the lag of pitch is 28 kt too fast for a moment.
    """
    far, fast = 29.0 * NAUTICAL_MILE, 280.0 * KNOT
    over = ground_of(Scenario.from_toml(STUDY, STILL), far, (far,), 0.5 * NAUTICAL_MILE)
    found = reach(over, DeviceSet(speed_brake=True), Edge.HIGHEST, (fast,))
    speed = int(np.argmin(np.abs(found.states.speeds - fast)))
    start = (np.array([over.to_go.size - 1]), np.array([speed]), found.states.scheduled[[speed]])
    everyone = np.ones(1, dtype=np.bool_)
    flown = flown_again(over, paths(found, *start), Use(everyone, 1.0 * everyone))
    assert flown.altitude[0, 0] > 10500.0 * FOOT
    assert flown.over[0] < 3.0 * KNOT
    slow = flown.speed[:, 0] <= 251.0 * KNOT
    assert np.min(np.where(slow, np.inf, flown.altitude[:, 0])) > 9950.0 * FOOT


def test_the_speed_of_a_further_gate_counts_where_it_is() -> None:
    """100 kt asked for at a place 5 nm out alone: what the flight has there above it is told, and it is not kept."""
    found = edge(EVERYTHING, STILL, FINE)
    place = int(np.argmin(np.abs(found.ground.to_go - 5.0 * NAUTICAL_MILE)))
    fastest = found.ground.demands.fastest.copy()
    fastest[place] = 100.0 * KNOT
    asked = replace(found.ground, demands=replace(found.ground.demands, fastest=fastest))
    flown = flown_again(asked, planned(found).of(np.arange(1)), Use(np.ones(1, dtype=np.bool_), np.ones(1)))
    there = int(np.argmin(np.abs(flown.distance + found.ground.to_go[place])))
    assert flown.over[0] == pytest.approx(flown.speed[there, 0] - 100.0 * KNOT)
    assert flown.over[0] > 50.0 * KNOT
    assert not flown.is_kept[0]


def begun(plan: Paths, gear: float, angle: float = -0.0524, faster: float = 0.0, thrust: float = 0.0) -> Begun:
    """As a plan begins, on a path angle [rad], with the gear so far out [-], faster [m/s], with thrust [-]."""
    own, steps = np.arange(plan.start.size), len(ground().scenario.airframe.steps) - 1
    nothing, speed = np.zeros(own.size), plan.speed[plan.start, own] + faster
    out = np.array([*(np.where(plan.first_steps > step, 1.0, 0.0) for step in range(steps)), nothing + gear])
    return Begun(plan.altitude[plan.start, own], speed, nothing + angle, nothing + thrust, nothing, out)


@pytest.mark.parametrize(("gear", "is_down"), [(0.0, False), (0.5, True)])
def test_a_device_that_is_half_way_out_goes_on_though_the_plan_does_not_have_it(gear: float, is_down: bool) -> None:
    """From 15 nm, slower than the gear's limit speed, by a plan that never selects it: the gate asks for it."""
    found = edge(EVERYTHING, STILL, FINE)
    plan = planned(found).of(np.flatnonzero(again().is_kept)[:2])
    assert np.all(plan.speed[plan.start, [0, 1]] < found.ground.limit_speeds[-1])
    assert not plan.first_gear.any()
    everyone = np.ones(2, dtype=np.bool_)
    plan = replace(plan, gear=0.0 * plan.gear)
    flown = flown_again(found.ground, plan, Use(everyone, 1.0 * everyone), begun=begun(plan, gear))
    assert list(flown.is_stable) == [is_down, is_down]


def one_kept() -> Paths:
    """The plan of one descent that is kept."""
    return planned(edge(EVERYTHING, STILL, FINE)).of(np.flatnonzero(again().is_kept)[:1])


ONE = Use(np.ones(1, dtype=np.bool_), np.ones(1))


@pytest.mark.parametrize(("allowed", "is_kept"), [(2000.0, True), (300.0, False)])
def test_sink_beyond_its_limit_is_told_and_counts(allowed: float, is_kept: bool) -> None:
    """A limit that begins 30 ft above the gate: on 3 degrees at 140 kt some 740 ft/min are flown there."""
    own = ground(STILL, FINE)
    limit = own.scenario.arrival.sink_limits[0].model_copy(
        update={"below_height": 1030.0 * FOOT, "sink": allowed * FOOT_PER_MINUTE}
    )
    arrival = own.scenario.arrival.model_copy(update={"sink_limits": (limit,)})
    flown = flown_again(replace(own, scenario=replace(own.scenario, arrival=arrival)), one_kept(), ONE)
    assert flown.steep[0] / FOOT_PER_MINUTE == pytest.approx(0.0 if is_kept else 440.0, abs=80.0)
    assert flown.is_kept[0] == is_kept
    assert replace(flown, steep=0.0 * flown.steep).is_kept[0]


@pytest.mark.parametrize("angle", [-0.0524, 0.12])
def test_a_climb_is_told_and_counts(angle: float) -> None:
    """Begun on a climb of 7 degrees: pitch comes down in some seconds."""
    flown = flown_again(ground(STILL, FINE), one_kept(), ONE, begun=begun(one_kept(), 0.0, angle))
    assert (flown.climb[0] > 75.0 * FOOT) is np.bool_(angle > 0.0)
    assert flown.climb[0] < 250.0 * FOOT
    if angle > 0.0:
        assert not replace(flown, is_stable=np.ones(1, dtype=np.bool_), excess=np.zeros(1)).is_kept[0]


def gained(speed: np.ndarray) -> float:
    """Speed [m/s] that a flight gains at most once it is 2 kt under its fastest."""
    known = speed[np.isfinite(speed)]
    falling = known[int(np.argmax(known < np.maximum.accumulate(known) - 2.0 * KNOT)) :]
    return float(np.max(falling - np.minimum.accumulate(falling)))


def test_speed_gained_after_it_has_begun_to_fall_is_told() -> None:
    """By the flights' own speeds at every step."""
    for speed, told in zip(again().speed.T, again().rise, strict=True):
        assert told == pytest.approx(gained(speed))
    assert np.max(again().rise) > 0.5 * KNOT


def test_speed_gained_after_it_has_begun_to_fall_counts() -> None:
    """More than the 2 kt by which a limit may be passed."""
    flown = flown_again(ground(STILL, FINE), one_kept(), ONE)
    assert flown.is_kept[0]
    assert replace(flown, rise=np.full(1, 1.9 * KNOT)).is_kept[0]
    assert not replace(flown, rise=np.full(1, 2.1 * KNOT)).is_kept[0]


def slowed_and_steep(fast: float, slow: float, dives: bool = False) -> Paths:
    """A plan from 22 nm with nothing out that slows level at first, then is far too steep to keep its speed [kt]."""
    plan = planned(edge(EVERYTHING, STILL, FINE))
    plan = plan.of(np.flatnonzero(plan.start == plan.start.max())[-1:])
    to_go, far = ground(STILL, FINE).to_go / NAUTICAL_MILE, plan.start[0]
    known = np.arange(to_go.size) <= far
    speed = np.interp(to_go, [17.0, 18.0, 22.0], [fast if dives else slow, slow, fast]) * KNOT
    altitude = np.interp(to_go, [3.0, 11.0, 18.0, 22.0], [1600.0, 3500.0, 9000.0, 9000.0]) * FOOT
    speed, altitude = (np.where(known, values, np.nan)[:, None] for values in (speed, altitude))
    nothing = np.where(known, 0.0, np.nan)[:, None]
    first = np.zeros(1, dtype=np.int64)
    return replace(
        plan, altitude=altitude, speed=speed, steps=nothing, gear=nothing, first_steps=first, first_gear=first
    )


def test_a_plan_too_steep_for_the_speed_is_flown_high_and_not_fast() -> None:
    """Slowed to 220 kt by 18 nm, then 7 degrees down, clean: speed stays within 2 kt and height is left over."""
    plan = slowed_and_steep(240.0, 220.0)
    flown = flown_again(ground(STILL, FINE), plan, Use(np.zeros(1, dtype=np.bool_), np.ones(1)))
    assert gained(flown.speed[:, 0]) < 1.5 * KNOT
    assert flown.off[0] > 1000.0 * FOOT
    assert flown.excess[0] > 1000.0 * FOOT


def test_speed_may_rise_where_the_plan_dives_yet() -> None:
    """The same path, but planned to be 240 kt again: the dip before is not the fall for the gate."""
    plan = slowed_and_steep(240.0, 220.0, dives=True)
    flown = flown_again(ground(STILL, FINE), plan, Use(np.zeros(1, dtype=np.bool_), np.ones(1)))
    assert gained(flown.speed[:, 0]) > 15.0 * KNOT
    assert flown.rise[0] < 2.0 * KNOT


def test_load_factors_stay_within_the_limits_of_the_airframe() -> None:
    """Those of the study's airframe, of which capture uses more than a hundredth; and a hundredth."""
    own = ground(STILL, FINE)
    tight = own.scenario.airframe.limits.model_copy(update={"least_load_factor": 0.99, "most_load_factor": 1.01})
    airframe = own.scenario.airframe.model_copy(update={"limits": tight})
    narrow = flown_again(replace(own, scenario=replace(own.scenario, airframe=airframe)), one_kept(), ONE)
    wide, limits = again().load_factor, own.scenario.airframe.limits
    assert limits.least_load_factor <= np.min(wide[0]) < 0.99
    assert 1.01 < np.max(wide[1]) <= limits.most_load_factor
    assert np.array(narrow.load_factor[:, 0]) == pytest.approx([0.99, 1.01])


@pytest.mark.parametrize(("gear", "is_down"), [(0.3, False), (0.6, True)])
def test_the_gear_takes_its_travel_time(gear: float, is_down: bool) -> None:
    """A quarter of a mile before the gate, at some 70 m/s: 6.5 s, in which gear of 12 s travels 0.54 of its way."""
    found = edge(EVERYTHING, STILL, FINE)
    landing = found.states.index(len(found.ground.scenario.airframe.steps) - 1, 0)
    plan = paths_at_once(found, np.array([1]), np.array([landing]))
    assert found.ground.to_go[1] - found.ground.to_go[0] == pytest.approx(0.25 * NAUTICAL_MILE, rel=0.1)
    flown = flown_again(found.ground, plan, ONE, begun=begun(plan, gear, faster=7.0 * KNOT, thrust=0.2))
    assert flown.is_stable[0] == is_down


def test_half_the_step_changes_little() -> None:
    """The midpoint rule and the orders given at its steps: 5 ft and 0.5 kt from 22 nm to the gate."""
    finer = again(50.0)
    for values, room in ((again().altitude, 5.0 * FOOT), (again().speed, 0.5 * KNOT)):
        other = finer.altitude if values is again().altitude else finer.speed
        assert np.max(np.abs(values[-1] - other[-1])) < room


def test_the_lowest_descents_need_next_to_no_thrust() -> None:
    """Energy that thrust adds, as height, on up to 22 nm; it is used 2 kt below the planned speed, not to slow less."""
    found = lowest()
    plan = planned(found)
    everyone = np.ones(plan.start.size, dtype=np.bool_)
    flown = flown_again(ground(), plan, Use(everyone, -3.0 * everyone))
    assert np.max(flown.added) < 75.0 * FOOT
