"""What cannot be asked of a recording is told as such; it is debriefed all the same."""

from __future__ import annotations

import csv
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from optdescent.debrief import debrief, measures
from optdescent.recording import read_recording
from optdescent.results import Flight
from optdescent.results.debrief import Debrief, Severity, Subject
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.debrief.recordings import FOLDER, RULE, SCENARIO, TRUTH, against, debriefed, silent

Row = dict[str, str]
MAXIMUM = SCENARIO.airframe.limits.maximum_speed


def rewritten(folder: Path, change: Callable[[Row], Row | None]) -> Flight:
    """The tailwind recording with rows changed, or left out where the change gives none, read as a file."""
    lines = (FOLDER / "slow-to-configure.csv").read_text(encoding="utf-8").splitlines()
    rows = [changed for row in csv.DictReader(lines[2:]) if (changed := change(row)) is not None]
    text = "\n".join([",".join(rows[0]), *(",".join(row.values()) for row in rows)])
    (folder / "changed.csv").write_text(text + "\n", encoding="utf-8")
    return read_recording(folder / "changed.csv", FOLDER / "columns.toml", SCENARIO).flight


def gone_around(folder: Path, below_ft: float) -> Flight:
    """The good recording up to a height, then 60 s of climb at 2400 ft/min with thrust, and no nearer than 0.2 nm."""
    lines = (FOLDER / "good.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(lines[2:]))
    elevation = SCENARIO.arrival.elevation / FOOT
    last = next(index for index, row in enumerate(rows) if float(row["altitude_ft"]) - elevation < below_ft)
    began = rows[last]
    for second in range(1, 61):
        climbing = {
            "time_s": str(float(began["time_s"]) + second),
            "distance_nm": str(max(float(began["distance_nm"]) - 0.04 * second, 0.2)),
            "altitude_ft": str(float(began["altitude_ft"]) + 40.0 * second),
            "vertical_speed_ft_per_min": "2400",
            "ground_speed_kt": str(float(began["ground_speed_kt"]) + second % 3),
            "thrust": "0.9",
        }
        rows[last + second :] = [{**began, **climbing}]
    text = "\n".join([",".join(rows[0]), *(",".join(row.values()) for row in rows)])
    (folder / "around.csv").write_text(text + "\n", encoding="utf-8")
    return read_recording(folder / "around.csv", FOLDER / "columns.toml", SCENARIO).flight


def within(begins: float, ends: float = -1.0) -> Callable[[Row], Row | None]:
    return lambda row: row if ends < float(row["distance_nm"]) < begins else None


def said(found: Debrief) -> str:
    return "\n".join(one.evidence for one in found.about(Subject.NOT_TOLD))


@cache
def whole() -> Flight:
    return debriefed("slow-to-configure").flight


@pytest.mark.parametrize("name", TRUTH)
def test_of_a_whole_recording_everything_is_told(name: str) -> None:
    assert not debriefed(name).about(Subject.NOT_TOLD)


def test_one_that_begins_on_the_glide_path_and_faster_than_the_airframe_allows_is_debriefed(tmp_path: Path) -> None:
    """Against a corridor of its own: from the farthest capture on, and up to the airframe's largest speed."""

    def late_and_fast(row: Row) -> Row | None:
        fast = 5.5 < float(row["distance_nm"]) < 6.5
        more = {"airspeed_kt": str(float(row["airspeed_kt"]) + 155.0)} if fast else {}
        return within(7.0)(row) and {**row, **more}

    flight = rewritten(tmp_path, late_and_fast)
    own = measures(SCENARIO, RULE, flight, silent)
    assert float(own.edges.ground.to_go[-1]) < 10.0 * NAUTICAL_MILE
    found = debrief(flight, own, silent)
    assert f"faster than {MAXIMUM / KNOT:.0f} kt" in said(found)
    assert "energy at the checks at 25, 20, 15 and 10 nm; how the glide path was captured" in said(found)
    assert not found.about(Subject.CAPTURED_FAST)
    limit = next(one for one in found.about(Subject.LIMIT) if "over the limit" in one.evidence)
    assert limit.severity is Severity.SEVERE
    assert 5.4 < limit.distance_to_go / NAUTICAL_MILE < 6.6
    assert np.nanmin(found.margin("everything")[flight.column("calibrated_airspeed") > MAXIMUM]) < 0.0
    assert found.about(Subject.UNSTABLE)


def test_one_that_ends_before_the_gate_is_not_called_unstable_nor_lost(tmp_path: Path) -> None:
    """The whole of it is both."""
    found = debrief(rewritten(tmp_path, within(20.0, 8.0)), against(), silent)
    assert not found.about(Subject.UNSTABLE)
    assert not found.last.actions
    assert not found.severe
    assert "the last use of idle and schedule, speed brake, early flaps, early gear and everything" in said(found)
    assert "whether it was stable at 1000 ft: the recording ends here" in said(found)
    assert {one.severity for one in found.about(Subject.NOT_TOLD)} == {Severity.NOTE}


@pytest.mark.parametrize(("below_ft", "is_judged"), [(1500.0, False), (700.0, True)])
def test_a_go_around_is_told_and_the_approach_is_debriefed_up_to_it(
    tmp_path: Path, below_ft: float, is_judged: bool
) -> None:
    """Above the gate nothing is said of the gate; below it the gate was passed, stable as in the whole recording."""
    flight = gone_around(tmp_path, below_ft)
    found = debrief(flight, against(), silent)
    assert flight.reading is not None
    (left,) = flight.reading.left_out
    assert left.reason == "after the lowest point of the approach: gone around"
    assert 60 <= len(left.rows) <= 64, "by the noise of an altitude a row or two before may be the lowest"
    assert flight.column("height_above_threshold")[-1] / FOOT == pytest.approx(below_ft, abs=60.0)
    around = found.about(Subject.GONE_AROUND)
    assert [one.severity for one in around] == [Severity.NOTE]
    assert around[0].time == float(flight.column("time")[-1])
    assert not found.about(Subject.UNSTABLE)
    assert flight.summary.gate.reached is is_judged
    assert flight.summary.gate.stable is is_judged
    assert ("whether it was stable at 1000 ft: gone around here" in said(found)) is not is_judged
    assert not found.severe


def test_a_gap_in_a_device_is_told_with_its_length_and_place() -> None:
    flight = whole()
    gear, to_go = flight.column("gear").copy(), flight.column("distance_to_go") / NAUTICAL_MILE
    gear[(to_go > 5.0) & (to_go < 9.0)] = np.nan
    found = debrief(replace(flight, dataset=flight.dataset.assign(gear=("point", gear))), against(), silent)
    gap = next(one for one in found.about(Subject.NOT_TOLD) if "gear not known" in one.evidence)
    assert gap.distance_to_go / NAUTICAL_MILE == pytest.approx(9.0, abs=0.1)
    assert "energy against the corridor for 6" in gap.evidence
    assert not found.last.actions
    assert found.about(Subject.UNSTABLE)  # by speed and flaps, which are known


def test_a_gate_of_which_only_a_device_is_not_known_is_not_judged() -> None:
    good = debriefed("good").flight
    unknown = replace(good.summary.gate, gear=float("nan"), reasons=("gear not known",))
    hidden = replace(
        good,
        dataset=good.dataset.assign(gear=("point", np.full(good.column("gear").shape, np.nan))),
        summary=replace(good.summary, gate=unknown),
    )
    found = debrief(hidden, against(), silent)
    assert not found.about(Subject.UNSTABLE)
    assert "whether it was stable at 1000 ft: gear not known" in said(found)
    assert "when gear came out: neither recorded nor known otherwise" in said(found)
    assert "nowhere before the gate is all known that it takes" in said(found)


def test_one_that_begins_when_nothing_helps_any_more_says_so_as_severe(tmp_path: Path) -> None:
    found = debrief(rewritten(tmp_path, within(6.0)), against(), silent)
    lost = found.about(Subject.LAST_USEFUL)
    assert [one.severity for one in lost] == [Severity.SEVERE]
    assert lost[0].evidence == "everything: too high and fast from the first point asked"
    assert lost[0].distance_to_go / NAUTICAL_MILE == pytest.approx(6.0, abs=0.1)


def test_one_that_is_lost_in_a_gap_is_said_to_be_and_between_which_places(tmp_path: Path) -> None:
    """The whole of it is lost at 6.7 nm."""

    def broken(row: Row) -> Row | None:
        return None if 6.2 < float(row["distance_nm"]) < 7.0 else row

    found = debrief(rewritten(tmp_path, broken), against(), silent)
    (lost,) = (one for one in found.about(Subject.LAST_USEFUL) if "everything" in one.evidence)
    assert lost.severity is Severity.SEVERE
    assert "everything: between 7." in lost.evidence
    assert "6.2 nm, where the recording breaks off" in lost.evidence
    assert "breaks off, not any more at 6.2 nm" in said(found)
