"""Capture from above: more height takes more devices and then fails, a tailwind is worse, plans keep their limits."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from importlib import import_module
from pathlib import Path

import numpy as np
import pytest

from optdescent.corridor import ALL_SETS, EVERYTHING, SCHEDULE, DeviceSet, from_above, situation_of
from optdescent.corridor.again import Again, Use, flown_again
from optdescent.corridor.from_above import ROUND_OUT
from optdescent.corridor.ground import Ground
from optdescent.corridor.path import Paths
from optdescent.inputs import InputFault
from optdescent.results.from_above import FromAbove, Situation, from_above_plain, plan_dataset
from optdescent.rules import fly, read_rules
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.scenario.files import STUDY

COARSE = 0.5 * NAUTICAL_MILE
CALM = ("air.wind.kind=none",)
TAILWIND = ("air.wind.kind=constant", "air.wind.wind_from_deg=305", "air.wind.wind_speed_kt=20")
ABOVE = (
    "arrival.glide_path.capture=above",
    "arrival.glide_path.capture_at_least_ft=2000",
    "arrival.glide_path.capture_at_most_ft=2600",
)
MASS = 62000.0
MODULE = import_module("optdescent.corridor.from_above")
NAMES = {devices.name: devices for devices in ALL_SETS}


@cache
def scenario(settings: tuple[str, ...]) -> Scenario:
    return Scenario.from_toml(STUDY, settings)


def situation(above: float, nm: float = 10.0, speed: float = 200.0, flaps: int = 2, gear: int = 0) -> Situation:
    """So many feet above the path of the study at a distance to go and a speed [kt]."""
    path = scenario(CALM).arrival.glide_path
    height = float(path.height(-nm * NAUTICAL_MILE)) + above * FOOT
    return Situation(nm * NAUTICAL_MILE, height, speed * KNOT, MASS, flaps, gear)


@cache
def asked(above: float, settings: tuple[str, ...] = CALM) -> FromAbove:
    return from_above(scenario(settings), situation(above), COARSE)


def size(found: FromAbove) -> float:
    """How many devices it takes; more than there are if none do."""
    return sum(vars(NAMES[found.devices]).values()) if found.is_possible else np.inf


@pytest.mark.parametrize("more", [300.0, 700.0, 1000.0])
def test_higher_takes_no_fewer_devices_and_has_to_be_begun_no_later(more: float) -> None:
    less = {300.0: 0.0, 700.0: 300.0, 1000.0: 700.0}[more]
    low, high = asked(less), asked(more)
    assert low.is_possible
    assert size(high) >= size(low)
    if high.is_possible:
        assert high.abandon_by > low.abandon_by + 0.1 * NAUTICAL_MILE


def test_from_low_the_schedule_is_enough_higher_it_takes_more_and_then_nothing_does() -> None:
    assert asked(300.0).devices == SCHEDULE.name
    assert 0.0 < size(asked(1000.0)) < np.inf
    beyond = asked(2500.0)
    assert not beyond.is_possible
    assert beyond.devices == ""
    assert beyond.too_high > 500.0 * FOOT
    assert np.isnan(beyond.abandon_by)
    assert beyond.plan.sizes["point"] == 0


@pytest.mark.parametrize("above", [0.0, 300.0, 700.0])
def test_a_tailwind_takes_more_and_is_to_be_abandoned_earlier(above: float) -> None:
    calm, windy = asked(above), asked(above, TAILWIND)
    assert size(windy) >= size(calm)
    assert not windy.is_possible or windy.abandon_by > calm.abandon_by + 0.2 * NAUTICAL_MILE


def test_a_tailwind_makes_impossible_what_still_air_allows() -> None:
    assert asked(1000.0).is_possible
    assert not asked(1000.0, TAILWIND).is_possible


@pytest.mark.parametrize("settings", [CALM, TAILWIND], ids=["calm", "tailwind"])
@pytest.mark.parametrize("above", [300.0, 700.0])
def test_a_plan_flown_again_keeps_the_sink_limits_and_reaches_the_gate(above: float, settings: tuple[str, ...]) -> None:
    """2000 ft/min above 1000 ft, the arrival's own below 3000 ft likewise, and the gate's largest speed to 15 ft.

    Pitch turns to the plan's path ahead of its corners: what is flown sinks about as fast as planned.
    """
    found = asked(above, settings)
    assert found.largest_sink < 1800.0 * FOOT_PER_MINUTE
    assert 0.95 * found.largest_sink < found.largest_sink_again < 2000.0 * FOOT_PER_MINUTE
    assert found.excess_again < 15.0 * FOOT


@pytest.mark.parametrize("above", [0.0, 300.0, 700.0, 1000.0])
def test_a_plan_begins_at_the_flight_keeps_above_the_path_and_limit_speeds_and_ends_configured(above: float) -> None:
    found, airframe = asked(above), scenario(CALM).airframe
    start = situation(above)
    assert found.column("height_above_threshold")[0] == pytest.approx(start.height, abs=0.5)
    assert found.column("calibrated_airspeed")[0] == pytest.approx(start.speed)
    assert np.all(np.diff(found.column("height_above_threshold")) < 0.0)
    assert np.all(np.diff(found.column("calibrated_airspeed")) < 1e-6)
    assert np.min(found.column("above_path")) > -1.0
    speed, flaps, gear = (found.column(name) for name in ("calibrated_airspeed", "flaps", "gear"))
    assert np.all(np.diff(flaps) >= 0.0)
    for number, step in enumerate(airframe.steps[1:], start=1):
        assert step.limit_speed is not None
        assert np.all(speed[flaps >= number] <= step.limit_speed + 1e-6)
    assert np.all(speed[gear > 0.5] <= airframe.gear.limit_speed)
    assert (flaps[-1], gear[-1]) == (len(airframe.steps) - 1, 1.0)
    assert found.column("height_above_threshold")[-1] == pytest.approx(1000.0 * FOOT, abs=1.0)
    assert found.capture_height > 1000.0 * FOOT + ROUND_OUT - 1.0


class Flown:
    """Descents of plans flown again, of which the first so many are said not to be stable at the gate."""

    def __init__(self, unstable: float) -> None:
        self.left = unstable

    def __call__(self, ground: Ground, plan: Paths, use: Use) -> Again:
        again = flown_again(ground, plan, use)
        if use.lead[0] == 1.0:  # how high the edge lets it begin, not a plan
            return again
        self.left -= 1.0
        return replace(again, is_stable=again.is_stable & (self.left < 0.0))


@pytest.mark.long
def test_a_plan_whose_speed_rises_again_when_it_is_flown_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """From above no rule lets speed rise either: the reason names it."""

    def rising(ground: Ground, plan: Paths, use: Use) -> Again:
        again = flown_again(ground, plan, use)
        return again if use.lead[0] == 1.0 else replace(again, rise=again.rise + 5.0 * KNOT)

    monkeypatch.setattr(MODULE, "flown_again", rising)
    found = from_above(scenario(CALM), situation(300.0), COARSE)
    assert not found.is_possible
    assert "kt of speed gained after it had begun to fall" in found.reason


def test_a_plan_that_is_not_kept_when_it_is_flown_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    near = situation(200.0, 5.0, 165.0, 3, 1)
    assert from_above(scenario(CALM), near, COARSE).is_possible
    monkeypatch.setattr(MODULE, "flown_again", Flown(np.inf))
    found = from_above(scenario(CALM), near, COARSE)
    assert not found.is_possible
    assert found.plan.sizes["point"] == 0
    assert found.reason.startswith("not stable at the gate")
    assert found.sentence.endswith(f"it is not kept when it is flown ({found.reason}); abandon")
    assert from_above_plain(found)["reason"] == found.reason


def test_where_the_earliest_capture_is_not_kept_the_path_is_captured_later(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the same devices; five flights of a plan are all that is tried of one."""
    plain = asked(700.0)
    monkeypatch.setattr(MODULE, "flown_again", Flown(5.0))
    later = from_above(scenario(CALM), situation(700.0), COARSE)
    assert later.devices == plain.devices
    assert later.reason == ""
    assert later.capture_distance < plain.capture_distance - 0.4 * NAUTICAL_MILE


