"""A study's commands run through the real command line, into one folder."""

from __future__ import annotations

import contextlib
import io
import json
import shutil
from collections.abc import Sequence
from itertools import pairwise
from pathlib import Path
from typing import Any

import click

from optdescent.cli import main
from optdescent.figures import Format
from optdescent.results.sweep import read_sweep
from optdescent.scenario import Scenario
from studies.cases import cases_plain, steps_told
from studies.declared import ROOT, STUDIES, Command, Study
from studies.paired import Outcomes, paired

_PLACE = "out"
"""What readers type for the output; a study's own folder stands for it here."""


_ANSWERS = "answers.json"
"""All that the commands of a run said."""


def answers_before(folder: Path) -> dict[str, Any]:
    """What the commands said when they last ran into a folder, whole."""
    return json.loads((folder / _ANSWERS).read_text(encoding="utf-8"))


def answers_of(study: Study, folder: Path, *, is_small: bool) -> dict[str, Any]:
    """Run every command of a study; the answer of each by its label.

    Raises
    ------
    RuntimeError
        A command failed.
    """
    folder.mkdir(parents=True, exist_ok=True)
    answers: dict[str, Any] = {}
    flown: list[Outcomes] = []
    for command in study.commands:
        if is_small and command.label in study.small.left_out:
            continue
        output = _moved(command, folder)
        typed = study.small.reduced(command) if is_small else command.arguments
        words = [str(output) if word == command.output else _under(word, folder) for word in typed]
        if output.suffix == ".zarr" and output.exists():
            shutil.rmtree(output)  # of an earlier run: a sweep goes on with a dataset only where it is told to
        said = answered([*words, "--json"])
        if said:
            answers[command.label] = said | added(words, said, output, flown)
    (folder / _ANSWERS).write_text(json.dumps(answers, ensure_ascii=False, indent=1), encoding="utf-8")
    return answers


def added(words: Sequence[str], said: dict[str, Any], output: Path, flown: list[Outcomes]) -> dict[str, Any]:
    """What a page may name beside what a command said; outcomes of rules join those that were flown before."""
    found: dict[str, Any] = {}
    outcomes: Outcomes | None = None
    match words[0]:
        case "sweep":
            dataset = read_sweep(output)
            found["cases_one_by_one"] = cases_plain(dataset)
            outcomes = Outcomes.of_sweep(dataset)
        case "margins" if "over_conditions" in said:
            outcomes = Outcomes.of_margins(output / "conditions.nc")
        case "derive":
            found["front"] = [rule for rule in said["rules"] if rule["is_derived"] and rule["is_on_front"]]
        case "corridor":
            settings = [word for before, word in pairwise(words) if before == "--set"]
            found["last_useful"] = steps_told(Scenario.from_toml(ROOT / words[1], settings), said)
        case _:
            pass
    if outcomes is not None:
        found["paired"] = paired(outcomes, flown)
        flown.append(outcomes)
    return found


def answered(arguments: Sequence[str]) -> dict[str, Any]:
    """What `optdescent` with these arguments prints as JSON.

    Raises
    ------
    RuntimeError
        It failed.
    """
    said, told = io.StringIO(), io.StringIO()
    status = 0
    with contextlib.chdir(ROOT), contextlib.redirect_stdout(said), contextlib.redirect_stderr(told):
        try:
            main(args=list(arguments), prog_name="optdescent", standalone_mode=False)
        except SystemExit as end:
            status = int(end.code or 0)
        except click.ClickException as fault:
            status, _ = fault.exit_code, told.write(fault.format_message())
    if status:
        raise RuntimeError(f"optdescent {' '.join(arguments)}: status {status}: {told.getvalue().strip()}")
    return json.loads(said.getvalue()) if said.getvalue() else {}


def made_of(study: Study, folder: Path) -> tuple[dict[str, Path], list[str]]:
    """Files beside a README that its commands made: figures it shows, files it leads to; and figures not drawn.

    A figure is drawn when it is there in every format.
    """
    found: dict[str, Path] = {}
    for name in (*study.images, *study.files):
        made = sorted(folder.rglob(name), key=lambda path: ("figures" not in path.parts, path))
        if made:
            found[name] = made[0]
    wanted = [str(Path(name).with_suffix(f".{kind.value}")) for name in study.images for kind in Format]
    return found, [name for name in wanted if not any(folder.rglob(name))]


def store_of(study: Study, folder: Path, made: dict[str, Path]) -> None:
    """Put the answer, the README made from it, and what it shows and leads to into the study's own folder."""
    for name, path in made.items():
        shutil.copyfile(path, study.folder / name)
    if study.has_page:
        for name in ("answer.csv", "README.md"):
            shutil.copyfile(folder / name, study.folder / name)


def written_into(study: Study, folder: Path) -> None:
    """Put what a command writes into the study's folder, where its README says so."""
    for command in study.commands:
        if command.output.startswith(f"{STUDIES.name}/"):
            for path in sorted(_moved(command, folder).iterdir()):
                if (study.folder / path.name).exists() and path.name != "README.md":
                    shutil.copyfile(path, study.folder / path.name)


def _moved(command: Command, folder: Path) -> Path:
    """Where the output goes: below the study's own folder of this run."""
    typed = Path(command.output)
    return folder / (Path(*typed.parts[1:]) if typed.parts[0] == _PLACE and len(typed.parts) > 1 else typed.name)


def _under(word: str, folder: Path) -> str:
    """An argument, with an earlier output of the same study in its place."""
    parts = Path(word).parts
    return str(folder.joinpath(*parts[1:])) if len(parts) > 1 and parts[0] == _PLACE else word
