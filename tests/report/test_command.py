"""`optdescent report` as a user meets it: files, JSON, and what is wrong with what was given."""

from __future__ import annotations

import json
import os
from pathlib import Path

import pytest
import xarray as xr
from click.testing import CliRunner, Result

from optdescent.cli import main
from tests.figures import fronts, sheets
from tests.report.stored import HOSTILE, margins, write_flights


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["report", *(str(argument) for argument in arguments)])


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    """The smallest result."""
    path = tmp_path / "sheet.nc"
    sheets.invented().to_netcdf(path)
    return path


def without(path: Path, name: str) -> Path:
    """The result without one variable."""
    dataset = xr.load_dataset(path, engine="h5netcdf", decode_timedelta=False)
    path.unlink()
    dataset.drop_vars(name).to_netcdf(path, engine="h5netcdf")
    return path


def test_a_folder_of_results_becomes_a_page_and_tables(tmp_path: Path) -> None:
    (tmp_path / "results").mkdir()
    margins(HOSTILE).to_netcdf(tmp_path / "results" / "a.nc")
    fronts.invented().to_netcdf(tmp_path / "results" / "b.nc")
    done = run(tmp_path / "results", "-o", tmp_path / "out", "--tables", "csv", "--tables", "latex", "--json")
    assert done.exit_code == 0, done.output
    plain = json.loads(done.stdout)
    assert plain["title"].startswith(HOSTILE)
    assert [one["is"] for one in plain["results"]] == ["margins", "front of rules"]
    assert all(Path(file).stat().st_size > 0 for file in plain["files"])
    written = {path.relative_to(tmp_path / "out").as_posix() for path in (tmp_path / "out").rglob("*.*")}
    assert {"report.html", "tables/front.csv", "tables/front.tex", "tables/gates.tex"} <= written
    assert not [name for name in written if Path(name).name.startswith(".")]
    assert plain["page_bytes"] == (tmp_path / "out" / "report.html").stat().st_size


def test_every_table_is_counted_named_and_written(tmp_path: Path) -> None:
    results = write_flights(tmp_path)
    plain = json.loads(run(*results, "-o", tmp_path / "out", "--tables", "csv", "--json").stdout)
    written = {path.stem for path in (tmp_path / "out" / "tables").iterdir()}
    assert set(plain["tables"]) == written
    assert "certificate" in written
    said = run(*results, "-o", tmp_path / "again").stdout
    assert f"{len(plain['figures'])} figures, {len(written)} tables" in said


def test_the_page_may_have_a_name_and_a_title(tmp_path: Path, sheet: Path) -> None:
    done = run(sheet, "-o", tmp_path / "deep" / "mine.html", "--title", "<b>Mine</b>")
    assert done.exit_code == 0, done.output
    assert '<h1 dir="auto">&lt;b&gt;Mine&lt;/b&gt;</h1>' in (tmp_path / "deep" / "mine.html").read_text("utf-8")
    assert "not for use in flight" in done.stdout


def test_every_fault_is_named_with_its_file_and_nothing_is_written(tmp_path: Path, sheet: Path) -> None:
    (tmp_path / "text.nc").write_text("no netCDF", encoding="utf-8")
    (tmp_path / "empty").mkdir()
    xr.Dataset(attrs={"kind": "soup"}).to_netcdf(tmp_path / "soup.nc", engine="h5netcdf")
    (tmp_path / "again.nc").write_bytes(sheet.read_bytes())
    fronts.invented().to_netcdf(tmp_path / "front.nc")
    bad = [tmp_path / name for name in ("text.nc", "empty", "soup.nc", "missing.nc", "again.nc")]
    done = run(sheet, *bad, without(tmp_path / "front.nc", "held_share_low"), "-o", tmp_path / "out")
    assert done.exit_code == 2
    for told in ("text.nc", "holds no result", "'soup'", "missing.nc", "held_share_low: is missing"):
        assert told in done.stderr
    assert f"{tmp_path / 'again.nc'}: holds the same as {sheet}" in done.stderr
    assert "Traceback" not in done.output
    assert not (tmp_path / "out").exists()


def test_a_flight_without_a_column_is_named(tmp_path: Path) -> None:
    path = write_flights(tmp_path)[1]
    done = run(without(path, "gear"), "-o", tmp_path / "out")
    assert done.exit_code == 2
    assert f"{path}: gear: is missing" in done.stderr


def test_a_target_that_cannot_be_written_is_named(tmp_path: Path, sheet: Path) -> None:
    (tmp_path / "file").write_text("", encoding="utf-8")
    (tmp_path / "taken.html").mkdir()
    for target, told in ((tmp_path / "file" / "out", "lies below a file"), (tmp_path / "taken.html", "is a folder")):
        done = run(sheet, "-o", target)
        assert done.exit_code == 2
        assert told in done.stderr
    if os.geteuid() != 0:  # the superuser may write anywhere
        (tmp_path / "closed").mkdir(mode=0o500)
        assert run(sheet, "-o", tmp_path / "closed" / "out").exit_code == 2


def test_a_form_of_tables_that_there_is_not_is_named(tmp_path: Path, sheet: Path) -> None:
    done = run(sheet, "-o", tmp_path, "--tables", "word")
    assert done.exit_code == 2
    assert "'csv', 'markdown', 'latex'" in done.stderr
