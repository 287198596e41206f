"""A rule on one sheet: height to have over distance to go in several winds, and below it the speed planned."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet_of
from optdescent.figures.panel import LEAD, Row, Span, fit, panels
from optdescent.figures.pen import Array, line
from optdescent.figures.style import INK, QUIET, SeriesStyle, styled
from optdescent.results.rule_sheet import RULE_SHEET_COLUMNS, RuleSheet

HEIGHT, SPEED, DISTANCE = "height_to_have", "planned_speed", "distance_to_go"
NEAR = 40.0
"""Length of the last part that is drawn at a larger scale [nm]."""
STYLES = (
    SeriesStyle("#000000", 1.8, (), ""),
    SeriesStyle("#a64310", 1.4, (6.5, 1.8), ""),
    SeriesStyle("#0a3468", 1.4, (2.0, 1.4), ""),
)
"""One for each wind, in the order of a sheet."""
SAME = {HEIGHT: 100.0, SPEED: 1.0}
"""Difference [ft, kt] up to which two lines are drawn as one: hardly wider than the lines."""
NOTE = (
    "What the rule alone asks for; windows, floor and glide path of an arrival are not in it. Long thin dashes: three "
    "degrees to the threshold's crossing height. Nothing is drawn below the threshold."
)


def rule_sheet(sheet: RuleSheet, page: Page = Page.A4) -> Figure:
    """Height to have [ft] and speed planned [kt] against distance to go.

    Raises
    ------
    InputFault
        The page is too small for the labels.
    """
    with styled():
        note = f"{sheet.title}. Source: {sheet.source}. {NOTE}"
        frame = sheet_of(page, (sheet.provenance,), f"Rule of thumb: {sheet.name}", note)
        rows = (
            Row(1.5, RULE_SHEET_COLUMNS[HEIGHT].label, "35\u202f000"),
            Row(1.0, RULE_SHEET_COLUMNS[SPEED].label, "300"),
        )
        for upper, lower in panels(frame, rows, _spans(sheet)):
            _heights(upper, sheet, page)
            _speeds(lower, sheet, page)
        return frame.figure


def _spans(sheet: RuleSheet) -> tuple[Span, ...]:
    """The whole descent from a little before the earliest start, and its last part."""
    farthest = float(sheet.charted(DISTANCE)[-1])
    starts = sheet.charted("start_down")
    earliest = float(starts.max()) if np.isfinite(starts).all() else farthest
    start = min(farthest, 5.0 * math.ceil((earliest + LEAD) / 5.0))
    return (Span("Whole descent", start), Span(f"Last {NEAR:.0f} nm, larger scale", NEAR))


def _heights(axes: Axes, sheet: RuleSheet, page: Page) -> None:
    x, three = sheet.charted(DISTANCE), sheet.charted("three_degrees")
    curves = _curves(sheet, HEIGHT)
    fit(axes, [(x, y) for _, y, _ in curves], floor=0.0)
    labels = Labels(axes, page.stroke)
    is_below = three < axes.get_ylim()[1]
    line(axes, x[is_below], three[is_below], QUIET, 0.8 * page.stroke, dash=(14.0, 3.0), order=1.9)
    labels.avoid(x[is_below], three[is_below])
    _draw(axes, labels, x, curves, page)
    if not any(_is_along(y, three) for _, y, _ in curves):
        labels.name("3° path", x[is_below], three[is_below], QUIET, page.value.small)
    labels.settle()


def _is_along(heights: Array, path: Array) -> bool:
    """Whether heights (distance,) [ft] lie on a path wherever they are below the cruise."""
    is_down = heights < np.nanmax(heights)
    return bool(np.nanmax(np.abs(heights - path)[is_down], initial=0.0) <= SAME[HEIGHT])


def _speeds(axes: Axes, sheet: RuleSheet, page: Page) -> None:
    x, curves = sheet.charted(DISTANCE), _curves(sheet, SPEED)
    fit(axes, [(x, y) for _, y, _ in curves])
    labels = Labels(axes, page.stroke)
    _draw(axes, labels, x, curves, page)
    labels.settle()


def _curves(sheet: RuleSheet, name: str) -> list[tuple[str, Array, SeriesStyle]]:
    """Name of the wind, values (distance,) and style of each line; one stands for winds that make no difference."""
    values = sheet.charted(name)
    found: list[tuple[str, Array, SeriesStyle]] = []
    for wind, row, style in zip(sheet.winds, values, STYLES, strict=True):
        if not any(np.nanmax(np.abs(row - other), initial=0.0) <= SAME[name] for _, other, _ in found):
            found.append((wind, row, style))
    return [("any wind", found[0][1], found[0][2])] if len(found) == 1 else found


def _draw(axes: Axes, labels: Labels, x: Array, curves: list[tuple[str, Array, SeriesStyle]], page: Page) -> None:
    for _, y, style in curves:
        line(axes, x, y, style.colour, style.width * page.stroke, dash=style.dash, order=3.0)
        known = np.isfinite(y)
        labels.avoid(x[known], y[known])
    for wind, y, style in curves:
        known = np.isfinite(y)
        labels.name(wind, x[known], y[known], INK, page.value.small, style)
