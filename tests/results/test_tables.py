"""Tables as text: rounded as the field rounds, and no cell can leave its place in CSV, Markdown or LaTeX."""

from __future__ import annotations

import csv
import re
import shutil
import subprocess
from pathlib import Path

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from optdescent.results import CAUTION
from optdescent.results.line import one_line
from optdescent.results.tables import (
    PERCENT,
    Form,
    Heading,
    Share,
    Table,
    Value,
    latex_escaped,
    markdown_escaped,
    table_text,
)
from optdescent.units import FOOT, KNOT, MINUTE, NAUTICAL_MILE

NAN = float("nan")
NASTY = r"a|b & 100 % of $x_1^2$ {#1} ~\cite{y} <b>*bold*</b> `code` -- [link](u) " + '"quoted"\nnext'


@pytest.mark.parametrize(
    ("unit", "value", "shown"),
    [
        ("kg", 415.49, "415"),
        ("kg", -0.3, "0"),
        ("ft", 1234.0 * FOOT, "1230"),
        ("kt", 249.6 * KNOT, "250"),
        ("nm", 12.36 * NAUTICAL_MILE, "12.4"),
        ("min", 27.04 * MINUTE, "27.0"),
        ("ft_per_min", 1246.0 * FOOT / MINUTE, "1250"),
        (PERCENT, 0.91666, "91.7"),
        (PERCENT, Share(0.9167, 0.742, 0.977), "91.7 (74.2 to 97.7)"),
        (PERCENT, Share(NAN, NAN, NAN), ""),
        (PERCENT, Share(0.5, NAN, NAN), "50.0"),
        ("", 12.0, "12"),
        ("", True, "yes"),
        ("", False, "no"),
        ("kg", NAN, ""),
        ("kg", None, ""),
        ("kg", float("inf"), "infinite"),
    ],
)
def test_numbers_are_rounded_as_the_field_rounds(unit: str, value: Value, shown: str) -> None:
    assert Heading("x", "x", unit).shown(value) == shown


def test_words_for_a_number_that_is_none_are_for_people_and_data_have_a_blank() -> None:
    headings = (Heading("name", "name", is_text=True), Heading("fuel", "fuel", "kg", absent="not stable"))
    told = Table("made-up", "Title", headings, (("one", NAN), ("other", 3.0)))
    assert [row["fuel_kg"] for row in csv.DictReader(table_text(told, Form.CSV).splitlines()[2:])] == ["", "3"]
    assert "| one | not stable |" in table_text(told, Form.MARKDOWN)
    assert "one & not stable" in table_text(told, Form.LATEX)


def table(cell: str) -> Table:
    headings = (Heading("name", "name", is_text=True), Heading("held", "held", PERCENT), Heading("fuel", "fuel", "kg"))
    rows = ((cell, Share(0.5, 0.25, 0.75), -12.4), ("plain", None, 3.0))
    return Table("made-up", f"Title {cell}", headings, rows, note="A note.", source="made up")


@example(NASTY)
@given(st.text(max_size=40))
def test_a_cell_of_csv_is_read_back_and_no_comment_line_ends_early(cell: str) -> None:
    lines = table_text(table(cell), Form.CSV).split("\n")
    comments = [line for line in lines if line.startswith("#")]
    assert comments[1:] == ["# made up", "# A note.", f"# {CAUTION}"]
    first, second = csv.DictReader(lines[len(comments) :])
    assert first["name"] == one_line(cell)
    shares = ("50.0", "25.0", "75.0")
    assert (first["held_percent"], first["held_low_percent"], first["held_high_percent"]) == shares
    assert (first["fuel_kg"], second["fuel_kg"], second["held_percent"]) == ("-12", "3", "")


