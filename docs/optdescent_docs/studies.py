"""The studies as a page: what each asks, its commands and its figure, from the README beside its data."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

from optdescent_docs.text import block
from studies.declared import ROOT, Study, all_studies

_QUESTION = re.compile(r"\*\*Question\.\*\* (.*?)\n\n", re.DOTALL)
_LINK = re.compile(r"\[([^\]]*)\]\([^)]*\)")
_FIGURE = re.compile(r"!\[([^\]]*)\]\(([^)]+)\)")


class StudiesDirective(SphinxDirective):
    """Every study: `studies`, a section each, by title."""

    def run(self) -> list[nodes.Node]:
        """Title, question, commands, figure and where the answer is."""
        return [self._section(study) for study in sorted(all_studies(), key=_title)]

    def _section(self, study: Study) -> nodes.section:
        self.env.note_dependency(study.folder / "README.md")
        section = nodes.section("", nodes.title("", _title(study)), ids=[f"study-{study.name.replace('_', '-')}"])
        question = _QUESTION.search(study.readme)
        if question is not None:
            section += self.parse_text_to_nodes(_LINK.sub(r"\1", question[1]))
        section += block("\n".join(command.typed for command in study.commands), "sh")
        section.extend(self._figures(study))
        where = (study.folder / "README.md").relative_to(ROOT).as_posix()
        section += self.parse_text_to_nodes(f"The answer, and where it would not hold: `{where}`.")
        return section

    def _figures(self, study: Study) -> Iterator[nodes.image]:
        above = Path(self.env.doc2path(self.env.docname)).parent
        for alt, name in _FIGURE.findall(study.readme):
            yield nodes.image("", uri=os.path.relpath(study.folder / name, above), alt=alt)


def _title(study: Study) -> str:
    return study.readme.partition("\n")[0].removeprefix("# ")
