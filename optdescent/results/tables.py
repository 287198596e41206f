"""One form of a table of results, rounded as the field rounds, and its text as CSV, Markdown and LaTeX (booktabs)."""

from __future__ import annotations

import math
import re
import textwrap
from dataclasses import dataclass, replace
from enum import Enum
from typing import TypeAlias, assert_never

from optdescent.results.files import csv_text
from optdescent.results.line import one_line
from optdescent.results.provenance import CAUTION
from optdescent.results.rounding import PERCENT, as_read
from optdescent.units import UNITS


@dataclass(frozen=True)
class Share:
    """A share and the ends of its interval [-]."""

    value: float
    low: float
    high: float


Value: TypeAlias = str | float | bool | Share | None
"""One cell: words, a number [SI], yes or no, a share [-], or nothing."""


@dataclass(frozen=True)
class Heading:
    """Heading of a column: its key in files, its words, suffix of the unit its numbers are shown in.

    `step` is what they are rounded to [in that unit] where the field's own rounding does not do; `absent` are words for
    what is not a number, where people read it.
    """

    key: str
    words: str
    unit: str = ""
    step: float | None = None
    is_text: bool = False
    absent: str = ""

    @property
    def symbol(self) -> str:
        """Symbol of the unit; empty of a pure number."""
        return "%" if self.unit == PERCENT else UNITS[self.unit].symbol

    @property
    def label(self) -> str:
        """Words and unit."""
        return f"{self.words} [{self.symbol}]" if self.symbol else self.words

    @property
    def file_key(self) -> str:
        """Key with the suffix of its unit."""
        return f"{self.key}_{self.unit}" if self.unit else self.key

    def amount(self, value: Value) -> float | None:
        """Number that a cell is sorted by [unit of the heading]; None of words and of nothing."""
        number = value.value if isinstance(value, Share) else value
        if number is None or isinstance(number, str) or math.isnan(number):
            return None
        return float(number) / (0.01 if self.unit == PERCENT else UNITS[self.unit].factor)

    def shown(self, value: Value) -> str:
        """A cell as it is read, rounded [unit of the heading]; a hyphen stands for the minus sign."""
        match value:
            case None:
                return ""
            case str():
                return one_line(value)
            case bool():
                return "yes" if value else "no"
            case Share(share, low, high):
                ends = f" ({self._rounded(low)} to {self._rounded(high)})" if low == low and high == high else ""
                return f"{self._rounded(share)}{ends}" if share == share else ""
            case _:
                return self._rounded(value) or self.absent

    def _rounded(self, value: float) -> str:
        amount = self.amount(value)
        return "" if amount is None else as_read(amount, self.unit, self.step)


@dataclass(frozen=True)
class Table:
    """A table: its name in files, title, headings and rows of values [SI], a note, and where its results are from."""

    name: str
    title: str
    headings: tuple[Heading, ...]
    rows: tuple[tuple[Value, ...], ...]
    note: str = ""
    source: str = ""


class Form(Enum):
    """How a table is written: as data, into a text, or into a typeset book."""

    CSV = "csv"
    MARKDOWN = "markdown"
    LATEX = "latex"

    @property
    def ending(self) -> str:
        """Ending of the file's name."""
        return {Form.CSV: ".csv", Form.MARKDOWN: ".md", Form.LATEX: ".tex"}[self]


def table_text(table: Table, form: Form) -> str:
    """A table as the text of a file [units in its headings], with where it is from and the caution."""
    match form:
        case Form.CSV:
            return _csv(table)
        case Form.MARKDOWN:
            return _markdown(table)
        case Form.LATEX:
            return _latex(table)
        case _:
            assert_never(form)


def _comments(table: Table) -> tuple[str, ...]:
    told = (table.title, table.source, table.note, CAUTION)
    return tuple(one_line(line) for line in told if line)


def _csv(table: Table) -> str:
    """A share has three columns: value and both ends; numbers are rounded as in the other forms, none is a blank."""
    keys: list[str] = []
    columns: list[list[str]] = []
    for place, heading in enumerate(replace(one, absent="") for one in table.headings):
        values = [row[place] for row in table.rows]
        keys.append(heading.file_key)
        columns.append([heading.shown(one.value if isinstance(one, Share) else one) for one in values])
        if any(isinstance(one, Share) for one in values):
            for end in ("low", "high"):
                ends = [(one.low if end == "low" else one.high) if isinstance(one, Share) else None for one in values]
                keys.append(f"{heading.key}_{end}_{heading.unit}")
                columns.append([heading.shown(one) for one in ends])
    rows = [dict(zip(keys, row, strict=True)) for row in zip(*columns, strict=True)]
    return csv_text(_comments(table), keys, rows)


_MARKDOWN = re.compile(r"([\\`*_\[\]<>|~&$#])")


def markdown_escaped(text: str) -> str:
    """A text that Markdown shows as it is [-], in one line."""
    return _MARKDOWN.sub(r"\\\1", one_line(text))


def _markdown(table: Table) -> str:
    rows = [[markdown_escaped(heading.label) for heading in table.headings]]
    rows.append(["---" if heading.is_text else "---:" for heading in table.headings])
    for row in table.rows:
        shown = [heading.shown(value) for heading, value in zip(table.headings, row, strict=True)]
        rows.append([markdown_escaped(_minus(cell, "−", value)) for cell, value in zip(shown, row, strict=True)])
    lines = ["| " + " | ".join(cells) + " |" for cells in rows]
    title, *rest = (markdown_escaped(line) for line in _comments(table))
    return "\n".join([f"**{title}**", "", *lines, "", *(f"{line}\n" for line in rest)])


