"""Figures for a manual: one file each, drawn from stored results alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from matplotlib.figure import Figure

from optdescent.figures.energy import energy
from optdescent.figures.height import height
from optdescent.figures.page import Format, Page, page_named, save
from optdescent.figures.speed import speed
from optdescent.results import Flight
from optdescent.results.files import Fault, InputFault

__all__ = ["FIGURES", "Format", "Page", "draw", "page_named", "save"]

FIGURES: Mapping[str, Callable[[tuple[Flight, ...], Page], Figure]] = MappingProxyType(
    {"height": height, "speed": speed, "energy": energy}
)
"""Every figure of flights by name: flights (the optimum first) and a page give a figure."""


def draw(name: str, flights: tuple[Flight, ...], page: Page = Page.A4) -> Figure:
    """Figure of a name, of flights with the optimum first.

    Raises
    ------
    InputFault
        No figure has the name, or it cannot draw these flights on this page.
    """
    if name not in FIGURES:
        raise InputFault([Fault("figure", "", repr(name), ", ".join(FIGURES))])
    return FIGURES[name](flights, page)
