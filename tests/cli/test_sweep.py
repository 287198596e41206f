"""`optdescent sweep` as a user meets it: dataset, table, JSON, messages, exit statuses."""

from __future__ import annotations

import json
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import distributed
import numpy as np
import pytest
import xarray as xr
from click.testing import CliRunner, Result

from optdescent.cli import main
from optdescent.cli.swept import corridor_plain, exit_status
from optdescent.results import CAUTION
from optdescent.results.sweep import Status, Swept
from optdescent.sweep import Outcome
from tests.study.files import SHORT, WIND_STUDY, write_study

SPEEDS = "[[conditions.axes]]\nkind = 'values'\nkey = 'arrival.speed_limits[0].speed_kt'\nvalues = [250, 170]\n"
COMPUTE = "[compute]\nlocal_error = 1e-2\nrefly_one_in = 2\nrules = 'three_rules'\nrule_names = ['three-degrees']\n"
KEEP = "[keep]\nflights = ['altitude']\nspacing_nm = 5\n"


def run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(main, ["sweep", *(str(argument) for argument in arguments)])


@pytest.fixture(scope="module")
def study(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A short descent at two speed limits below 10 000 ft; the lower leaves nowhere to slow and go down."""
    folder = tmp_path_factory.mktemp("study")
    return write_study(folder, axes=SPEEDS, rest=COMPUTE + KEEP, top=f"set = {json.dumps(SHORT)}\n")


@pytest.fixture(scope="module")
def job(study: Path) -> tuple[dict[str, Any], Path]:
    """Its sweep, run once."""
    output = study.parent / "out.zarr"
    result = run(study, "-o", output, "--workers", "1", "--json", "--netcdf", study.parent / "out.nc")
    assert result.exit_code == 0, result.output
    return json.loads(result.stdout), output


def test_an_infeasible_case_is_an_answer_with_its_reason(job: tuple[dict[str, Any], Path]) -> None:
    found, _ = job
    assert found["cases"] == {"all": 2, "solved": 1, "infeasible": 1}
    (reason,) = found["reasons"]
    assert (reason["status"], reason["cases"], reason["at"]) == ("infeasible", 1, "speed_kt 170")
    assert "the demands conflict" in reason["reason"]


def test_the_summary_is_that_of_the_dataset(job: tuple[dict[str, Any], Path]) -> None:
    found, output = job
    assert found["caution"] == CAUTION
    assert found["open"] == f'xarray.open_zarr("{output}")'
    with xr.open_zarr(output) as dataset:
        solved = dataset.sel(speed_kt=250)
        fuel, time_taken = float(solved["fuel"]), float(solved["time"])
        above = float(solved["rule_fuel"].sel(rule="three-degrees")) - fuel
        slope = float(solved["cost_slope"].sel(axis="speed_kt"))
    table = found["percentiles"]
    assert table["share_percent"] == [5.0, 25.0, 50.0, 75.0, 95.0]
    assert table["fuel_kg"] == pytest.approx([fuel] * 5, rel=1e-5)
    assert table["time_min"] == pytest.approx([time_taken / 60.0] * 5, rel=1e-5)
    assert table["top_of_descent_nm"] == pytest.approx([float(solved["top_of_descent"]) / 1852.0] * 5, rel=1e-5)
    assert found["cost_slopes"] == [{"axis": "speed_kt", "per": "kt", "median_kg": pytest.approx(slope, rel=1e-3)}]
    (rule,) = found["rules"]
    assert (rule["name"], rule["flown"]) == ("three-degrees", 2)
    assert rule["median_fuel_above_optimum_kg"] == pytest.approx(above, rel=1e-3)


def test_the_dataset_is_selected_by_names_and_says_where_it_is_from(job: tuple[dict[str, Any], Path]) -> None:
    found, output = job
    with xr.open_zarr(output) as dataset:
        assert dataset["status"].sel(speed_kt=170) == Status.INFEASIBLE
        assert bool(dataset["fuel"].sel(speed_kt=170).isnull())
        assert float(dataset["rule_fuel"].sel(speed_kt=170, rule="three-degrees")) > 100.0
        kept = dataset["flown_altitude"].sel(speed_kt=250, distance_to_go=np.arange(5, 50, 5) * 1852.0)
        assert np.all(np.diff(kept.to_numpy()) >= -1e-6)
        assert dataset["distance_to_go"].size == 11
        by_rule = dataset["rule_flown_altitude"].sel(rule="three-degrees", distance_to_go=0.0)
        assert by_rule.to_numpy() == pytest.approx(kept.to_numpy()[0], abs=500.0)
        assert dataset.attrs["title"] == found["study"]["title"]
        where = Swept.from_zarr(output).provenance
        assert where.scenario_digest == found["study"]["digest"]
        again = ["optdescent", "sweep", output.with_name("study.toml"), "--output", output, "--workers", 1]
        assert where.command == shlex.join(str(word) for word in (*again, "--netcdf", found["netcdf"]))
        assert dataset.attrs["caution"] == CAUTION


def test_the_netcdf_file_holds_the_same(job: tuple[dict[str, Any], Path]) -> None:
    found, output = job
    with xr.open_dataset(found["netcdf"], engine="h5netcdf") as exported, xr.open_zarr(output) as dataset:
        xr.testing.assert_equal(exported.load(), dataset.load())
        assert exported.attrs == dataset.attrs


def test_a_log_lies_beside_the_dataset(job: tuple[dict[str, Any], Path]) -> None:
    found, output = job
    assert found["log"] == f"{output}.log"
    assert "infeasible" in Path(found["log"]).read_text(encoding="utf-8")


def test_a_sweep_that_is_there_is_not_begun_again(job: tuple[dict[str, Any], Path], study: Path) -> None:
    _, output = job
    result = run(study, "-o", output)
    assert result.exit_code == 2
    assert "holds 2 of 2 cases" in result.stderr
    assert "--resume" in result.stderr


def test_resuming_a_finished_sweep_tells_it_in_words(job: tuple[dict[str, Any], Path], study: Path) -> None:
    found, output = job
    result = run(study, "-o", output, "--resume")
    assert result.exit_code == 0, result.output
    lines = result.stdout.splitlines()
    assert lines[1] == "2 cases: 1 solved, 1 infeasible (the demands cannot be met)"
    assert lines[2].startswith("  1 infeasible, as at speed_kt 170: the demands conflict")
    (fuel,) = (line for line in lines if line.startswith("fuel, kg"))
    assert [float(value) for value in fuel.split()[2:]] == pytest.approx(found["percentiles"]["fuel_kg"], abs=0.06)
    assert any(line.startswith("cost for each kt of speed_kt: ") for line in lines)
    assert any(line.startswith("three-degrees: stable in ") for line in lines)
    assert f'xarray.open_zarr("{output}")' in result.stdout
    assert lines[-1] == CAUTION


def test_a_changed_study_is_refused_with_the_difference(job: tuple[dict[str, Any], Path], study: Path) -> None:
    _, output = job
    result = run(study, "-o", output, "--resume", "--set", "compute.local_error=1e-3", "--set", "start.mass_kg=61000")
    assert result.exit_code == 2
    assert "holds another study" in result.stderr
    assert "compute.local_error: was 0.01, is 0.001" in result.stderr
    assert "start.mass: was 62000.0, is 61000.0" in result.stderr


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--resume"], "does not exist"),
        (["--workers", "2", "--scheduler", "tcp://127.0.0.1:8786"], "one of the two"),
        (["--workers", "0"], "--workers"),
        (["--scheduler", "nonsense"], "address of the scheduler: got 'nonsense'; allowed: tcp://HOST:PORT"),
        (["--scheduler", ""], "address of the scheduler: got ''"),
        (["--scheduler", "http://x:1"], "address of the scheduler: got 'http://x:1'"),
        (["--set", "start.mas_kg=60000"], "nearest known key is 'mass_kg'"),
        (
            ["--set", "conditions.axes[0].key=start.mas_kg"],
            "conditions.axes[0]: at 170 kg, 250 kg: start.mas_kg: unknown key",
        ),
        (["--set", "conditions.axes[0].values=[250, 5000]"], "at 5000 kt: arrival.speed_limits[0].speed_kt: got 5000"),
    ],
)
def test_bad_input_is_status_2_and_writes_nothing(study: Path, tmp_path: Path, options: list[str], words: str) -> None:
    result = run(study, "-o", tmp_path / "new.zarr", *options)
    assert result.exit_code == 2
    assert words in result.stderr
    assert "Traceback" not in result.output
    assert not (tmp_path / "new.zarr").exists()


def test_an_output_below_a_file_is_told_before_the_work(study: Path, tmp_path: Path) -> None:
    (tmp_path / "taken").write_text("mine", encoding="utf-8")
    for option, name in (("-o", "out.zarr"), ("--netcdf", "out.nc")):
        result = run(study, option, tmp_path / "taken" / name, *(("-o", tmp_path / "o.zarr") if option != "-o" else ()))
        assert result.exit_code == 2
        assert "lies below a file" in result.stderr
    assert {path.name for path in tmp_path.iterdir()} == {"taken"}


@pytest.mark.parametrize(
    ("counts", "status"),
    [
        ({Status.SOLVED: 1, Status.INFEASIBLE: 9}, 0),
        ({Status.SOLVED: 0, Status.INFEASIBLE: 9, Status.FAILED: 0}, 3),
        ({Status.INFEASIBLE: 9, Status.NOT_CONVERGED: 1}, 4),
        ({Status.FAILED: 2}, 4),
    ],
)
def test_a_sweep_without_a_solved_case_is_no_success(counts: dict[Status, int], status: int) -> None:
    assert exit_status(Outcome(counts, sum(counts.values()), interrupted=False)) == status


@pytest.mark.slow
def test_an_interrupted_sweep_says_how_much_is_stored_and_goes_on(tmp_path: Path) -> None:
    """Levels that are words are kept in blocks of their own; the interrupt comes in the first."""
    kinds = "[[conditions.axes]]\nkind = 'values'\nkey = 'arrival.glide_path.capture'\nvalues = ['below', 'above']\n"
    masses = "[[conditions.axes]]\nkind = 'range'\nkey = 'start.mass_kg'\nfrom = 60000\nto = 61000\ncount = 3\n"
    compute = "[compute]\nlocal_error = 1e-2\nrefly_one_in = 0\n"
    path = write_study(tmp_path, axes=kinds + masses, rest=compute, top=f"set = {json.dumps(SHORT)}\n")
    output, log = tmp_path / "out.zarr", tmp_path / "out.zarr.log"
    command = [sys.executable, "-c", "from optdescent.cli import main; main()"]
    arguments = ["sweep", str(path), "-o", str(output), "--workers", "1"]
    with subprocess.Popen([*command, *arguments], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as process:
        while not (log.exists() and "begin: " in log.read_text(encoding="utf-8")):
            assert process.poll() is None, process.communicate()
            time.sleep(0.005)
        time.sleep(0.5)  # the first block has begun, and takes some seconds
        process.send_signal(signal.SIGINT)
        said, errors = process.communicate(timeout=120)
    assert process.returncode == 130, errors
    assert said == ""
    assert f"optdescent: interrupted; 3 of 6 cases are stored in {output}" in errors
    assert "--resume" in errors
    assert "Traceback" not in errors
    result = run(path, "-o", output, "--workers", "1", "--resume", "--json")
    assert result.exit_code == 0, result.output
    assert json.loads(result.stdout)["cases"] == {"all": 6, "solved": 6}


@pytest.mark.slow
@pytest.mark.long
def test_killed_and_gone_on_with_or_on_a_cluster_a_sweep_ends_as_undisturbed(tmp_path: Path) -> None:
    """Optima by two processes; by two that are killed in the middle and then by two others; by a cluster's two.

    How each case ended is the same. Numbers agree to what solvers leave open: 1e-6 of each, 1e-4 of slopes.
    """
    masses = "[[conditions.axes]]\nkind = 'range'\nkey = 'start.mass_kg'\nfrom = 58000\nto = 62000\ncount = 5\n"
    winds = "[[conditions.axes]]\nkind = 'range'\nkey = 'added_tailwind_kt'\nfrom = -8\nto = 8\ncount = 5\n"
    compute = "[compute]\nlocal_error = 1e-2\nrefly_one_in = 0\n"
    path = write_study(tmp_path, axes=masses + winds, rest=compute, top=f"set = {json.dumps(SHORT)}\n")
    plain, killed, far = (tmp_path / f"{name}.zarr" for name in ("plain", "killed", "far"))
    assert run(path, "-o", plain, "--workers", "2").exit_code == 0
    command = [sys.executable, "-c", "from optdescent.cli import main; main()", "sweep", str(path), "-o", str(killed)]
    with subprocess.Popen([*command, "--workers", "2"], stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        log = Path(f"{killed}.log")
        while not (log.exists() and " block " in log.read_text(encoding="utf-8")):
            assert process.poll() is None, process.communicate()
            time.sleep(0.005)
        process.kill()
    with xr.open_zarr(killed) as half:
        assert 0 < int((half["status"] != Status.NOT_COMPUTED).sum()) < 25
    assert run(path, "-o", killed, "--workers", "2", "--resume").exit_code == 0
    one = {"n_workers": 2, "threads_per_worker": 1, "host": "127.0.0.1", "dashboard_address": None}
    with distributed.LocalCluster(**one) as cluster:
        result = run(path, "-o", far, "--scheduler", cluster.scheduler_address)
        assert result.exit_code == 0, result.output
    with xr.open_zarr(plain) as expected:
        assert np.all(expected["status"] == Status.SOLVED)
        for other in (killed, far):
            with xr.open_zarr(other) as found:
                for name in ("status", "reason", "start"):
                    xr.testing.assert_equal(found[name], expected[name])
                for name in ("fuel", "time", "cost", "top_of_descent"):
                    xr.testing.assert_allclose(found[name], expected[name], rtol=1e-6)
                xr.testing.assert_allclose(found["cost_slope"], expected["cost_slope"], rtol=1e-4)


def test_a_scheduler_that_is_not_there_is_status_2_and_nothing_is_written(study: Path, tmp_path: Path) -> None:
    result = run(study, "-o", tmp_path / "new.zarr", "--scheduler", "tcp://127.0.0.1:1")
    assert result.exit_code == 2
    assert "tcp://127.0.0.1:1: no scheduler answers" in result.stderr
    assert not (tmp_path / "new.zarr").exists()


def test_check_says_what_a_study_would_do(tmp_path: Path) -> None:
    result = CliRunner().invoke(main, ["check", "--json", str(WIND_STUDY)])
    assert result.exit_code == 0, result.output
    (found,) = json.loads(result.stdout)["files"]
    assert found["is"].startswith("study ")
    assert found["study"]["cases"] == 84
    assert found["study"]["axes"] == ["added_tailwind_kt (7)", "mass_kg (4)", "temperature_offset_k (3)"]
    assert found["study"]["estimate_min"] > 0.0
    told = CliRunner().invoke(main, ["check", str(WIND_STUDY)]).stdout
    assert "84 cases (grid) over added_tailwind_kt (7), mass_kg (4), temperature_offset_k (3)" in told
    path = write_study(tmp_path, axes=SPEEDS.replace("[250, 170]", "[250, 5000]"))
    faulty = CliRunner().invoke(main, ["check", str(path)])
    assert faulty.exit_code == 2
    assert "conditions.axes[0]: at 5000 kt" in faulty.stderr
    path = write_study(tmp_path, axes=f"{SPEEDS}name = 'fuel'\n")
    faulty = CliRunner().invoke(main, ["check", str(path)])
    assert faulty.exit_code == 2
    assert f"{path}: conditions.axes[0].name: got 'fuel'; allowed: another name" in faulty.stderr


def test_check_and_the_summary_tell_of_a_corridor(tmp_path: Path) -> None:
    points = "[compute]\noptimum = false\ncorridor.distances_nm = [12, 20]\ncorridor.speeds_kt = [210]\n"
    told = CliRunner().invoke(main, ["check", str(write_study(tmp_path, rest=points))]).stdout
    assert "the corridor at 2 points in each; summaries and no flights kept" in told
    heights = np.array([[[[300.0]], [[500.0]]], [[[np.nan]], [[700.0]]]])
    coordinates = {"devices": ["none", "all"], "corridor_distance": [12 * 1852.0], "corridor_speed": [100.0]}
    dims = ("case", "devices", "corridor_distance", "corridor_speed")
    none, everything = corridor_plain(xr.Dataset({"corridor_highest": (dims, heights)}, coordinates))
    assert (none["devices"], none["distance_nm"], none["speed_kt"], none["cases"]) == ("none", 12.0, 194.4, 1)
    assert everything["cases"] == 2
    assert everything["median_highest_ft"] == pytest.approx(600.0 / 0.3048, rel=1e-3)
    assert corridor_plain(xr.Dataset()) == []


def test_help_has_an_example() -> None:
    result = run("--help")
    assert result.exit_code == 0
    assert "Example: optdescent sweep" in " ".join(result.output.split())
