"""The page: what was asked and what came out, answer first, in one file that asks for nothing from outside."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from optdescent.figures.svg_font import embed_fonts
from optdescent.markup import Markup, escaped
from optdescent.report.asked import CONDITIONS, RULES, asked_html
from optdescent.report.flight_tables import certificate_table
from optdescent.report.given import Given, names_of
from optdescent.report.pictures import Pictures, pictures_of, pictures_section
from optdescent.report.table_html import table_html
from optdescent.report.tables import tables_of
from optdescent.report.template import bullets, document, joined, paragraph, section, tag
from optdescent.report.words import again, answers, cautions, commands, made_with, methods
from optdescent.results import CAUTION, Flight, Kind, Provenance
from optdescent.results.files import replacing, write_text
from optdescent.results.line import one_line
from optdescent.results.tables import Form, Heading, Table, table_text

NO_CERTIFICATE = "No optimum stands among these results, so there is nothing here that a solver could certify."
_CONTENTS = (
    ("answer", "Answer"),
    ("asked", "What was asked"),
    ("figures", "Figures"),
    ("tables", "Tables"),
    ("method", "Method"),
    ("certificate", "Certificate"),
    ("cautions", "Cautions"),
    ("again", "How to reproduce it"),
)


@dataclass(frozen=True)
class Report:
    """A report before it is written: title, sentences that answer, tables, figures, and what it is made from."""

    title: str
    answers: tuple[str, ...]
    tables: tuple[Table, ...]
    pictures: Pictures
    given: tuple[Given, ...]

    @property
    def flights(self) -> tuple[Flight, ...]:
        """The flights among its results."""
        return tuple(one.held for one in self.given if isinstance(one.held, Flight))

    @property
    def certificates(self) -> tuple[Table, ...]:
        """What its optima can show for themselves, where there is one."""
        certified = tuple(flight for flight in self.flights if flight.solver is not None)
        return (certificate_table(certified),) if certified else ()

    @property
    def all_tables(self) -> tuple[Table, ...]:
        """Every table of the page, in its order."""
        return *self.tables, *self.certificates

    @property
    def provenances(self) -> tuple[Provenance, ...]:
        """What was asked: a scenario, study or airframe each, of which the text is known first."""
        known: dict[str, Provenance] = {}
        for one in self.given:
            own = one.provenance
            if own.scenario_digest not in known or not known[own.scenario_digest].scenario_text:
                known[own.scenario_digest] = own
        return tuple(known.values())

    def beside(self, asked: Provenance) -> tuple[tuple[str, str], ...]:
        """What the texts that were read beside one that was asked are, and the texts, each once."""
        same = [own for one in self.given if (own := one.provenance).scenario_digest == asked.scenario_digest]
        found = [(RULES, own.rules) for own in same] + [(CONDITIONS, own.conditions) for own in same]
        return tuple(dict.fromkeys((what, words) for what, words in found if words))


def compose(given: tuple[Given, ...], title: str = "") -> Report:
    """Report of stored results; its title is theirs if none is given."""
    ordered = tuple(sorted(given, key=lambda one: not _is_optimum(one)))
    titles = list(dict.fromkeys(one_line(one.provenance.title) for one in given))
    own = one_line(title) or titles[0] + (f" and {len(titles) - 1} more" if len(titles) > 1 else "")
    return Report(own, tuple(answers(ordered)), tables_of(ordered), pictures_of(ordered), ordered)


def _is_optimum(one: Given) -> bool:
    return isinstance(one.held, Flight) and one.held.kind is Kind.OPTIMUM


def write_page(report: Report, path: Path) -> None:
    """Write the page in one step; the same results give the same bytes.

    Raises
    ------
    InputFault
        The folder cannot be made or the file cannot be written.
    """
    with replacing(path) as temporary:
        temporary.write_text(page_html(report), encoding="utf-8")
        embed_fonts(temporary)


def write_tables(report: Report, folder: Path, form: Form) -> tuple[Path, ...]:
    """Write each table as a file of its own; returns the paths.

    Raises
    ------
    InputFault
        The folder cannot be made or a file cannot be written.
    """
    paths: list[Path] = []
    for table in report.all_tables:
        paths.append(folder / f"{table.name}{form.ending}")
        write_text(paths[-1], table_text(table, form))
    return tuple(paths)


def page_html(report: Report) -> Markup:
    """The whole page as HTML, without the outlines of letters that its figures use [-]."""
    links = [tag("li", {}, tag("a", {"href": f"#{anchor}"}, escaped(words))) for anchor, words in _CONTENTS]
    made = f"{made_with()}; " + ", ".join(f"{own.of} {own.scenario_digest}" for own in report.provenances)
    header = tag(
        "header",
        {},
        tag("h1", {"dir": "auto"}, escaped(report.title)),
        tag("p", {"class": "quiet"}, escaped(made)),
        tag("div", {"class": "caution", "role": "note", "aria-label": "Caution"}, paragraph(CAUTION)),
        tag("nav", {"aria-label": "Contents"}, tag("ol", {}, *links)),
    )
    said = [tag("li", {"dir": "auto"}, escaped(sentence)) for sentence in report.answers]
    tables = [table_html(table) for table in report.tables]
    main = tag(
        "main",
        {"id": "main"},
        section("answer", "Answer", tag("ul", {"class": "answers"}, *said)),
        section("asked", "What was asked", joined(asked_html(own, report.beside(own)) for own in report.provenances)),
        pictures_section(report.pictures),
        section("tables", "Tables", paragraph("Press a heading to sort by it."), joined(tables)),
        section("method", "Method", joined(paragraph(sentence) for sentence in methods(report.given))),
        section("certificate", "Certificate", _certificate(report)),
        section("cautions", "Cautions", bullets(cautions(report.given))),
        section("again", "How to reproduce it", *_again(report)),
    )
    skip = tag("a", {"href": "#main", "class": "skip"}, escaped("Skip to the report"))
    told = tag("div", {"id": "told", "role": "status"})
    return document(report.title, skip, header, main, told)


def _certificate(report: Report) -> Markup:
    if not report.certificates:
        return paragraph(NO_CERTIFICATE)
    told = (
        "What the solver can show for each optimum: it is a local optimum to the tolerances below, and flying it again "
        "with an independent integrator gives the same descent to within the differences below. Nothing here proves "
        "that no better descent of another shape exists; the orders of events that were tried are listed."
    )
    return joined([paragraph(told), *(table_html(table) for table in report.certificates)])


def _again(report: Report) -> tuple[Markup, ...]:
    lines = "\n".join(commands(report.given, report.title))
    heads = (
        Heading("file", "file", is_text=True),
        Heading("what", "what it holds", is_text=True),
        Heading("of", "of", is_text=True),
        Heading("digest", "SHA-256, first twelve digits", is_text=True),
    )
    rows = [
        (name, one.what, f"{one.provenance.of} {one.provenance.scenario_digest}", one.digest)
        for one, name in zip(report.given, names_of(report.given), strict=True)
    ]
    files = Table("files", "Files that this page was made from", heads, tuple(rows))
    return (
        paragraph(again(report.given)),
        tag("pre", {"tabindex": "0"}, tag("code", {}, escaped(lines))),
        table_html(files),
    )
