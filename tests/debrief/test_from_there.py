"""The optimum begun where a recorded flight is."""

from __future__ import annotations

from dataclasses import replace
from importlib import import_module

import numpy as np
import pytest

from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.atmosphere import pressure
from optdescent.airframe.speeds import manoeuvre_speed
from optdescent.arrival import Capture, floor_at
from optdescent.debrief import debrief
from optdescent.debrief.from_there import begun_at, optimum_told, why_not_begun
from optdescent.ocp import ProblemFault
from optdescent.optimum import NotConverged, optimise
from optdescent.results import Flight
from optdescent.results.debrief import Severity
from optdescent.scenario import Scenario
from optdescent.scenario.midway import Midway
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.debrief.recordings import FOLDER, SCENARIO, against, flight, silent


def test_it_begins_where_the_flight_is_and_keeps_what_is_ahead() -> None:
    own = flight("good")
    begun = begun_at(SCENARIO, own, 25.0 * NAUTICAL_MILE)
    assert begun is not None
    assert begun.start.distance == 25.0 * NAUTICAL_MILE
    assert begun.start.altitude == pytest.approx(own.at_distance("altitude", 25.0 * NAUTICAL_MILE))
    assert begun.start.mass == pytest.approx(own.at_distance("mass", 25.0 * NAUTICAL_MILE))
    assert begun.arrival.glide_path == SCENARIO.arrival.glide_path
    assert begun.digest != SCENARIO.digest


def test_demands_that_lie_behind_are_left_out() -> None:
    windows = ",".join(f'{{name="W{nm}",distance_nm={nm},altitude_at_least_ft=1000}}' for nm in (90, 60, 30, 12))
    asked = Scenario.from_toml(FOLDER / "scenario.toml", (f"arrival.windows=[{windows}]",))
    begun = begun_at(asked, flight("good"), 40.0 * NAUTICAL_MILE)
    assert begun is not None
    assert [window.name for window in begun.arrival.windows] == ["W30", "W12"]


def test_a_floor_and_a_hold_down_that_the_flight_is_in_begin_just_ahead() -> None:
    """Half-way between two points of the floor it is half-way between their altitudes, to the clearance of 0.2 nm."""
    altitude = round(float(flight("good").at_distance("altitude", 50.0 * NAUTICAL_MILE)) / FOOT)
    asked = Scenario.from_toml(
        FOLDER / "scenario.toml",
        (
            "arrival.floor=[{distance_nm=60,altitude_ft=9000},{distance_nm=40,altitude_ft=7000},"
            "{distance_nm=12,altitude_ft=3000}]",
            f"arrival.hold_downs=[{{altitude_ft={altitude},from_nm=52,to_nm=48}},"
            "{altitude_ft=16000,from_nm=70,to_nm=60}]",
        ),
    )
    begun = begun_at(asked, flight("good"), 50.0 * NAUTICAL_MILE)
    assert begun is not None
    first, *others = begun.arrival.floor
    assert first.distance / NAUTICAL_MILE == pytest.approx(49.8)
    inside = floor_at(
        [point.distance for point in asked.arrival.floor],
        [point.altitude for point in asked.arrival.floor],
        np.array([first.distance]),
    )
    assert first.altitude == pytest.approx(float(inside[0]))
    assert [point.distance / NAUTICAL_MILE for point in others] == pytest.approx([40.0, 12.0])
    (level,) = begun.arrival.hold_downs
    assert (level.from_ / NAUTICAL_MILE, level.to / NAUTICAL_MILE) == pytest.approx((49.8, 48.0))


@pytest.mark.parametrize(("off_ft", "is_kept"), [(90, True), (-90, True), (110, False), (-110, False)])
def test_a_level_segment_that_was_missed_is_not_asked_for_again(off_ft: int, is_kept: bool) -> None:
    """100 ft off its altitude is allowed."""
    altitude = round(float(flight("good").at_distance("altitude", 50.0 * NAUTICAL_MILE)) / FOOT) + off_ft
    asked = Scenario.from_toml(
        FOLDER / "scenario.toml", (f"arrival.hold_downs=[{{altitude_ft={altitude},from_nm=52,to_nm=48}}]",)
    )
    begun = begun_at(asked, flight("good"), 50.0 * NAUTICAL_MILE)
    assert begun is not None
    assert bool(begun.arrival.hold_downs) is is_kept


def test_above_the_glide_path_the_optimum_captures_it_from_above() -> None:
    """At 12 nm the flight is 360 ft above the path, gear down; it levelled before."""
    own, place = flight("from-above"), 12.0 * NAUTICAL_MILE
    begun = begun_at(SCENARIO, own, place)
    assert begun is not None
    assert begun.arrival.glide_path.capture is Capture.ABOVE
    assert begun.arrival.glide_path.capture_at_least < SCENARIO.arrival.glide_path.capture_at_least
    assert not begun.midway.on_path
    told = optimum_told(SCENARIO, own, place, np.nan, {})
    assert told.startswith("from there the optimum takes ")
    assert told.endswith(", the path captured from above")


