"""`optdescent capture` on the command line."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from optdescent.cli import main

SCENARIO = str(Path(__file__).resolve().parents[2] / "studies" / "recordings" / "scenario.toml")
STATE = ["capture", SCENARIO, "--distance-nm", "12", "--flaps", "1"]


def test_a_little_above_the_path_it_says_how_and_far_above_that_there_is_none(tmp_path: Path) -> None:
    little, far = (
        CliRunner().invoke(main, [*STATE, "--height-ft", height, "--speed-kt", "190", "--json", "-o", str(tmp_path)])
        for height in ("4600", "6500")
    )
    assert (little.exit_code, far.exit_code) == (0, 0), little.output + far.output
    told, none = json.loads(little.output), json.loads(far.output)
    assert "capture from above with" in told["sentence"]
    assert "ft/min" in told["sentence"]
    assert "too high" in none["sentence"]
    assert "caution" in told
    assert "distance_to_go_nm" in (tmp_path / "capture.csv").read_text(encoding="utf-8")


def test_a_state_below_the_path_is_named_with_what_is_allowed(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, [*STATE, "--height-ft", "3000", "--speed-kt", "190", "-o", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert "height: got 3000 ft; allowed: at least" in done.output
    assert not (tmp_path / "out").exists() or not any((tmp_path / "out").iterdir())


def test_a_distance_that_is_no_number_is_named_and_nothing_is_said_of_the_height(tmp_path: Path) -> None:
    asked = ["capture", SCENARIO, "--distance-nm", "nan", "--height-ft", "3000", "--speed-kt", "190"]
    done = CliRunner().invoke(main, [*asked, "-o", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert "distance: got nan nm; allowed: " in done.output
    assert "height" not in done.output
