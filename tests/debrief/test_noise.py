"""Noise in the readings of devices: a recording with it reads, debriefs and answers as the same one without."""

from __future__ import annotations

import csv
import re
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory

import numpy as np
import pytest

from optdescent.airframe.speeds import MOVES
from optdescent.debrief import Action, debrief, what_if
from optdescent.recording import Recording, read_recording
from optdescent.results.debrief import Debrief, Subject
from optdescent.units import KNOT, NAUTICAL_MILE
from tests.debrief.recordings import FOLDER, RULE, SCENARIO, against, debriefed, flight, silent

NAME = "slow-to-configure"
DEVICES = ("flaps_step", "gear", "speed_brake")


@cache
def noisy() -> Recording:
    """The tailwind recording with noise of one sigma of 0.01 on every reading of a device."""
    lines = (FOLDER / f"{NAME}.csv").read_text(encoding="utf-8").splitlines()
    rows, draw = list(csv.DictReader(lines[2:])), np.random.default_rng(5)
    for row in rows:
        for device in DEVICES:
            row[device] = f"{float(row[device]) + draw.normal(0.0, 0.01):.4f}"
    text = "\n".join([",".join(rows[0]), *(",".join(row.values()) for row in rows)])
    with TemporaryDirectory() as folder:
        path = Path(folder) / "noisy.csv"
        path.write_text(text + "\n", encoding="utf-8")
        return read_recording(path, FOLDER / "columns.toml", SCENARIO)


@cache
def found() -> Debrief:
    return debrief(noisy().flight, against(), silent)


@pytest.mark.parametrize(("name", "whole"), [("flaps", 4.0), ("gear", 1.0), ("speed_brake", 1.0)])
def test_a_device_that_stands_still_is_read_at_its_position_and_that_is_told(name: str, whole: float) -> None:
    quiet, read = flight(NAME).column(name), noisy().flight.column(name)
    still = np.isin(quiet, np.arange(whole + 1.0))
    assert np.mean(still) > 0.5
    assert np.array_equal(read[still], quiet[still])
    assert np.max(np.abs(read - quiet)) < 0.1
    told = noisy().reading.origin(name).sentence
    count = re.search(r"(\d+) points within 0\.0\d+ of a whole position taken as there", told)
    assert count is not None
    assert int(count[1]) > 0.98 * np.count_nonzero(still)


def test_the_same_is_found_of_it_at_the_same_times() -> None:
    same = [(one.subject, one.severity) for one in debriefed(NAME).findings]
    assert [(one.subject, one.severity) for one in found().findings] == same
    for own, other in zip(found().findings, debriefed(NAME).findings, strict=True):
        assert abs(own.time - other.time) <= 5.0
    assert not found().about(Subject.LIMIT)


def test_the_last_useful_points_are_the_same() -> None:
    for own in found().last.actions:
        other = debriefed(NAME).last.of(own.devices)
        assert (own.is_of_use, own.is_kept) == (other.is_of_use, other.is_kept)
        assert own.is_of_use
        assert abs(own.distance_to_go - other.distance_to_go) <= 0.26 * NAUTICAL_MILE


@pytest.mark.parametrize("action", [Action.RULE, Action.GEAR])
def test_what_ifs_end_the_same(action: Action) -> None:
    """Gear that reads 0.005 at 250 kt is not selected."""
    time = debriefed(NAME).last.of("early gear").time - 60.0
    own, other = (what_if(SCENARIO, RULE, one, time, action).flight for one in (noisy().flight, flight(NAME)))
    assert own.summary.gate.stable is other.summary.gate.stable
    assert abs(own.summary.gate.calibrated_airspeed - other.summary.gate.calibrated_airspeed) < 1.0 * KNOT
    selected = [float(one.column("time")[np.argmax(one.column("gear") > MOVES)]) for one in (own, other)]
    assert abs(selected[0] - selected[1]) < 5.0
