"""Results to files in one folder."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import count
from pathlib import Path
from typing import TYPE_CHECKING

from optdescent.results import Flight
from optdescent.results.files import Fault, InputFault, check_output

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from optdescent.figures import Choice, Page
    from optdescent.results.airframe import AirframeNumbers
    from optdescent.results.kinds import Stored
    from optdescent.results.margins import Margins
    from optdescent.results.over_conditions import OverConditions

__all__ = [
    "check_letters_of",
    "check_output",
    "draw_every",
    "file_name",
    "not_drawn",
    "write_figures",
    "write_figures_of",
    "write_flights",
]


def check_letters_of(*texts: str) -> None:
    """Check, before anything is computed, that figures can write what they will show.

    Raises
    ------
    InputFault
        A text has letters that figures do not have.
    """
    others = [text for text in texts if not text.isascii()]
    if others:
        from optdescent.figures.text import check_letters

        faults: list[Fault] = []
        for text in others:
            try:
                check_letters(text)
            except InputFault as fault:
                faults += fault.faults
        if faults:
            raise InputFault(faults)


def file_name(name: str) -> str:
    """Name of a result as a file name [-]: letters, digits, dashes and underscores."""
    return re.sub(r"[^\w-]+", "-", name).strip("-") or "flight"


def write_flights(flights: Sequence[Flight], folder: Path, taken: Sequence[str] = ()) -> list[Path]:
    """Write each flight as netCDF under its name; returns the paths.

    One whose file name another has, or a result that is `taken` there, gets the first number that is free behind it.
    """
    used, paths = set(taken), list[Path]()
    for flight in flights:
        own = file_name(flight.name)
        numbered = (f"{own}-{number}" for number in count(2))
        name = own if own not in used else next(other for other in numbered if other not in used)
        used.add(name)
        paths.append(folder / f"{name}.nc")
        flight.to_netcdf(paths[-1])
    return paths


def write_figures(flights: Sequence[Flight], folder: Path) -> list[Path]:
    """Draw every figure of the flights as PDF, SVG and PNG; returns the paths."""
    from optdescent.figures import FIGURES, draw, save
    from optdescent.figures.page import Page

    paths: list[Path] = []
    for name in FIGURES:
        paths += save(draw(name, tuple(flights), Page.A4), folder, name)
    return paths


def write_figures_of(found: Margins | OverConditions, folder: Path) -> tuple[list[Path], list[str]]:
    """Draw every figure of margins as PDF, SVG and PNG; returns the paths, and why one is missing.

    The numbers are worked out and stored: a figure less is no reason to fail.
    """
    from optdescent.figures import save

    drawn, refused = draw_every((found,))
    return [path for name, figure in drawn.items() for path in save(figure, folder, name)], not_drawn(refused)


def draw_every(
    results: tuple[Stored | AirframeNumbers, ...], page: Page | None = None, choice: Choice | None = None
) -> tuple[dict[str, Figure], dict[str, InputFault]]:
    """Every figure of results by name, and of those that cannot be drawn why; page and choice as in `draw_stored`.

    Raises
    ------
    InputFault
        The results have no figure together.
    """
    from optdescent.figures import Page, draw_stored, figures_of

    drawn: dict[str, Figure] = {}
    refused: dict[str, InputFault] = {}
    for name in figures_of(results):
        try:
            drawn[name] = draw_stored(name, results, page or Page.A4, choice)
        except InputFault as fault:
            refused[name] = fault
    return drawn, refused


def not_drawn(refused: Mapping[str, InputFault]) -> list[str]:
    """A sentence for each figure that is missing [-]."""
    return [f"figure {name} is not drawn: {fault}" for name, fault in refused.items()]
