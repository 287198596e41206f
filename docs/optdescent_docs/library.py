"""The library of rules as a page: each rule in words, worked out and drawn while the documentation is built."""

from __future__ import annotations

import os
import re
from pathlib import Path

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

from optdescent.figures import Format, save
from optdescent.figures.rule_sheet import rule_sheet as draw
from optdescent.results.rule_sheet import RuleSheet, rule_sheet_page
from optdescent.rules import read_rules
from optdescent.rules.sheet import rule_sheet
from optdescent_docs.text import section, wide

_TITLE = re.compile(r"\A# .*\n+")
_HEADING = re.compile(r"^## (.*)$", re.MULTILINE)
_IMAGE = re.compile(r"^!\[([^\]]*)\]\([^)]*\)$", re.MULTILINE)


class LibraryDirective(SphinxDirective):
    """Every rule of the library: `library`, a section each, in the order of its file."""

    def run(self) -> list[nodes.Node]:
        """Page and figure of each rule, as `optdescent rules library` writes them."""
        return [self._section(rule_sheet(rule)) for rule in read_rules("library")]

    def _section(self, sheet: RuleSheet) -> nodes.section:
        found = section(self.state.document, f"rule-{sheet.name}", [nodes.Text(sheet.title)])
        page = rule_sheet_page(sheet, "figure")
        before, alt, after = _IMAGE.split(_HEADING.sub(r"**\1**", _TITLE.sub("", page)))
        found += self._read(before)
        found += nodes.image("", uri=self._drawn(sheet), alt=f"{alt}: {sheet.title}")
        found += self._read(after)
        return found

    def _read(self, text: str) -> list[nodes.Node]:
        return [wide(node) if isinstance(node, nodes.table) else node for node in self.parse_text_to_nodes(text)]

    def _drawn(self, sheet: RuleSheet) -> str:
        """Where the figure of a rule is, from the page."""
        folder = Path(self.env.app.doctreedir) / "library"
        folder.mkdir(parents=True, exist_ok=True)
        (path,) = save(draw(sheet), folder, sheet.name, (Format.SVG,))
        return Path(os.path.relpath(path, Path(self.env.doc2path(self.env.docname)).parent)).as_posix()
