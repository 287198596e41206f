"""Pages of fixed physical size: what is written around a chart, where its panels go, and how it is saved."""

from __future__ import annotations

import gc
from collections.abc import Generator
from contextlib import contextmanager
from dataclasses import dataclass
from enum import Enum
from pathlib import Path
from typing import Any

from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from optdescent.figures.pen import heading, panel, ticks
from optdescent.figures.style import INK, QUIET, styled
from optdescent.figures.svg_font import embed_fonts
from optdescent.figures.text import LINE, wrapped
from optdescent.results import CAUTION, Flight, Provenance
from optdescent.results.files import Fault, InputFault, replacing

MM_PER_INCH = 25.4
PT_PER_MM = 72.0 / MM_PER_INCH
DOTS_PER_INCH = 300
PNG_EFFORT = 3
"""How hard a PNG is packed, 1 to 9 [-]: the usual 6 takes half as long again for a tenth of the size."""
EDGE = 2.0
"""White edge of every page [mm]."""


@dataclass(frozen=True)
class PageSize:
    """Size of a figure on paper [mm], and its font sizes for text, and for notes and ticks [pt]."""

    name: str
    width: float
    height: float
    text: float
    small: float


class Page(Enum):
    """Where a figure is to be placed; the size is that of the placed figure, margins of the sheet left out."""

    A4 = PageSize("a4", 170.0, 150.0, 7.5, 6.0)
    A5 = PageSize("a5", 128.0, 135.0, 6.5, 5.5)
    LETTER = PageSize("letter", 165.1, 146.05, 7.5, 6.0)
    COLUMN = PageSize("column", 84.0, 190.0, 6.5, 5.5)
    SLIDE = PageSize("slide", 254.0, 142.875, 9.0, 7.5)

    @property
    def is_narrow(self) -> bool:
        """Whether panels stand one above the other only."""
        return self.value.width < 110.0

    @property
    def stroke(self) -> float:
        """Factor [-] on line widths."""
        return max(1.0, self.value.text / 7.5)


class Format(Enum):
    """File formats of a figure."""

    PDF = "pdf"
    SVG = "svg"
    PNG = "png"


def page_named(name: str) -> Page:
    """Page of a name.

    Raises
    ------
    InputFault
        No page has the name.
    """
    for page in Page:
        if page.value.name == name:
            return page
    raise InputFault([Fault("page", "", repr(name), ", ".join(page.value.name for page in Page))])


@dataclass(frozen=True)
class Sheet:
    """A figure with its title and lines of text, and the room that is left for panels [mm from the lower left]."""

    figure: Figure
    page: Page
    left: float
    bottom: float
    right: float
    top: float

    def panel(self, left: float, bottom: float, width: float, height: float) -> Axes:
        """Axes at a place of the page [mm]."""
        size = self.page.value
        place = (left / size.width, bottom / size.height, width / size.width, height / size.height)
        axes = panel(self.figure, place)
        ticks(axes, size=size.small)
        return axes

    def write(self, text: str, x: float, y: float, *, anchor: str, angle: float = 0.0) -> None:
        """Write a line with its foot at a place [mm]; `anchor` is left or center, `angle` is 0 or 90 [deg]."""
        size = self.page.value
        foot = 0.24 * size.text / PT_PER_MM
        across, up = (x - foot, y) if angle else (x, y + foot)
        place = (across / size.width, up / size.height)
        heading(self.figure, *place, text, size.text, INK, anchor=anchor, angle=angle)


def sheet(page: Page, flights: tuple[Flight, ...], subject: str, note: str) -> Sheet:
    """Page of flights with a title, a note, where the results are from, and the caution."""
    return sheet_of(page, tuple(flight.provenance for flight in flights), subject, note)


def sheet_of(page: Page, provenances: tuple[Provenance, ...], subject: str, note: str) -> Sheet:
    """Page of results with a title, a note, where they are from, and the caution."""
    size = page.value
    figure = Figure(figsize=(size.width / MM_PER_INCH, size.height / MM_PER_INCH), dpi=DOTS_PER_INCH)
    FigureCanvasAgg(figure)
    title = provenances[0].title
    figure.set_label(f"{subject}: {title}")
    room = (size.width - 2.0 * EDGE) * PT_PER_MM
    top = size.height - EDGE
    for text, points, weight in ((subject, size.text + 1.5, "bold"), (title, size.text, "normal")):
        for line in wrapped(text, points, room, bold=weight == "bold"):
            top -= LINE * points / PT_PER_MM
            _line(figure, size, line, top, points, INK, weight)
    sources = "; ".join(dict.fromkeys(provenance.line for provenance in provenances))
    below = [
        (wrapped(text, size.small, room), colour) for text, colour in ((note, INK), (sources, QUIET), (CAUTION, INK))
    ]
    step = LINE * size.small / PT_PER_MM
    bottom = EDGE + step * sum(len(lines) + 0.2 for lines, _ in below)
    level = bottom
    for lines, colour in below:
        for line in lines:
            level -= step
            _line(figure, size, line, level, size.small, colour, "normal")
        level -= 0.2 * step
    return Sheet(figure, page, EDGE, bottom + 1.0, size.width - EDGE, top - 1.0)


def _line(figure: Figure, size: PageSize, text: str, y: float, points: float, colour: str, weight: str) -> None:
    """Line of text from the left edge, its foot at a level [mm]."""
    foot = (y + 0.24 * points / PT_PER_MM) / size.height
    heading(figure, EDGE / size.width, foot, text, points, colour, weight=weight)


def save(figure: Figure, folder: Path, name: str, formats: tuple[Format, ...] = tuple(Format)) -> tuple[Path, ...]:
    """Write a figure as `folder/name.FORMAT`, each file in one step; the same figure gives the same bytes.

    Raises
    ------
    InputFault
        The folder cannot be made or a file cannot be written.
    """
    return tuple(_save(figure, Path(folder) / f"{name}.{kind.value}", kind) for kind in formats)


def _save(figure: Figure, path: Path, kind: Format) -> Path:
    title = figure.get_label()
    match kind:
        case Format.PDF:
            metadata = {"Title": title, "Creator": "optdescent", "CreationDate": None}
        case Format.SVG:
            metadata = {"Title": title, "Creator": "optdescent", "Date": None}
        case Format.PNG:
            metadata = {"Title": title}
    own: dict[str, Any] = {"pil_kwargs": {"compress_level": PNG_EFFORT}} if kind is Format.PNG else {}
    with styled(), _uncollected(), replacing(path) as temporary:
        drawing: Any = figure
        drawing.savefig(temporary, format=kind.value, dpi=DOTS_PER_INCH, metadata=metadata, **own)
        if kind is Format.SVG:
            embed_fonts(temporary)
    return path


@contextmanager
def _uncollected() -> Generator[None]:
    """No search for unreachable objects inside the block.

    The tables of a font are a hundred thousand objects that live for one file: searches among them find nothing and
    take a tenth of the time.
    """
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if was_on:
            gc.enable()
