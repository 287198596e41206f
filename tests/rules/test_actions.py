"""What a rule has the crew do when high, low, fast or slow, and by places: where, and with which excuse."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest

from optdescent.airframe import read_airframe
from optdescent.results import Flight
from optdescent.rules import LIBRARY, fly, read_rules
from optdescent.rules.words import when_words
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.rules.made import (
    NO_BRAKE_FOR_SPEED,
    STEEP,
    Part,
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
    told,
)
from tests.scenario.files import STUDY

AIRFRAME = read_airframe("narrow-body-twin")
MARGIN = 4.0
"""Speed [kt] that a crew keeps below limits."""
GEAR_LIMIT = AIRFRAME.gear.limit_speed / KNOT
LATE_GEAR = "technique.gear_early_kt=-20"
"""So that the schedule does not lower the gear before the rule does."""


def told_between(flight: Flight, on: str, off: str) -> np.ndarray:
    """Looks from each action of one sort to the next of another, or to the threshold."""
    found = np.zeros(miles(flight).size, dtype=bool)
    ends = [*(index(flight, action) for action in told(flight, off)), found.size]
    for action in told(flight, on):
        begin = index(flight, action)
        found[begin : next(end for end in ends if end > begin)] = True
    return found


def ordered_brake(flight: Flight) -> np.ndarray:
    """Looks from each `speed brake out` to the next `speed brake in`."""
    return told_between(flight, "speed brake out", "speed brake in")


# the log


@pytest.mark.parametrize("name", LIBRARY)
def test_actions_are_in_order_each_with_its_place_time_and_reason(name: str) -> None:
    for library_rule in read_rules(name):
        flight = fly(Scenario.from_toml(STUDY), library_rule)
        actions = flight.actions
        assert actions[0].what == "starts down"
        for before, after in itertools.pairwise(actions):
            assert after.distance_to_go <= before.distance_to_go
            assert after.time >= before.time
        for action in actions:
            assert action.reason.strip()
            assert action.time == flight.column("time")[index(flight, action)]
            assert action.distance_to_go == flight.column("distance_to_go")[index(flight, action)]


def test_the_log_tells_the_devices_that_come_out_and_no_others() -> None:
    flight = flown(rule())
    names = [*(step.name for step in AIRFRAME.steps[1:]), "gear"]
    for number, name in enumerate(names):
        out = flight.column("gear") if name == "gear" else np.clip(flight.column("flaps") - number, 0.0, 1.0)
        begins = first(flight, f"selects {name}")
        assert out[begins] == 0.0
        assert out[begins + 1] > 0.0
        assert len(told(flight, f"selects {name}")) == 1
    held = flown(rule(speeds={"descent_kt": 280.0}, profile=STEEP))
    assert held.column("gear")[-1] == 0.0
    assert not told(held, "selects gear")


def test_the_log_tells_thrust_where_there_is_thrust() -> None:
    """Uses of less than five seconds are not told, nor the last two miles of the cruise's own thrust."""
    flight = flown(rule())
    on = told_between(flight, "thrust above idle", "thrust idle")
    since = miles(flight) < flight.summary.top_of_descent / NAUTICAL_MILE - 2.0
    differs = (flight.column("thrust_fraction") > 0.01)[since] != on[since]
    assert on.any()
    assert np.sum(np.gradient(flight.column("time"))[since][differs]) < 5.0


def test_the_speed_brake_is_not_told_to_be_stowed_where_it_is_not() -> None:
    """A flight that passes the threshold thousands of feet too high, brake out."""
    flight = flown(rule({"kind": "angle", "angle_deg": 6.0}), "handling.speed_brake_above_ft=0")
    assert flight.column("speed_brake")[-1] > 0.5
    assert len(told(flight, "speed brake out")) == len(told(flight, "speed brake in")) + 1


# high


STEP_DOWN: Part = {
    "kind": "points",
    "points": [
        {"distance_nm": 70.0, "height_ft": 20000.0},
        {"distance_nm": 60.0, "height_ft": 14500.0},
        {"distance_nm": 10.0, "height_ft": 3000.0},
    ],
}
"""550 ft per nm from 70 to 60 nm: steeper than idle, then shallower than it."""


def high_brake(until: float) -> Flight:
    """Brake from 500 ft too high on, until no more than so much is left; speed does not stow it."""
    parts = [{"kind": "high", "use": "speed brake", "by_ft": 500.0, "until_ft": until}, NO_BRAKE_FOR_SPEED]
    return flown(rule(STEP_DOWN, when=parts), "technique.brake_in_below_kt=30", "technique.speed_time_s=30")


