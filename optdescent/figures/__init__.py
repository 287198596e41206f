"""Figures for a manual: one file each, drawn from stored results alone."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType

from matplotlib.figure import Figure

from optdescent.figures.energy import energy
from optdescent.figures.height import height
from optdescent.figures.idle import idle
from optdescent.figures.of_stored import Choice, draw_stored, figures_of
from optdescent.figures.operating_speeds import operating_speeds
from optdescent.figures.page import Format, Page, page_named, save
from optdescent.figures.polar import polar
from optdescent.figures.speed import speed
from optdescent.results import Flight
from optdescent.results.airframe import AirframeNumbers
from optdescent.results.files import Fault, InputFault

__all__ = [
    "AIRFRAME_FIGURES",
    "FIGURES",
    "Choice",
    "Format",
    "Page",
    "draw",
    "draw_airframe",
    "draw_stored",
    "figures_of",
    "page_named",
    "save",
]

FIGURES: Mapping[str, Callable[[tuple[Flight, ...], Page], Figure]] = MappingProxyType(
    {"height": height, "speed": speed, "energy": energy}
)
"""Every figure of flights by name: flights (the optimum first) and a page give a figure."""

AIRFRAME_FIGURES: Mapping[str, Callable[[AirframeNumbers, Page], Figure]] = MappingProxyType(
    {"polar": polar, "idle": idle, "operating-speeds": operating_speeds}
)
"""Every figure of an airframe by name: its numbers and a page give a figure."""


def draw_airframe(name: str, numbers: AirframeNumbers, page: Page = Page.A4) -> Figure:
    """Figure of a name, of the numbers of an airframe.

    Raises
    ------
    InputFault
        No figure has the name, or it cannot draw on this page.
    """
    if name not in AIRFRAME_FIGURES:
        raise InputFault([Fault("figure", "", repr(name), ", ".join(AIRFRAME_FIGURES))])
    return AIRFRAME_FIGURES[name](numbers, page)


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