@pytest.mark.parametrize(
    ("fault", "words"),
    [
        (NotConverged("stopped"), "from there neither an optimum nor a conflict of its demands was found"),
        (ProblemFault("a value is not finite"), "from there no optimum can be asked for: a value is not finite"),
    ],
)
def test_why_none_was_found_is_told(fault: Exception, words: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_asked: object) -> None:
        raise fault

    monkeypatch.setattr(import_module("optdescent.debrief.from_there"), "found_cold", fails)
    assert optimum_told(SCENARIO, flight("good"), 25.0 * NAUTICAL_MILE, 100.0, {}) == words


@pytest.mark.parametrize("distance_nm", [3.1, 1.0])
def test_past_the_gate_nothing_is_begun(distance_nm: float) -> None:
    assert begun_at(SCENARIO, flight("good"), distance_nm * NAUTICAL_MILE) is None
    told = optimum_told(SCENARIO, flight("good"), distance_nm * NAUTICAL_MILE, np.nan, {})
    assert told == "from there no optimum is asked for: at or past the gate"


def test_outside_the_reach_of_everything_none_is_asked_for() -> None:
    told = optimum_told(SCENARIO, flight("good"), 8.0 * NAUTICAL_MILE, -100.0 * FOOT, {})
    assert told == "from there no optimum is asked for: 100 ft more energy than everything can lose"


def test_it_begins_with_what_is_out_on_the_path_or_off_it() -> None:
    far, near = (begun_at(SCENARIO, flight("late-gear"), nm * NAUTICAL_MILE) for nm in (14.0, 6.0))
    assert far is not None
    assert near is not None
    assert far.midway == Midway(frozenset({1, 2}))
    assert near.midway == Midway(frozenset({1, 2, 3}), on_path=True)


@pytest.mark.parametrize(("name", "nm"), [("brake-in-and-out", 14.93), ("levelled-at-capture", 13.2)])
def test_crossing_the_line_of_the_path_above_its_capture_is_not_being_on_it(name: str, nm: float) -> None:
    """Within 75 ft of it, at 4800 and 4200 ft with the path to be captured up to 3200 ft."""
    own, place = flight(name), nm * NAUTICAL_MILE
    off = float(own.at_distance("height_above_threshold", place)) - SCENARIO.arrival.glide_path.height(-place)
    assert abs(float(off)) < 75.0 * FOOT
    begun = begun_at(SCENARIO, own, place)
    assert begun is not None
    assert not begun.midway.on_path


def test_too_slow_on_the_path_it_is_said() -> None:
    own = flight("good")
    speed = np.full(own.column("mass").shape, 120.0 * KNOT)
    slow = replace(own, dataset=own.dataset.assign(calibrated_airspeed=("point", speed)))
    assert why_not_begun(SCENARIO, slow, 5.0 * NAUTICAL_MILE) == "at 120 kt slower than the gate allows"


def test_steps_without_which_it_would_be_too_slow_count_as_out() -> None:
    own, place = flight("slow-to-configure"), 14.0 * NAUTICAL_MILE
    speed = np.full(own.column("mass").shape, 160.0 * KNOT)
    slow = replace(own, dataset=own.dataset.assign(calibrated_airspeed=("point", speed)))
    begun, usual = begun_at(SCENARIO, slow, place), begun_at(SCENARIO, own, place)
    assert begun is not None
    assert usual is not None
    assert usual.midway.out == {1}
    step, airframe = max(begun.midway.out), SCENARIO.airframe
    near = optimum_told(SCENARIO, slow, 9.0 * NAUTICAL_MILE, np.nan, {})
    assert near.endswith(" counted as out, without which it is too slow")
    assert step > 1
    assert manoeuvre_speed(airframe, step, begun.start.mass) <= 160.0 * KNOT
    assert manoeuvre_speed(airframe, step - 1, begun.start.mass) > 160.0 * KNOT


def test_further_gates_that_lie_behind_are_left_out() -> None:
    asked = Scenario.from_toml(
        FOLDER / "scenario.toml", ("arrival.more_gates=[{height_ft=1500},{height_ft=500,landing_configuration=true}]",)
    )
    begun = begun_at(asked, flight("good"), 4.0 * NAUTICAL_MILE)
    assert begun is not None
    assert [gate.height / FOOT for gate in begun.arrival.more_gates] == [500.0]


