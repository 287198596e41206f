"""`optdescent margins --conditions` from the command line."""

from __future__ import annotations

import contextlib
import json
import os
import shlex
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result
from scipy.stats import ttest_1samp

from optdescent.cli.main import main
from optdescent.cli.write import write_figures_of
from optdescent.figures import Format
from optdescent.inputs import read_toml
from optdescent.results import Flight
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.rules.read import rules_text
from tests.figures.conditions import over
from tests.optimum.descents import SHORT, STILL
from tests.scenario.files import STUDY

CONDITIONS = """
[sampling]
kind = "random"
count = 12

[[axes]]
kind = "range"
key = "added_tailwind_kt"
from = -20.0
to = 20.0
"""


NEAR = """
[[axes]]
kind = "values"
key = "start.distance_nm"
values = [42.0]
"""
"""A start so near that three miles per thousand feet are too many, three degrees are not."""
ARGUMENTS = (
    *("margins", str(STUDY), *(part for setting in (*SHORT, STILL) for part in ("--set", setting))),
    *("--conditions", "conditions.toml", "--rule", "three-to-one", "--rule", "three-degrees"),
    *("--optima", "2", "--json", "--output", "out"),
)
"""A short descent in still air, and two optima of its conditions."""


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["margins", str(STUDY), *arguments])


def conditions(folder: Path, text: str = CONDITIONS) -> str:
    path = folder / "conditions.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def job(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, str]:
    """The command run once: where, and what it printed."""
    folder = tmp_path_factory.mktemp("margins")
    conditions(folder, CONDITIONS + NEAR)
    with contextlib.chdir(folder):
        found = CliRunner().invoke(main, ARGUMENTS)
    assert found.exit_code == 0, found.output
    return folder, found.stdout


def test_rules_are_flown_in_conditions_and_files_and_json_say_what_came_of_it(job: tuple[Path, str]) -> None:
    """One of them can start in none of the conditions: its row says why, and the other's is written."""
    folder, printed = job
    plain = json.loads(printed)
    told = plain["over_conditions"]
    assert (told["conditions"], told["sampling"]) == (12, "random")
    assert (told["conditions_with_optimum"], told["optima_not_found"]) == (2, "")
    three_to_one, three_degrees = told["rules"]
    assert three_to_one["rule"] == "three-to-one"
    assert (three_to_one["flown"], three_to_one["stable_share"]) == (0, None)
    assert three_to_one["not_flown"].startswith("not flown in any condition: three-to-one asks for")
    assert three_degrees["rule"] == "three-degrees"
    assert (three_degrees["flown"], three_degrees["not_flown"]) == (12, "")
    assert 0.0 <= three_degrees["stable_share_low"] <= three_degrees["stable_share"]
    assert three_degrees["stable_share"] <= three_degrees["stable_share_high"] <= 1.0
    assert three_degrees["breaking"]
    written = {Path(file).name for file in plain["files"]}
    assert {"conditions.csv", "conditions.nc", "margins.csv"} <= written
    assert {f"{name}.{kind}" for name in ("height", "margins") for kind in ("pdf", "svg", "png")} <= written
    (why,) = told["figures_not_drawn"]
    assert why.startswith("figure rule-map is not drawn: "), "a map needs two quantities that vary"
    assert all((folder / file).exists() for file in plain["files"])


def test_each_file_holds_the_command_and_the_texts_that_it_read(job: tuple[Path, str]) -> None:
    out = job[0] / "out"
    told = OverConditions.from_netcdf(out / "conditions.nc").provenance
    typed = ("optdescent", *(word for word in ARGUMENTS if word != "--json"))
    assert sorted(shlex.split(told.command)) == sorted(typed)
    assert told.rules == rules_text(STUDY.parent / "rules.toml")
    assert told.conditions == CONDITIONS + NEAR
    for found in (Margins.from_netcdf(out / "margins.nc"), Flight.from_netcdf(out / "optimum.nc")):
        assert found.provenance == replace(told, conditions="")


