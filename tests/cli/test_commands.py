"""The command line as a user meets it: files, JSON, messages, exit statuses."""

from __future__ import annotations

import csv
import json
import re
from pathlib import Path
from typing import Any

import pytest
import xarray as xr
from click.testing import CliRunner, Result

from optdescent.cli import main
from optdescent.cli.margins import _say as say_margins
from optdescent.results import CAUTION, Flight
from tests.figures.conditions import once

ROOT = Path(__file__).parents[2]
SCENARIO = str(ROOT / "studies" / "first_descent" / "scenario.toml")
STILL = "air.wind.kind=none"
FIGURES = ("height", "speed", "energy", "margins")


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, list(arguments))


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> tuple[dict[str, Any], Path]:
    """The main job, run once through the command line."""
    folder = tmp_path_factory.mktemp("job") / "out"
    result = run("margins", SCENARIO, "--json", "-o", str(folder))
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout), folder


def test_margins_prints_what_the_contract_names(job: tuple[dict[str, Any], Path]) -> None:
    found, _ = job
    assert found["caution"] == CAUTION
    assert found["optimum"]["fuel_kg"] > 100.0
    assert found["optimum"]["gate"]["stable"]
    assert found["optimum"]["limits_kept"]
    assert found["optimum"]["speed_brake_nm"] >= 0.0
    assert [rule["name"] for rule in found["rules"]] == ["three-to-one", "300-feet-per-mile", "three-degrees"]


def test_no_rule_that_meets_the_gate_under_the_same_limits_beats_the_optimum(job: tuple[dict[str, Any], Path]) -> None:
    found, _ = job
    kept = [rule for rule in found["rules"] if rule["gate"]["stable"] and rule["limits_kept"]]
    assert kept
    assert all(rule["fuel_above_optimum_kg"] >= 0.0 for rule in kept)


def test_a_rule_that_misses_the_gate_says_why(job: tuple[dict[str, Any], Path]) -> None:
    found, _ = job
    for rule in found["rules"]:
        assert rule["gate"]["stable"] == (not rule["gate"]["reasons"])
        for key in ("fuel_above_optimum_kg", "cost_above_optimum_kg"):
            assert (rule[key] is not None) == rule["gate"]["stable"]
    assert any(rule["gate"]["reasons"] for rule in found["rules"])


def test_a_price_that_is_none_is_said_in_words(capsys: pytest.CaptureFixture[str]) -> None:
    say_margins(once(), CAUTION, Path("out"))
    heading = "fuel above the optimum, kg"
    (line,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith(heading)]
    assert line.removeprefix(heading).split() == ["0", "21", "not", "stable", "12", "33"]


def test_the_re_flight_agrees(job: tuple[dict[str, Any], Path]) -> None:
    """Re-flown with DOP853 through the whole equations, start to threshold, nothing put back on the way."""
    found, _ = job
    again = found["optimum"]["reflight"]
    assert again["altitude_ft"] < 5.0
    assert again["speed_kt"] < 0.5
    assert again["fuel_kg"] < 0.1
    assert found["optimum"]["certificate"]["local_error"] <= 1e-6


def test_the_folder_holds_flights_tables_and_figures(job: tuple[dict[str, Any], Path]) -> None:
    found, folder = job
    names = {path.name for path in folder.iterdir()}
    figures = {f"{figure}.{kind}" for figure in FIGURES for kind in ("pdf", "svg", "png")}
    flights = {"optimum.nc", "three-to-one.nc", "300-feet-per-mile.nc", "three-degrees.nc"}
    assert names == figures | flights | {"margins.csv", "margins.nc"}
    assert found["figures_not_drawn"] == []
    assert {Path(file).name for file in found["files"]} == names
    assert Flight.from_netcdf(folder / "optimum.nc").summary.gate.stable
    table = xr.load_dataset(folder / "margins.nc", engine="h5netcdf")
    assert list(table["flight"].values) == ["optimum", "three-to-one", "300-feet-per-mile", "three-degrees"]
    assert table.attrs["caution"] == CAUTION
    lines = (folder / "margins.csv").read_text(encoding="utf-8").splitlines()
    rows = list(csv.DictReader(line for line in lines if not line.startswith("#")))
    assert rows[0]["fuel_kg"] == f"{found['optimum']['fuel_kg']:.0f}", "as people read it; JSON and netCDF are finer"


