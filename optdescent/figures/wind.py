"""Wind sensitivity: what a knot of tailwind in each band of height does to top of descent and fuel of an optimum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.grid import Cell, grid
from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet
from optdescent.figures.panel import charted
from optdescent.figures.pen import Array, band, letters, line
from optdescent.figures.style import INK, OTHER_STYLES, QUIET, SeriesStyle, styled
from optdescent.figures.text import width
from optdescent.results import Flight
from optdescent.results.files import Fault, InputFault
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

NOTE = (
    "What one knot more of tailwind between two heights above mean sea level does to the optimum, all else equal: "
    "derivatives of the solved optimum, so for small changes. Top of descent: where thrust goes to idle; right is "
    "farther out. Fuel: from the start to the threshold; left is less."
)
_SHADE = "#b9c7d8"
_STYLES = (SeriesStyle(INK, 1.6, (), ""), *OTHER_STYLES)
_ROOM, _LITTLE = 0.34, 0.06
"""Part of the width of what is shown that is left free on a side with numbers, and on one without."""


@dataclass(frozen=True)
class _Bands:
    """Name of a flight; edges of its bands (band + 1,) [ft]; per knot the top of descent [nm] and fuel [kg] (band,)."""

    name: str
    edges: Array
    places: Array
    fuels: Array


def wind(flights: tuple[Flight, ...], page: Page = Page.A4) -> Figure:
    """Top of descent [nm/kt] and fuel [kg/kt] by height of the wind [ft], of one optimum or of several.

    Raises
    ------
    InputFault
        A flight is no optimum that knows its sensitivities, more flights than can be told apart, or a page too small.
    """
    found = _bands(flights)
    top = max(float(own.edges[-1]) for own in found)
    with styled():
        frame = sheet(page, flights, "Wind sensitivity of the optimal descent", NOTE)
        up = "Height of the wind [ft]"
        ends = _ends([own.places for own in found]), _ends([own.fuels for own in found])
        sums = found[0].places.sum(), found[0].fuels.sum()
        heads = [_heading("Top of descent", sums[0], "nm", len(found)), _heading("Fuel", sums[1], "kg", len(found))]
        labels = ("Top of descent, farther out [nm/kt]", "Fuel, more [kg/kt]")
        is_first = (True, page.is_narrow)
        cells = tuple(
            Cell(head, label, up if has_label else "", *own, 0.0, top)
            for head, label, own, has_label in zip(heads, labels, ends, is_first, strict=True)
        )
        panels = grid(frame, cells, 1 if page.is_narrow else 2, "00\u202f000")
        for axes, values in zip(panels, ([own.places for own in found], [own.fuels for own in found]), strict=True):
            _panel(axes, found, values, page)
        return frame.figure


def has_bands(flight: Flight) -> bool:
    """Whether a flight knows what wind by height does to it [-]."""
    return flight.solver is not None and any(one.heights is not None for one in flight.solver.sensitivity)


def _bands(flights: tuple[Flight, ...]) -> list[_Bands]:
    faults = [
        Fault(f"flight {flight.name}", "sensitivity", "is not known", "an optimum with its sensitivities to wind")
        for flight in flights
        if not has_bands(flight)
    ]
    if not flights or len(flights) > len(_STYLES):
        faults.append(Fault("figure wind", "", f"{len(flights)} flights", f"one to {len(_STYLES)}"))
    if faults:
        raise InputFault(faults)
    names = [flight.name for flight in flights]
    are_alike = len(set(names)) < len(names)
    return [_of(flight, flight.provenance.title if are_alike else flight.name) for flight in flights]


def _of(flight: Flight, name: str) -> _Bands:
    """Bands of a flight up to the highest that it is in."""
    assert flight.solver is not None
    slopes = [(one.heights, one) for one in flight.solver.sensitivity if one.heights is not None]
    reached = float(np.nanmax(charted(flight, "altitude")))
    lows = np.array([heights[0] for heights, _ in slopes]) / FOOT
    high = np.array([heights[1] for heights, _ in slopes]) / FOOT
    met = lows < reached
    edges = np.append(lows[met], min(float(high[met].max()), 1000.0 * np.ceil(reached / 1000.0)))
    places = np.array([one.idle_distance for _, one in slopes])[met] * KNOT / NAUTICAL_MILE
    return _Bands(name, edges, places, np.array([one.fuel for _, one in slopes])[met] * KNOT)


def _heading(subject: str, total: float, unit: str, count: int) -> str:
    if count > 1:
        return subject
    return f"{subject}, all heights: {_signed(total)} {unit}/kt"


def _signed(value: float) -> str:
    return f"{value:+.2f}".replace("-", "\u2212")


def _ends(values: list[Array]) -> tuple[float, float]:
    known = np.concatenate([np.zeros(1), *values])
    low, high = float(known.min()), float(known.max())
    wide = max(high - low, 1e-6)
    return low - wide * (_ROOM if low < 0.0 else _LITTLE), high + wide * (_ROOM if high > 0.0 else _LITTLE)


def _panel(axes: Axes, found: list[_Bands], values: list[Array], page: Page) -> None:
    line(axes, np.zeros(2), np.array(axes.get_ylim()), QUIET, 0.8 * page.stroke, order=2.5)
    if len(found) == 1:
        _bars(axes, found[0].edges, values[0], page)
        return
    labels = Labels(axes, page.stroke)
    stairs = [(np.repeat(own, 2), np.repeat(one.edges, 2)[1:-1]) for one, own in zip(found, values, strict=True)]
    for (x, y), style in zip(stairs, _STYLES, strict=False):
        drawn = line(axes, x, y, style.colour, style.width * page.stroke, dash=style.dash, order=3.0)
        style.mark(drawn, page.stroke)
        labels.avoid(x, y)
    for one, (x, y), style in zip(found, stairs, _STYLES, strict=False):
        labels.name(one.name, x, y, INK, page.value.small, style)
    labels.settle()


def _bars(axes: Axes, edges: Array, values: Array, page: Page) -> None:
    """A bar for each band with its number at the end."""
    extent, dots = axes.get_window_extent(), 72.0 / axes.figure.dpi
    per_x = float(np.ptp(axes.get_xlim())) / (float(extent.width) * dots)
    per_y = float(np.ptp(axes.get_ylim())) / (float(extent.height) * dots)
    size = page.value.small
    for low, high, value in zip(edges, edges[1:], values, strict=False):
        inset = 1.0 * per_y
        x, y = np.sort(np.array([0.0, value])), np.array([low + inset, high - inset])
        band(axes, x, np.full(2, y[0]), np.full(2, y[1]), _SHADE)
        outline = np.array([0.0, value, value, 0.0]), y[[0, 0, 1, 1]]
        line(axes, *outline, INK, 0.7 * page.stroke, order=3.0)
        said = _signed(float(value))
        beyond = 3.0 if value >= 0.0 else -3.0 - width(said, size)
        foot = 0.5 * (low + high) - 0.36 * size * per_y
        letters(axes, float(value) + beyond * per_x, foot, said, size, INK)
