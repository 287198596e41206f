"""`optdescent corridor` on the command line."""

from __future__ import annotations

import json
import shlex
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from optdescent.cli import main
from optdescent.cli.write import write_flights
from optdescent.results import Flight
from optdescent.results.corridor import Corridor
from optdescent.rules import fly, read_rules
from optdescent.rules.read import rules_text
from optdescent.scenario import Scenario
from tests.scenario.files import STUDY

GRID = ("--distance-nm", "11", "--distance-nm", "12", "--speed-kt", "210")


def test_no_flight_takes_the_file_of_another_or_of_the_corridor(tmp_path: Path) -> None:
    rule = next(iter(read_rules("three_rules")))
    flight = fly(Scenario.from_toml(STUDY), rule)
    names = ("corridor", "a rule", "a-rule", "a-rule-2")
    paths = write_flights([replace(flight, name=name) for name in names], tmp_path, taken=("corridor",))
    assert [path.name for path in paths] == ["corridor-2.nc", "a-rule.nc", "a-rule-2.nc", "a-rule-2-2.nc"]
    assert [Flight.from_netcdf(path).name for path in paths] == list(names)


def test_it_writes_table_and_figure_and_says_what_is_last_of_use(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["corridor", str(STUDY), *GRID, "--json", "-o", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    plain = json.loads(done.stdout)
    assert len(plain["points"]) == 10
    assert {Path(file).name for file in plain["files"]} == {
        *("corridor.nc", "corridor.csv", "last_useful.csv"),
        *("three-to-one.nc", "300-feet-per-mile.nc", "three-degrees.nc"),
        *(f"corridor.{kind}" for kind in ("pdf", "svg", "png")),
    }
    assert all(Path(file).stat().st_size > 0 for file in plain["files"])
    assert {one["flight"] for one in plain["last_useful"]} == {"three-to-one", "300-feet-per-mile", "three-degrees"}
    assert all(len(one["last_useful"]) == 8 for one in plain["last_useful"])
    assert "not for use in flight" in plain["caution"]
    found = Corridor.from_netcdf(tmp_path / "out" / "corridor.nc")
    assert found.values("distance_to_go").size == 2
    command = ["optdescent", "corridor", str(STUDY), "--output", str(tmp_path / "out"), *GRID]
    assert shlex.split(found.provenance.command) == command
    assert found.provenance.rules == rules_text(STUDY.parent / "rules.toml")
    own = [str(tmp_path / "out" / name) for name in ("three-degrees.nc", "last_useful.csv")]
    drawn = CliRunner().invoke(main, ["chart", *own, "--figure", "last-action", "-o", str(tmp_path / "figures")])
    assert drawn.exit_code == 0, drawn.output
    assert Flight.from_netcdf(own[0]).provenance == found.provenance


@pytest.mark.parametrize(("asked", "said"), [("5", "5 nm"), ("nan", "nan nm"), ("-5", "-5 nm")])
def test_a_distance_inside_the_capture_or_no_number_is_bad_input(tmp_path: Path, asked: str, said: str) -> None:
    done = CliRunner().invoke(main, ["corridor", str(STUDY), "--distance-nm", asked, "-o", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert f"distance: got {said}; allowed: from 9.9 nm, the farthest capture" in done.stderr
    assert not (tmp_path / "out").exists()