def test_the_optimum_has_no_chatter(job: tuple[dict[str, Any], Path]) -> None:
    """A control that turns back and forth between neighbouring points would show as many changes of direction."""
    _, folder = job
    flight = Flight.from_netcdf(folder / "optimum.nc")
    for name, size in (("load_factor", 0.01), ("speed_brake", 0.05), ("thrust_fraction", 0.05)):
        values = flight.column(name)
        turns = 0
        last, direction = values[0], 0
        for value in values:
            if abs(value - last) > size:
                now = 1 if value > last else -1
                turns += direction not in (0, now)
                direction, last = now, value
        assert turns <= 14, name


def test_energy_height_of_the_optimum_only_falls_below_the_wind(job: tuple[dict[str, Any], Path]) -> None:
    """At idle on the glide path the air-relative energy falls; a gain would be thrust that is not there."""
    _, folder = job
    flight = Flight.from_netcdf(folder / "optimum.nc")
    near = flight.column("distance_to_go") < 8.0 * 1852.0
    energy = flight.column("specific_energy_height")[near]
    assert (energy[1:] - energy[:-1]).max() < 1.0


def test_check_names_every_fault_of_a_file(tmp_path: Path) -> None:
    text = Path(SCENARIO).read_text(encoding="utf-8")
    text = text.replace("mass_kg = 62000.0", "mass_lb = 62000.0").replace("mach = 0.78", 'mach = "fast"')
    text = text.replace("qnh_hpa = 1013.25", "qnh_hpa = 29.92")
    path = tmp_path / "three.toml"
    path.write_text(text, encoding="utf-8")
    result = run("check", str(path))
    assert result.exit_code == 2
    for words in ("start.mass_lb", "mass_kg", "start.mach", "air.qnh_hpa", "900 to 1085 hPa"):
        assert words in result.stderr
    assert "Traceback" not in result.output


def test_check_tells_titles_that_no_figure_can_write(tmp_path: Path) -> None:
    text = Path(SCENARIO).read_text(encoding="utf-8")
    path = tmp_path / "other.toml"
    path.write_text(re.sub(r'(?m)^title = ".*"$', 'title = "降下"', text, count=1), encoding="utf-8")
    result = run("check", str(path))
    assert result.exit_code == 2
    assert "has letters that figures cannot write: 降 下" in result.stderr


def test_check_says_what_good_files_are() -> None:
    folder = ROOT / "studies" / "first_descent"
    result = run("check", str(folder / "scenario.toml"), str(folder / "rules.toml"))
    assert result.exit_code == 0
    assert "scenario" in result.stdout
    assert "three-to-one" in result.stdout


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        (["start.mas_kg=3"], "nearest known key is 'mass_kg'"),
        (["airframe=jet"], "narrow-body-twin"),
        (["start.mass_kg=90000"], "42000 to 76000 kg"),
        (["arrival.windows[0].altitude_at_most_ft=9000"], "they cross by 5000 ft"),
        (["air.wind.sounding=absent.csv"], "absent.csv"),
        (["title=降下"], "has letters that figures cannot write: 降 下"),
    ],
)
def test_bad_input_is_status_2_and_writes_nothing(tmp_path: Path, settings: list[str], words: str) -> None:
    folder = tmp_path / "out"
    flags = [part for setting in settings for part in ("--set", setting)]
    result = run("optimise", SCENARIO, "-o", str(folder), *flags)
    assert result.exit_code == 2
    assert words in result.stderr
    assert not folder.exists()


def test_a_window_3000_ft_too_high_is_status_3_with_its_size(tmp_path: Path) -> None:
    """12 nm to go, at least 3000 ft above what capture from below allows there: the window itself must give way."""
    window = '{name="CEDAR", distance_nm=11.9, altitude_at_least_ft=7438.0}'
    flags = ("--set", f"arrival.windows=[{window}]", "-o", str(tmp_path / "out"))
    result = run("optimise", SCENARIO, *flags)
    assert result.exit_code == 3, result.output
    assert "CEDAR" in result.stderr or "capture from below" in result.stderr
    assert " ft" in result.stderr
    assert "Traceback" not in result.output


