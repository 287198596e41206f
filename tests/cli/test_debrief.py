"""`optdescent debrief` and `optdescent rehearse` on the command line."""

from __future__ import annotations

import json
import shlex
from pathlib import Path

import pytest
from click.testing import CliRunner

from optdescent.cli import main
from optdescent.cli.debrief import _left_out
from optdescent.recording.rows import LINES
from optdescent.results import Flight, Kind
from optdescent.results.debrief_file import read_debrief
from optdescent.results.reading import LeftOut
from optdescent.rules.read import rules_text
from tests.debrief.recordings import FOLDER, TRUTH

SCENARIO = str(FOLDER / "scenario.toml")


def test_it_writes_findings_figure_and_the_other_outcome(tmp_path: Path) -> None:
    time = TRUTH["late-gear"]["mistakes"][0]["time_s"]
    command = ["debrief", str(FOLDER / "late-gear.csv"), "--scenario", SCENARIO, "--what-if", str(time), "gear"]
    done = CliRunner().invoke(main, [*command, "--json", "-o", str(tmp_path)])
    assert done.exit_code == 0, done.output
    plain = json.loads(done.stdout)
    late = next(one for one in plain["findings"] if one["subject"] == "gear_late")
    assert abs(late["time_s"] - time) <= 5.0
    assert plain["what_if"][0]["stable"]
    assert plain["reading"]["rows"] > 1000
    assert plain["flight"]["name"] == "late-gear"
    names = {Path(file).name for file in plain["files"]}
    assert {"findings.csv", "debrief.pdf", "debrief.svg", "debrief.png", "late-gear-read.nc"} <= names
    assert all(Path(file).stat().st_size > 0 for file in plain["files"])
    assert Flight.from_netcdf(tmp_path / "late-gear-read.nc").kind is Kind.RECORDING
    asked = read_debrief(tmp_path / "debrief.nc").flight.provenance
    assert asked.command == shlex.join(["optdescent", *command, "--output", str(tmp_path)])
    assert asked.rules == rules_text("library")


def test_last_useful_points_are_told_from_a_moment_on_alone_and_together(tmp_path: Path) -> None:
    command = ["debrief", str(FOLDER / "brake-in-and-out.csv"), "--scenario", SCENARIO, "--now", "1250"]
    done = CliRunner().invoke(main, [*command, "--json", "-o", str(tmp_path)])
    assert done.exit_code == 0, done.output
    plain = json.loads(done.stdout)
    told = {one["devices"]: one for one in plain["last_useful"]}
    assert len(told) == 8
    idle, both = told["idle and schedule"], told["speed brake and early gear"]
    assert idle["from_now_s"] < 0.0 < both["from_now_s"] < plain["lost"]["from_now_s"]
    assert both["from_now_s"] == pytest.approx(60.0 * both["time_min"] - 1250.0, abs=0.1)
    assert idle["sentence"].endswith(f"{-idle['from_now_s']:.0f} s ago")
    assert plain["lost"]["distance_nm"] < told["everything"]["distance_nm"]
    assert read_debrief(tmp_path / "debrief.nc").last.now == 1250.0


def test_bad_asks_are_named_and_nothing_is_written(tmp_path: Path) -> None:
    recording = str(FOLDER / "good.csv")
    wrong = {
        ("--what-if", "10", "anchor"): "action: got 'anchor'; allowed: rule, speed-brake, flaps, gear, everything",
        ("--what-if", "99999", "gear"): "time: got 99999 s; allowed: 0 to",
        ("--now", "99999"): "--now: got 99999 s; allowed: 0 to",
        ("--rule", "five-to-one"): "got 'five-to-one'; allowed: three-to-one",
        ("--columns", str(tmp_path / "nowhere.toml")): "nowhere.toml",
    }
    for more, message in wrong.items():
        done = CliRunner().invoke(
            main, ["debrief", recording, "--scenario", SCENARIO, *more, "-o", str(tmp_path / "out")]
        )
        assert done.exit_code == 2, done.output
        assert message in done.stderr
    assert not (tmp_path / "out").exists()


def test_a_moment_at_which_a_device_is_not_known_is_refused(tmp_path: Path) -> None:
    head, *rows = (
        line for line in (FOLDER / "late-gear.csv").read_text(encoding="utf-8").splitlines() if line[0] != "#"
    )
    place = head.split(",").index("gear")
    blank = [",".join("" if at == place else cell for at, cell in enumerate(row.split(","))) for row in rows]
    (tmp_path / "blank.csv").write_text("\n".join([head, *blank]) + "\n", encoding="utf-8")
    asked = ["--scenario", SCENARIO, "--columns", str(FOLDER / "columns.toml"), "--what-if", "1310", "gear"]
    done = CliRunner().invoke(main, ["debrief", str(tmp_path / "blank.csv"), *asked, "-o", str(tmp_path / "out")])
    assert done.exit_code == 2, done.output
    assert "--what-if: time: at 1310 s gear not known; allowed: a moment at which all is known" in done.stderr
    assert not (tmp_path / "out").exists()


def test_rows_that_are_left_out_are_told_by_their_numbers() -> None:
    back = LeftOut("time runs backwards there", (702, 703, 704, 705, 706, 707))
    rows = "rows 702, 703, 704, 705, 706 and 1 more (lines of the file)"
    assert _left_out(back, LINES) == f"6 rows left out: time runs backwards there: {rows}"
    blank = LeftOut("v: the cell cannot be read ('abc'); taken as blank", (100,))
    assert _left_out(blank, LINES) == f"1 cell left out: {blank.reason}: row 100 (lines of the file)"
