"""The studies as a page: what each asks, its commands, answer, limits and figure, from the README beside its data."""

from __future__ import annotations

import os
import re
from collections.abc import Iterator
from pathlib import Path

from docutils import nodes
from sphinx.util.docutils import SphinxDirective

from optdescent_docs.text import block, wide
from optdescent_docs.text import section as labelled
from studies.declared import ROOT, Study, all_studies

_QUESTION = re.compile(r"\*\*Question\.\*\* (.*?)\n\n", re.DOTALL)
_ANSWER = re.compile(r"^\*\*Answer\.\*\* .*?(?=^\*\*Where it would not hold\.\*\*)", re.DOTALL | re.MULTILINE)
_LIMITS = re.compile(r"^\*\*Where it would not hold\.\*\* .*?(?=\n\n|\Z)", re.DOTALL | re.MULTILINE)
_LINK = re.compile(r"(?<!!)\[([^\]]*)\]\(([^)\s]*)\)")
_STUDY = re.compile(r"\.\./(\w+)/README\.md")
_FIGURE = re.compile(r"!\[([^\]]*)\]\(([^)]+)\)")


class StudiesDirective(SphinxDirective):
    """Every study: `studies`, a section each, by title."""

    def run(self) -> list[nodes.Node]:
        """Title, question, commands, answer, where it would not hold, figure and where all of it is."""
        return [self._section(study) for study in sorted(all_studies(), key=_title)]

    def _section(self, study: Study) -> nodes.section:
        self.env.note_dependency(study.folder / "README.md")
        section = labelled(self.state.document, _label(study.name), [nodes.Text(_title(study))])
        question = _QUESTION.search(study.readme)
        if question is not None:
            section += self._read(question[1])
        section += block("\n".join(command.typed for command in study.commands), "sh")
        for part in (_ANSWER, _LIMITS):
            found = part.search(study.readme)
            if found is None:
                raise self.error(f"{study.name}: its README has no answer, or does not say where it would not hold")
            section += self._read(found[0])
        section.extend(self._figures(study))
        where = (study.folder / "README.md").relative_to(ROOT).as_posix()
        section += self.parse_text_to_nodes(f"In the project's source: `{where}`.")
        return section

    def _read(self, text: str) -> list[nodes.Node]:
        """Text of a README as nodes: a link to a study leads along the page, others are words; tables may be wide."""
        found = self.parse_text_to_nodes(_LINK.sub(_linked, text))
        return [wide(node) if isinstance(node, nodes.table) else node for node in found]

    def _figures(self, study: Study) -> Iterator[nodes.image]:
        above = Path(self.env.doc2path(self.env.docname)).parent
        for alt, name in _FIGURE.findall(study.readme):
            yield nodes.image("", uri=os.path.relpath(study.folder / name, above), alt=alt)


def _title(study: Study) -> str:
    return study.readme.partition("\n")[0].removeprefix("# ")


def _label(name: str) -> str:
    return f"study-{name.replace('_', '-')}"


def _linked(link: re.Match[str]) -> str:
    study = _STUDY.fullmatch(link[2])
    return link[1] if study is None else f"[{link[1]}](#{_label(study[1])})"