def test_fuel_and_time_are_compared_with_the_optima_of_the_same_conditions(job: tuple[Path, str]) -> None:
    """By the numbers of the cases; so few conditions have no tenth of them."""
    folder, printed = job
    row = json.loads(printed)["over_conditions"]["rules"][1]
    cases = OverConditions.from_netcdf(folder / "out" / "conditions.nc").cases
    own = cases.sel(rule="three-degrees")
    both = np.isfinite(cases["optimum_fuel"].to_numpy()) & (own["stable"].to_numpy() > 0.5)
    assert row["compared"] == both.sum() == 2
    for name, unit, factor in (("fuel", "kg", 1.0), ("time", "min", 60.0)):
        above = (own[name] - cases[f"optimum_{name}"]).to_numpy()[both] / factor
        interval = ttest_1samp(above, 0.0).confidence_interval(0.95)
        told = [row[f"{name}_above_optimum_mean{end}_{unit}"] for end in ("", "_low", "_high")]
        assert told == pytest.approx([above.mean(), interval.low, interval.high], abs=0.06)
    assert row["fuel_above_optimum_mean_kg"] > 10.0
    assert row["fuel_above_optimum_low_kg"] is row["gate_energy_high_ft"] is row["gear_distance_low_nm"] is None
    assert row["gate_energy_median_ft"] is not None


def test_the_same_seed_gives_the_same_bytes_in_another_process(job: tuple[Path, str], tmp_path: Path) -> None:
    """What is printed and each file; with another seed of the hashes by which sets and dictionaries may be ordered."""
    folder, printed = job
    conditions(tmp_path, CONDITIONS + NEAR)
    other = subprocess.run(
        [sys.executable, "-c", "from optdescent.cli import main; main()", *ARGUMENTS],
        cwd=tmp_path,
        env={**os.environ, "PYTHONHASHSEED": "7"},
        capture_output=True,
        check=True,
    )
    assert other.stdout.decode().splitlines() == printed.splitlines()
    files = [Path(file) for file in json.loads(printed)["files"]]
    assert [file for file in files if (folder / file).read_bytes() != (tmp_path / file).read_bytes()] == []


def test_every_figure_of_conditions_is_written(tmp_path: Path) -> None:
    files, missing = write_figures_of(over(), tmp_path)
    assert {file.name for file in files} == {
        f"{name}.{kind.value}" for name in ("margins", "rule-map") for kind in Format
    }
    assert all(file.exists() for file in files)
    assert missing == []


def test_a_rule_that_there_is_not_is_named(tmp_path: Path) -> None:
    found = run("--rule", "three-degrees", "--rule", "four-to-one", "-o", str(tmp_path / "out"))
    assert found.exit_code == 2
    assert "--rule: got 'four-to-one'; allowed: three-to-one, " in found.stderr


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (CONDITIONS.replace("to = 20.0", "to = -20.0"), ["axes[0].to", "two ends that differ"]),
        (CONDITIONS.replace("added_tailwind_kt", "start.mas_kg"), ["axes[0]", "mas_kg"]),
        (CONDITIONS.replace('kind = "range"', ""), ["axes[0].kind"]),
    ],
)
def test_wrong_conditions_are_told_before_anything_is_flown(tmp_path: Path, text: str, words: list[str]) -> None:
    out = tmp_path / "out"
    found = run("--conditions", conditions(tmp_path, text), "-o", str(out))
    assert found.exit_code == 2
    assert all(word in found.stderr for word in words), found.stderr
    assert not out.exists()


def test_a_missing_file_of_conditions_is_named(tmp_path: Path) -> None:
    found = run("--conditions", str(tmp_path / "none.toml"), "-o", str(tmp_path / "out"))
    assert found.exit_code == 2
    assert "none.toml" in found.stderr


def test_check_says_what_a_file_of_conditions_is(tmp_path: Path) -> None:
    path = conditions(tmp_path)
    assert "axes" in read_toml(Path(path))
    found = CliRunner().invoke(main, ["check", path])
    assert found.exit_code == 0
    assert "conditions: 12 cases over added_tailwind_kt" in found.stdout


TOO_STEEP = """
[[rules]]
name = "too-late"
title = "Six hundred feet per mile"
source = "common practice, no source: nobody's"
profile.kind = "height"
profile.gradient_ft_per_nm = 600.0
[rules.speeds]
descent_kt = 300.0
"""


def test_a_crew_that_never_reaches_the_gate_is_a_result(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    Path("conditions.toml").write_text(CONDITIONS, encoding="utf-8")
    Path("rules.toml").write_text(TOO_STEEP, encoding="utf-8")
    short = tuple(part for setting in (*SHORT, STILL, "arrival.windows=[]") for part in ("--set", setting))
    far = ("--rules", "rules.toml", "--conditions", "conditions.toml", "--optima", "0", "--json", "-o", "out")
    result = run(*short, *far)
    assert result.exit_code == 0, result.output
    (found,) = json.loads(result.stdout)["over_conditions"]["rules"]
    assert (found["flown"], found["stable_share"]) == (12, 0.0)
    assert found["most_common_reason"] == "never passes the height of the gate (12 of 12 misses)"
    assert found["breaking"].startswith("does not hold even without a disturbance")
