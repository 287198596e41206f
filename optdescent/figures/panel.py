"""Panels over distance to go: the whole descent, and its last part at a larger scale, both towards the threshold."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator, MultipleLocator

from optdescent.figures.page import PT_PER_MM, Sheet
from optdescent.figures.pen import Array, ticks
from optdescent.figures.text import LINE, balanced, width
from optdescent.results import Flight
from optdescent.results.files import Fault, InputFault
from optdescent.results.schema import COLUMNS
from optdescent.units import NAUTICAL_MILE

APPROACH = 25.0
"""Length of the last part that is drawn at a larger scale [nm]."""
LEAD = 8.0
"""Cruise shown before the earliest top of descent [nm]."""
ROW_GAP = 2.0
BLOCK_GAP = 2.0
TICK_ROOM = 2.0
LABEL_ROOM = 0.6
"""Gaps between panels, between spans, from an axis to its tick labels, from these to the axis label [mm]."""
_LEFT = 0.25
"""Least part of the height that panels of lines have beside rows of letters."""


@dataclass(frozen=True)
class Span:
    """A stretch of distance to go [nm], drawn from `start` on the left to the threshold, with a heading."""

    heading: str
    start: float


@dataclass(frozen=True)
class Row:
    """One row of panels: its share of the height, the label of its axis, the widest of its tick labels.

    It is never lower than `least` [mm]: the other rows share what is left.
    """

    share: float
    label: str
    widest_tick: str
    least: float = 0.0


def charted(flight: Flight, name: str) -> Array:
    """Values (point,) of a column in the unit of charts [see `results.schema`]."""
    return flight.column(name) / COLUMNS[name].chart_unit.factor


def axis_label(name: str) -> str:
    """Label of a column's axis, with its unit."""
    return COLUMNS[name].label


def spans(flights: tuple[Flight, ...]) -> tuple[Span, ...]:
    """The whole descent, from a little before the earliest top of descent, and its last part."""
    first = max(float(charted(flight, "distance_to_go")[0]) for flight in flights)
    earliest = max(flight.summary.top_of_descent for flight in flights) / NAUTICAL_MILE
    start = min(first, 5.0 * math.ceil((earliest + LEAD) / 5.0)) if math.isfinite(earliest) else first
    whole = Span("Whole descent", start)
    if start < 1.6 * APPROACH:
        return (whole,)
    return (whole, Span(f"Last {APPROACH:.0f} nm, larger scale", APPROACH))


@dataclass(frozen=True)
class Place:
    """Rectangle of one span with its labels [mm]."""

    left: float
    bottom: float
    right: float
    top: float


@dataclass(frozen=True)
class Margins:
    """Room around the panels of a span [mm], and the lines of the label of the distance axis."""

    heading: float
    labels: float
    ticks: float
    below: float
    distance: tuple[str, ...]


def panels(sheet: Sheet, rows: tuple[Row, ...], over: tuple[Span, ...]) -> tuple[tuple[Axes, ...], ...]:
    """Axes [span][row]: spans side by side on a wide page, one above the other on a narrow one.

    Raises
    ------
    InputFault
        The page has no room for rows as high as they have to be.
    """
    places = _places(sheet, len(over))
    size = sheet.page.value
    line, tick_line = LINE * size.text / PT_PER_MM, LINE * size.small / PT_PER_MM
    ticks = max(width(row.widest_tick, size.small) for row in rows) / PT_PER_MM + TICK_ROOM + LABEL_ROOM
    gaps = line + tick_line + TICK_ROOM + ROW_GAP * (len(rows) - 1)
    least = _heights(rows, places[0].top - places[0].bottom - gaps - 2.0 * line)
    labels = tuple(balanced(row.label, size.text, PT_PER_MM * high) for row, high in zip(rows, least, strict=True))
    wide = min(place.right - place.left for place in places) - ticks - line * max(len(lines) for lines in labels)
    distance = balanced(axis_label("distance_to_go"), size.text, PT_PER_MM * (wide - 1.0))
    below = len(distance) * line + tick_line + TICK_ROOM
    free = places[0].top - places[0].bottom - gaps - len(distance) * line
    heights = _heights(rows, free)
    margins = Margins(line, line * max(len(lines) for lines in labels), ticks, below, distance)
    return tuple(_block(sheet, span, place, heights, labels, margins) for span, place in zip(over, places, strict=True))


