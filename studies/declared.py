"""What a study declares: its commands, its page, what must hold of its answer, and its reduced size."""

from __future__ import annotations

import re
import shlex
import tomllib
from dataclasses import dataclass, field
from functools import cached_property
from graphlib import TopologicalSorter
from itertools import pairwise
from pathlib import Path
from typing import Any

STUDIES = Path(__file__).resolve().parent
ROOT = STUDIES.parent
_BLOCK = re.compile(r"<!-- command: study -->\n```\w*\n(.*?)```\n<!-- end -->", re.DOTALL)
_INLINE = re.compile(r"\*\*Command\.\*\* `([^`]+)`")
_IMAGE = re.compile(r"!\[[^\]]*\]\(([^)]+)\)")
_FILE = re.compile(r"(?<!!)\[[^\]]*\]\(([^)/#]+)\)")
_OTHER = re.compile(r'"\.\./(\w+)/')
_COMMAND = "optdescent"


@dataclass(frozen=True)
class Command:
    """One line of a study: arguments of `optdescent`, the output they name, what its answer is called in the page."""

    arguments: tuple[str, ...]

    @property
    def typed(self) -> str:
        """The line as a reader would type it."""
        return shlex.join((_COMMAND, *self.arguments))

    @classmethod
    def of(cls, line: str) -> Command:
        """Command of a line as a reader would type it.

        Raises
        ------
        ValueError
            It is no command of this package, or names no output.
        """
        program, *arguments = shlex.split(line)
        if program != _COMMAND or not {"-o", "--output"} & set(arguments):
            raise ValueError(f"not an {_COMMAND} command with -o: {line}")
        return cls(tuple(arguments))

    @property
    def output(self) -> str:
        """The output as typed."""
        return next(word for before, word in pairwise(self.arguments) if before in {"-o", "--output"})

    @property
    def label(self) -> str:
        """Name of the answer: the last part of the output, without suffix."""
        return Path(self.output).stem


@dataclass(frozen=True)
class Expectation:
    """What must hold of an answer, in words: one number above, below or near another, given, or none at all.

    `right` is a path or the number itself; a relation to nothing (`is missing`) has none. `each` is the path of a list
    of whose every entry, `[#]`, it must hold.
    """

    says: str
    left: str
    relation: str
    right: str | float | None = None
    within: float = 0.0
    each: str = ""
    full_size_only: bool = False


@dataclass(frozen=True)
class Small:
    """A study at reduced size: options taken out of commands and arguments added by label, or labels left out.

    `instead` has other files in the place of larger ones, or of results that are not made at this size.
    """

    added: dict[str, tuple[str, ...]]
    without: tuple[str, ...]
    left_out: tuple[str, ...]
    instead: dict[str, str] = field(default_factory=dict[str, str])

    def reduced(self, command: Command) -> tuple[str, ...]:
        """Arguments of a command at this size."""
        own = command.arguments
        kept = (word for before, word in pairwise(("", *own)) if not {before, word} & {*self.without})
        return (*(self.instead.get(word, word) for word in kept), *self.added.get(command.label, ()))


@dataclass(frozen=True)
class Study:
    """One folder of data."""

    folder: Path

    @property
    def name(self) -> str:
        """Name of the study."""
        return self.folder.name

    @cached_property
    def readme(self) -> str:
        """Text of the README as it stands."""
        return (self.folder / "README.md").read_text(encoding="utf-8")

    @cached_property
    def page_text(self) -> str:
        """Text of the page before its numbers are filled in; of a study without one, its README."""
        page = self.folder / "page.md"
        return page.read_text(encoding="utf-8") if page.exists() else self.readme

    @property
    def has_page(self) -> bool:
        """Whether the README is made from a page and an answer."""
        return (self.folder / "page.md").exists()

    @cached_property
    def commands(self) -> tuple[Command, ...]:
        """The commands of the README, or of the page that it is made from, in order.

        Raises
        ------
        ValueError
            There is none.
        """
        blocks: list[str] = _BLOCK.findall(self.page_text) or _INLINE.findall(self.page_text)
        lines = [line for block in blocks for line in block.replace("\\\n", " ").splitlines() if line.strip()]
        if not lines:
            raise ValueError(f"{self.name}: no command in its README")
        return tuple(Command.of(line) for line in lines)

    @property
    def images(self) -> tuple[str, ...]:
        """Figures that the README shows."""
        return tuple(_IMAGE.findall(self.page_text))

    @property
    def files(self) -> tuple[str, ...]:
        """Files beside the README that it leads to."""
        return tuple(dict.fromkeys(_FILE.findall(self.page_text)))

    @cached_property
    def expected(self) -> tuple[Expectation, ...]:
        """What must hold of the answer."""
        file = self.folder / "expected.toml"
        rows = _read(file)["expect"] if file.exists() else []
        return tuple(Expectation(**row) for row in rows)

    @cached_property
    def small(self) -> Small:
        """How it is reduced.

        Raises
        ------
        KeyError
            The file of reduced sizes does not know the study.
        """
        rows = dict(_read(STUDIES / "small.toml")[self.name])
        left_out, without = (tuple(rows.pop(key, ())) for key in ("leave_out", "without"))
        instead = dict(rows.pop("instead", {}))
        return Small({label: tuple(words) for label, words in rows.items()}, without, left_out, instead)

    @property
    def built_on(self) -> set[str]:
        """Names of the studies whose files its own name."""
        texts = (path.read_text(encoding="utf-8") for path in sorted(self.folder.glob("*.toml")))
        return {name for text in texts for name in _OTHER.findall(text)}


def all_studies() -> tuple[Study, ...]:
    """Every study, by name, each after those that it is built on."""
    found = {path.parent.name: Study(path.parent) for path in sorted(STUDIES.glob("*/README.md"))}
    order = TopologicalSorter({name: sorted(study.built_on) for name, study in found.items()}).static_order()
    return tuple(found[name] for name in order)


def _read(path: Path) -> dict[str, Any]:
    return tomllib.loads(path.read_text(encoding="utf-8"))
