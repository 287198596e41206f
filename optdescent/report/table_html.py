"""A table as HTML."""

from __future__ import annotations

from collections.abc import Iterator

from optdescent.markup import Markup, escaped
from optdescent.report.template import NOTHING, joined, sliding, tag
from optdescent.results.tables import Heading, Table, Value


def table_html(table: Table) -> Markup:
    """A table that sorts, in a box that scrolls by itself; under it its note."""
    heads = [tag("th", {"scope": "col", "class": _kind(one)}, escaped(one.label)) for one in table.headings]
    rows = [tag("tr", {}, *_cells(table, row)) for row in table.rows]
    whole = tag(
        "table",
        {"class": "sortable"},
        tag("caption", {"dir": "auto"}, escaped(table.title)),
        tag("thead", {}, tag("tr", {}, *heads)),
        tag("tbody", {}, joined(rows)),
    )
    note = tag("p", {"class": "quiet", "dir": "auto"}, escaped(table.note)) if table.note else NOTHING
    return tag("div", {"class": "tabled"}, sliding(table.title, whole), note)


def _cells(table: Table, row: tuple[Value, ...]) -> Iterator[Markup]:
    for place, (heading, value) in enumerate(zip(table.headings, row, strict=True)):
        attributes = {"class": _kind(heading), "dir": "auto"} if heading.is_text else {"class": _kind(heading)}
        amount = heading.amount(value)
        if amount is not None:
            attributes["data-value"] = f"{amount:.10g}"
        shown = heading.shown(value)
        words = escaped(shown if isinstance(value, str) else shown.replace("-", "−"))
        yield tag("th", {"scope": "row", **attributes}, words) if place == 0 else tag("td", attributes, words)


def _kind(heading: Heading) -> str:
    return "words" if heading.is_text else "number"
