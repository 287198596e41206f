"""Panels over one list of names: a row for each name, a panel beside it for each quantity, each with its own axis."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, MaxNLocator

from optdescent.figures.page import PT_PER_MM, Sheet
from optdescent.figures.panel import tick_text
from optdescent.figures.pen import line, ticks, without_ligatures
from optdescent.figures.text import LINE, SMALLEST, balanced, width, wrapped
from optdescent.results.files import Fault, InputFault

_GAP, _TICK_ROOM = 3.0, 2.6
"""Gaps between panels, and from an axis to the far side of its tick marks [mm]."""
_NAMES = 0.36
"""Largest part of the width that names take."""
_APART = 1.12
"""Height of a row in heights of the lines of its name."""


@dataclass(frozen=True)
class Beside:
    """A panel: heading, label of its axis with the unit, ends of the axis [as drawn]."""

    heading: str
    label: str
    low: float
    high: float


@dataclass(frozen=True)
class _Names:
    """Names in lines at a font size [pt], and the room that they take [mm]."""

    lines: tuple[str, ...]
    size: float
    wide: float


def rows(sheet: Sheet, names: tuple[str, ...], panels: tuple[Beside, ...]) -> tuple[Axes, ...]:
    """Axes of panels whose row r is from r to r + 1 downwards: side by side, in pairs on a narrow page.

    Raises
    ------
    InputFault
        The page has no room for so many names.
    """
    size = sheet.page.value
    columns = min(2, len(panels)) if sheet.page.is_narrow else len(panels)
    blocks = -(-len(panels) // columns)
    text_line, tick_line = LINE * size.text / PT_PER_MM, LINE * size.small / PT_PER_MM
    wide = (sheet.right - sheet.left) / columns
    least = (1.0 - _NAMES) * wide - _GAP
    labels = [balanced(one.label, size.text, PT_PER_MM * least) for one in panels]
    headings = [balanced(one.heading, size.text, PT_PER_MM * least) for one in panels]
    above = text_line * max(len(lines) for lines in headings)
    below = text_line * max(len(lines) for lines in labels) + tick_line + _TICK_ROOM
    high = (sheet.top - sheet.bottom - _GAP * (blocks - 1)) / blocks
    written = _written(sheet, names, (high - above - below) / max(len(names), 1))
    end = 0.5 * width("000", size.small) / PT_PER_MM
    span = (sheet.right - sheet.left - written.wide - end - _GAP * (columns - 1)) / columns
    made: list[Axes] = []
    for index, (one, heading, label) in enumerate(zip(panels, headings, labels, strict=True)):
        block, column = divmod(index, columns)
        start = sheet.left + written.wide + column * (span + _GAP)
        top = sheet.top - block * (high + _GAP)
        axes = sheet.panel(start, top - high + below, span, high - above - below)
        axes.set_xlim(one.low, one.high)
        axes.set_ylim(len(names), 0.0)
        _axis(axes, span)
        _name(axes, written if column == 0 else _Names(("",) * len(names), written.size, 0.0))
        for number_, text in enumerate(heading):
            sheet.write(text, start, top - (number_ + 1) * text_line + 0.2, anchor="left")
        for number_, text in enumerate(label, start=1):
            foot = top - high + below - tick_line - _TICK_ROOM - number_ * text_line
            sheet.write(text, start + 0.5 * span, foot, anchor="center")
        made.append(axes)
    return tuple(made)


def _written(sheet: Sheet, names: tuple[str, ...], row: float) -> _Names:
    """Names as large as rows of a height [mm] have room for, in as many lines as needed.

    Raises
    ------
    InputFault
        There is no room, or the font of figures does not have the letters of a name.
    """
    room = _NAMES * (sheet.right - sheet.left)
    size = sheet.page.value.small
    while size >= SMALLEST:
        lines = [wrapped(name, size, PT_PER_MM * room) or ("",) for name in names]
        if _APART * size * max((len(own) for own in lines), default=1) <= PT_PER_MM * row:
            widest = max((width(line, size) for own in lines for line in own), default=0.0)
            return _Names(tuple("\n".join(own) for own in lines), size, widest / PT_PER_MM + 2.0)
        size -= 0.1
    raise InputFault([Fault("page", "", f"has no room for {len(names)} names", "a larger page, fewer rules")])


def _axis(axes: Axes, wide: float) -> None:
    """Few round ticks, as many as a panel so wide [mm] has room for, and a heavier line at zero."""
    axes.xaxis.set_major_locator(MaxNLocator(nbins=max(2, int(wide / 8.0)), steps=[1, 2, 2.5, 5, 10]))
    axes.xaxis.set_major_formatter(FuncFormatter(tick_text))
    axes.spines["left"].set_visible(False)
    low, high = axes.get_xlim()
    if low < 0.0 < high:
        line(axes, np.zeros(2), np.array(axes.get_ylim()), "#777777", 0.7, order=1.5)


def _name(axes: Axes, names: _Names) -> None:
    axes.yaxis.set_major_locator(FixedLocator([row + 0.5 for row in range(len(names.lines))]))
    axes.yaxis.set_major_formatter(FixedFormatter(list(names.lines)))
    for text in axes.get_yticklabels():
        text.set_fontsize(names.size)
        without_ligatures(text)
    ticks(axes, up=names.wide > 0.0)
    upright: Any = axes.yaxis
    upright.set_tick_params(length=0.0)
