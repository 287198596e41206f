"""Panels of equal size in rows and columns, each with its heading and the labels of its axes."""

from __future__ import annotations

from dataclasses import dataclass

from matplotlib.axes import Axes
from matplotlib.ticker import FuncFormatter, MaxNLocator

from optdescent.figures.page import PT_PER_MM, Sheet
from optdescent.figures.panel import tick_text
from optdescent.figures.pen import ticks
from optdescent.figures.text import LINE, balanced, width

GAP = 3.0
TICK_ROOM = 2.6
"""Gaps between panels, and from an axis to the far side of its tick marks [mm]."""

MOST_TICKS = 7
"""Steps of an upright axis, however high it is."""


@dataclass(frozen=True)
class Cell:
    """A panel: heading, labels of the level and of the upright axis (empty: none, and no tick labels), ends of both."""

    heading: str
    across: str
    up: str
    left: float
    right: float
    low: float
    high: float


def grid(sheet: Sheet, cells: tuple[Cell, ...], columns: int, widest_tick: str) -> tuple[Axes, ...]:
    """Axes of cells set in rows of so many columns; tick labels of the upright axis are no wider than the widest."""
    rows = -(-len(cells) // columns)
    size = sheet.page.value
    line, tick = LINE * size.text / PT_PER_MM, LINE * size.small / PT_PER_MM
    high = (sheet.top - sheet.bottom - GAP * (rows - 1)) / rows
    ups = [balanced(cell.up, size.text, PT_PER_MM * (high - 2.0 * line - tick)) for cell in cells]
    labelled = line * max(1, *map(len, ups)) + width(widest_tick, size.small) / PT_PER_MM + TICK_ROOM
    lefts = [labelled if cells[column].up else 0.5 * GAP for column in range(columns)]
    end = 0.5 * width("000", size.small) / PT_PER_MM
    wide = (sheet.right - sheet.left - sum(lefts) - columns * end) / columns
    acrosses = [balanced(cell.across, size.text, PT_PER_MM * wide) for cell in cells]
    lines = [max(map(len, acrosses[row * columns : (row + 1) * columns])) for row in range(rows)]
    belows = [line * count + tick + TICK_ROOM if count else 0.5 * GAP for count in lines]
    tall = high - line - sum(belows) / rows
    made: list[Axes] = []
    for index, cell in enumerate(cells):
        row, column = divmod(index, columns)
        start = sheet.left + sum(lefts[: column + 1]) + column * (wide + end)
        top = sheet.top - row * (line + tall + GAP) - sum(belows[:row]) - line
        level = top - tall
        axes = sheet.panel(start, level, wide, tall)
        axes.set_xlim(cell.left, cell.right)
        axes.set_ylim(cell.low, cell.high)
        _number(axes, wide, tall)
        ticks(axes, across=bool(cell.across), up=bool(cell.up))
        sheet.write(cell.heading, start, top + 0.4, anchor="left")
        for number_, text in enumerate(acrosses[index], start=1):
            sheet.write(text, start + 0.5 * wide, level - belows[row] + line * (lines[row] - number_), anchor="center")
        for number_, text in enumerate(ups[index], start=1):
            sheet.write(text, start - labelled + line * number_, 0.5 * (top + level), anchor="center", angle=90.0)
        made.append(axes)
    return tuple(made)


def _number(axes: Axes, wide: float, high: float) -> None:
    """Few round ticks on both axes, as many as a panel of a width and height [mm] has room for."""
    across, up = max(2, int(wide / 12.0)), max(2, min(MOST_TICKS, int(high / 5.0)))
    for axis, most in ((axes.xaxis, across), (axes.yaxis, up)):
        axis.set_major_locator(MaxNLocator(nbins=most, steps=[1, 2, 2.5, 5, 10]))
        axis.set_major_formatter(FuncFormatter(tick_text))
