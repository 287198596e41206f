"""`optdescent margins --conditions` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from optdescent.cli.main import main
from optdescent.cli.write import write_figures_over
from optdescent.figures import Format
from optdescent.inputs import read_toml
from tests.figures.conditions import over
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
values = [115.0]
"""
"""A start so near that three miles per thousand feet are too many, three degrees are not."""


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["margins", str(STUDY), *arguments])


def conditions(folder: Path, text: str = CONDITIONS) -> str:
    path = folder / "conditions.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_rules_are_flown_in_conditions_and_files_and_json_say_what_came_of_it(tmp_path: Path) -> None:
    """One of them can start in none of the conditions: its row says why, and the other's is written."""
    out = tmp_path / "out"
    files = (
        "--conditions",
        conditions(tmp_path, CONDITIONS + NEAR),
        "--rule",
        "three-to-one",
        "--rule",
        "three-degrees",
    )
    found = run(*files, "--optima", "0", "--json", "-o", str(out))
    assert found.exit_code == 0, found.output
    plain = json.loads(found.stdout)
    told = plain["over_conditions"]
    assert told["conditions"] == 12
    assert told["conditions_with_optimum"] == 0
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
    assert all(Path(file).exists() for file in plain["files"])


def test_every_figure_of_conditions_is_written(tmp_path: Path) -> None:
    files, missing = write_figures_over(over(), tmp_path)
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
