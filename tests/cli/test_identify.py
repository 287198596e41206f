"""`optdescent identify` as a user meets it: files, JSON, messages, exit statuses."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from optdescent.airframe import read_airframe
from optdescent.cli import main
from optdescent.results import CAUTION, Fit, Flight
from tests.identify.recordings import flown, noisy, programme


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, [str(argument) for argument in arguments])


@pytest.fixture(scope="module")
def recorded(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    """Two invented recordings, at 48 t and at 64 t."""
    folder, legs = tmp_path_factory.mktemp("recorded"), programme()
    half = len(legs) // 2
    for name, part in (("light", legs[:half]), ("heavy", legs[half:])):
        noisy(flown(part), half).to_netcdf(folder / f"{name}.nc")
    return folder / "light.nc", folder / "heavy.nc"


@pytest.fixture(scope="module")
def job(recorded: tuple[Path, Path], tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    folder = tmp_path_factory.mktemp("job") / "out"
    result = run("identify", *recorded, "--airframe", "narrow-body-twin", "--json", "-o", folder)
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout), folder


def test_the_folder_holds_table_dataset_airframe_and_figure(job: tuple[dict[str, Any], Path]) -> None:
    found, folder = job
    names = {path.name for path in folder.iterdir()}
    assert names == {"fit.txt", "fit.json", "fit.nc", "fit.pdf", "fit.svg", "fit.png", "airframe.toml"}
    assert {Path(file).name for file in found["files"]} == names
    assert found["caution"] == CAUTION
    assert CAUTION in (folder / "fit.txt").read_text(encoding="utf-8")
    stored = json.loads((folder / "fit.json").read_text(encoding="utf-8"))
    assert stored == {key: value for key, value in found.items() if key != "files"}
    assert Fit.from_netcdf(folder / "fit.nc").provenance.scenario_digest == found["digest"]


def test_the_numbers_are_those_flown(job: tuple[dict[str, Any], Path]) -> None:
    found, _ = job
    assert len(found["coefficients"]) == 15
    for one in found["coefficients"]:
        assert abs(one["value"] - one["declared"]) < 3.5 * one["standard_error"]
    assert found["speed_noise_kt"] == pytest.approx(0.5, rel=0.05)
    assert found["altitude_noise_ft"] == pytest.approx(10.0, rel=0.05)


def test_the_airframe_file_reads_back_and_says_each_standard_error(job: tuple[dict[str, Any], Path]) -> None:
    found, folder = job
    text = (folder / "airframe.toml").read_text(encoding="utf-8")
    fitted, declared = read_airframe(str(folder / "airframe.toml")), read_airframe("narrow-body-twin")
    assert text.count("# standard error ") == 15
    values = {one["key"]: one["value"] for one in found["coefficients"]}
    assert fitted.gear.drag == pytest.approx(values["gear.drag"], rel=1e-7)
    assert fitted.speed_brake.drag == pytest.approx(values["speed_brake.drag"], rel=1e-7)
    for index, step in enumerate(fitted.steps):
        for name in ("zero_lift_drag", "induced_drag_factor"):
            assert getattr(step.polar, name) == pytest.approx(values[f"steps[{index}].polar.{name}"], rel=1e-7)
    for name in ("thrust", "thrust_by_mach", "thrust_floor"):
        assert getattr(fitted.engines.idle, name) == pytest.approx(values[f"engines.idle.{name}"], rel=1e-7)
    for table in ("wing", "masses", "limits", "speeds"):
        assert getattr(fitted, table).model_dump() == pytest.approx(getattr(declared, table).model_dump(), rel=1e-7)
    assert "light.nc" in fitted.source
    assert CAUTION in text
    assert run("check", folder / "airframe.toml").exit_code == 0


def test_the_table_is_said_and_fixed_coefficients_are_marked(recorded: tuple[Path, Path], tmp_path: Path) -> None:
    flags = ("--fix", "gear.drag", "--fix", "engines.idle.thrust_floor=0.25", "--speed", "true")
    flags = (*flags, "--speed-noise-kt", "0.5", "--altitude-noise-ft", "10")
    result = run("identify", *recorded, "--airframe", "narrow-body-twin", "-o", tmp_path / "out", *flags)
    assert result.exit_code == 0, result.output
    rows = {line.split()[0]: line for line in result.stdout.splitlines() if line.strip()}
    assert rows["gear.drag"].endswith("fixed")
    assert rows["engines.idle.thrust_floor"].endswith("fixed")
    assert not rows["speed_brake.drag"].endswith("fixed")
    assert "noise 0.50 kt and 10.00 ft" in result.stdout
    assert CAUTION in result.stdout


def test_what_the_data_cannot_tell_is_status_3_and_writes_nothing(tmp_path: Path) -> None:
    legs = tuple(leg for leg in programme() if not (leg.step == 2 and leg.gear))
    noisy(flown(legs), 1).to_netcdf(tmp_path / "flight.nc")
    result = run("identify", tmp_path / "flight.nc", "--airframe", "narrow-body-twin", "-o", tmp_path / "out")
    assert result.exit_code == 3, result.output
    for words in ("the recordings cannot tell", "gear.drag", "gear up and with it down", "--fix"):
        assert words in result.stderr
    assert "Traceback" not in result.output
    assert not (tmp_path / "out").exists()


def test_bad_input_is_status_2_and_names_file_column_and_row(recorded: tuple[Path, Path], tmp_path: Path) -> None:
    flight = Flight.from_netcdf(recorded[0])
    flight.dataset["mass"][7] = float("nan")
    flight.to_netcdf(tmp_path / "holed.nc")
    result = run("identify", tmp_path / "holed.nc", "--airframe", "narrow-body-twin", "-o", tmp_path / "out")
    assert result.exit_code == 2
    assert f"{tmp_path / 'holed.nc'}: mass: is not a number in row 7" in result.stderr
    for arguments, words in (
        ((tmp_path / "absent.nc", "--airframe", "narrow-body-twin"), "absent.nc"),
        ((recorded[0], "--airframe", "jet"), "airframe not found"),
        ((recorded[0], "--airframe", "narrow-body-twin", "--fix", "gear.dragg"), "gear.dragg"),
        ((recorded[0], "--airframe", "narrow-body-twin", "--scenario", tmp_path / "none.toml"), "none.toml"),
    ):
        again = run("identify", *arguments, "-o", tmp_path / "out")
        assert again.exit_code == 2, again.output
        assert words in again.stderr
    assert not (tmp_path / "out").exists()


def test_help_has_an_example() -> None:
    result = run("identify", "--help")
    assert result.exit_code == 0
    assert "Example: optdescent identify" in " ".join(result.output.split())
