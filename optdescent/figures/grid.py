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
    made: list[Axes] = []
    for index, cell in enumerate(cells):
        row, column = divmod(index, columns)
        start = sheet.left + sum(lefts[: column + 1]) + column * (wide + end)
        top = sheet.top - row * (high + GAP) - line
        lines = max(map(len, acrosses[row * columns : (row + 1) * columns]))
        below = line * lines + tick + TICK_ROOM if lines else 0.5 * GAP
        level = sheet.top - row * (high + GAP) - high + below
        axes = sheet.panel(start, level, wide, top - level)
        axes.set_xlim(cell.left, cell.right)
        axes.set_ylim(cell.low, cell.high)
        _number(axes, wide)
        ticks(axes, across=bool(cell.across), up=bool(cell.up))
        sheet.write(cell.heading, start, top + 0.4, anchor="left")
        for number_, text in enumerate(acrosses[index], start=1):
            sheet.write(text, start + 0.5 * wide, level - below + line * (lines - number_), anchor="center")
        for number_, text in enumerate(ups[index], start=1):
            sheet.write(text, start - labelled + line * number_, 0.5 * (top + level), anchor="center", angle=90.0)
        made.append(axes)
    return tuple(made)


def _number(axes: Axes, wide: float) -> None:
    """Few round ticks on both axes, as many on the level one as its width [mm] has room for."""
    across = MaxNLocator(nbins=max(2, int(wide / 12.0)), steps=[1, 2, 2.5, 5, 10])
    for axis, locator in ((axes.xaxis, across), (axes.yaxis, MaxNLocator(nbins=7, steps=[1, 2, 2.5, 5, 10]))):
        axis.set_major_locator(locator)
        axis.set_major_formatter(FuncFormatter(tick_text))