def test_where_something_is_not_known_or_too_fast_it_is_said() -> None:
    """Up to 3 kt over a limit count as at the limit."""
    own, place = flight("good"), 25.0 * NAUTICAL_MILE
    size = own.column("mass").shape
    away = np.abs(own.column("distance_to_go") - place) > 0.5 * NAUTICAL_MILE
    hidden = replace(own, dataset=own.dataset.assign(mass=("point", np.where(away, own.column("mass"), np.nan))))
    fast, faster = (
        replace(own, dataset=own.dataset.assign(calibrated_airspeed=("point", np.full(size, speed * KNOT))))
        for speed in (252.0, 260.0)
    )
    assert why_not_begun(SCENARIO, hidden, place) == "altitude, speed, mass or configuration not known"
    assert why_not_begun(SCENARIO, faster, place) == "at 260 kt faster than 250 kt below 10000 ft"
    assert begun_at(SCENARIO, hidden, place) is begun_at(SCENARIO, faster, place) is None
    at_limit = begun_at(SCENARIO, fast, place)
    assert at_limit is not None
    level = pressure(SCENARIO.pressure_altitude(at_limit.start.altitude))
    assert calibrated_from_mach(at_limit.start.mach, level) == pytest.approx(250.0 * KNOT, rel=1e-6)
    assert why_not_begun(SCENARIO, own, place) == ""


def test_a_debrief_beside_an_optimum_has_its_energy_and_where_it_is(monkeypatch: pytest.MonkeyPatch) -> None:
    """One begun at 25 nm, of which nothing is known before; findings at one place are answered once."""
    begun = begun_at(SCENARIO, flight("good"), 25.0 * NAUTICAL_MILE)
    assert begun is not None
    best, asked = optimise(begun), list[float]()

    def told(_scenario: Scenario, _flight: Flight, distance: float, *_others: object) -> str:
        asked.append(distance)
        return f"asked at {distance / NAUTICAL_MILE:.1f} nm"

    monkeypatch.setattr(import_module("optdescent.debrief.debrief"), "optimum_told", told)
    found = debrief(flight("slow-to-configure"), replace(against(), optimum=best), silent)
    assert found.others == (best,)
    to_go, over = found.flight.column("distance_to_go"), found.points["energy_above_optimum"].to_numpy()
    assert np.isnan(over[to_go > 25.1 * NAUTICAL_MILE]).all()
    at = int(np.argmin(np.abs(to_go - 12.0 * NAUTICAL_MILE)))
    own, theirs = (
        float(one.at_distance("altitude", to_go[at]))
        + float(one.at_distance("true_airspeed", to_go[at])) ** 2 / (2.0 * 9.80665)
        for one in (found.flight, best)
    )
    assert over[at] == pytest.approx(own - theirs, abs=5.0)
    assert np.isfinite(over[to_go < 24.0 * NAUTICAL_MILE]).all()
    worse = [one for one in found.findings if one.severity is not Severity.NOTE]
    assert all(one.instead.startswith("the optimum is at ") for one in found.findings)
    assert all(f"; asked at {one.distance_to_go / NAUTICAL_MILE:.1f} nm; " in one.instead for one in worse)
    assert sorted(asked) == sorted({one.distance_to_go for one in worse})


def test_what_the_optimum_takes_is_told() -> None:
    """At 250 kt and on the path; idle takes some 5 to 6 kg a minute: less than 150 kg for the last 25 miles."""
    told = optimum_told(SCENARIO, flight("good"), 25.0 * NAUTICAL_MILE, 100.0, {})
    assert told.startswith("from there the optimum takes ")
    assert 50.0 < float(told.split()[5]) < 150.0
    assert ", gear at " in told
    assert f", {SCENARIO.airframe.steps[1].name} at " in told


def test_near_the_gate_what_it_lacks_is_told() -> None:
    """Slow to configure: from 9 nm early flaps and gear still save it, at 6 nm it is too late."""
    own = flight("slow-to-configure")
    still = optimum_told(SCENARIO, own, 9.0 * NAUTICAL_MILE, np.nan, {})
    assert still.startswith("from there the optimum takes ")
    assert 4.0 < float(still.rpartition(", gear at ")[2].removesuffix(" nm")) < 9.1
    lost = optimum_told(SCENARIO, own, 6.0 * NAUTICAL_MILE, np.nan, {})
    assert lost.startswith("from there no descent at idle to the approach speed was found that meets every demand; ")
    assert "the speed at the gate" in lost


def test_a_little_above_the_path_but_too_high_to_be_on_it_it_is_captured_from_above() -> None:
    """At 12.9 nm 67 ft above the line of the path, 900 ft above its highest capture, with 16 nm to be below within."""
    asked = Scenario.from_toml(FOLDER / "scenario.toml", ("arrival.glide_path.below_within_nm=16",))
    own, place = flight("levelled-at-capture"), 12.9 * NAUTICAL_MILE
    above = float(own.at_distance("height_above_threshold", place)) - float(asked.arrival.glide_path.height(-place))
    assert 0.0 < above < 75.0 * FOOT
    told = optimum_told(asked, own, place, np.nan, {})
    assert told.startswith("from there the optimum takes ")
    assert told.endswith(", the path captured from above")


def test_with_devices_out_a_guess_that_slows_first_is_tried_too() -> None:
    """At 14.25 nm the usual first guess ends 380 ft above the path, where it is to be below it."""
    told = optimum_told(SCENARIO, flight("levelled-at-capture"), 14.25 * NAUTICAL_MILE, np.nan, {})
    assert told.startswith("from there the optimum takes ")
