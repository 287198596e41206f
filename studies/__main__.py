"""Every study rebuilt by its own command: `python -m studies [NAME...] [--small] [--write] -o FOLDER`.

A study's commands stand in its README. They run through the real command line; the numbers that its page names go to
`answer.csv`, the page with the numbers filled in is its README, and what it says must hold is looked at each time.
"""

from __future__ import annotations

import sys
import time
from pathlib import Path
from typing import Any

import click

from studies.declared import Study, all_studies
from studies.page import Answer, missed, named_numbers, with_numbers
from studies.run import answers_before, answers_of, made_of, store_of, written_into

_MOST_SECONDS = 600.0
"""That all studies may take at reduced size."""


@click.command()
@click.argument("names", nargs=-1)
@click.option("--small", is_flag=True, help="At reduced size: what studies/small.toml says of each.")
@click.option("--again", is_flag=True, help="From what the commands said when last run into FOLDER.")
@click.option("--write", is_flag=True, help="Put answers, READMEs and figures into the studies' folders.")
@click.option(
    "-o", "--output", type=click.Path(file_okay=False, path_type=Path), default=Path("out"), show_default=True
)
def rebuild(names: tuple[str, ...], small: bool, again: bool, write: bool, output: Path) -> None:
    """Rebuild the studies NAMES, or all, into FOLDER/NAME; each after those that it is built on."""
    if small and write:
        raise click.UsageError("--write is for answers at full size")
    known = {study.name: study for study in all_studies()}
    if unknown := sorted(set(names) - set(known)):
        raise click.UsageError(f"no study {', '.join(unknown)}; there are {', '.join(known)}")
    faults: list[str] = []
    start = time.monotonic()
    for name in [name for name in known if name in names or not names]:
        begun = time.monotonic()
        try:
            found = _rebuilt(known[name], output / name, is_small=small, is_again=again, is_written=write)
        except (RuntimeError, LookupError) as fault:
            found = [str(fault)]
        click.echo(f"{name}: {time.monotonic() - begun:.0f} s" + "".join(f"\n  {fault}" for fault in found))
        faults += found
    seconds = time.monotonic() - start
    click.echo(f"in all: {seconds:.0f} s")
    if small and seconds > _MOST_SECONDS:
        faults.append(f"more than {_MOST_SECONDS:.0f} s")
        click.echo(f"  {faults[-1]} at reduced size")
    sys.exit(1 if faults else 0)


def _rebuilt(study: Study, folder: Path, *, is_small: bool, is_again: bool, is_written: bool) -> list[str]:
    answers = answers_before(folder) if is_again else answers_of(study, folder, is_small=is_small)
    found = judged(study, folder, answers, is_small=is_small)
    pictures, absent = made_of(study, folder)
    if is_written:
        store_of(study, folder, pictures)
        written_into(study, folder)
    return found + [f"no figure {name} was drawn" for name in absent]


def judged(study: Study, folder: Path, answers: dict[str, Any], *, is_small: bool) -> list[str]:
    """Write answer and page of a study; what of its answer is not as the study says [sentences].

    A study without a page has told its numbers by hand: its commands are run and its figures drawn, no more.
    """
    if not study.has_page:
        return []
    numbers = Answer(dict(named_numbers(study.page_text, study.expected, answers, is_small=is_small)))
    numbers.to_csv(folder / "answer.csv")
    (folder / "README.md").write_text(with_numbers(study.page_text, numbers), encoding="utf-8")
    return missed(study.expected, numbers, is_small=is_small)


if __name__ == "__main__":
    rebuild()