def test_a_plan_that_is_not_kept_at_first_is_eased(monkeypatch: pytest.MonkeyPatch) -> None:
    """From the same height and speed, slower on the way."""
    plain = asked(700.0)
    monkeypatch.setattr(MODULE, "flown_again", Flown(1.0))
    eased = from_above(scenario(CALM), situation(700.0), COARSE)
    assert eased.devices == plain.devices
    assert eased.reason == ""
    speeds = [one.column("calibrated_airspeed") for one in (plain, eased)]
    assert speeds[0][0] == speeds[1][0]
    assert np.max(speeds[0] - speeds[1]) > 0.4 * KNOT
    assert eased.column("height_above_threshold")[0] == pytest.approx(plain.column("height_above_threshold")[0])


def test_a_flight_on_the_path_is_captured() -> None:
    found = asked(0.0)
    assert found.is_on_path
    assert found.is_possible
    assert found.capture_distance == pytest.approx(10.0 * NAUTICAL_MILE)
    assert np.max(np.abs(found.column("above_path"))) < 1.0
    assert "on the glide path" in found.sentence


def test_on_the_path_too_fast_it_is_on_it_and_no_more() -> None:
    found = from_above(scenario(CALM), situation(0.0, 3.6, 185.0, 2, 1), COARSE)
    assert found.is_on_path
    assert not found.is_possible
    assert found.sentence == (
        "At 3.6 nm to go and 185 kt, on the glide path: the gate at 1000 ft cannot be met with everything; abandon"
    )


def test_the_place_to_abandon_is_where_it_can_just_be_begun() -> None:
    """Asked again a little before it and a little after it, at the same height above the path and speed."""
    by = asked(700.0).abandon_by / NAUTICAL_MILE
    before, after = (from_above(scenario(CALM), situation(700.0, by + off), COARSE) for off in (0.4, -0.4))
    assert before.is_possible
    assert not after.is_possible


