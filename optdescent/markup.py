"""HTML that notebooks show: a card with a title, tables and sentences, and the caution. Every text is escaped."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from html import escape

from optdescent.caution import CAUTION

_CELL = "text-align:left;vertical-align:top;padding:0.1em 1em 0.1em 0"
_NUMBER = "text-align:right;padding:0.1em 0 0.1em 1.5em"


def _shown(text: str) -> str:
    """A text between two tags; quotes need no care there."""
    return escape(text, quote=False)


@dataclass(frozen=True)
class Html:
    """A piece of HTML that is whole and safe to show: made by the functions of this module, or by a library."""

    source: str


def pairs(rows: Iterable[tuple[str, str]]) -> Html:
    """A table of names and what each is; pairs without a value are left out."""
    shown = "".join(
        f'<tr><th style="{_CELL};font-weight:normal;opacity:0.75">{_shown(name)}</th>'
        f'<td style="{_CELL}">{_shown(value)}</td></tr>'
        for name, value in rows
        if value
    )
    return Html(f"<table><tbody>{shown}</tbody></table>")


def table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> Html:
    """A table under a header; the first column is text, the others are read as numbers."""
    body = "".join(_row("td", row) for row in rows)
    return Html(f"<table><thead>{_row('th', header)}</thead><tbody>{body}</tbody></table>")


def _row(tag: str, cells: Sequence[str]) -> str:
    styles = [_CELL, *[_NUMBER] * (len(cells) - 1)]
    inside = (f'<{tag} style="{style}">{_shown(cell)}</{tag}>' for style, cell in zip(styles, cells, strict=True))
    return f"<tr>{''.join(inside)}</tr>"


def sentences(texts: Iterable[str]) -> Html:
    """Sentences in their order, as a list; nothing if there is none."""
    shown = "".join(f"<li>{_shown(text)}</li>" for text in texts)
    return Html(f"<ul>{shown}</ul>" if shown else "")


def preformatted(text: str) -> Html:
    """A text as it stands, line by line."""
    return Html(f"<pre>{_shown(text)}</pre>")


def folded(title: str, inside: Html) -> Html:
    """Something under a title that a reader opens."""
    return Html(f"<details><summary>{_shown(title)}</summary>{inside.source}</details>")


def card(title: str, parts: Iterable[Html], source: str = "") -> str:
    """A title, parts one under the other, where it is from, and the caution."""
    line = f"<small>{_shown(source)}</small><br>" if source else ""
    inside = "".join(part.source for part in parts)
    return f"<div><p><strong>{_shown(title)}</strong></p>{inside}<p>{line}<small>{_shown(CAUTION)}</small></p></div>"
