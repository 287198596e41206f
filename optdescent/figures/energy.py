"""Specific energy height against distance to go; below it, the energy in excess of the first flight's."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet
from optdescent.figures.panel import Row, axis_label, charted, fit, panels, spans
from optdescent.figures.pen import Array
from optdescent.figures.series import draw_series, require
from optdescent.figures.style import INK, SeriesStyle, series_styles, styled
from optdescent.results import Flight
from optdescent.results.schema import COLUMNS

ENERGY = "specific_energy_height"


def energy(flights: tuple[Flight, ...], page: Page) -> Figure:
    """Energy height against distance to go, and its excess over that of the first flight, the optimum.

    Raises
    ------
    InputFault
        No flight, too many, a flight without the columns drawn, or a page too small for the labels.
    """
    require("energy", flights, ENERGY)
    with styled():
        styles = series_styles(flights)
        first = flights[0].name
        unit = COLUMNS[ENERGY].chart_unit.symbol
        note = f"Excess: energy height less that of {first} at the same distance; above zero, it is still to be lost."
        frame = sheet(page, flights, "Energy along the descent", note)
        excess = f"Excess energy height over {first} [{unit}]"
        rows = (Row(1.0, axis_label(ENERGY), "40\u202f000"), Row(1.0, excess, "\u22125\u202f000"))
        for upper, lower in panels(frame, rows, spans(flights)):
            curves = [(charted(flight, "distance_to_go"), charted(flight, ENERGY)) for flight in flights]
            _panel(upper, flights, styles, curves, page)
            _panel(lower, flights, styles, [(x, excess_over(*curves[0], x, y)) for x, y in curves], page)
        return frame.figure


def excess_over(first_x: Array, first_y: Array, x: Array, y: Array) -> Array:
    """Energy height y (n,) at distances x (n,) [nm] less that of the first flight there [ft]; NaN outside its range."""
    return y - np.interp(-x, -first_x, first_y, left=np.nan, right=np.nan)


def _panel(
    axes: Axes,
    flights: tuple[Flight, ...],
    styles: tuple[SeriesStyle, ...],
    curves: list[tuple[Array, Array]],
    page: Page,
) -> None:
    fit(axes, curves)
    labels = Labels(axes, page.stroke)
    for style, (x, y) in zip(styles, curves, strict=True):
        draw_series(axes, x, y, style, page.stroke)
        labels.avoid(x, y)
    for flight, style, (x, y) in zip(flights, styles, curves, strict=True):
        labels.name(flight.name, x, y, INK, page.value.small, style)
    labels.settle()
