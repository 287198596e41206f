"""The six invented recordings: every seeded mistake is found, and nothing severe where nothing was done wrong."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from dataclasses import replace
from functools import partial
from pathlib import Path

import numpy as np
import pytest

from optdescent.corridor import LastFound
from optdescent.debrief import Action, debrief, what_if
from optdescent.debrief.findings import findings
from optdescent.debrief.rehearse import csv_of, rehearsed, scripts
from optdescent.debrief.track import Track
from optdescent.inputs import InputFault
from optdescent.recording import read_recording
from optdescent.results.debrief import Debrief, Finding, Severity, Subject, debrief_plain, findings_csv, points_csv
from optdescent.rules import read_rules
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.debrief.recordings import FOLDER, RULE, SCENARIO, TRUTH, against, debriefed, flight, silent

SEEDED = [(name, mistake) for name, one in TRUTH.items() for mistake in one["mistakes"]]


@pytest.mark.parametrize(("name", "mistake"), SEEDED, ids=lambda part: part if isinstance(part, str) else "")
def test_every_seeded_mistake_is_found_within_five_seconds(name: str, mistake: dict[str, object]) -> None:
    found = debriefed(name).about(Subject[str(mistake["subject"]).upper()])
    assert found, f"{mistake['subject']} is not found in {name}"
    assert min(abs(one.time - float(str(mistake["time_s"]))) for one in found) <= 5.0


def test_with_other_noise_the_seeded_mistake_is_found_all_the_same(tmp_path: Path) -> None:
    rules = {rule.name: rule for rule in read_rules("library")}
    every = scripts(SCENARIO, *(rules[name] for name in ("300-with-allowances", "three-degrees", "path-from-above")))
    made = rehearsed(next(one for one in every if one.name == "late-gear"), SCENARIO)
    (tmp_path / "again.csv").write_text(csv_of(made, 202), encoding="utf-8")
    recorded = read_recording(tmp_path / "again.csv", FOLDER / "columns.toml", SCENARIO)
    found = debrief(recorded.flight, against(), silent)
    for mistake in made.mistakes:
        assert min(abs(one.time - mistake.time) for one in found.about(mistake.subject)) <= 5.0
    assert not found.severe


def test_nothing_severe_is_found_in_the_good_one() -> None:
    assert not debriefed("good").severe
    assert debriefed("good").flight.summary.gate.stable


@pytest.mark.parametrize("name", TRUTH)
def test_the_verdict_on_the_recording_is_that_on_the_flight(name: str) -> None:
    assert debriefed(name).flight.summary.gate.stable is TRUTH[name]["stable"]


@pytest.mark.parametrize("name", [name for name, one in TRUTH.items() if not one["stable"]])
def test_an_approach_that_is_lost_has_its_last_useful_point_before_the_gate(name: str) -> None:
    found = debriefed(name)
    lost = [one for one in found.about(Subject.LAST_USEFUL) if one.severity is Severity.SEVERE]
    unstable = found.about(Subject.UNSTABLE)[0]
    assert len(lost) == 1
    assert lost[0].time < unstable.time - 20.0
    assert lost[0].height > SCENARIO.arrival.gate.height + 500.0 * FOOT


def test_in_a_tailwind_gear_at_its_last_useful_point_makes_it_stable_by_500_ft() -> None:
    """And it lies before the aircraft passes it too fast: the approach as flown is unstable."""
    found = debriefed("slow-to-configure")
    last = found.last.of("early gear")
    gate = found.about(Subject.UNSTABLE)[0]
    assert last.is_of_use
    assert not last.is_kept
    assert last.time < gate.time
    with_gear = what_if(SCENARIO, RULE, found.flight, last.time, Action.GEAR)
    assert with_gear.low.stable
    assert not found.flight.summary.gate.stable


def test_around_its_last_useful_point_gear_that_comes_later_never_does_better() -> None:
    """Once a gate is lost it stays lost, and the speed there rises; 20 s before the point the gear saves it."""
    found = debriefed("slow-to-configure")
    time = found.last.of("early gear").time
    tried = [what_if(SCENARIO, RULE, found.flight, time + after, Action.GEAR) for after in (-20.0, -10.0, 0.0, 10.0)]
    at_gate, low = ([one.flight.summary.gate for one in tried], [one.low for one in tried])
    for gates in (at_gate, low):
        outcomes = [gate.stable for gate in gates]
        assert outcomes == sorted(outcomes, reverse=True)
        assert np.all(np.diff([gate.calibrated_airspeed for gate in gates]) > -0.5 * KNOT)
    assert at_gate[0].stable
    assert not at_gate[-1].stable
    assert low[2].stable
    assert not low[-1].stable


@pytest.mark.parametrize("name", [name for name, one in TRUTH.items() if not one["stable"]])
def test_a_perfect_crew_saves_it_shortly_before_the_last_useful_point_and_never_after_it(name: str) -> None:
    """Two answers by different means: the edges' plans flown on, and a crew that goes on by a rule with everything."""
    found = debriefed(name)
    last = found.last.of("everything")
    early, late = (
        what_if(SCENARIO, RULE, found.flight, last.time + after, Action.EVERYTHING) for after in (-20.0, 5.0)
    )
    assert early.flight.summary.gate.stable
    assert not late.flight.summary.gate.stable
    assert "not stable at 1000 ft" in late.sentence