def _heights(rows: tuple[Row, ...], free: float) -> tuple[float, ...]:
    """Height of each row of what is free [mm].

    Raises
    ------
    InputFault
        What those that may not be lower leave to the others is too little.
    """
    whole = sum(row.share for row in rows)
    is_least = [row.share / whole * free < row.least for row in rows]
    left = free - sum(row.least for row, low in zip(rows, is_least, strict=True) if low)
    shares = sum(row.share for row, low in zip(rows, is_least, strict=True) if not low)
    if left < _LEFT * free:
        raise InputFault([Fault("page", "", "has no room for so many rows of letters", "a larger page, fewer flights")])
    return tuple(row.least if low else left * row.share / shares for row, low in zip(rows, is_least, strict=True))


def _places(sheet: Sheet, number_of_spans: int) -> tuple[Place, ...]:
    """A rectangle for every span."""
    if number_of_spans == 1:
        return (Place(sheet.left, sheet.bottom, sheet.right, sheet.top),)
    if sheet.page.is_narrow:
        half = 0.5 * (sheet.top - sheet.bottom - BLOCK_GAP)
        upper = Place(sheet.left, sheet.top - half, sheet.right, sheet.top)
        return (upper, Place(sheet.left, sheet.bottom, sheet.right, sheet.bottom + half))
    middle = sheet.left + 0.56 * (sheet.right - sheet.left)
    return (
        Place(sheet.left, sheet.bottom, middle - 0.5 * BLOCK_GAP, sheet.top),
        Place(middle + 0.5 * BLOCK_GAP, sheet.bottom, sheet.right, sheet.top),
    )


def _block(
    sheet: Sheet,
    span: Span,
    place: Place,
    heights: tuple[float, ...],
    labels: tuple[tuple[str, ...], ...],
    margins: Margins,
) -> tuple[Axes, ...]:
    """Panels of one span, of given heights [mm], each with the lines of its label."""
    size = sheet.page.value
    start = place.left + margins.ticks + margins.labels
    end = place.right - 0.5 * width("0", size.small) / PT_PER_MM
    level = place.top - margins.heading
    sheet.write(span.heading, start, level + 0.4, anchor="left")
    made: list[Axes] = []
    for lines, high in zip(labels, heights, strict=True):
        axes = sheet.panel(start, level - high, end - start, high)
        axes.set_xlim(span.start, 0.0)
        axes.xaxis.set_major_locator(MultipleLocator(20.0 if span.start > 60.0 else 5.0))
        ticks(axes, across=len(made) + 1 == len(heights))
        for index, text in enumerate(lines, start=1):
            across = start - margins.ticks - (len(lines) - index) * margins.heading
            sheet.write(text, across, level - 0.5 * high, anchor="center", angle=90.0)
        level -= high + ROW_GAP
        made.append(axes)
    for index, text in enumerate(margins.distance, start=1):
        foot = place.bottom + margins.heading * (len(margins.distance) - index)
        sheet.write(text, 0.5 * (start + end), foot, anchor="center")
    return tuple(made)


def number_axis(axes: Axes) -> None:
    """Few round ticks on the upright axis, thousands set apart by a thin space."""
    axes.yaxis.set_major_locator(MaxNLocator(nbins=6, steps=[1, 2, 2.5, 5, 10]))
    axes.yaxis.set_major_formatter(FuncFormatter(tick_text))


def tick_text(value: float, _position: int | None = None) -> str:
    """A tick [any unit] as an axis shows it, without what rounding has left of it."""
    return number(round(value, 10))


def number(value: float) -> str:
    """A number [any unit] as an axis shows it: 35 000, −500, 2.5."""
    text = f"{value:,.0f}" if abs(value - round(value)) < 1e-9 else f"{value:,g}"
    return text.replace(",", "\u202f").replace("-", "\u2212")


def inside(axes: Axes, x: Array, y: Array) -> Array:
    """Finite values of y (n,) [as drawn] at the places x (n,) [nm] that the axes show."""
    start, end = axes.get_xlim()
    return y[(x <= start) & (x >= end) & np.isfinite(y)]


def fit(axes: Axes, curves: list[tuple[Array, Array]], *, floor: float | None = None) -> None:
    """Let the upright axis hold the part of the curves (x [nm], y [as drawn]) that is shown, from `floor` if given."""
    shown = np.concatenate([inside(axes, x, y) for x, y in curves])
    low, high = (float(shown.min()), float(shown.max())) if shown.size else (0.0, 1.0)
    room = max(0.05 * (high - low), 0.5 if high - low < 1.0 else 0.0)
    axes.set_ylim(low - room if floor is None else floor, high + room)
    number_axis(axes)
