"""Documents agree with the project, and no file speaks of the machine or the way it was written on."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path

import pytest

from optdescent.results.provenance import CAUTION
from optdescent.scenario import Scenario
from tests.house.source import ROOT, project_files, shown

MACHINE_PATH = re.compile(r"(?<![\w.~$}/-])/(?:home|root|opt|tmp|work|mnt|var|Users)/\w|\b[A-Z]:\\Users\b")
WORKPLACE = re.compile(r"\b(sub-?agents?|coding agents?|this session|language model)\b", re.IGNORECASE)
LOCAL_LINK = re.compile(r"\]\((?!https?:|mailto:|#)([^)#\s]+)")
SCENARIO = re.compile(r"<!-- scenario -->\n```toml\n(.*?)```", re.DOTALL)
COMMAND = re.compile(r"<!-- command: (\w+) -->\n```\w*\n(.*?)```\n<!-- end -->", re.DOTALL)
DOCUMENTS = sorted([*ROOT.glob("*.md"), *ROOT.glob("studies/*/README.md")])


def version() -> str:
    return tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]["version"]


@pytest.mark.parametrize("pattern", [MACHINE_PATH, WORKPLACE], ids=["machine path", "workplace"])
def test_no_file_speaks_of_where_it_was_written(pattern: re.Pattern[str]) -> None:
    here = Path(__file__).resolve()
    faults = [
        f"{shown(path)}:{number}: {line.strip()}"
        for path in project_files()
        if path != here
        for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1)
        if pattern.search(line)
    ]
    assert not faults, "\n".join(faults)


def test_what_counts_as_a_machine_path() -> None:
    assert MACHINE_PATH.search("see /home/somebody/x.py")
    assert MACHINE_PATH.search(r"open('C:\Users\somebody')")
    assert not MACHINE_PATH.search("https://example.org/home/page and ./opt/x and tests/work/x")


@pytest.mark.parametrize("document", DOCUMENTS, ids=shown)
def test_local_links_lead_somewhere(document: Path) -> None:
    links = LOCAL_LINK.findall(document.read_text(encoding="utf-8"))
    missing = [link for link in links if not (document.parent / link).exists()]
    assert not missing


def test_the_readme_has_two_commands_of_one_line() -> None:
    commands = dict(COMMAND.findall((ROOT / "README.md").read_text(encoding="utf-8")))
    assert set(commands) == {"job", "tests"}
    assert all(len(text.splitlines()) == 1 for text in commands.values())
    assert "optdescent margins studies/first_descent/scenario.toml" in commands["job"]
    assert "-m pytest" in commands["tests"]


def test_the_scenario_of_the_readme_is_valid(tmp_path: Path) -> None:
    found = SCENARIO.findall((ROOT / "README.md").read_text(encoding="utf-8"))
    assert len(found) == 1
    path = tmp_path / "scenario.toml"
    path.write_text(found[0], encoding="utf-8")
    scenario = Scenario.from_toml(path)
    assert len(scenario.arrival.windows) == len(scenario.arrival.speed_limits) == 1


def test_the_readme_carries_the_caution() -> None:
    assert CAUTION in " ".join((ROOT / "README.md").read_text(encoding="utf-8").replace(">", " ").split())


def test_one_version_everywhere() -> None:
    assert f"\nversion: {version()}\n" in (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    assert f"\n## {version()}" in (ROOT / "CHANGELOG.md").read_text(encoding="utf-8")