_LATEX = {
    "\\": r"\textbackslash{}",
    "{": r"\{",
    "}": r"\}",
    "$": r"\$",
    "&": r"\&",
    "#": r"\#",
    "%": r"\%",
    "_": r"\_",
    "^": r"\textasciicircum{}",
    "~": r"\textasciitilde{}",
    "<": r"\textless{}",
    ">": r"\textgreater{}",
    "|": r"\textbar{}",
    '"': r"\symbol{34}",
    "`": r"\textasciigrave{}",
    "−": "$-$",
    "°": r"\textdegree{}",
    "²": r"\textsuperscript{2}",
    "–": r"\textendash{}",
    "—": r"\textemdash{}",
    "…": r"\textellipsis{}",
    "±": r"\textpm{}",
    "×": r"\texttimes{}",
    "→": r"\textrightarrow{}",
    "≤": r"$\leq$",
    "≥": r"$\geq$",
}


def latex_escaped(text: str) -> str:
    """A text that LaTeX sets as it is [-], in one line; letters of other scripts need a font that has them."""
    escaped = "".join(_LATEX.get(letter, letter) for letter in one_line(text))
    return re.sub(r"-(?=-)", "-{}", escaped)  # two hyphens would be set as a dash


def _latex(table: Table) -> str:
    """As many tables as pages need; one wider than the line is made smaller. LaTeX from 2020 on: its input is UTF-8."""
    shown = [[heading.shown(value) for heading, value in zip(table.headings, row, strict=True)] for row in table.rows]
    longest = [max((len(row[place]) for row in shown), default=0) for place in range(len(table.headings))]
    wraps = [heading.is_text and long > _WIDE for heading, long in zip(table.headings, longest, strict=True)]
    part = round(min(0.3, 0.66 / max(sum(wraps), 1)), 2)
    columns = "".join(
        rf"p{{{part}\linewidth}}" if wrap else "l" if heading.is_text else "r"
        for heading, wrap in zip(table.headings, wraps, strict=True)
    )
    heads = [_stacked(*own) for own in zip(table.headings, longest, wraps, strict=True)]
    wide = sum(part * _LINE if wrap else max(long, 8) + 3 for long, wrap in zip(longest, wraps, strict=True))
    lines = [
        "% Needs the packages booktabs and graphicx; letters of other scripts need LuaLaTeX or XeLaTeX and a font that "
        "has them.",
    ]
    for number, (first, last) in enumerate(_pages(shown, wraps, part)):
        rows = [
            " & ".join(
                _cell(latex_escaped(_minus(text, "−", value)))
                for text, value in zip(shown[at], table.rows[at], strict=True)
            )
            for at in range(first, last)
        ]
        lines += _float(table, number, (columns, heads, rows), is_smaller=wide > _LINE)
    return "\n".join([*lines, ""])


_LINE, _PAGE = 72, 38
"""Letters that fit a line, and lines of a table that fit a page, of an ordinary document."""


def _pages(shown: list[list[str]], wraps: list[bool], part: float) -> list[tuple[int, int]]:
    """First and last row of the tables that rows are split into, so that each fits a page."""
    pages, first, used = list[tuple[int, int]](), 0, 0
    for at, row in enumerate(shown):
        own = max(
            (math.ceil(len(text) / (part * _LINE)) for text, wrap in zip(row, wraps, strict=True) if wrap), default=1
        )
        own = max(own, 1)
        if used + own > _PAGE and at > first:
            pages.append((first, at))
            first, used = at, 0
        used += own
    return [*pages, (first, len(shown))]


def _float(table: Table, number: int, inside: tuple[str, list[str], list[str]], *, is_smaller: bool) -> list[str]:
    """One table: its caption, columns, headings and rows, and where it is from."""
    columns, heads, rows = inside
    label = re.sub(r"[^a-z0-9]+", "-", table.name.lower()).strip("-")
    title, *rest = (latex_escaped(line) for line in _comments(table))
    begin, end = (r"\resizebox{\ifdim\width>\linewidth\linewidth\else\width\fi}{!}{%", "}") if is_smaller else ("", "")
    body = [
        begin,
        rf"\begin{{tabular}}{{{columns}}}",
        r"  \toprule",
        "  " + " & ".join(heads) + r" \\",
        r"  \midrule",
        # A bracket or a star at the begin of a row would be read as an argument of the line before it.
        *(f"  {row} \\\\" for row in rows),
        r"  \bottomrule",
        rf"\end{{tabular}}{end}",
    ]
    return [
        r"\begin{table}",
        r"  \centering",
        rf"  \caption{{{title}{', continued' if number else ''}}}",
        rf"  \label{{tab:{label}{f'-{number + 1}' if number else ''}}}",
        *(f"  {line}" for line in body if line),
        *(rf"  \par\footnotesize {line}" for line in rest),
        r"\end{table}",
    ]


def _stacked(heading: Heading, longest: int, is_wrapped: bool) -> str:
    """A heading in as many lines as keep it nearly as narrow as its column."""
    lines = textwrap.wrap(heading.label, max(longest, 12), break_long_words=False, break_on_hyphens=False)
    if is_wrapped or len(lines) < 2:
        return _cell(latex_escaped(heading.label))
    stacked = r"\\".join(_cell(latex_escaped(line)) for line in lines)
    return rf"\shortstack[{'l' if heading.is_text else 'r'}]{{{stacked}}}"


_WIDE = 34
"""Letters from which on a column of words is set in lines of a paragraph."""


def _cell(text: str) -> str:
    return f"{{}}{text}" if text[:1] in ("[", "*") else text


def _minus(shown: str, sign: str, value: Value) -> str:
    """A number with a sign of its own for minus; words keep their hyphens."""
    return shown if isinstance(value, str) else shown.replace("-", sign)
