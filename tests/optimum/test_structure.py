"""What makes two posed scenarios one program: also what no constraint asks for because the order of events keeps it."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import pytest

from optdescent.optimum.events import Event, EventKind, Order
from optdescent.optimum.glide import first_flight
from optdescent.optimum.order import order_of
from optdescent.optimum.pose import Pose
from optdescent.optimum.structure import world
from tests.optimum.descents import scenario

FAR_WINDOW = ("arrival.windows[0].distance_nm=140", "arrival.windows[0].altitude_at_least_ft=30000")
LEVEL = (
    "arrival.hold_downs=[{altitude_ft=10000,from_nm=60,to_nm=50}]",
    "arrival.windows=[{name='CEDAR',distance_nm=46,altitude_at_most_ft=10500}]",
)
WINDOW, RESUMED = Event(EventKind.WINDOW, 0), Event(EventKind.RESUMED, 0)


@cache
def flown(*settings: str) -> Pose:
    """A scenario posed in the order of its first flight."""
    one = scenario(*settings)
    return Pose(one, order_of(one, first_flight(one))[0])


def of(pose: Pose, *settings: str) -> Pose:
    """The same order of events for another scenario."""
    return replace(pose, scenario=scenario(*settings))


def moved_ahead(order: Order, event: Event, of: Event) -> Order:
    """The order with one event right ahead of another."""
    rest = [other for other in order if other != event]
    at = rest.index(of)
    return (*rest[:at], event, *rest[at:])


@pytest.mark.parametrize(("highest", "is_same"), [(36500, True), (35000, True), (34000, False)])
def test_a_window_that_the_cruise_keeps_is_no_neighbour_of_one_that_it_breaks(highest: int, is_same: bool) -> None:
    """The cruise at FL350 carries no constraint for a window at 140 nm: only the order says that it is kept there."""
    pose = flown(*FAR_WINDOW, "arrival.windows[0].altitude_at_most_ft=36000")
    assert pose.order.index(WINDOW) < pose.order.index(Event(EventKind.TOP_OF_DESCENT))
    other = of(pose, *FAR_WINDOW, f"arrival.windows[0].altitude_at_most_ft={highest}")
    assert (other.structure == pose.structure) is is_same


@pytest.mark.parametrize(("slowest", "is_same"), [(200, True), (310, False)])
def test_so_is_the_speed_of_a_window_in_the_cruise(slowest: int, is_same: bool) -> None:
    window = (*FAR_WINDOW, "arrival.windows[0].altitude_at_most_ft=36000")
    pose = flown(*window, "arrival.windows[0].speed_at_least_kt=210")
    other = of(pose, *window, f"arrival.windows[0].speed_at_least_kt={slowest}")
    assert (other.structure == pose.structure) is is_same


@pytest.mark.parametrize(("highest", "is_same"), [(10300, True), (9000, False)])
def test_a_window_that_a_kept_level_keeps_is_no_neighbour_of_one_that_it_breaks(highest: int, is_same: bool) -> None:
    """Beyond the end of a hold-down its level may be kept: a window passed there has no constraint on its altitude."""
    pose = flown(*LEVEL)
    pose = replace(pose, order=moved_ahead(pose.order, WINDOW, RESUMED))
    (leg,) = (leg for leg in pose.legs if leg.ends == WINDOW)
    assert leg.hold == 0
    other = of(pose, LEVEL[0], LEVEL[1].replace("10500", str(highest)))
    assert (other.structure == pose.structure) is is_same


@pytest.mark.parametrize(
    "setting",
    [
        "arrival.gate.gear_down=false",
        "arrival.gate.landing_configuration=false",
        "arrival.more_gates=[{height_ft=1500,speed_above_reference_kt=12,speed_under_kt=5}]",
    ],
)
def test_what_a_gate_asks_of_the_order_is_part_of_the_structure(setting: str) -> None:
    other = "arrival.more_gates=[{height_ft=1500,speed_above_reference_kt=12,speed_under_kt=10}]"
    pose = flown(other) if "more_gates" in setting else flown()
    assert of(pose, setting).structure != pose.structure


def test_a_structure_is_found_once_for_each_pose() -> None:
    pose = flown()
    assert pose.structure is pose.structure


def test_scenarios_of_one_world_differ_in_numbers_alone() -> None:
    assert world(scenario("start.mass_kg=58000", "start.distance_nm=150")) == world(scenario())
    assert world(scenario("handling.configuration=free")) != world(scenario())