def test_a_perfect_crew_that_goes_on_from_a_good_flight_is_stable() -> None:
    good = flight("good")
    time = float(np.interp(-15.0 * NAUTICAL_MILE, -good.column("distance_to_go"), good.column("time")))
    onward = what_if(SCENARIO, RULE, good, time, Action.RULE)
    assert onward.flight.summary.gate.stable
    assert onward.flight.column("time")[0] == pytest.approx(time)
    assert onward.flight.column("distance_to_go")[0] == pytest.approx(15.0 * NAUTICAL_MILE, rel=1e-3)
    before = np.interp(time, good.column("time"), good.column("calibrated_airspeed"))
    assert onward.flight.column("calibrated_airspeed")[0] == pytest.approx(float(before), abs=0.5)


def test_a_time_outside_the_flight_has_no_answer() -> None:
    with pytest.raises(ValueError, match="not within the flight"):
        what_if(SCENARIO, RULE, flight("good"), 1e5, Action.GEAR)


def test_findings_come_in_order_of_time_with_evidence_and_what_would_have_been() -> None:
    for name in TRUTH:
        times = [one.time for one in debriefed(name).findings]
        assert times == sorted(times)
        for one in debriefed(name).findings:
            assert one.evidence
            assert (one.instead != "") is (one.severity is not Severity.NOTE)


def test_energy_to_spare_is_nested_point_by_point() -> None:
    found = debriefed("brake-in-and-out")
    everything = found.margin("everything")
    for name in ("idle and schedule", "speed brake", "early gear", "early flaps"):
        own = found.margin(name)
        asked = np.isfinite(own) & np.isfinite(everything)
        assert np.all(everything[asked] >= own[asked] - 1.0 * FOOT)
        assert not np.any(np.isinf(everything) & np.isfinite(own))


def test_json_and_csv_tell_the_same() -> None:
    found = debriefed("late-gear")
    plain = debrief_plain(found)
    rows = list(csv.DictReader(io.StringIO(findings_csv(found)), restkey="more"))
    assert "not for use in flight" in plain["caution"]
    assert [one["subject"] for one in plain["findings"]] == [finding.subject.name.lower() for finding in found.findings]
    lines = findings_csv(found).splitlines()
    assert lines[1].startswith("# Training analysis")
    assert len(lines) == 3 + len(found.findings)
    assert rows
    assert {one["devices"] for one in plain["last_useful"]} >= {"early gear", "everything"}


