"""`optdescent rules`: what a user sees, pages and figures, JSON, exit statuses."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from optdescent.cli import main
from optdescent.results import CAUTION
from optdescent.results.rule_sheet import RuleSheet
from optdescent.rules import read_rules

ROOT = Path(__file__).resolve().parents[2]
STUDY = ROOT / "studies" / "first_descent" / "scenario.toml"
ONE = """
[[rules]]
name = "my rule"
title = "Three miles per thousand feet"
source = "common practice, no source"
profile = { kind = "distance", terms = [{ kind = "height_to_lose", distance_nm = 3.0 }] }
speeds = { descent_kt = 280.0, by = [{ distance_nm = 20.0, speed = "first step" }] }
"""


def run(*arguments: str) -> Result:
    return CliRunner().invoke(main, ["rules", *arguments])


def rule_file(folder: Path, text: str = ONE) -> str:
    path = folder / "mine.toml"
    path.write_text(text, encoding="utf-8")
    return str(path)


@pytest.fixture(scope="module")
def library(tmp_path_factory: pytest.TempPathFactory) -> tuple[Result, Path]:
    """What the command prints and writes of the library."""
    folder = tmp_path_factory.mktemp("library")
    return run("-o", str(folder)), folder


def test_the_library_is_listed_and_each_rule_has_its_page_and_figure(library: tuple[Result, Path]) -> None:
    result, folder = library
    assert result.exit_code == 0, result.output
    rules = read_rules("library")
    assert {path.name for path in folder.iterdir()} == {
        f"{rule.name}.{kind}" for rule in rules for kind in ("md", "svg", "nc")
    }
    for rule in rules:
        assert rule.title in result.stdout
        page = (folder / f"{rule.name}.md").read_text(encoding="utf-8")
        assert page.startswith(f"# {rule.title}\n")
        assert f"]({rule.name}.svg)" in page
        assert CAUTION in page
        assert (folder / f"{rule.name}.svg").stat().st_size < 150_000
        assert RuleSheet.from_netcdf(folder / f"{rule.name}.nc").name == rule.name
    assert CAUTION in result.stdout


def test_the_stored_pages_of_the_study_are_those_of_the_library(library: tuple[Result, Path]) -> None:
    """But for the line that names version and scenario, which other changes may move."""
    _, folder = library
    stored = ROOT / "studies" / "rule_library"
    for path in folder.glob("*.md"):
        new, old = (page.read_text(encoding="utf-8").splitlines()[:-1] for page in (path, stored / path.name))
        assert new == old, f"{path.name}: optdescent rules library -o studies/rule_library"
    links = {f"({path.name})" for path in folder.glob("*.md")}
    readme = (stored / "README.md").read_text(encoding="utf-8")
    assert all(link in readme for link in links)


def test_a_file_of_one_s_own_as_json(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    result = run(rule_file(tmp_path), "-o", str(folder), "--json")
    assert result.exit_code == 0, result.output
    found = json.loads(result.stdout)
    (rule,) = found["rules"]
    assert rule["name"] == "my rule"
    assert rule["in_words"][0] == "3 nm per 1000 ft to lose"
    assert rule["winds"][0]["at"][0]["height_to_have_ft"] == pytest.approx(13333.0)
    assert [Path(file).name for file in rule["files"]] == ["my-rule.md", "my-rule.svg", "my-rule.nc"]
    assert {Path(file).name for file in rule["files"]} == {path.name for path in folder.iterdir()}
    assert found["caution"] == CAUTION


def test_a_scenario_gives_airframe_mass_and_airport(tmp_path: Path) -> None:
    mine = rule_file(tmp_path)
    usual, study = (
        json.loads(run(mine, "-o", str(tmp_path / name), "--json", *more).stdout)
        for name, more in (("one", ()), ("two", ("--scenario", str(STUDY))))
    )
    assert study["scenario"]["title"].startswith("First descent")
    starts = [found["rules"][0]["winds"][0]["start_down_nm"] for found in (usual, study)]
    assert starts == pytest.approx([105.0, (35000.0 - 600.0) * 3.0 / 1000.0], abs=0.05)
    assert "First descent" in (tmp_path / "two" / "my-rule.md").read_text(encoding="utf-8")


@pytest.mark.parametrize(
    ("before", "after", "words"),
    [
        ("descent_kt = 280.0", "descent_kt = 500.0", ("rules[0].speeds.descent_kt", "got 500", "150 to 400 kt")),
        ('"first step"', '"fist step"', ("rules[0].speeds.by[0].speed", "'fist step'", "'first step'")),
        ("title =", "titel =", ("rules[0].titel", "unknown key", "'title'")),
        ("descent_kt = 280.0", "descent_kt = 150.0", ("rules[0].speeds.by[0]", "after 150 kt", "speeds that fall")),
    ],
)
def test_a_bad_rule_file_is_status_2_with_file_key_given_and_allowed_and_writes_nothing(
    tmp_path: Path, before: str, after: str, words: tuple[str, ...]
) -> None:
    assert before in ONE
    file, folder = rule_file(tmp_path, ONE.replace(before, after)), tmp_path / "out"
    result = run(file, "-o", str(folder))
    assert result.exit_code == 2
    assert all(word in result.stderr for word in (file, *words))
    assert not folder.exists()


def test_names_that_would_share_their_files_are_refused(tmp_path: Path) -> None:
    file = rule_file(tmp_path, ONE + ONE.replace('"my rule"', '"My-Rule"'))
    result = run(file, "-o", str(tmp_path / "out"))
    assert result.exit_code == 2
    assert "rules[1].name" in result.stderr
    assert "a name of its own" in result.stderr


@pytest.mark.parametrize(
    ("arguments", "words"), [(("no-such.toml",), "no-such.toml"), (("--scenario", "none.toml"), "none.toml")]
)
def test_a_missing_file_is_status_2(tmp_path: Path, arguments: tuple[str, ...], words: str) -> None:
    result = run(*arguments, "-o", str(tmp_path / "out"))
    assert result.exit_code == 2
    assert words in result.stderr


def test_there_is_help_with_an_example() -> None:
    assert "Example: optdescent rules library" in " ".join(run("--help").output.split())
