"""Height against distance to go: flights, what the rules ask for, and what the arrival demands."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet
from optdescent.figures.panel import Row, axis_label, charted, fit, inside, number, panels, spans
from optdescent.figures.pen import line
from optdescent.figures.series import draw_bracket, draw_series, require
from optdescent.figures.style import INK, QUIET, SeriesStyle, series_styles, styled
from optdescent.results import Flight, Marks
from optdescent.results.marks import HoldMark, WindowMark
from optdescent.units import DEGREE, FOOT, KNOT, NAUTICAL_MILE

HEIGHT = "height_above_threshold"
NOTE = (
    "Heavy lines: flown. Thin lines of the same colour: what the rule asks for. Brackets: windows. "
    "Filled triangles: top of descent. Filled squares: gear down."
)


def height(flights: tuple[Flight, ...], page: Page) -> Figure:
    """Height above the threshold against distance to go, the optimum first.

    Raises
    ------
    InputFault
        No flight, too many, a flight without the columns drawn, or a page too small for the labels.
    """
    require("height", flights, HEIGHT)
    with styled():
        styles = series_styles(flights)
        frame = sheet(page, flights, "Height along the descent", NOTE)
        over = spans(flights)
        for (axes,) in panels(frame, (Row(1.0, axis_label(HEIGHT), "35 000"),), over):
            _panel(axes, flights, styles, page)
        return frame.figure


def _panel(axes: Axes, flights: tuple[Flight, ...], styles: tuple[SeriesStyle, ...], page: Page) -> None:
    curves = [(charted(flight, "distance_to_go"), charted(flight, HEIGHT)) for flight in flights]
    fit(axes, curves, floor=0.0)
    labels = Labels(axes, page.stroke)
    _demands(axes, labels, flights[0].marks, page)
    for flight, style, (x, y) in zip(flights, styles, curves, strict=True):
        asked = charted(flight, "rule_height")
        if np.isfinite(asked).any():
            line(axes, x, asked, style.colour, 0.5 * page.stroke, order=2.2)
            labels.avoid(x, asked)
        draw_series(axes, x, y, style, page.stroke)
        labels.avoid(x, y)
        _events(axes, labels, flight, style, page)
    for flight, style, (x, y) in zip(flights, styles, curves, strict=True):
        labels.name(flight.name, x, y, INK, page.value.small, style)
    labels.settle()


def _events(axes: Axes, labels: Labels, flight: Flight, style: SeriesStyle, page: Page) -> None:
    """Filled marks where the descent begins and where the gear is down."""
    distance, heights, gear = (charted(flight, name) for name in ("distance_to_go", HEIGHT, "gear"))
    places = [("v", flight.summary.top_of_descent / NAUTICAL_MILE)]
    places += [("s", float(distance[index])) for index in np.flatnonzero(gear >= 0.99)[:1]]
    for marker, place in places:
        level = float(np.interp(-place, -distance, heights))
        if inside(axes, np.array([place]), np.array([level])).size:
            spot = line(axes, np.array([place]), np.array([level]), style.colour, 1.0, order=4.5)
            spot.set(marker=marker, markersize=4.5 * page.stroke)
            reach = 2.5 * page.stroke
            across = np.array([-reach, reach, reach, -reach]) / 72.0 * axes.figure.dpi
            around = axes.transData.transform((place, level)) + np.column_stack([across, across[[1, 2, 3, 0]]])
            labels.avoid(*axes.transData.inverted().transform(around).T)


def _demands(axes: Axes, labels: Labels, marks: Marks, page: Page) -> None:
    """Windows, the altitudes of speed limits, floor, hold-downs, glide path and gate."""
    start = axes.get_xlim()[0]
    size = page.value.small
    for window in marks.windows:
        if window.distance_to_go < start * NAUTICAL_MILE:
            _window(axes, labels, window, marks.elevation, page)
    for limit in marks.speed_limits:
        level = (limit.altitude - marks.elevation) / FOOT
        if level < axes.get_ylim()[1]:
            x, y = np.array([start, 0.0]), np.array([level, level])
            line(axes, x, y, QUIET, 0.6 * page.stroke, dash=(1.0, 2.5), order=1.8)
            labels.avoid(x, y)
            text = f"{number(limit.published / FOOT)} ft altitude, at most {limit.speed / KNOT:.0f} kt below"
            labels.name(text, x, y, QUIET, size)
    _floor(axes, labels, marks, page)
    for hold in marks.hold_downs:
        _hold_down(axes, labels, hold, marks.elevation, page)
    farthest = min(start, 14.0)
    x = np.array([farthest, 0.0])
    y = (marks.crossing_height + marks.gradient * x * NAUTICAL_MILE) / FOOT
    line(axes, x, y, QUIET, 0.8 * page.stroke, dash=(14.0, 3.0), order=1.9)
    labels.avoid(x, y)
    if start <= 60.0:
        labels.name(f"glide path {math.atan(marks.gradient) / DEGREE:.1f}°", x[:1], y[:1], QUIET, size)
        _gate(axes, labels, marks, page)


def _window(axes: Axes, labels: Labels, window: WindowMark, elevation: float, page: Page) -> None:
    """Bracket over the heights of a window."""
    low, high = (None if end is None else (end - elevation) / FOOT for end in (window.lowest, window.highest))
    draw_bracket(axes, labels, window.name, window.distance_to_go / NAUTICAL_MILE, low, high, page)


def _floor(axes: Axes, labels: Labels, marks: Marks, page: Page) -> None:
    """Line through the points of the floor, level outside them, down to where the glide path takes over."""
    if not marks.floor:
        return
    points = marks.floor[::-1]
    place = np.array([point.distance_to_go for point in points]) / NAUTICAL_MILE
    level = (np.array([point.altitude for point in points]) - marks.elevation) / FOOT
    start = axes.get_xlim()[0]
    fine = np.linspace(0.0, start, 400)
    x = np.union1d(fine, place[place < start])
    y = np.interp(x, place, level)
    on_path = (marks.crossing_height + marks.gradient * x * NAUTICAL_MILE) / FOOT
    x, y = x[y <= on_path][::-1], y[y <= on_path][::-1]
    if x.size:
        line(axes, x, y, INK, 0.9 * page.stroke, dash=(4.0, 2.0), order=1.9)
        labels.avoid(x, y)
        labels.name("floor", x, y, INK, page.value.small)


def _hold_down(axes: Axes, labels: Labels, hold: HoldMark, elevation: float, page: Page) -> None:
    """Level line between the ends of a hold-down, with a stroke across each end."""
    x = np.array([hold.begins, hold.ends]) / NAUTICAL_MILE
    level = (hold.altitude - elevation) / FOOT
    if x[0] > axes.get_xlim()[0]:
        return
    y = np.array([level, level])
    line(axes, x, y, INK, 1.6 * page.stroke, order=3.5)
    half = 0.01 * (axes.get_ylim()[1] - axes.get_ylim()[0])
    for end in x:
        line(axes, np.array([end, end]), np.array([level - half, level + half]), INK, 1.4 * page.stroke, order=3.5)
    labels.avoid(x, y)
    labels.name("hold-down", x, y, INK, page.value.small)


def _gate(axes: Axes, labels: Labels, marks: Marks, page: Page) -> None:
    """Short level line through the glide path at the height of the gate."""
    place = (marks.gate_height - marks.crossing_height) / (marks.gradient * NAUTICAL_MILE)
    level = marks.gate_height / FOOT
    x, y = np.array([place + 1.2, max(place - 1.2, 0.0)]), np.array([level, level])
    line(axes, x, y, INK, 1.0 * page.stroke, order=3.5)
    labels.avoid(x, y)
    labels.name(f"gate {number(level)} ft", x, y, INK, page.value.small)
