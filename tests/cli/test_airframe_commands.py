"""`check` of airframes and `chart`: what a user sees, files, JSON, exit statuses."""

from __future__ import annotations

import json
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from optdescent.airframe import BUILT_IN
from optdescent.cli import main
from optdescent.results import CAUTION

TEXT = resources.files("optdescent.airframe").joinpath("data", "narrow-body-twin.toml").read_text("utf-8")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


def test_check_of_the_three_airframes_prints_sheets_with_no_band_missed() -> None:
    result = run("check", *BUILT_IN)
    assert result.exit_code == 0, result.output
    assert result.stdout.count("12 bands, 0 missed") == 3
    assert "MISSED" not in result.stdout
    assert result.stdout.count("no airframe can keep this band") == result.stdout.count("at odds with") == 3


def test_check_as_json(tmp_path: Path) -> None:
    bad = tmp_path / "bad.toml"
    bad.write_text(TEXT.replace("limit_speed_kt = 176", "limit_speed_kt = 90"), encoding="utf-8")
    result = run("check", "regional-jet", str(bad), "--json")
    assert result.exit_code == 2
    found = json.loads(result.stdout)
    good, faulty = found["files"]
    assert found["caution"] == CAUTION
    assert good["plausibility"]["missed"] == []
    assert good["is"].startswith("airframe: Fictional regional jet")
    (fault,) = faulty["faults"]
    assert fault["key"] == "steps[4].limit_speed_kt"
    assert fault["given"] == "got 90"
    assert "stall speed" in fault["allowed"]


def test_a_missed_band_is_said_and_is_no_fault(tmp_path: Path) -> None:
    path = tmp_path / "draggy.toml"
    path.write_text(TEXT.replace("zero_lift_drag = 0.0195", "zero_lift_drag = 0.0250"), encoding="utf-8")
    result = run("check", str(path))
    assert result.exit_code == 0
    assert "MISSED  best lift over drag, clean" in result.stdout
    assert "missed: best lift over drag, clean" in result.stdout


def test_chart_draws_the_figures_of_an_airframe(tmp_path: Path) -> None:
    result = run("chart", "airframe", "wide-body-twin", "--format", "png", "-o", str(tmp_path), "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    names = {"polar.png", "idle.png", "operating-speeds.png"}
    assert {Path(file).name for file in found["files"]} == names == {path.name for path in tmp_path.iterdir()}
    assert found["caution"] == CAUTION


def test_chart_draws_one_figure_in_one_format(tmp_path: Path) -> None:
    result = run("chart", "airframe", "regional-jet", "--figure", "idle", "--format", "svg", "-o", str(tmp_path))
    assert result.exit_code == 0, result.output
    assert [path.name for path in tmp_path.iterdir()] == ["idle.svg"]
    assert CAUTION in result.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("airframe", "no-such"), "airframe not found"),
        (("airframe", "regional-jet", "--figure", "drag"), "polar, idle, operating-speeds"),
        (("airframe", "regional-jet", "--page", "a0"), "a4, a5, letter, column, slide"),
    ],
)
def test_bad_input_of_chart_is_status_2_and_writes_nothing(
    tmp_path: Path, arguments: tuple[str, ...], words: str
) -> None:
    folder = tmp_path / "out"
    result = run("chart", *arguments, "-o", str(folder))
    assert result.exit_code == 2
    assert words in result.stderr
    assert not folder.exists()


def test_chart_has_help_with_an_example() -> None:
    assert "Example: optdescent chart airframe" in " ".join(run("chart", "--help").output.split())