def test_the_brake_comes_at_the_excess_and_goes_in_once_no_more_is_left_than_the_rule_says() -> None:
    flight = high_brake(300.0)
    above, out = feet_above(flight), first(flight, "speed brake out")
    end = first(flight, "speed brake in")
    assert above[out - 1] <= 500.0 < above[out]
    assert np.all(above[out:end] > 300.0)
    assert above[end] <= 300.0
    assert told(flight, "speed brake out")[0].reason.startswith(
        "speed brake when 500 ft high, kept until 300 ft are left"
    )


def test_a_brake_kept_until_the_excess_is_gone_takes_more_of_it_than_one_stowed_early() -> None:
    kept, stowed = high_brake(0.0), high_brake(300.0)
    begins = first(kept, "speed brake out")
    assert begins == first(stowed, "speed brake out")
    both = slice(begins, begins + 20)
    assert np.sum(ordered_brake(kept)[both]) > np.sum(ordered_brake(stowed)[both])
    end = first(stowed, "speed brake in")
    assert np.all(feet_above(kept)[end + 3 : end + 12] < feet_above(stowed)[end + 3 : end + 12])


def test_an_excess_too_small_to_be_read_is_gone() -> None:
    kept = high_brake(0.0)
    begins = first(kept, "speed brake out")
    back = begins + first_where(feet_above(kept)[begins:] < 10.0)
    time = kept.column("time")
    again = np.cumsum(feet_above(kept) * (time > time[back]) > 500.0) > 0
    since = (time > time[back]) & ~again & (miles(kept) > 12.0)
    assert since.sum() > 10
    assert not np.any(ordered_brake(kept)[since])


def test_a_rule_that_names_the_brake_for_height_only_leaves_the_crew_its_own_for_speed() -> None:
    """And the other way round; a rule that names it for neither leaves both."""
    high = {"kind": "high", "use": "speed brake", "by_ft": 9000.0}
    reasons = {
        name: {action.reason.split(" ", 1)[1] for action in told(flown(rule(STEEP, when=when)), "speed brake out")}
        for name, when in {"none": [], "high": [high], "fast": [NO_BRAKE_FOR_SPEED]}.items()
    }
    assert {"kt above the planned speed"} == reasons["high"]
    assert {"ft above the height to have"} == reasons["fast"]
    assert reasons["none"] == reasons["high"] | reasons["fast"]


def test_gear_for_height_waits_for_its_limit_speed() -> None:
    flight = flown(rule(STEEP, when=[{"kind": "high", "use": "gear", "by_ft": 100.0}]))
    at = first(flight, "selects gear")
    assert knots(flight)[at - 1] >= GEAR_LIMIT - MARGIN > knots(flight)[at]
    assert np.any(feet_above(flight)[:at] > 100.0)
    assert knots(flight)[at] > 220.0  # the schedule would have waited for 173 kt
    out = flight.column("gear") > 0.0
    assert np.all(knots(flight)[out] <= GEAR_LIMIT)
    assert told(flight, "selects gear")[0].reason.startswith("gear down when 100 ft high: ")
    assert not told(flown(rule(STEEP)), "selects gear")  # too fast for the schedule's 173 kt to the threshold


def test_the_next_step_is_one_at_a_time_below_its_limit_each_once_the_one_before_is_out() -> None:
    made = rule(STEEP, when=[{"kind": "high", "use": "next step", "by_ft": 100.0, "until_ft": -1000.0}])
    flight = flown(made)
    flaps, previous = flight.column("flaps"), 0
    for number, step in enumerate(AIRFRAME.steps[1:], 1):
        (action,) = told(flight, f"selects {step.name}")
        at = index(flight, action)
        assert action.reason.startswith(f"{when_words(made.when[0])}: ")
        assert step.limit_speed is not None
        assert knots(flight)[at] < step.limit_speed / KNOT - MARGIN
        assert flaps[at] == pytest.approx(number - 1.0, abs=0.02)
        could = (knots(flight) < step.limit_speed / KNOT - MARGIN) & (flaps > number - 1.02)
        assert at == first_where(could & (np.arange(flaps.size) > previous))
        previous = at


def test_slow_enough_for_several_steps_the_crew_still_takes_one_after_the_other() -> None:
    part = {"kind": "fast", "use": "next step", "by_kt": 1.0, "until_kt": -10.0, "from_nm": 9.0}
    soon = [{"device": "first step", "distance_nm": 14.0}]
    flight = flown(rule(when=[part], devices=soon), LATE_GEAR, "technique.flaps_early_kt=-20")
    begins = [first(flight, f"selects {step.name}") for step in AIRFRAME.steps[2:]]
    limit = AIRFRAME.steps[-1].limit_speed
    assert limit is not None
    assert knots(flight)[begins[0]] < limit / KNOT - MARGIN
    assert begins[0] + 2 <= begins[1] <= begins[2] - 2
    assert flight.column("flaps")[begins] == pytest.approx([1.0, 2.0, 3.0], abs=0.02)