@example(NASTY)
@given(st.text(max_size=40))
def test_a_row_of_markdown_keeps_its_cells(cell: str) -> None:
    lines = table_text(table(cell), Form.MARKDOWN).split("\n")
    assert lines[3] == "| --- | ---: | ---: |"
    cells = re.split(r"(?<!\\)(?:\\\\)*\|", lines[4])
    assert len(cells) == 5
    assert [own.strip() for own in cells[2:4]] == ["50.0 (25.0 to 75.0)", "−12"]
    escaped = markdown_escaped(cell)
    assert re.sub(r"\\([\\`*_\[\]<>|~&$#])", r"\1", escaped) == one_line(cell)
    assert not re.search(r"(?<!\\)(?:\\\\)*[`*_\[\]<>|~&$#]", escaped)


@example(NASTY)
@given(st.text(max_size=40))
def test_no_letter_of_latex_is_left_to_be_obeyed(cell: str) -> None:
    escaped = latex_escaped(cell)
    left = re.sub(r"\\(?:text[a-z]+\{(?:2)?\}|symbol\{34\}|[{}$&#%_])|\$(?:-|\\[lg]eq)\$|-\{\}(?=-)", "", escaped)
    assert not re.search(r"[\\{}$&#%_^~\n]", left)


def test_latex_is_a_booktabs_table() -> None:
    text = table_text(table("a_b"), Form.LATEX)
    assert r"\caption{Title a\_b}" in text
    assert r"\begin{tabular}{lrr}" in text
    assert r"    name & held [\%] & fuel [kg] \\" in text
    assert r"    a\_b & 50.0 (25.0 to 75.0) & $-$12 \\" in text
    assert text.index(r"\toprule") < text.index(r"\midrule") < text.index(r"\bottomrule")
    assert "approved data" in text
    long = table_text(table("many words " * 8), Form.LATEX)
    assert r"\begin{tabular}{p{0.3\linewidth}rr}" in long


def test_a_bracket_or_a_star_is_no_argument_of_the_row_before() -> None:
    assert "    {}[link] & " in table_text(table("[link]"), Form.LATEX)
    assert "    {}*star & " in table_text(table("*star"), Form.LATEX)


def test_a_wide_heading_is_stacked_a_wide_table_made_smaller_and_a_long_one_split() -> None:
    headings = tuple(Heading(f"q{at}", "a quantity with many words", "kg") for at in range(9))
    wide = table_text(Table("wide", "Wide", headings, (tuple(range(9)),)), Form.LATEX)
    assert r"\resizebox{\ifdim\width>\linewidth" in wide
    assert r"\shortstack[r]{a quantity\\with many\\words [kg]}" in wide
    long = table_text(Table("long", "Long", headings[:1], tuple((float(at),) for at in range(100))), Form.LATEX)
    assert r"\resizebox" not in long
    assert long.count(r"\begin{tabular}") == 3
    assert r"\label{tab:long-3}" in long
    assert all(f"  {at} \\\\\n" in long for at in range(100))


@pytest.mark.skipif(shutil.which("pdflatex") is None, reason="pdflatex is not installed")
def test_latex_sets_what_may_stand_in_a_table(tmp_path: Path) -> None:
    texts = (
        r"50 % of_the $rules$ & #1 {a} \textbf{b} ~ ^ <c> | \"d\" `e` [f] *g*", "Åse Øvrebø, Łódź, Černý, São",
        "±2 ≤ 3 ≥ 1 × 4 → 5 – 6 — 7 … 8° 9² −1 --x", "many words " * 12,
    )  # fmt: skip
    written = "".join(table_text(table(text), Form.LATEX) for text in texts)
    packages = (
        r"\documentclass{article}\usepackage[utf8]{inputenc}\usepackage[T1]{fontenc}\usepackage{booktabs,graphicx}"
    )
    source = tmp_path / "all.tex"
    source.write_text(packages + "\n\\begin{document}\n" + written + "\\end{document}\n", encoding="utf-8")
    command = ["pdflatex", "-interaction=nonstopmode", "-halt-on-error", "-no-shell-escape", source.name]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, errors="replace", check=False)
    assert done.returncode == 0, done.stdout[-2000:]
    assert "Overfull" not in done.stdout
    assert "too large for page" not in done.stdout
