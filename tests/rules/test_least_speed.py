"""The least manoeuvring speed on the way down: whose crew keeps it, how, and what a late schedule makes of it."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from optdescent.airframe import Configuration, read_airframe
from optdescent.airframe.speeds import devices, least_speed, manoeuvre_speed
from optdescent.results import Flight
from optdescent.rules import Rule, fly, read_rules
from optdescent.rules.crew import LEAST_MARGIN, least_kept, selected_at
from optdescent.rules.fleet import Fleet, flown_together
from optdescent.rules.fly import pilot_of
from optdescent.rules.lane import Lane
from optdescent.rules.many import Flights
from optdescent.scenario import Scenario, Technique
from optdescent.units import KNOT
from tests.rules.made import Array, miles, rule
from tests.scenario.files import STUDY
from tests.simulation import level_state

AIRFRAME = read_airframe("narrow-body-twin")
MASS = 60000.0
FAST = rule(
    {"kind": "height", "gradient_ft_per_nm": 250.0},
    {"descent_kt": 280.0, "by": [{"distance_nm": 10.0, "speed": "approach"}]},
)
"""One line of 10 kt a mile to approach speed: planned faster than slats and flaps come out."""
STEPS = next(made for made in read_rules("library") if made.name == "300-with-allowances")
"""The height to have falls by 1500 ft and 1000 ft, so that the crew levels off."""
RULES = pytest.mark.parametrize("made", [FAST, STEPS], ids=["one line", "allowances"])
JET = 'air.wind={{kind="perturbed",of={{kind="profile",sounding="nashville-2014-02-21"}},scale={}}}'
CONDITIONS = tuple(
    (f"start.mass_kg={mass}", JET.format(scale), f"air.temperature_offset_k={warmer}")
    for mass, scale, warmer in (
        (54000, 0.0, -15),
        (54000, 1.0, 15),
        (62000, 0.5, 0),
        (66000, 1.3, 10),
        (66000, 0.0, 20),
    )
)
LATE = (0.0, 3.0, 6.0, 10.0)


@cache
def flights(made: Rule, *settings: str) -> Flights:
    """Flights in all conditions, by crews of each delay, one after the other."""
    cases = [
        Scenario.from_toml(STUDY, (*own, f"technique.late_s={late}", *settings)) for late in LATE for own in CONDITIONS
    ]
    return flown_together(pilot_of(cases[0], made), cases)[1]


def slowest(found: Flights) -> Array:
    """Most that each flight is under the least manoeuvring speed (delay, condition) [kt]."""
    return np.max(found.under_least, axis=0).reshape(len(LATE), len(CONDITIONS)) / KNOT


@RULES
def test_no_crew_flies_slower_than_its_configuration_allows_by_what_can_be_felt(made: Rule) -> None:
    """Ten seconds late, with 10 kt a mile planned, it would be 12 kt too slow if it let the speed fall."""
    under = slowest(flights(made))
    assert np.all(under[0] < 0.6), "a crew that acts at once has no margin while its engines spool up"
    assert np.all(under[1:] < 0.5), "less than can be read"
    assert np.all(np.max(under, axis=1) > -3.0), "each comes near it"


@RULES
def test_late_crews_keep_limits_and_are_still_stable(made: Rule) -> None:
    cases = [Scenario.from_toml(STUDY, (*own, "technique.late_s=10")) for own in CONDITIONS[:3]]
    found = Fleet(made).judged(cases)
    assert found.limits_kept.tolist() == [True] * 3
    assert found.stable.tolist() == [True] * 3


def test_what_keeps_the_speed_does_not_come_and_go() -> None:
    """Between 20 nm and the threshold thrust grows and fades about once for each device that is awaited."""
    found = flights(FAST)
    near = -found.x < 20.0 * 1852.0
    moving = np.diff(found.thrust_fraction[near], axis=0)
    for lane in range(moving.shape[1]):
        turns = np.sign(moving[np.abs(moving[:, lane]) > 0.01, lane])
        assert np.count_nonzero(np.diff(turns)) <= 2 * len(devices(AIRFRAME)) + 4


@pytest.mark.parametrize("late", [0.0, 5.0])
def test_a_crew_that_selects_later_than_the_schedule_still_gets_there(late: float) -> None:
    """20 kt after the schedule the crew is slower than the least manoeuvring speed before it selects anything."""
    settings = ("technique.flaps_early_kt=-20", f"technique.late_s={late}")
    flight = fly(Scenario.from_toml(STUDY, settings), FAST)
    assert flight.column("flaps")[-1] == pytest.approx(len(AIRFRAME.steps) - 1.0)
    assert flight.column("gear")[-1] == 1.0
    assert _under(flight) > 10.0
    for device in devices(AIRFRAME):
        if device.number:
            begins = int(np.argmax(flight.column("flaps") > device.number - 0.99))
            at = float(selected_at(AIRFRAME, _crew(-20.0), device, flight.column("mass")[begins]))
            assert flight.column("calibrated_airspeed")[begins] < at
            assert flight.column("calibrated_airspeed")[begins] > at - 5.0 * KNOT


def _under(flight: Flight) -> float:
    flaps = flight.column("flaps")
    steps = tuple(np.clip(flaps - step, 0.0, 1.0) for step in range(len(AIRFRAME.steps) - 1))
    least = least_speed(AIRFRAME, Configuration(steps, flight.column("gear")), flight.column("mass"))
    return float(np.max((least - flight.column("calibrated_airspeed"))[miles(flight) < 30.0])) / KNOT


# what is kept


def _crew(early: float = 0.0) -> Technique:
    return Technique().model_copy(update={"flaps_early": early * KNOT})


def _lane(steps: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0), gear: float = 0.0) -> Lane:
    out = Configuration(steps, gear)
    due = Configuration(tuple(float(step > 0.0) for step in steps), float(gear > 0.0))
    return Lane(level_state(3000.0, 100.0, MASS, -0.05), 0.0, 0.0, 1.0, 0.0, 0.0, 0.0, out, due, ())


def _kept(lane: Lane, crew: Technique, late: float = 0.0) -> float:
    return float(least_kept(AIRFRAME, crew, lane, 3.0, late).speed) / KNOT


def _least(step: int) -> float:
    return float(manoeuvre_speed(AIRFRAME, step, MASS)) / KNOT


def test_a_crew_that_acts_at_once_keeps_the_least_speed_and_a_late_one_a_margin() -> None:
    assert _kept(_lane(), _crew()) == pytest.approx(_least(0))
    assert _kept(_lane((1.0, 0.0, 0.0, 0.0)), _crew()) == pytest.approx(_least(1))
    assert _kept(_lane((0.5, 0.0, 0.0, 0.0)), _crew()) == pytest.approx(0.5 * (_least(0) + _least(1)))
    assert _kept(_lane(), _crew(), late=10.0) == pytest.approx(_least(0) + LEAST_MARGIN / KNOT)
    assert _kept(_lane((1.0, 1.0, 1.0, 1.0), 1.0), _crew()) == pytest.approx(_least(4))


def test_the_later_a_crew_acts_the_more_slowly_the_speed_may_fall() -> None:
    times = [float(least_kept(AIRFRAME, _crew(), _lane(), 3.0, late).seconds) for late in (0.0, 2.0, 5.0, 20.0)]
    assert times == [3.0, 5.0, 8.0, 8.0]


def test_a_crew_that_selects_slower_lets_the_speed_fall_to_a_knot_below_that_and_no_further() -> None:
    first, second = (next(one for one in devices(AIRFRAME) if one.number == number) for number in (1, 2))
    late = _crew(-20.0)
    assert _kept(_lane(), late) == pytest.approx(float(selected_at(AIRFRAME, late, first, MASS)) / KNOT - 1.0)
    travelling = _kept(_lane((0.5, 0.0, 0.0, 0.0)), late)
    assert travelling == pytest.approx(float(selected_at(AIRFRAME, late, first, MASS)) / KNOT - 1.0)
    out = _kept(_lane((1.0, 0.0, 0.0, 0.0), gear=0.3), late)
    assert out == pytest.approx(float(selected_at(AIRFRAME, late, second, MASS)) / KNOT - 1.0)
