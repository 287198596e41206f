"""Configuration strip: flaps, gear, speed brake and thrust of each flight as bars along the distance."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedFormatter, FixedLocator

from optdescent.figures.label import SAMPLE
from optdescent.figures.page import PT_PER_MM, Page
from optdescent.figures.panel import charted
from optdescent.figures.pen import Array, area, letters, ticks, without_ligatures
from optdescent.figures.style import INK, SeriesStyle
from optdescent.figures.text import SMALLEST, width
from optdescent.results import Flight

DEVICES = (
    ("flaps [step]", "flaps"),
    ("gear [0–1]", "gear"),
    ("brake [0–1]", "speed_brake"),
    ("thrust [0–1]", "thrust_fraction"),
)
"""Row labels with their units, and the columns shown; brake is the speed brake, thrust that above idle."""
NEEDS = tuple(column for _, column in DEVICES)
WIDEST = "thrust [0–1]"
BAR = OF_ROW = 0.82
"""Height of a bar, and of the largest letters, in rows."""
FILL = "#4d4d4d"
_WHITE = 0.46
"""Grey level below which white letters stand out more than black ones."""
FAINT = "#e4e4e4"


def draw_strip(axes: Axes, flights: tuple[Flight, ...], styles: tuple[SeriesStyle, ...], page: Page) -> None:
    """One block of rows per flight under its name; the bars rise from 0 to 1 within their row."""
    rows = len(DEVICES) + 1
    axes.set_ylim(rows_of(flights), 0.0)
    axes.spines["left"].set_visible(False)
    ticks(axes, grid=False)
    for index, (flight, style) in enumerate(zip(flights, styles, strict=True)):
        block_name(axes, flight.name, style, rows * index, page)
        distance = charted(flight, "distance_to_go")
        for row, (_, column) in enumerate(DEVICES, start=rows * index + 1):
            floor = row + 0.5 + 0.5 * BAR
            bar(axes, *axes.get_xlim(), row, FAINT)
            values = np.nan_to_num(charted(flight, column))
            if column == "flaps":
                _steps(axes, distance, np.rint(values), flight.marks.steps, row, page)
            else:
                rise = floor - BAR * np.clip(values, 0.0, 1.0)
                area(axes, distance, floor, rise, FILL)
    places = [rows * index + row + 0.5 for index in range(len(flights)) for row in range(1, rows)]
    axes.yaxis.set_major_locator(FixedLocator(places))
    axes.yaxis.set_major_formatter(FixedFormatter([label for _ in flights for label, _ in DEVICES]))
    for label in axes.get_yticklabels():
        label.set_fontsize(row_size(axes, page))
        without_ligatures(label)


def rows_of(flights: tuple[Flight, ...]) -> int:
    """Rows of the strip of flights: a name each, and one for each device."""
    return (len(DEVICES) + 1) * len(flights)


def bar(axes: Axes, start: float, end: float, row: int, colour: str) -> None:
    """Bar of full height from start to end [nm]."""
    floor = row + 0.5 + 0.5 * BAR
    area(axes, np.array([start, end]), floor, np.full(2, floor - BAR), colour)


def row_size(axes: Axes, page: Page) -> float:
    """Font size [pt] that fits a row."""
    return min(page.value.small, OF_ROW * row_height(axes))


def least_high(rows: int, of_row: float = OF_ROW) -> float:
    """Height [mm] of rows in which the smallest letters have room, these so much of a row high [-]."""
    return rows * SMALLEST / of_row / PT_PER_MM


def row_height(axes: Axes) -> float:
    """Height of a row [pt]."""
    return float(axes.get_window_extent().height) * 72.0 / axes.figure.dpi / abs(np.ptp(axes.get_ylim()))


def per_point_of(axes: Axes) -> float:
    """Distance [nm] of one point on paper."""
    return abs(np.ptp(axes.get_xlim())) / (float(axes.get_window_extent().width) * 72.0 / axes.figure.dpi)


def block_name(axes: Axes, name: str, style: SeriesStyle, row: int, page: Page) -> None:
    """Piece of the flight's line and its name, in a row of their own."""
    per_point = per_point_of(axes)
    start, length = axes.get_xlim()[0], SAMPLE * page.stroke * per_point
    axes.add_line(style.piece(start, row + 0.5, -length, page.stroke))
    size = row_size(axes, page)
    letters(axes, start - length - 2.5 * per_point, row + 0.5 + 0.34 * size / row_height(axes), name, size, INK)


def _steps(axes: Axes, distance: Array, steps: Array, names: tuple[str, ...], row: int, page: Page) -> None:
    """Bars of the slat and flap steps, darker with each step, with the step's number where it fits."""
    changes = np.flatnonzero(np.diff(steps)) + 1
    bounds = [0, *changes.tolist(), len(steps)]
    size = row_size(axes, page)
    per_point = per_point_of(axes)
    base = row + 0.5 + 0.34 * size / row_height(axes)
    for first, last in pairwise(bounds):
        step = int(steps[first])
        if step < 1:
            continue
        start, end = min(float(distance[first]), axes.get_xlim()[0]), float(distance[min(last, len(distance) - 1)])
        grey = 0.78 - 0.6 * step / max(len(names) - 1, 1)
        bar(axes, start, end, row, str(grey))
        if width(str(step), size) + 1.0 < (start - end) / per_point:
            ink = "white" if grey < _WHITE else INK
            letters(axes, 0.5 * (start + end), base, str(step), size, ink, anchor="center")
