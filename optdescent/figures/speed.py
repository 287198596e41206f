"""Calibrated airspeed against distance to go, with limits and plans; below it, the configuration of each flight."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet
from optdescent.figures.panel import Row, axis_label, charted, fit, panels, spans
from optdescent.figures.pen import line
from optdescent.figures.series import draw_bracket, draw_series, require
from optdescent.figures.strip import WIDEST, draw_strip, least_high, rows_of
from optdescent.figures.style import INK, SeriesStyle, series_styles, styled
from optdescent.results import Flight
from optdescent.results.marks import WindowMark
from optdescent.units import KNOT, NAUTICAL_MILE

SPEED = "calibrated_airspeed"
LIMIT_DASH = (1.0, 2.0)
NOTE = (
    "Heavy lines: flown. Thin lines of the same colour: what the rule plans. Dotted lines: largest speed allowed. "
    "Bars: flaps with the number of the step; gear, speed brake and thrust between idle and largest as fractions."
)


def speed(flights: tuple[Flight, ...], page: Page) -> Figure:
    """Calibrated airspeed and configuration against distance to go, the optimum first.

    Raises
    ------
    InputFault
        No flight, too many, a flight without the columns drawn, or a page too small for the labels.
    """
    require("speed", flights, SPEED)
    with styled():
        styles = series_styles(flights)
        frame = sheet(page, flights, "Speed and configuration along the descent", NOTE)
        strip = Row(0.25 + 0.21 * len(flights), "", WIDEST, least_high(rows_of(flights)))
        rows = (Row(1.0, axis_label(SPEED), "300"), strip)
        for upper, lower in panels(frame, rows, spans(flights)):
            _panel(upper, flights, styles, page)
            draw_strip(lower, flights, styles, page)
        return frame.figure


def _panel(axes: Axes, flights: tuple[Flight, ...], styles: tuple[SeriesStyle, ...], page: Page) -> None:
    distances = [charted(flight, "distance_to_go") for flight in flights]
    flown = [charted(flight, SPEED) for flight in flights]
    limits = [charted(flight, "limit_speed") for flight in flights]
    fit(axes, [*zip(distances, flown, strict=True), *zip(distances, limits, strict=True)])
    labels = Labels(axes, page.stroke)
    for window in flights[0].marks.windows:
        _window(axes, labels, window, page)
    for flight, style, x, y, limit in zip(flights, styles, distances, flown, limits, strict=True):
        line(axes, x, limit, style.colour, 0.7 * page.stroke, dash=LIMIT_DASH, order=2.1)
        labels.avoid(x, limit)
        planned = charted(flight, "rule_speed")
        if np.isfinite(planned).any():
            line(axes, x, planned, style.colour, 0.5 * page.stroke, order=2.2)
            labels.avoid(x, planned)
        draw_series(axes, x, y, style, page.stroke)
        labels.avoid(x, y)
    labels.name("largest speed allowed", distances[0], limits[0], INK, page.value.small)
    for flight, style, x, y in zip(flights, styles, distances, flown, strict=True):
        labels.name(flight.name, x, y, INK, page.value.small, style)
    labels.settle()


def _window(axes: Axes, labels: Labels, window: WindowMark, page: Page) -> None:
    """Bracket over the speeds of a window."""
    low, high = (None if end is None else end / KNOT for end in (window.slowest, window.fastest))
    draw_bracket(axes, labels, window.name, window.distance_to_go / NAUTICAL_MILE, low, high, page)
