"""What stands in the pages works: files are sound, commands and code run in a folder of their own and print as told."""

from __future__ import annotations

import contextlib
import io
import re
import shlex
from pathlib import Path

import click
import pytest
from click.testing import CliRunner

from optdescent.cli import main
from tests.docs.page import DOCS, PAGES, ROOT, Block, blocks, differs

_FILES = re.compile(r"^% files: (\S+)$", re.MULTILINE)
WITH_CODE = [page for page in PAGES if any(block.language in {"console", "python"} for block in blocks(page))]


def parsed(command: str) -> tuple[click.Command, list[str]]:
    """The command that a line calls, and its arguments."""
    program, *words = shlex.split(command)
    assert program == "optdescent", command
    found = main.commands[words[0]]
    return found, words[1:]


def save_files(page: Path) -> None:
    for other in _FILES.findall(page.read_text(encoding="utf-8")):
        save_files((page.parent / other).resolve())
    for block in blocks(page):
        if block.caption:
            Path(block.caption).write_text(block.text, encoding="utf-8")


def run_commands(block: Block) -> str:
    more = shlex.split(block.marked) if block.mark == "reduced" else []
    status = int(block.marked) if block.mark == "fails" else 0
    printed = ""
    for command in block.commands:
        result = CliRunner().invoke(main, [*shlex.split(command)[1:], *more])
        assert result.exit_code == status, result.output
        printed += result.output
    return printed


def run_code(block: Block, names: dict[str, object]) -> str:
    printed = io.StringIO()
    with contextlib.redirect_stdout(printed):
        exec(compile(block.text, "page", "exec"), names)
    return printed.getvalue()


@pytest.mark.parametrize("page", WITH_CODE, ids=lambda page: page.relative_to(DOCS).as_posix())
def test_what_a_page_shows_runs_and_prints_as_it_says(
    page: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    save_files(page)
    names: dict[str, object] = {}
    printed = ""
    for block in blocks(page):
        if block.mark == "elsewhere":
            assert (ROOT / block.marked).is_file(), block.marked
            for command in block.commands:
                own, words = parsed(command)
                own.make_context(own.name, words)
        elif block.language == "console":
            assert differs(block.printed, run_commands(block)) == ""
        elif block.language == "python":
            printed = run_code(block, names)
        elif block.language == "text":
            assert differs(block.text, printed) == ""


@pytest.mark.parametrize(("name", "command"), main.commands.items(), ids=list(main.commands))
def test_the_examples_of_a_command_can_be_called(name: str, command: click.Command) -> None:
    for example in (command.epilog or "").split("\n\n"):
        assert example.startswith("Example: ")
        found, words = parsed(example.removeprefix("Example: "))
        assert found is command
        assert "optdescent" not in words, "two commands in one line"
        command.make_context(name, words)


@pytest.mark.parametrize(
    ("wanted", "printed", "fault"),
    [
        ("fuel 10.0 kg", "title\nfuel   10.1 kg", ""),
        ("fuel 100 kg", "fuel 110 kg", "fuel 100 kg"),
        ("fuel 100 kg", "fuel 100 lb", "fuel 100 kg"),
        ("one\ntwo", "two\none", "two"),
        ("results in ...", "results in out and more", ""),
        ("study (0123456789ab)", "study (ba9876543210)", ""),
        ("not stable", "stable", "not stable"),
    ],
)
def test_what_counts_as_printed(wanted: str, printed: str, fault: str) -> None:
    assert differs(wanted, printed) == fault
