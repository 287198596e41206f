"""One form of a table of results, rounded as the field rounds, and its text as CSV, Markdown and LaTeX (booktabs)."""

from __future__ import annotations

import math
import re
import unicodedata
from dataclasses import dataclass
from enum import Enum
from typing import TypeAlias, assert_never

from optdescent.results.files import csv_text
from optdescent.results.provenance import CAUTION
from optdescent.units import UNITS

PERCENT = "percent"
"""Unit of a share; it is kept as a fraction."""
_STEPS = {
    "kg": 1.0,
    "t": 0.1,
    "ft": 10.0,
    "kt": 1.0,
    "nm": 0.1,
    "min": 0.1,
    "s": 1.0,
    "deg": 0.1,
    "ft_per_min": 10.0,
    "kt_per_nm": 0.1,
    "kt_per_1000ft": 0.1,
    PERCENT: 0.1,
    "": 1.0,
}
"""What a number is rounded to, in its own unit [common practice, no source]."""


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

    `step` is what they are rounded to [in that unit] where the field's own rounding does not do.
    """

    key: str
    words: str
    unit: str = ""
    step: float | None = None
    is_text: bool = False

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
                return self._rounded(value)

    def _rounded(self, value: float) -> str:
        amount = self.amount(value)
        if amount is None:
            return ""
        if math.isinf(amount):
            return "infinite" if amount > 0.0 else "-infinite"
        step = _STEPS.get(self.unit, 0.1) if self.step is None else self.step
        digits = max(0, round(-math.log10(step)))
        return f"{round(amount / step) * step + 0.0:.{digits}f}"


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


def one_line(text: str) -> str:
    """A text as one line [-]: white space drawn together, control characters left out."""
    joined = " ".join(text.split())
    return "".join(letter for letter in joined if unicodedata.category(letter) not in ("Cc", "Cs"))


def _comments(table: Table) -> tuple[str, ...]:
    told = (table.title, table.source, table.note, CAUTION)
    return tuple(one_line(line) for line in told if line)


def _csv(table: Table) -> str:
    """A share has three columns: value and both ends; numbers are rounded as in the other forms."""
    keys: list[str] = []
    columns: list[list[str]] = []
    for place, heading in enumerate(table.headings):
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
}


def latex_escaped(text: str) -> str:
    """A text that LaTeX sets as it is [-], in one line; letters of other scripts need a font that has them."""
    escaped = "".join(_LATEX.get(letter, letter) for letter in one_line(text))
    return re.sub(r"-(?=-)", "-{}", escaped)  # two hyphens would be set as a dash


def _latex(table: Table) -> str:
    """Needs the package booktabs, and LaTeX from 2020 on: its input is UTF-8, and the degree sign is its own."""
    label = re.sub(r"[^a-z0-9]+", "-", table.name.lower()).strip("-")
    # A bracket or a star at the begin of a row would be read as an argument of the line before it.
    rows = [
        " & ".join(_cell(latex_escaped(_minus(heading.shown(value), "−", value))) for heading, value in pairs)
        for pairs in (zip(table.headings, row, strict=True) for row in table.rows)
    ]
    title, *rest = (latex_escaped(line) for line in _comments(table))
    lines = [
        r"\begin{table}",
        r"  \centering",
        rf"  \caption{{{title}}}",
        rf"  \label{{tab:{label}}}",
        rf"  \begin{{tabular}}{{{_alignment(table)}}}",
        r"    \toprule",
        "    " + " & ".join(_cell(latex_escaped(heading.label)) for heading in table.headings) + r" \\",
        r"    \midrule",
        *(f"    {row} \\\\" for row in rows),
        r"    \bottomrule",
        r"  \end{tabular}",
        *(rf"  \par\footnotesize {line}" for line in rest),
        r"\end{table}",
        "",
    ]
    return "\n".join(lines)


_WIDE = 34
"""Letters from which on a column of words is set in lines of a paragraph."""


def _alignment(table: Table) -> str:
    told: list[str] = []
    for place, heading in enumerate(table.headings):
        longest = max((len(heading.shown(row[place])) for row in table.rows), default=0)
        words = r"p{0.3\linewidth}" if longest > _WIDE else "l"
        told.append(words if heading.is_text else "r")
    return "".join(told)


def _cell(text: str) -> str:
    return f"{{}}{text}" if text[:1] in ("[", "*") else text


def _minus(shown: str, sign: str, value: Value) -> str:
    """A number with a sign of its own for minus; words keep their hyphens."""
    return shown if isinstance(value, str) else shown.replace("-", sign)