# fast, slow, low


def test_fast_the_crew_levels_off_until_the_speed_is_back() -> None:
    """In the stretch the rule names, and nowhere else."""
    part = {"kind": "fast", "use": "level off", "by_kt": 10.0, "until_kt": 2.0, "from_nm": 28.0, "to_nm": 14.0}
    flight, without = flown(rule(STEEP, when=[part])), flown(rule(STEEP))
    on, level = np.zeros(miles(flight).size, dtype=bool), False
    for look, (over, where) in enumerate(zip(knots_over(flight), miles(flight), strict=True)):
        level = (over > 10.0 or (level and over > 2.0)) and 14.0 <= where <= 28.0
        on[look] = level
    sink = -flight.column("vertical_speed") / FOOT_PER_MINUTE
    time = flight.column("time")
    # ten seconds at a load factor of 1.15 end a sink of 2900 ft/min, and the path angle lags by 2.5 s
    settled = np.array([bool(np.all(on[(time >= now - 14.0) & (time <= now)])) for now in time])
    assert settled.sum() >= 5
    assert np.all(sink[settled] < 100.0)
    assert np.all(-without.column("vertical_speed")[on] / FOOT_PER_MINUTE > 700.0)
    before, after = (slice(None, at) for at in (first_where(miles(flight) < 28.0), first_where(on)))
    assert np.array_equal(sink[before], -without.column("vertical_speed")[before] / FOOT_PER_MINUTE)
    assert np.any(knots_over(flight)[after] > 1.0)


@pytest.mark.parametrize("by", [2.0, 5.0, 15.0])
def test_slow_thrust_comes_at_the_rule_s_own_speed(by: float) -> None:
    """A path of 220 ft per nm, on which idle loses speed.

    Thrust comes as the speed falls to what it keeps: within 3 kt, the true airspeed that a constant calibrated one
    loses on the way down in the 12 s in which thrust brings it back.
    """
    part = {"kind": "slow", "use": "thrust", "by_kt": by}
    flight = flown(rule({"kind": "height", "gradient_ft_per_nm": 220.0}, when=[part]))
    settled = (miles(flight) < 100.0) & (miles(flight) > 50.0)
    assert np.all(np.abs(feet_above(flight)[settled]) < 20.0)
    pushed = settled & (flight.column("thrust_fraction") > 0.02)
    assert pushed.sum() > 20
    assert np.all(knots_over(flight)[settled] >= -by - 0.5)
    assert np.all(knots_over(flight)[pushed] < -by + 3.0)


@pytest.mark.parametrize("until", [2.0, -3.0])
def test_slow_thrust_is_used_until_no_more_is_left_than_the_rule_says(until: float) -> None:
    """On the same path, where the rule names a stretch: idle until 8 kt slow, then thrust, and idle again.

    A look in cruise is 3 to 4 s: idle loses 1.5 kt in it.
    """
    part = {"kind": "slow", "use": "thrust", "by_kt": 8.0, "until_kt": until, "from_nm": 100.0, "to_nm": 50.0}
    flight = flown(rule({"kind": "height", "gradient_ft_per_nm": 220.0}, when=[part]))
    spells = [
        [index(flight, action) for action in told(flight, what) if 51.0 < action.distance_to_go / NAUTICAL_MILE < 98.0]
        for what in ("thrust above idle", "thrust idle")
    ]
    begins, ends = spells
    assert len(begins) >= 3
    ends = [end for end in ends if end > begins[0]]
    assert knots_over(flight)[begins] == pytest.approx(np.full(len(begins), -8.0), abs=1.5)
    assert knots_over(flight)[ends] == pytest.approx(np.full(len(ends), -until), abs=1.5)
    for begin, end in itertools.pairwise(sorted([*begins, *ends])):
        assert (begin in begins) == (end in ends), "on, off and on again"


def test_low_the_crew_levels_off_until_it_is_no_longer_low() -> None:
    """The profile rises by 1500 ft at minimum clean speed; a crew that corrects by 100 ft/min only would sink on."""
    profile = {
        "kind": "height",
        "gradient_ft_per_nm": 300.0,
        "allowances": [{"above": "minimum clean", "height_ft": -1500.0}],
    }
    gentle = "technique.most_correction_ft_per_min=100"
    part = {"kind": "low", "use": "level off", "by_ft": 300.0, "until_ft": 200.0}
    level, on_down = flown(rule(profile, when=[part]), gentle), flown(rule(profile), gentle)
    begins = first_where(-feet_above(level) > 300.0)
    ends = begins + first_where(-feet_above(level)[begins:] <= 200.0)
    sink = -level.column("vertical_speed") / FOOT_PER_MINUTE
    assert ends > begins + 10
    assert np.all(sink[begins + 5 : ends] < 50.0)
    way_down = (miles(level) < 100.0) & (miles(level) > 40.0)
    assert np.all(sink[way_down] > 1000.0)
    assert -on_down.column("vertical_speed")[begins + 5] / FOOT_PER_MINUTE > 700.0


