"""`optdescent margins --conditions` from the command line."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from optdescent.cli.main import main
from optdescent.inputs import read_toml
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


def two_rules(folder: Path) -> str:
    """A rule file with the first and the last of the three."""
    path = folder / "rules.toml"
    _, first, _, last = STUDY.with_name("rules.toml").read_text(encoding="utf-8").split("[[rules]]")
    path.write_text(f"[[rules]]{first}[[rules]]{last}", encoding="utf-8")
    return str(path)


def conditions(folder: Path, text: str = CONDITIONS) -> str:
    path = folder / "conditions.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_rules_are_flown_in_conditions_and_files_and_json_say_what_came_of_it(tmp_path: Path) -> None:
    """One of them can start in none of the conditions: its row says why, and the other's is written."""
    out = tmp_path / "out"
    files = ("--conditions", conditions(tmp_path, CONDITIONS + NEAR), "--rules", two_rules(tmp_path))
    found = run(*files, "--optima", "0", "--json", "-o", str(out))
    assert found.exit_code == 0, found.output
    plain = json.loads(found.stdout)
    over = plain["over_conditions"]
    assert over["conditions"] == 12
    assert over["conditions_with_optimum"] == 0
    three_to_one, three_degrees = over["rules"]
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
    assert all(Path(file).exists() for file in plain["files"])


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