def test_points_are_told_in_feet_and_miles_where_anything_is_known_of_them() -> None:
    """A mile of the 3° path loses 318.44 ft (exact)."""
    found = debriefed("late-gear")
    rows = list(csv.DictReader(line for line in points_csv(found).splitlines() if not line.startswith("#")))
    spare = found.margin("everything") / FOOT
    asked = np.flatnonzero(np.isfinite(spare))
    assert len(rows) >= asked.size
    times = {row["time_s"]: row for row in rows}
    for at in asked[:: asked.size // 7]:
        row = times[f"{round(float(found.flight.column('time')[at]), 1):g}"]
        assert float(row["everything_to_spare_ft"]) == pytest.approx(spare[at], abs=0.51)
        assert float(row["everything_to_spare_nm"]) == pytest.approx(spare[at] / 318.44, abs=6e-3)
    assert any(row["idle_and_schedule_to_spare_ft"] == "-inf" for row in rows)


def test_the_recordings_say_that_they_are_invented() -> None:
    for name in TRUTH:
        assert (FOLDER / f"{name}.csv").read_text(encoding="utf-8").startswith("# INVENTED")


def changed(name: str, **columns: np.ndarray) -> Debrief:
    """A recording debriefed with some columns replaced."""
    own = flight(name)
    dataset = own.dataset.assign({key: own.dataset[key].copy(data=values) for key, values in columns.items()})
    return debrief(replace(own, dataset=dataset), against(), silent)


Columns = dict[str, np.ndarray]


def within(far_nm: float, near_nm: float) -> np.ndarray:
    """Points of the good recording between two distances to go."""
    to_go = flight("good").column("distance_to_go") / NAUTICAL_MILE
    return (to_go <= far_nm) & (to_go >= near_nm)


def replaced(name: str, where: np.ndarray, value: float) -> Columns:
    """A column of the good recording with another value [SI] at some points."""
    return {name: np.where(where, value, flight("good").column(name))}


def too_high_at_15_nm(feet: float) -> Columns:
    """Higher by so much more than idle and the schedule can lose; its energy rises a little more than that."""
    good = flight("good")
    at = int(np.argmax(good.column("distance_to_go") <= 15.0 * NAUTICAL_MILE))
    more = float(debriefed("good").margin("idle and schedule")[at]) + feet * FOOT
    altitude = good.column("pressure_altitude")
    return {"pressure_altitude": np.where(within(15.5, 14.5), altitude + more, altitude)}


def thrust_with_brake(seconds: float) -> Columns:
    """From 1000 s on."""
    time = flight("good").column("time")
    both = (time >= 1000.0) & (time <= 1000.0 + seconds)
    return replaced("thrust_fraction", both, 0.3) | replaced("speed_brake", both, 1.0)


def selected_at_speed(device: str, above_knots: float) -> Columns:
    """Step 1, or the gear, out from where the recording is last so much faster than its limit speed."""
    own, airframe = flight("good"), SCENARIO.airframe
    limit = airframe.gear.limit_speed if device == "gear" else airframe.steps[1].limit_speed
    assert limit is not None
    last = int(np.flatnonzero(own.column("calibrated_airspeed") > limit + above_knots * KNOT)[-1])
    later = np.arange(own.column("time").size) > last
    return {device: np.where(later, np.maximum(own.column(device), 1.0), own.column(device))}


def captured_at(knots: float) -> Columns:
    return replaced("calibrated_airspeed", within(13.0, 8.0), knots * KNOT)


def captured_with(flaps: float) -> Columns:
    return replaced("flaps", within(200.0, 7.0), flaps)


def sinking(feet_per_minute: float) -> Columns:
    """For ten seconds below the gate, where 1000 ft/min are allowed."""
    first = int(np.argmax(flight("good").column("height_above_threshold") < 900.0 * FOOT))
    some = np.isin(np.arange(flight("good").column("time").size), np.arange(first, first + 10))
    return replaced("vertical_speed", some, -feet_per_minute * FOOT_PER_MINUTE)


KINDS: list[tuple[Subject, Callable[[float], Columns], float, float]] = [
    (Subject.TOO_HIGH, too_high_at_15_nm, 400.0, 0.0),
    (Subject.THRUST_WITH_BRAKE, thrust_with_brake, 10.0, 3.0),
    (Subject.FLAPS_TOO_FAST, partial(selected_at_speed, "flaps"), 5.0, -2.0),
    (Subject.GEAR_TOO_FAST, partial(selected_at_speed, "gear"), 5.0, -2.0),
    (Subject.CAPTURED_FAST, captured_at, 208.0, 203.0),
    (Subject.CAPTURED_CLEAN, captured_with, 0.0, 1.0),
    (Subject.SINK, sinking, 1200.0, 1100.0),
]
"""What is found, how the good recording is changed for it, by how much, and by how much it is not found yet."""


@pytest.mark.parametrize(("subject", "change", "much", "little"), KINDS, ids=lambda part: getattr(part, "name", ""))
def test_each_kind_is_found_where_it_is_and_not_where_it_is_not(
    subject: Subject, change: Callable[[float], Columns], much: float, little: float
) -> None:
    found = changed("good", **change(much)).about(subject)
    assert len(found) == 1
    assert found[0].severity is not Severity.NOTE
    assert not changed("good", **change(little)).about(subject)


def test_of_devices_that_are_not_known_nothing_is_told() -> None:
    late = flight("late-gear")
    unknown = np.full(late.column("gear").shape, np.nan)
    assert changed("late-gear").about(Subject.GEAR_LATE)
    assert not changed("late-gear", gear=unknown).about(Subject.GEAR_LATE)
    assert not changed("late-gear", gear=np.ones_like(unknown)).about(Subject.GEAR_LATE)
    time, gear = late.column("time"), late.column("gear").copy()
    moving = float(time[np.argmax(gear > 0.03)])
    gear[(time > moving - 20.0) & (time < moving + 20.0)] = np.nan
    assert not changed("late-gear", gear=gear).about(Subject.GEAR_LATE)


def with_energy_to_spare(spare: float) -> tuple[Finding, ...]:
    """Of the brake stowed at 1100 s: what is found if idle could lose so much more [m] there than the flight has."""
    found = debriefed("brake-in-and-out")
    names = tuple(own.devices.name for own in against().edges.highest)
    margins = np.array([found.margin(name) for name in names])
    at = int(np.argmin(np.abs(found.flight.column("time") - 1100.0)))
    above = found.points["height_above_rule"].to_numpy()
    margins = margins + (spare - margins[0, at])
    places, speeds = against().edges.ground.to_go, against().edges.highest[0].states.speeds
    ends = float(speeds[0]), float(speeds[-1])
    last, farthest = LastFound(found.last, ()), float(places[-1])
    track = Track(found.flight, SCENARIO, margins, names, RULE.name, above, last, farthest, ends)
    return tuple(one for one in findings(track) if one.subject is Subject.BRAKE_STOWED and abs(one.time - 1100.0) < 5.0)


def test_a_brake_stowed_while_idle_could_still_do_is_told_if_it_stays_in_until_idle_cannot() -> None:
    """Above the rule all the while. Where idle can do to the end, stowing it cost nothing."""
    told = with_energy_to_spare(2000.0 * FOOT)
    assert len(told) == 1
    assert "s later with" in told[0].evidence
    assert re.search(rf"above what {RULE.name} asks for, where idle and the schedule have 20[01]0 ft", told[0].evidence)
    assert not with_energy_to_spare(9000.0 * FOOT)


def test_gear_that_stays_in_with_idle_no_longer_enough_is_late_whatever_the_flaps() -> None:
    """Slow to configure: 54 kt above the gate's speed the schedule never asks for it; as a drag device it was due."""
    found = debriefed("slow-to-configure")
    late = found.about(Subject.GEAR_LATE)
    assert len(late) == 1
    assert abs(late[0].time - found.last.of("idle and schedule").time) < 15.0
    assert not debriefed("good").about(Subject.GEAR_LATE)


def test_a_height_that_is_not_known_is_told_as_such() -> None:
    good = flight("late-gear")
    height, time = good.column("height_above_threshold").copy(), good.column("time")
    found = changed("late-gear")
    at = found.about(Subject.GEAR_LATE)[0].time
    height[np.abs(time - at) < 10.0] = np.nan
    plain = debrief_plain(changed("late-gear", height_above_threshold=height))
    assert any(one["height_ft"] is None for one in plain["findings"])


def test_nothing_is_tried_where_a_device_is_not_known_nor_across_a_gap() -> None:
    """Nor said to be stable: of gear that is not known nobody knows whether it comes out in time."""
    late = flight("late-gear")
    at = int(np.argmax(late.column("time") >= debriefed("late-gear").about(Subject.GEAR_LATE)[0].time))
    gear = late.column("gear").copy()
    gear[at - 3 : at - 1] = np.nan
    gap = replace(late, dataset=late.dataset.assign(gear=("point", gear)))
    time = float(late.column("time")[at - 2])
    for moment in (time, time - 1.5, time + 0.5):
        with pytest.raises(InputFault, match=f"at {moment:.0f} s gear not known; allowed: a moment at which all is"):
            what_if(SCENARIO, RULE, gap, moment, Action.GEAR)
    assert what_if(SCENARIO, RULE, gap, time + 1.0, Action.GEAR).flight.summary.gate.stable
    unknown = np.full(flight("slow-to-configure").column("gear").shape, np.nan)
    hidden = changed("slow-to-configure", gear=unknown, flaps=unknown)
    told = [one.instead for one in hidden.findings if one.severity is not Severity.NOTE]
    assert told
    assert all("slats and flaps, gear not known there: no other action is tried" in one for one in told)


def test_at_the_end_of_a_flight_nothing_is_left_to_try() -> None:
    good = flight("good")
    with pytest.raises(ValueError, match="nothing is left to fly"):
        what_if(SCENARIO, RULE, good, float(good.column("time")[-1]), Action.GEAR)
