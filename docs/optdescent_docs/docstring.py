"""Docstrings of the house as nodes: paragraphs, lists, code, and the sections Parameters, Returns, Raises, Notes."""

from __future__ import annotations

import inspect
import re

from docutils import nodes

from optdescent_docs.text import block, paragraph, spoken

_RULE = re.compile(r"^-{3,}$")
_FIELDS = frozenset({"Parameters", "Returns", "Raises", "Yields", "Attributes"})


def summary(text: str) -> str:
    """First paragraph of a docstring on one line."""
    return " ".join(inspect.cleandoc(text).split("\n\n")[0].split())


def docstring_nodes(text: str) -> list[nodes.Node]:
    """Everything that a docstring says."""
    found: list[nodes.Node] = []
    for title, lines in _sections(inspect.cleandoc(text).splitlines()):
        if title:
            found.append(nodes.rubric("", title))
        found += _fields(lines) if title in _FIELDS else _prose(lines)
    return found


def _sections(lines: list[str]) -> list[tuple[str, list[str]]]:
    """Title and lines of each section; what stands before the first has no title."""
    found: list[tuple[str, list[str]]] = [("", [])]
    for number, line in enumerate(lines):
        following = lines[number + 1] if number + 1 < len(lines) else ""
        if line and not line.startswith(" ") and _RULE.match(following):
            found.append((line, []))
        elif not _RULE.match(line):
            found[-1][1].append(line)
    return [(title, body) for title, body in found if title or any(body)]


def _prose(lines: list[str]) -> list[nodes.Node]:
    """Paragraphs; what is indented is shown as it stands."""
    found: list[nodes.Node] = []
    for part in "\n".join(lines).strip("\n").split("\n\n"):
        if not part.strip():
            continue
        if all(line.startswith("    ") for line in part.splitlines() if line):
            found.append(block(inspect.cleandoc(part), "none"))
        elif part.startswith(">>>"):
            found.append(block(part, "pycon"))
        else:
            found.append(paragraph(" ".join(part.split())))
    return found


def _fields(lines: list[str]) -> list[nodes.Node]:
    """Names with what is said of each, as a list of definitions."""
    items = nodes.definition_list()
    name, said = "", list[str]()
    for line in [*lines, "\0"]:
        if line.startswith(" ") or not line:
            said.append(line.strip())
            continue
        if name:
            text = " ".join(" ".join(said).split())
            body = [paragraph(text)] if text else []
            items += nodes.definition_list_item(
                "", nodes.term("", "", *spoken(_as_code(name))), nodes.definition("", *body)
            )
        name, said = line, []
    return [items] if items.children else []


def _as_code(name: str) -> str:
    """The first word of a field as code, its type as it stands."""
    first, colon, rest = name.partition(" : ")
    return f"`{first}`{colon}{rest}" if re.fullmatch(r"[\w, *]+", first) else name
