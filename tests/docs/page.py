"""Pages of the documentation as a test reads them: files to be saved, commands and code to be run, what they print."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
DOCS = ROOT / "docs"
PAGES = sorted(path for path in DOCS.rglob("*.md"))
_FENCE = re.compile(
    r"(?:^% (?P<mark>\w+): (?P<marked>[^\n]+)\n)?^```(?:\{code-block\} |\{)?(?P<language>[\w-]+)(?:\} [\w-]+)?\n"
    r"(?::caption: (?P<caption>\S+)\n\n)?(?::alt: [^\n]+\n\n)?(?P<text>.*?)^```$",
    re.MULTILINE | re.DOTALL,
)
_DIGEST = re.compile(r"\b[0-9a-f]{12}\b")
_NUMBER = re.compile(r"[-+]?\d+(?:\.\d+)?")
_SLACK = 0.02
"""Part by which a number printed may differ from the one on the page [-]; small numbers by half a unit."""


@dataclass(frozen=True)
class Block:
    """One fenced block of a page: its language, text, the name to save it under, and how it is to be run.

    ``mark`` is `fails` (with an exit status), `reduced` (with arguments to add) or `elsewhere` (with the test that runs
    it); empty for a block that is run as it stands.
    """

    language: str
    text: str
    caption: str
    mark: str
    marked: str

    @property
    def commands(self) -> list[str]:
        """Lines after a prompt."""
        return [line.removeprefix("$ ") for line in self.text.splitlines() if line.startswith("$ ")]

    @property
    def printed(self) -> str:
        """Lines that the commands print, by the page."""
        return "\n".join(line for line in self.text.splitlines() if not line.startswith("$ "))


def blocks(page: Path) -> Iterator[Block]:
    """Fenced blocks of a page in their order."""
    for found in _FENCE.finditer(page.read_text(encoding="utf-8")):
        parts = {name: value or "" for name, value in found.groupdict().items()}
        yield Block(parts["language"], parts["text"], parts["caption"], parts["mark"], parts["marked"])


def differs(wanted: str, printed: str) -> str:
    """First line of a page's output that was not printed in its turn; empty if every one was.

    A page may leave lines out. Dots at the end of a line stand for anything. Numbers may differ by a small part, the
    rest of a line only in its spaces; fingerprints are left out.
    """
    lines = iter(_DIGEST.sub("", printed).splitlines())
    for wanted_line in (line.strip() for line in _DIGEST.sub("", wanted).splitlines()):
        if wanted_line and not any(_alike(wanted_line, line) for line in lines):
            return wanted_line
    return ""


def _alike(wanted: str, line: str) -> bool:
    if wanted.endswith("..."):
        wanted = wanted.removesuffix("...").rstrip()
        words = len(_NUMBER.sub("0", wanted).split())
        line = " ".join(line.split()[:words])
    if _words(wanted) != _words(line):
        return False
    pairs = zip(_NUMBER.findall(wanted), _NUMBER.findall(line), strict=True)
    return all(abs(float(a) - float(b)) <= max(_SLACK * abs(float(a)), 0.5) for a, b in pairs)


def _words(line: str) -> list[str]:
    return _NUMBER.sub("0", line).split()
