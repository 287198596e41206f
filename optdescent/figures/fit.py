"""A fit of airframe coefficients: what was found with standard errors, and residuals against time and airspeed."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.ticker import FixedFormatter, FixedLocator

from optdescent.figures.page import PT_PER_MM, Page, Sheet, sheet_of
from optdescent.figures.panel import number_axis
from optdescent.figures.pen import Array, letters, line, ticks, without_ligatures
from optdescent.figures.style import INK, QUIET, styled
from optdescent.figures.text import LINE, SMALLEST, width
from optdescent.results import Fit
from optdescent.results.files import Fault, InputFault
from optdescent.results.fit import FIT_COLUMNS
from optdescent.units import MINUTE

NOTE = (
    "Above: value found against the declared one, in standard errors of it; the bar is two standard errors to each "
    "side. Below: recorded less fitted, point by point; dashed: two standard deviations of the noise; grey: a new "
    "recording begins."
)
_DOT = "#0a3468"
_GAP = 3.0
_TWO = 2.0


def fit(found: Fit, page: Page = Page.A4) -> Figure:
    """Coefficients over their declared values, and residuals of airspeed [kt] and altitude [ft].

    Raises
    ------
    InputFault
        More coefficients than a page has room for.
    """
    with styled():
        frame = sheet_of(page, (found.provenance,), "Airframe coefficients from recordings", NOTE)
        high = frame.top - frame.bottom
        middle = frame.bottom + (0.36 if page.is_narrow else 0.46) * high
        _coefficients(frame, found, middle)
        _residuals(frame, found, middle - _GAP)
        return frame.figure


def _label_room(frame: Sheet) -> float:
    """Room left of the axes of residuals [mm]: one line of text and tick labels."""
    size = frame.page.value
    return LINE * size.text / PT_PER_MM + width("\u221220", size.small) / PT_PER_MM + 2.6


def _coefficients(frame: Sheet, found: Fit, bottom: float) -> None:
    """One row a coefficient: name, bar of two standard errors, declared and found value."""
    size = frame.page.value
    value, error, declared = (found.column(name) for name in ("value", "standard_error", "declared"))
    is_found = error > 0.0
    moved = np.divide(value - declared, error, out=np.zeros_like(value), where=is_found)
    table = _Table(found.sentences, tuple(map(_number, declared)), tuple(map(_found, value, error)))
    draw = _above if frame.page.is_narrow else _beside
    axes, middle = draw(frame, table, bottom, max(4.0, float(np.ceil(np.abs(moved).max(initial=0.0) + _TWO + 0.5))))
    begin = 2.0 * middle - 1.0  # what is written above a bar stays free of the line
    for row in range(value.size):
        line(axes, np.zeros(2), np.array([row + begin, row + 1.0]), INK, 0.8 * frame.page.stroke, order=1.9)
    for row in np.flatnonzero(is_found):
        level, at = row + middle, float(moved[row])
        line(axes, np.array([at - _TWO, at + _TWO]), np.full(2, level), _DOT, 1.6 * frame.page.stroke, order=3.0)
        spot = line(axes, np.array([at]), np.array([level]), _DOT, 1.0, order=4.0)
        spot.set(marker="o", markersize=3.6 * frame.page.stroke)
    centre = size.width * float(np.mean(axes.get_position().get_points()[:, 0]))
    frame.write("Found less declared [standard errors]", centre, bottom, anchor="center")


@dataclass(frozen=True)
class _Table:
    """What is written of each coefficient: its name, its declared and its found value."""

    names: tuple[str, ...]
    declared: tuple[str, ...]
    found: tuple[str, ...]


def _scale(frame: Sheet, low: float, high: float, ends: tuple[float, float], reach: float, rows: int) -> Axes:
    """Axes of rows between two levels and two ends [mm], standard errors across."""
    axes = frame.panel(ends[0], low, ends[1] - ends[0], high - low)
    axes.set_xlim(-reach, reach)
    axes.set_ylim(rows, 0.0)
    axes.spines["left"].set_visible(False)
    upright: Any = axes.yaxis
    upright.set_tick_params(length=0.0)
    return axes


def _foot(frame: Sheet, bottom: float) -> float:
    """Level [mm] of the axes over a label and tick labels."""
    size = frame.page.value
    return bottom + LINE * (size.text + size.small) / PT_PER_MM + 2.0


def _beside(frame: Sheet, table: _Table, bottom: float, reach: float) -> tuple[Axes, float]:
    """Axes with names to the left of them and values to the right, and where in a row its bar is.

    Raises
    ------
    InputFault
        The page has no room for so many.
    """
    size, rows = frame.page.value, len(table.names)
    foot, top = _foot(frame, bottom), frame.top - LINE * size.small / PT_PER_MM
    points = min(size.small, 0.8 * (top - foot) * PT_PER_MM / rows)
    _check_room(points, rows)
    columns = (("declared", *table.declared), ("found ± standard error", *table.found))
    wide = [max(width(text, points) for text in column) / PT_PER_MM + 2.0 for column in columns]
    names = max(width(text, points) for text in table.names) / PT_PER_MM + 2.0
    span = frame.right - frame.left - names - sum(wide)
    left = frame.left + names
    axes = _scale(frame, foot, top, (left, left + span), reach, rows)
    axes.yaxis.set_major_locator(FixedLocator([row + 0.5 for row in range(rows)]))
    axes.yaxis.set_major_formatter(FixedFormatter(list(table.names)))
    for text in axes.get_yticklabels():
        text.set_fontsize(points)
        without_ligatures(text)
    base = 0.34 * points / ((top - foot) * PT_PER_MM) * rows
    start = span + 2.0
    for column, room in zip(columns, wide, strict=True):
        for row, text in enumerate(column):
            letters(axes, reach * (2.0 * start / span - 1.0), row - 0.5 + base, text, points, INK if row else QUIET)
        start += room
    return axes, 0.5


def _above(frame: Sheet, table: _Table, bottom: float, reach: float) -> tuple[Axes, float]:
    """Axes as wide as the page with names and values above each bar, and where in a row the bar is.

    Raises
    ------
    InputFault
        The page has no room for so many.
    """
    size, rows = frame.page.value, len(table.names)
    foot, top = _foot(frame, bottom), frame.top - LINE * size.small / PT_PER_MM
    wide, high = PT_PER_MM * (frame.right - frame.left - 3.0), PT_PER_MM * (top - foot) / rows
    values = ("declared, found ± standard error", *map("{}, {}".format, table.declared, table.found))
    told = tuple(zip(("", *table.names), values, strict=True))
    widest = max(width(f"{name}  {value}", size.small) for name, value in told)
    points = min(size.small, 0.55 * high, size.small * wide / widest)
    _check_room(points, rows)
    ends = frame.left + 1.5, frame.right - 1.5
    axes = _scale(frame, foot, top, ends, reach, rows)
    axes.yaxis.set_major_locator(FixedLocator([]))
    ticks(axes, grid=False)
    for row, (name, value) in enumerate(told):
        base, ink = row - 1.0 + 1.05 * points / high if row else -2.0 / high, INK if row else QUIET
        letters(axes, -reach, base, name, points, ink)
        letters(axes, reach * (1.0 - 2.0 * width(value, points) / wide), base, value, points, ink)
    return axes, 0.78


def _check_room(points: float, rows: int) -> None:
    """See that letters of rows are large enough [pt].

    Raises
    ------
    InputFault
        They are not.
    """
    if points < SMALLEST:
        given = f"has no room for {rows} coefficients"
        raise InputFault([Fault("page", "", given, "a larger page, fewer coefficients")])


def _number(value: float) -> str:
    return f"{value:.4g}".replace("-", "\u2212")


def _found(value: float, error: float) -> str:
    """Found value with its standard error, to the digits that the error leaves."""
    if error <= 0.0:
        return f"{_number(value)} fixed"
    digits = max(0, 1 - int(np.floor(np.log10(error))))
    return f"{value:.{digits}f} ± {error:.{digits}f}".replace("-", "\u2212")


def _residuals(frame: Sheet, found: Fit, top: float) -> None:
    """Residuals of airspeed and altitude against time in the fit, and against airspeed."""
    size = frame.page.value
    line_high, tick_high = LINE * size.text / PT_PER_MM, LINE * size.small / PT_PER_MM
    left = frame.left + _label_room(frame)
    split = left + 0.62 * (frame.right - left)
    foot = frame.bottom + line_high + tick_high + 2.0
    high = 0.5 * (top - foot - _GAP)
    time, starts = _time(found)
    speed = found.column("speed") / FIT_COLUMNS["speed"].chart_unit.factor
    for index, name in enumerate(("speed", "altitude")):
        column = FIT_COLUMNS[f"{name}_residual"]
        unit = column.chart_unit
        values, noise = found.column(column.name) / unit.factor, found.noise(name) / unit.factor
        level = top - high - index * (high + _GAP)
        label = f"{name.capitalize()} [{unit.symbol}]"
        frame.write(label, frame.left + line_high, level + 0.5 * high, anchor="center", angle=90.0)
        reach = 1.08 * float(np.abs(values).max())
        for x, place, wide in ((time, left, split - left - 4.0), (speed, split, frame.right - split - 1.5)):
            axes = frame.panel(place, level, wide, high)
            axes.set_xlim(float(x.min()), float(x.max()))
            axes.set_ylim(-reach, reach)
            number_axis(axes)
            ticks(axes, across=index == 1)
            if x is speed:
                ticks(axes, up=False)
            else:
                _separate(axes, starts, reach)
            _points(axes, x, values, frame.page.stroke)
            for side in (-_TWO, 0.0, _TWO):
                dash = (4.0, 2.5) if side else ()
                line(axes, np.array([x.min(), x.max()]), np.full(2, side * noise), INK, 0.7, dash=dash, order=4.0)
    frame.write("Time in the fitted segments [min]", 0.5 * (left + split - 4.0), frame.bottom, anchor="center")
    across = "Airspeed [kt]" if frame.page.is_narrow else "Recorded airspeed [kt]"
    frame.write(across, 0.5 * (split + frame.right), frame.bottom, anchor="center")


def _time(found: Fit) -> tuple[Array, Array]:
    """Time of each point with the gaps between segments closed, and where each recording begins [min]."""
    time, segment, flight = (found.column(name) for name in ("time", "segment", "flight"))
    step = np.diff(time, prepend=time[0])
    step[1:][np.diff(segment) != 0.0] = 1.0
    closed = np.cumsum(step) / MINUTE
    return closed, closed[1:][np.diff(flight) != 0.0]


def _separate(axes: Axes, starts: Array, reach: float) -> None:
    for start in starts:
        line(axes, np.full(2, start), np.array([-reach, reach]), "#bbbbbb", 0.8, order=1.9)


def _points(axes: Axes, x: Array, y: Array, stroke: float) -> None:
    """Small dots at x, y (n,) [data units]."""
    dots = Line2D(x, y, linestyle="none", marker="o", markersize=1.1 * stroke, color=_DOT, zorder=3.0)
    dots.set(markeredgewidth=0.0)
    axes.add_line(dots)