def test_a_flight_that_is_late_with_its_devices_counts_as_fast_as_when_the_schedule_selects_them() -> None:
    """At 165 kt the schedule has the gear out already."""
    late = from_above(scenario(CALM), situation(300.0, speed=165.0), COARSE)
    assert late.is_possible
    assert late.column("calibrated_airspeed")[0] > 170.0 * KNOT
    assert late.gear_distance > 9.0 * NAUTICAL_MILE


def test_the_smaller_sets_are_asked_before_the_larger() -> None:
    counts = [sum(vars(devices).values()) for devices in ALL_SETS]
    assert counts == sorted(counts)
    assert ALL_SETS[0] == SCHEDULE
    assert ALL_SETS[-1] == EVERYTHING
    assert DeviceSet(early_gear=True) in ALL_SETS[1:4]


def test_an_arrival_that_captures_from_above_keeps_its_own_heights() -> None:
    found = from_above(scenario((*CALM, *ABOVE)), situation(300.0), COARSE)
    assert found.is_possible
    assert found.lowest_capture == pytest.approx(2000.0 * FOOT)
    assert 2000.0 * FOOT < found.capture_height < 2600.0 * FOOT + 75.0 * FOOT
    assert found.abandon_by > asked(300.0).abandon_by


def test_a_flight_is_asked_where_it_is() -> None:
    flown = fly(scenario(CALM), next(rule for rule in read_rules("library") if rule.name == "three-to-one-alone"))
    place = 9.0 * NAUTICAL_MILE
    there = situation_of(flown, place)
    near = int(np.argmin(np.abs(flown.column("distance_to_go") - place)))
    assert there.speed == pytest.approx(flown.column("calibrated_airspeed")[near], abs=2.0 * KNOT)
    assert there.height == pytest.approx(flown.column("height_above_threshold")[near], abs=60.0 * FOOT)
    # a step that travels counts as in
    flaps = flown.column("flaps")[near - 1 : near + 2]
    assert int(flaps.min()) <= there.flaps <= int(flaps.max())
    found = from_above(scenario(CALM), there, COARSE)
    assert found.is_on_path == (abs(found.above_path) < 75.0 * FOOT)
    assert found.sentence.startswith(f"At 9.0 nm to go and {there.speed / KNOT:.0f} kt")
    with pytest.raises(InputFault, match=r"got 500\.0 nm"):
        situation_of(flown, 500.0 * NAUTICAL_MILE)


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"distance_to_go": 2.0 * NAUTICAL_MILE}, "distance: got 2.0 nm; allowed: 3.2 nm"),
        ({"height": 1000.0 * FOOT}, "height: got 1000 ft; allowed: at least 3159 ft"),
        ({"mass": 1.0}, "mass: got 1 kg; allowed: 42000 to 76000 kg"),
        ({"flaps": 7}, "devices: got step 7, gear 0; allowed: steps 0 to 4"),
        ({"speed": 230.0 * KNOT}, "speed: got 230 kt; allowed: 160 to 204 kt with step 2"),
        ({"speed": 130.0 * KNOT}, "speed: got 130 kt"),
        ({"speed": float("nan")}, "speed: got nan kt"),
    ],
)
def test_what_cannot_be_asked_is_named(changed: dict[str, float], words: str) -> None:
    with pytest.raises(InputFault) as caught:
        from_above(scenario(CALM), replace(situation(0.0 if "height" in changed else 300.0), **changed), COARSE)
    assert words in str(caught.value)


def test_it_is_told_in_a_sentence_in_rows_and_with_units(tmp_path: Path) -> None:
    found = asked(700.0)
    assert found.sentence.startswith(
        "At 10.0 nm to go and 200 kt, 700 ft above the glide path: capture from above with "
    )
    assert f"abandon if not begun by {found.abandon_by / NAUTICAL_MILE:.1f} nm" in found.sentence
    beyond = asked(2500.0)
    assert f"({round(beyond.too_high / FOOT, -1):.0f} ft too high); abandon" in beyond.sentence
    plain = from_above_plain(found)
    assert plain["from"]["above_path_ft"] == 700.0
    assert plain["capture_ft"] == pytest.approx(found.capture_height / FOOT, abs=0.5)
    assert set(plain["plan"][0]) == {
        *("distance_to_go_nm", "height_above_threshold_ft", "above_path_ft", "calibrated_airspeed_kt"),
        *("sink_ft_per_min", "flaps", "gear"),
    }
    found.to_csv(tmp_path / "from_above.csv")
    lines = (tmp_path / "from_above.csv").read_text(encoding="utf-8").splitlines()
    assert lines[1] == f"# {found.sentence}"
    assert len(lines) == 4 + found.plan.sizes["point"]
    none = from_above_plain(asked(2500.0))
    assert none["plan"] == []
    assert none["devices"] is None
    with pytest.raises(ValueError, match="columns differ from the schema"):
        plan_dataset({"sink": np.zeros(1)})
