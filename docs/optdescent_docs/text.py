"""Docutils nodes from sentences, tables of sentences, and sections that other pages can link to."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence

from docutils import nodes

Cell = str | Sequence[nodes.Node]
"""A cell of a table: a sentence, or what stands in it."""
_CODE = re.compile(r"``(.+?)``|`(.+?)`")


def spoken(sentence: str) -> list[nodes.Node]:
    """A sentence in which what stands between backticks is code."""
    found: list[nodes.Node] = []
    end = 0
    for match in _CODE.finditer(sentence):
        found += [nodes.Text(sentence[end : match.start()])] if match.start() > end else []
        found.append(code(match.group(1) or match.group(2)))
        end = match.end()
    return [*found, nodes.Text(sentence[end:])] if end < len(sentence) else found


def code(text: str) -> nodes.literal:
    """A piece of code."""
    return nodes.literal("", text)


def paragraph(sentence: str) -> nodes.paragraph:
    """A paragraph of sentences."""
    return nodes.paragraph("", "", *spoken(sentence))


def block(text: str, language: str) -> nodes.literal_block:
    """A block of code in a language."""
    return nodes.literal_block(text, text, language=language)


def table(header: Sequence[str], rows: Iterable[Sequence[Cell]], widths: Sequence[int]) -> nodes.table:
    """A table of cells under a header; widths are relative [-]."""
    group = nodes.tgroup("", *(nodes.colspec(colwidth=width) for width in widths), cols=len(widths))
    group += nodes.thead("", _row(header))
    group += nodes.tbody("", *(_row(row) for row in rows))
    return nodes.table("", group, classes=["generated", "colwidths-given"])


def _row(cells: Sequence[Cell]) -> nodes.row:
    return nodes.row(
        "", *(nodes.entry("", nodes.paragraph("", "", *(spoken(c) if isinstance(c, str) else c))) for c in cells)
    )


def section(document: nodes.document, label: str, title: Sequence[nodes.Node]) -> nodes.section:
    """A section with a label, to which every page can link by `#label`.

    Raises
    ------
    ValueError
        Another section has the label.
    """
    name = nodes.make_id(label)
    found = nodes.section("", nodes.title("", "", *title), ids=[name], names=[name])
    if name in document.ids:
        raise ValueError(f"two sections are labelled {name}")
    document.note_explicit_target(found, found)
    return found


def wide(table: nodes.table) -> nodes.container:
    """A table that may be wider than the page."""
    return nodes.container("", table, classes=["wide"])
