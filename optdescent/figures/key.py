"""A key below the panels of a page too narrow for names beside the lines: a piece of each line and its name."""

from __future__ import annotations

from dataclasses import replace

from optdescent.figures.label import SAMPLE
from optdescent.figures.page import PT_PER_MM, Sheet
from optdescent.figures.pen import letters
from optdescent.figures.style import INK, SeriesStyle
from optdescent.figures.text import LINE, width

_BEFORE, _AFTER = 2.5, 8.0
"""Gaps between a piece of line and its name, and from there to the next [pt]."""


def key(frame: Sheet, title: str, entries: tuple[tuple[str, SeriesStyle], ...]) -> Sheet:
    """Write a title and names with pieces of their lines along the bottom; returns what is left of the page [mm].

    Raises
    ------
    InputFault
        The font of figures does not have the letters of a name.
    """
    size, stroke = frame.page.value.small, frame.page.stroke
    wide = PT_PER_MM * (frame.right - frame.left)
    sample, step = SAMPLE * stroke, LINE * size
    each = sample + _BEFORE + max(width(name, size) for name, _ in entries) + _AFTER
    columns = max(1, int((wide + _AFTER) / each))
    rows = -(-len(entries) // columns)
    high = step * (rows + 1)
    axes = frame.panel(frame.left, frame.bottom, frame.right - frame.left, high / PT_PER_MM)
    axes.set_axis_off()
    axes.set_xlim(0.0, wide)
    axes.set_ylim(0.0, high)
    letters(axes, 0.0, high - step + 0.3 * size, title, size, INK)
    for index, (name, style) in enumerate(entries):
        row, column = divmod(index, columns)
        foot = high - (row + 2) * step + 0.3 * size
        axes.add_line(style.piece(column * each, foot + 0.34 * size, sample, stroke))
        letters(axes, column * each + sample + _BEFORE, foot, name, size, INK)
    return replace(frame, bottom=frame.bottom + high / PT_PER_MM + 1.5)