@pytest.mark.parametrize("margin", [0.0, 10.0])
def test_too_fast_for_the_next_step_is_by_its_limit_and_the_margin(margin: float) -> None:
    """Gear between its own limit, 240 kt, and that of the first step, 228 kt."""
    part = {"kind": "fast_for_step", "use": "gear", "margin_kt": margin, "from_nm": 25.0}
    made = rule(when=[{"kind": "high", "use": "gear", "by_ft": 9000.0}, part])
    flight = flown(made)
    at = first(flight, "selects gear")
    limit = AIRFRAME.steps[1].limit_speed
    assert limit is not None
    assert limit / KNOT - margin < knots(flight)[at] < GEAR_LIMIT - MARGIN
    assert told(flight, "selects gear")[0].reason.startswith(f"{when_words(made.when[1])}: ")


def test_slow_enough_for_the_next_step_there_is_no_such_excess() -> None:
    """At 6.5 nm step 3 is selected, and the next one, landing, has 176 kt."""
    part = {"kind": "fast_for_step", "use": "gear", "from_nm": 6.5}
    flight = flown(rule(when=[part]), LATE_GEAR)
    near = miles(flight) <= 6.5
    assert np.all(knots(flight)[near] < 176.0)
    assert told(flight, "selects gear")[0].reason.startswith("airframe's schedule")
    assert "too fast" in told(flown(rule(when=[{**part, "margin_kt": 30.0}]), LATE_GEAR), "selects gear")[0].reason


# where it holds


@pytest.mark.parametrize(
    ("region", "holds"),
    [
        ({"from_nm": 60.0, "to_nm": 45.0}, lambda f: (miles(f) <= 60.0) & (miles(f) >= 45.0)),
        ({"from_nm": 60.0}, lambda f: miles(f) <= 60.0),
        ({"to_nm": 60.0}, lambda f: miles(f) >= 60.0),
        ({"above_height_ft": 25000.0}, lambda f: feet(f) >= 25000.0),
        ({"below_height_ft": 25000.0}, lambda f: feet(f) <= 25000.0),
        ({"above_height_ft": 20000.0, "below_height_ft": 25000.0}, lambda f: (feet(f) >= 2e4) & (feet(f) <= 25e3)),
        ({}, lambda f: miles(f) >= 0.0),
    ],
)
def test_an_action_is_taken_where_it_holds_and_nowhere_else(region: Part, holds: Any) -> None:
    """A path of 4.5° is too steep for idle: the crew is high from the first minute to the threshold."""
    high = {"kind": "high", "use": "speed brake", "by_ft": 50.0, "until_ft": -1000.0, **region}
    flight = flown(
        rule({"kind": "angle", "angle_deg": 4.5}, when=[high, NO_BRAKE_FOR_SPEED]),
        "technique.brake_in_below_kt=30",
        "technique.thrust_below_kt=30",
        "handling.speed_brake_above_ft=0",
    )
    since = first_where((feet_above(flight) > 50.0) & holds(flight))
    expected = holds(flight) & (np.arange(miles(flight).size) >= since)
    watched = slice(None, int(np.argmax(np.append(knots_over(flight) > 95.0, [True]))))  # fast enough for its own brake
    assert miles(flight)[watched][-1] < 30.0
    assert expected[watched].any()
    assert np.array_equal(ordered_brake(flight)[watched], expected[watched])
    assert not np.any(flight.column("speed_brake")[: since + 1] > 0.0)


def test_only_on_the_glide_path_is_only_there() -> None:
    part = {"kind": "fast", "use": "gear", "by_kt": 1.0, "until_kt": 0.0}
    everywhere, there = (flown(rule(when=[{**part, **more}]), LATE_GEAR) for more in ({}, {"on_glide_path": True}))
    assert miles(everywhere)[first(everywhere, "selects gear")] > 15.0
    at = first(there, "selects gear")
    assert miles(there)[at] < 12.0
    path = Scenario.from_toml(STUDY).arrival.glide_path
    off = np.abs(there.column("height_above_threshold") - path.height(-there.column("distance_to_go")))
    assert off[at] < 80.0 * FOOT
