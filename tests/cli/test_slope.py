"""`optdescent slope` on the command line."""

from __future__ import annotations

import csv
import json
import shlex
from importlib import resources
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from optdescent.cli import main
from optdescent.results import CAUTION
from optdescent.results.slope import SlopeChart


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["slope", *arguments])


def test_it_writes_chart_and_tables_of_what_was_asked(tmp_path: Path) -> None:
    given = ("--angle-deg", "3.5", "--height-ft", "3000", "--mass-kg", "60000", "--tailwind-kt", "25")
    done = run("narrow-body-twin", *given, "--json", "-o", str(tmp_path / "out"))
    assert done.exit_code == 0, done.output
    plain = json.loads(done.stdout)
    assert (plain["angle_deg"], plain["pressure_altitude_ft"], plain["caution"]) == (3.5, 3000, CAUTION)
    assert {row["tailwind_kt"] for row in plain["decelerations"]} == {0.0, 25.0}
    assert {row["mass_kg"] for row in plain["decelerations"]} == {60000}
    assert {Path(file).name for file in plain["files"]} == {
        *("slope.nc", "slope.csv", "stretches.csv", "room.csv"),
        *(f"slope.{kind}" for kind in ("pdf", "svg", "png")),
    }
    assert all(Path(file).stat().st_size > 0 for file in plain["files"])
    found = SlopeChart.from_netcdf(tmp_path / "out" / "slope.nc")
    assert found.charted("mass").tolist() == [60000.0]
    command = ["optdescent", "slope", "narrow-body-twin", *given, "--output", str(tmp_path / "out")]
    assert shlex.split(found.provenance.command) == command
    for name, key in (("slope", "decelerations"), ("stretches", "stretches"), ("room", "room")):
        lines = (tmp_path / "out" / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
        assert len(rows) == len(plain[key])
        assert list(rows[0]) == list(plain[key][0])


def test_it_says_the_least_deceleration_and_the_room_of_an_airframe_file(tmp_path: Path) -> None:
    text = resources.files("optdescent.airframe").joinpath("data", "regional-jet.toml").read_text("utf-8")
    file = tmp_path / "own.toml"
    file.write_text(text, encoding="utf-8")
    done = run(str(file), "-o", str(tmp_path / "out"))
    assert done.exit_code == 0, done.output
    assert "3 deg path, 2000 ft" in done.stdout
    assert "-20 kt" in done.stdout
    assert "step 2, gear" in done.stdout
    assert "Room from the manoeuvring speed" in done.stdout
    assert CAUTION in done.stdout


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (("no-such",), "airframe not found"),
        (("regional-jet", "--angle-deg", "12"), "angle_deg: got 12; allowed: 0 to 7 deg"),
        (("regional-jet", "--height-ft", "nan"), "height_ft: got nan; allowed: 0 to 20000 ft"),
        (("regional-jet", "--mass-kg", "30000", "--mass-kg", "9"), "mass_kg: got 9; allowed: 23500 to 39000 kg"),
        (("regional-jet", "--tailwind-kt", "-81"), "tailwind_kt: got -81; allowed: -80 to 80 kt"),
        (("regional-jet", "--tailwind-kt", "much"), "--tailwind-kt"),
    ],
)
def test_bad_input_is_status_2_and_writes_nothing(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    folder = tmp_path / "out"
    done = run(*arguments, "-o", str(folder))
    assert done.exit_code == 2
    assert words in done.stderr
    assert not folder.exists()
