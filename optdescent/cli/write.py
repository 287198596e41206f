"""Results to files in one folder."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from optdescent.results import Flight
from optdescent.results.files import Fault, InputFault, check_output

if TYPE_CHECKING:
    from optdescent.results.over_conditions import OverConditions

__all__ = ["check_letters_of", "check_output", "file_name", "write_figures", "write_figures_over", "write_flights"]


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


def write_flights(flights: Sequence[Flight], folder: Path) -> list[Path]:
    """Write each flight as netCDF; returns the paths."""
    paths = [folder / f"{file_name(flight.name)}.nc" for flight in flights]
    for flight, path in zip(flights, paths, strict=True):
        flight.to_netcdf(path)
    return paths


def write_figures(flights: Sequence[Flight], folder: Path) -> list[Path]:
    """Draw every figure of the flights as PDF, SVG and PNG; returns the paths."""
    from optdescent.figures import FIGURES, draw, save
    from optdescent.figures.page import Page

    paths: list[Path] = []
    for name in FIGURES:
        paths += save(draw(name, tuple(flights), Page.A4), folder, name)
    return paths


def write_figures_over(found: OverConditions, folder: Path) -> tuple[list[Path], list[str]]:
    """Draw every figure of margins over conditions as PDF, SVG and PNG; returns the paths, and why one is missing."""
    from optdescent.figures import draw_stored, figures_of, save

    paths: list[Path] = []
    missing: list[str] = []
    for name in figures_of((found,)):
        try:
            figure = draw_stored(name, (found,))
        except InputFault as fault:  # the numbers are worked out and stored: a figure less is no reason to fail
            missing.append(f"figure {name} is not drawn: {fault}")
            continue
        paths += save(figure, folder, name)
    return paths, missing
