"""`optdescent corridor` on the command line."""

from __future__ import annotations

import json
from pathlib import Path

from click.testing import CliRunner

from optdescent.cli import main
from optdescent.results.corridor import Corridor
from tests.scenario.files import STUDY

GRID = ("--distance-nm", "12", "--distance-nm", "14", "--speed-kt", "210")


def test_it_writes_table_and_figure_and_says_what_is_last_of_use(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["corridor", str(STUDY), *GRID, "--json", "-o", str(tmp_path / "out")])
    assert done.exit_code == 0, done.output
    plain = json.loads(done.stdout)
    assert len(plain["points"]) == 10
    assert {Path(file).name for file in plain["files"]} == {
        *("corridor.nc", "corridor.csv", "last_useful.csv"),
        *(f"corridor.{kind}" for kind in ("pdf", "svg", "png")),
    }
    assert all(Path(file).stat().st_size > 0 for file in plain["files"])
    assert {one["flight"] for one in plain["last_useful"]} == {"three-to-one", "300-feet-per-mile", "three-degrees"}
    assert all(len(one["last_useful"]) == 8 for one in plain["last_useful"])
    assert "not for use in flight" in plain["caution"]
    found = Corridor.from_netcdf(tmp_path / "out" / "corridor.nc")
    assert found.values("distance_to_go").size == 2


def test_a_distance_inside_the_capture_is_bad_input(tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["corridor", str(STUDY), "--distance-nm", "5", "-o", str(tmp_path / "out")])
    assert done.exit_code == 2
    assert "distance: got 5 nm; allowed: from 9.9 nm, the farthest capture" in done.stderr
    assert not (tmp_path / "out").exists()
