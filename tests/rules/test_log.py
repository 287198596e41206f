"""The log of a flight: what keeps the least speed is said to, and level flight that a rule asks for is told."""

from __future__ import annotations

import numpy as np

from optdescent.airframe import Configuration, read_airframe
from optdescent.airframe.speeds import least_speed
from optdescent.results import Flight
from optdescent.rules import fly
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT
from tests.rules.made import NO_BRAKE_FOR_SPEED, SHALLOW, SPEEDS, flown, index, knots_over, rule, told
from tests.rules.test_least_speed import CONDITIONS, FAST
from tests.scenario.files import STUDY

AIRFRAME = read_airframe("narrow-body-twin")
LEAST = "near the least speed of what is out"


def over_least(flight: Flight, at: int) -> float:
    """Speed above the least one of what is out [kt] at a look."""
    flaps = flight.column("flaps")[at]
    steps = tuple(float(np.clip(flaps - step, 0.0, 1.0)) for step in range(len(AIRFRAME.steps) - 1))
    least = least_speed(AIRFRAME, Configuration(steps, flight.column("gear")[at]), flight.column("mass")[at])
    return float(flight.column("calibrated_airspeed")[at] - least) / KNOT


def test_thrust_that_keeps_the_least_speed_says_so_and_other_thrust_does_not() -> None:
    """The plan is slower than what is out allows: the speed is above the planned one, which is no reason for thrust."""
    flight = fly(Scenario.from_toml(STUDY, (*CONDITIONS[0], "technique.late_s=6")), FAST)
    thrust = told(flight, "thrust above idle")
    for_least = [action for action in thrust if action.reason.startswith(LEAST)]
    others = [action for action in thrust if action not in for_least]
    assert for_least
    assert others
    for action in for_least:
        at = index(flight, action)
        assert over_least(flight, at) < 4.0
        assert knots_over(flight)[at] > 0.0
    for action in others:
        assert over_least(flight, index(flight, action)) > 4.0


def test_a_brake_that_comes_in_for_the_least_speed_says_so() -> None:
    brake = {"kind": "high", "use": "speed brake", "by_ft": 200.0, "until_ft": 0.0}
    slow = {"descent_kt": 280.0, "by": [{"distance_nm": 30.0, "speed": "approach"}]}
    flight = flown(rule({"kind": "angle", "angle_deg": 3.3}, slow, when=[brake, NO_BRAKE_FOR_SPEED]))
    stowed = [action for action in told(flight, "speed brake in") if action.reason.startswith(LEAST)]
    assert stowed
    assert all(over_least(flight, index(flight, action)) < 6.0 for action in stowed)


def test_level_flight_that_the_rule_asks_for_is_told_with_its_end() -> None:
    level = {"kind": "low", "use": "level off", "by_ft": 400.0, "until_ft": 100.0}
    steep = {"per_speed_ft_per_min": 700.0}
    flight = flown(rule(SHALLOW, SPEEDS, sink=steep, when=[level]))
    off, again = told(flight, "levels off"), told(flight, "goes down again")
    assert len(off) == len(again) > 1
    sink = -flight.column("vertical_speed") / FOOT * 60.0
    for first, last in zip(off, again, strict=True):
        assert first.reason.startswith("level off when 400 ft low")
        before, level = (sink[index(flight, action)] for action in (first, last))
        assert level < 200.0 < 1500.0 < before
