"""Text as HTML, and what notebooks show: a card with a title, tables and sentences, and the caution."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from html import escape
from typing import NewType

from optdescent.caution import CAUTION

_CELL = "text-align:left;vertical-align:top;padding:0.1em 1em 0.1em 0"
_NUMBER = "text-align:right;padding:0.1em 0 0.1em 1.5em"


Markup = NewType("Markup", str)
"""Text that is HTML already: made by the functions of this module and of the report's template, or by a library."""
_NOT_ALLOWED = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufdd0-\ufdef\ufffe\uffff]")
"""Characters that a page may not hold, by the HTML standard (WHATWG), section 13.2.3.5."""


def escaped(words: str) -> Markup:
    """Words as HTML [-], between tags or in an attribute in double quotes: markup in them is shown, not obeyed."""
    return Markup(escape(_NOT_ALLOWED.sub("\ufffd", words), quote=False).replace('"', "&quot;"))


def pairs(rows: Iterable[tuple[str, str]]) -> Markup:
    """A table of names and what each is; pairs without a value are left out."""
    shown = "".join(
        f'<tr><th style="{_CELL};font-weight:normal;opacity:0.75">{escaped(name)}</th>'
        f'<td style="{_CELL}">{escaped(value)}</td></tr>'
        for name, value in rows
        if value
    )
    return Markup(f"<table><tbody>{shown}</tbody></table>")


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> Markup:
    """A table under a header; the first column is text, the others are read as numbers."""
    body = "".join(_row("td", row) for row in rows)
    return Markup(f"<table><thead>{_row('th', header)}</thead><tbody>{body}</tbody></table>")


def _row(tag: str, cells: Sequence[str]) -> str:
    styles = [_CELL, *[_NUMBER] * (len(cells) - 1)]
    inside = (f'<{tag} style="{style}">{escaped(cell)}</{tag}>' for style, cell in zip(styles, cells, strict=True))
    return f"<tr>{''.join(inside)}</tr>"


def sentences(texts: Iterable[str]) -> Markup:
    """Sentences in their order, as a list; nothing if there is none."""
    shown = "".join(f"<li>{escaped(text)}</li>" for text in texts)
    return Markup(f"<ul>{shown}</ul>" if shown else "")


def preformatted(text: str) -> Markup:
    """A text as it stands, line by line."""
    return Markup(f"<pre>{escaped(text)}</pre>")


def folded(title: str, inside: Markup) -> Markup:
    """Something under a title that a reader opens."""
    return Markup(f"<details><summary>{escaped(title)}</summary>{inside}</details>")


def card(title: str, parts: Iterable[Markup], source: str = "") -> str:
    """A title, parts one under the other, where it is from, and the caution."""
    line = f"<small>{escaped(source)}</small><br>" if source else ""
    inside = "".join(parts)
    return f"<div><p><strong>{escaped(title)}</strong></p>{inside}<p>{line}<small>{escaped(CAUTION)}</small></p></div>"