def test_a_gate_two_feet_off_its_glide_path_is_status_3_with_its_size(tmp_path: Path) -> None:
    """The path has 1000 ft at 2.98333 nm and 1002 ft at 2.98961 nm: (1000 - 50) ft / tan 3 degrees."""
    command = ("optimise", SCENARIO, "--json", "-o", str(tmp_path / "out"), "--set")
    result = run(*command, "arrival.gate.distance_nm=2.98961")
    assert result.exit_code == 3, result.output
    assert "the height of the gate (1000 ft at 2.99 nm to go) by 2.0 ft" in result.stderr
    assert "what stands against: the height of the glide path at capture" in result.stderr


@pytest.mark.long
def test_a_gate_on_its_glide_path_is_no_conflict(tmp_path: Path) -> None:
    command = ("optimise", SCENARIO, "--json", "-o", str(tmp_path / "out"), "--set")
    good = run(*command, "arrival.gate.distance_nm=2.983334", "--set", STILL)
    assert good.exit_code == 0, good.output
    found = json.loads(good.stdout)["optimum"]  # in still air, which needs no change of code
    assert found["gate"]["stable"]
    assert found["limits_kept"]


def test_optimise_reports_certificate_sensitivity_and_events(job: tuple[dict[str, Any], Path], tmp_path: Path) -> None:
    result = run("optimise", SCENARIO, "--json", "-o", str(tmp_path / "out"))
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    shown = found["certificate"]
    assert shown["local_error"] <= 1e-6
    assert shown["kkt"] < 1e-6
    assert abs(shown["hamiltonian_drift"]) < 0.01
    assert shown["chatter"] == []
    assert shown["reflight"]["altitude_ft"] < 5.0
    assert shown["reflight"]["speed_kt"] < 0.2
    assert shown["reflight"]["fuel_kg"] < 0.1
    assert shown["wrong_signs"] == 0
    assert shown["lacking_curvature"] == 0.0
    assert shown["stationarity"] < 1e-6
    solver = found["optimum"]["solver"]
    assert 0.0 < solver["regularisation_cost_kg"] < solver["regularisation_kg"] < 1.0
    assert found["optimum"]["fuel_kg"] == pytest.approx(job[0]["optimum"]["fuel_kg"], abs=1e-3)
    slopes = {slope["quantity"]: slope for slope in found["sensitivity"]}
    bands = [s["cost_kg"] for name, s in slopes.items() if name.startswith("tailwind from")]
    assert sum(bands) == pytest.approx(slopes["tailwind at every height"]["cost_kg"], abs=1e-3)
    assert slopes["mass at the start"]["per"] == "t"
    assert slopes["cost of time"]["cost_kg"] == pytest.approx(found["optimum"]["time_min"], rel=1e-3)
    distances = [event["distance_nm"] for event in found["events"]]
    assert distances == sorted(distances, reverse=True)
    assert {"thrust to idle", "window ALDER", "gear selected", "landing out", "gate"} <= {
        event["event"] for event in found["events"]
    }


def test_an_output_that_is_a_file_is_told_before_the_work(tmp_path: Path) -> None:
    taken = tmp_path / "taken"
    taken.write_text("mine", encoding="utf-8")
    assert run("optimise", SCENARIO, "-o", str(taken)).exit_code == 2
    result = run("optimise", SCENARIO, "-o", str(taken / "out"))
    assert result.exit_code == 2
    assert "lies below a file" in result.stderr
    assert taken.read_text(encoding="utf-8") == "mine"


def test_an_interrupt_leaves_no_half_written_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    def interrupted(*_: object) -> None:
        raise KeyboardInterrupt

    folder = tmp_path / "out"
    monkeypatch.setattr("optdescent.optimum.optimise", interrupted)
    result = run("optimise", SCENARIO, "-o", str(folder))
    assert result.exit_code == 130
    assert not folder.exists()


@pytest.mark.parametrize("command", ["check", "optimise", "margins"])
def test_every_command_has_help_with_an_example(command: str) -> None:
    result = run(command, "--help")
    assert result.exit_code == 0
    assert "Example: optdescent" in " ".join(result.output.split())
