"""Rule map: where a rule holds and where it breaks over two drivers, a panel for each rule, the share in each cell."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from itertools import pairwise
from string import ascii_uppercase

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator, FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from optdescent.figures.cases import Cases, Driver, cases_of
from optdescent.figures.margins import chosen
from optdescent.figures.page import PT_PER_MM, Page, Sheet, sheet_of
from optdescent.figures.panel import number, tick_text
from optdescent.figures.pen import Array, band, cells, letters, line, ticks
from optdescent.figures.style import INK, QUIET, styled
from optdescent.figures.text import LINE, width, wrapped
from optdescent.results.files import Fault, InputFault
from optdescent.results.over_conditions import OverConditions
from optdescent.results.sweep import Swept

NOTE = (
    "Share of cases stable at the gate, of {cases} cases; in each cell {least} or more, over all levels of what the "
    "axes do not show. {edges}{none}"
)
EDGES = "Cells of {drivers} end where each holds about as many cases as the others. "
CLASSES = ((0.0, 20.0), (20.0, 50.0), (50.0, 80.0), (80.0, 95.0), (95.0, 100.0))
"""Shares [%] that are shaded alike; each ends below its second number, the last at it."""
SHADES = ("#0b2447", "#2f5f97", "#76a3cd", "#b5d0e7", "#edf4fa")
"""Shade of each class: the lower the share the darker."""
MOST_WORDS, MOST_LEVELS = 8, 30
"""Words, and numbers, that are cells of their own; more numbers are put together, more words cannot be drawn."""
_UP, _ACROSS = 0.16, 10.0
"""Room of a name: at the left as part of the width of the page, below a cell at least [mm]."""
_NARROW, _WIDE = 26.0, 38.0
"""Width that a panel has at least, on a narrow page and on others, to share among the names below it [mm]."""
_WHITE = CLASSES[1][1]
"""Share [%] below which letters are white."""
_PER_CELL = 16.0
"""Cases that a cell is to hold, at least."""
_MOST_CELLS = 7
_ASPECT = 1.3
"""Width over height of a panel, as near as the page allows."""
_LEAST_WIDE, _LEAST_HIGH = 14.0, 10.0
"""Smallest panel [mm]."""
_GAP, _TICK_ROOM = 2.5, 2.4
_INSET = 0.09
"""Part of an axis at both ends that has no ticks: their labels would meet those of the next panel."""
_EDGE = "#777777"


@dataclass(frozen=True)
class _Cells:
    """Cells along one driver: their edges [as drawn], which of them each case is in, and names if they have any.

    `are_together` says that a cell holds several levels.
    """

    edges: Array
    place: NDArray[np.intp]
    names: tuple[str, ...]
    are_together: bool = False


def rule_map(
    found: OverConditions | Swept, page: Page = Page.A4, axes: tuple[str, ...] = (), rules: tuple[str, ...] = ()
) -> Figure:
    """Share of stable gates [%] over two drivers [file units].

    Parameters
    ----------
    axes : tuple of str
        Names of the driver across and the one upright; if empty those that explain most of the misses, or the first.
    rules : tuple of str
        Names of the rules drawn; all if empty.

    Raises
    ------
    InputFault
        No driver or rule has a name that is asked for, a driver cannot be drawn, or the page has no room.
    """
    cases = cases_of(found)
    shown = chosen(rules, cases.rules)
    across, up = _drivers(cases, axes)
    wanted = int(np.clip(math.sqrt(across.levels.size / _PER_CELL), 2, _MOST_CELLS))
    (columns, first), (lines, second) = (
        _lettered(_cells(across, wanted), page),
        _lettered(_cells(up, wanted), page, up=True),
    )
    grid = columns, lines
    where = [cases.rules.index(name) for name in shown]
    counts, shares = zip(*(_shares(cases.stable[at], *grid) for at in where), strict=True)
    met = np.concatenate([count[count > 0.0] for count in counts])
    none = "Dash: no case." if any((count == 0.0).any() and count.any() for count in counts) else ""
    together = [driver.words.lower() for driver, own in zip((across, up), grid, strict=True) if own.are_together]
    edges = EDGES.format(drivers=" and ".join(together)) if together else ""
    least = int(met.min()) if met.size else 0
    with styled():
        note = NOTE.format(cases=across.levels.size, least=least, edges=edges, none=none).strip()
        told = [f"{driver.words}: {names}." for driver, names in ((across, first), (up, second)) if names]
        note = " ".join([note, *told])
        frame = sheet_of(page, (cases.provenance,), "Where a rule holds and where it breaks", note)
        floor = _key(frame)
        for panel, share in zip(_panels(frame, floor, shown, (across, up), grid), shares, strict=True):
            _fill(panel, *grid, share, page)
        return frame.figure


def shade(share: Array) -> NDArray[np.intp]:
    """Number of the class of shares [%]; one beyond the last where a share is not known."""
    ends = [end for _, end in CLASSES[:-1]]
    return np.where(np.isfinite(share), np.searchsorted(ends, np.nan_to_num(share), side="right"), len(CLASSES))


def _drivers(cases: Cases, names: tuple[str, ...]) -> tuple[Driver, Driver]:
    """Two drivers that can be drawn: those named, or those of most worth.

    Raises
    ------
    InputFault
        A name that no driver has, not two of them, or words of too many levels.
    """
    able = [driver for driver in cases.drivers if _can_be_drawn(driver)]
    if names:
        found = [cases.driver(name) for name in names]
        faults = [
            Fault("axis", "", f"{driver.name!r} has {len(driver.distinct)} levels", _allowed(able))
            for driver in found
            if not _can_be_drawn(driver)
        ]
        if faults:
            raise InputFault(faults)
    else:
        worth = {driver.name: own for driver, own in zip(cases.drivers, cases.worth.tolist(), strict=True)}
        found = sorted(able, key=lambda driver: -worth[driver.name])[:2]
        found.sort(key=lambda driver: len(driver.distinct) <= MOST_WORDS)
    if len(found) != 2 or found[0].name == found[1].name:
        raise InputFault([Fault("axis", "", f"{len(found)} to draw over", f"two different of {_allowed(able)}")])
    return found[0], found[1]


def _allowed(able: list[Driver]) -> str:
    return ", ".join(driver.name for driver in able) or "a result with two varied quantities"


def _can_be_drawn(driver: Driver) -> bool:
    """Whether levels have an order to put them together by, or are few, and there are several."""
    distinct = len(driver.distinct)
    return distinct > 1 and (distinct <= MOST_WORDS or driver.levels.dtype.kind == "f")


def _cells(driver: Driver, wanted: int) -> _Cells:
    distinct = driver.distinct
    if len(distinct) <= MOST_WORDS or not driver.is_number:
        order = {level: index for index, level in enumerate(distinct)}
        place = np.array([order[level] for level in driver.levels.tolist()], dtype=np.intp)
        names = tuple(number(level) if driver.is_number else str(level) for level in distinct)
        return _Cells(np.arange(len(distinct) + 1.0) - 0.5, place, names)
    levels = np.asarray(driver.levels, dtype=float)
    if len(distinct) <= MOST_LEVELS:
        known = np.asarray(distinct, dtype=float)
        middles = 0.5 * (known[1:] + known[:-1])
        edges = np.concatenate([[2.0 * known[0] - middles[0]], middles, [2.0 * known[-1] - middles[-1]]])
        return _Cells(edges, np.searchsorted(middles, levels), ())
    edges = np.unique(np.quantile(levels, np.linspace(0.0, 1.0, wanted + 1)))
    return _Cells(edges, np.clip(np.searchsorted(edges, levels, side="right") - 1, 0, edges.size - 2), (), True)


def _lettered(own: _Cells, page: Page, *, up: bool = False) -> tuple[_Cells, str]:
    """Cells with letters for names that have no room beside them, and what each stands for; nothing where they have."""
    size, count = page.value, max(len(own.names), 1)
    room = _UP * size.width if up else max(_ACROSS, (_NARROW if page.is_narrow else _WIDE) / count)
    if all(width(name, size.small) <= PT_PER_MM * room for name in own.names):
        return own, ""
    letters_ = tuple(ascii_uppercase[: len(own.names)])
    told = "; ".join(f"{letter}: {name}" for letter, name in zip(letters_, own.names, strict=True))
    return replace(own, names=letters_), told


def _shares(stable: Array, across: _Cells, up: _Cells) -> tuple[Array, Array]:
    """Number of cases (up, across) in each cell, and the share of them that is stable [%]."""
    shape = up.edges.size - 1, across.edges.size - 1
    known = np.isfinite(stable)
    count, good = np.zeros(shape), np.zeros(shape)
    np.add.at(count, (up.place[known], across.place[known]), 1.0)
    np.add.at(good, (up.place[known], across.place[known]), stable[known])
    return count, np.divide(100.0 * good, count, out=np.full(shape, np.nan), where=count > 0.0)


def _key(frame: Sheet) -> float:
    """A shade for each class with its share along the bottom; returns the level [mm] above it."""
    size = frame.page.value
    high = LINE * size.small / PT_PER_MM
    axes = frame.panel(frame.left, frame.bottom, frame.right - frame.left, high)
    axes.set_axis_off()
    wide = PT_PER_MM * (frame.right - frame.left)
    axes.set_xlim(0.0, wide)
    axes.set_ylim(0.0, high * PT_PER_MM)
    title = "Share stable [%]"
    place = width(title, size.small) + 2.0 * size.small
    letters(axes, 0.0, 0.3 * size.small, title, size.small, INK)
    step = min(7.0 * size.small, (wide - place) / len(CLASSES))
    for (low, end), colour in zip(CLASSES, SHADES, strict=True):
        _box(axes, place, place + 1.6 * size.small, 0.15 * size.small, 1.15 * size.small, colour)
        said = f"{low:.0f}\u2013{end:.0f}" if low else f"< {end:.0f}"
        letters(axes, place + 2.0 * size.small, 0.3 * size.small, said, size.small, INK)
        place += step
    return frame.bottom + high + 1.5


def _box(axes: Axes, left: float, right: float, low: float, high: float, colour: str) -> None:
    """Filled box with a thin edge [data units]."""
    band(axes, np.array([left, right]), np.full(2, low), np.full(2, high), colour)
    x, y = np.array([left, right, right, left, left]), np.array([low, low, high, high, low])
    line(axes, x, y, _EDGE, 0.4, order=1.6)


def _panels(
    frame: Sheet, floor: float, names: tuple[str, ...], drivers: tuple[Driver, Driver], cells: tuple[_Cells, _Cells]
) -> tuple[Axes, ...]:
    """Axes under the names of rules; labels once for all, tick labels at the left and at the bottom.

    Raises
    ------
    InputFault
        The page has no room for so many.
    """
    size = frame.page.value
    text_line, tick_line = LINE * size.text / PT_PER_MM, LINE * size.small / PT_PER_MM
    widest = max((width(name, size.small) for name in (cells[1].names or ("−00\u202f000",))), default=0.0)
    left = frame.left + text_line + min(widest / PT_PER_MM, 0.2 * (frame.right - frame.left)) + _TICK_ROOM
    bottom = floor + text_line + tick_line + _TICK_ROOM
    columns, lines = _columns(frame, names, frame.right - left, frame.top - bottom)
    rows = -(-len(names) // columns)
    wide = (frame.right - left - 1.0 - _GAP * (columns - 1)) / columns
    above = tick_line * lines + 0.4
    high = (frame.top - bottom - _GAP * 0.6 * (rows - 1)) / rows - above
    made: list[Axes] = []
    for index, name in enumerate(names):
        row, column = divmod(index, columns)
        level = frame.top - row * (high + above + 0.6 * _GAP) - above - high
        start = left + column * (wide + _GAP)
        axes = frame.panel(start, level, wide, high)
        axes.set_xlim(*cells[0].edges[[0, -1]])
        axes.set_ylim(*cells[1].edges[[0, -1]])
        _axis(axes, cells, (wide, high))
        ticks(axes, across=index + columns >= len(names), up=column == 0, grid=False)
        own = wrapped(name, size.small, PT_PER_MM * wide)
        per_point = abs(float(np.ptp(axes.get_ylim()))) / (PT_PER_MM * high)
        for number_, text in enumerate(reversed(own)):
            foot = axes.get_ylim()[1] + per_point * (2.0 + number_ * LINE * size.small)
            letters(axes, float(cells[0].edges[0]), foot, text, size.small, INK)
        made.append(axes)
    frame.write(drivers[0].label, 0.5 * (left + frame.right), floor, anchor="center")
    frame.write(drivers[1].label, frame.left + text_line, 0.5 * (bottom + frame.top), anchor="center", angle=90.0)
    return tuple(made)


def _columns(frame: Sheet, names: tuple[str, ...], wide: float, high: float) -> tuple[int, int]:
    """Columns of panels in a room [mm], and lines that the longest name then takes.

    Raises
    ------
    InputFault
        There is no room for so many panels.
    """
    size = frame.page.value
    best: tuple[float, int, int] | None = None
    for columns in range(1, len(names) + 1):
        rows = -(-len(names) // columns)
        own = wide / columns - _GAP
        lines = max(len(wrapped(name, size.small, PT_PER_MM * max(own, 1.0))) for name in names)
        tall = high / rows - 0.6 * _GAP - LINE * size.small / PT_PER_MM * lines
        if own < _LEAST_WIDE or tall < _LEAST_HIGH:
            continue
        off = abs(math.log(own / tall / _ASPECT)) + 0.15 * (lines - 1)
        if best is None or off < best[0]:
            best = off, columns, lines
    if best is None:
        given = f"has no room for the maps of {len(names)} rules"
        raise InputFault([Fault("page", "", given, "a larger page, or fewer rules")])
    return best[1:]


def _axis(axes: Axes, cells: tuple[_Cells, _Cells], size: tuple[float, float]) -> None:
    """Ticks: names in the middle of cells that have them, else few round numbers for a length [mm]."""
    for axis, own, length, each in zip((axes.xaxis, axes.yaxis), cells, size, (11.0, 5.0), strict=True):
        if own.names:
            step = max(1, math.ceil(len(own.names) * each / max(length, 1.0)))
            shown = list(range(0, len(own.names), step))
            axis.set_major_locator(FixedLocator(shown))
            axis.set_major_formatter(FixedFormatter([own.names[at] for at in shown]))
        else:
            low, high = float(own.edges[0]), float(own.edges[-1])
            round_ones = MaxNLocator(nbins=max(2, int(length / each)), steps=[1, 2, 2.5, 5, 10]).tick_values(low, high)
            inset = _INSET * (high - low)
            axis.set_major_locator(FixedLocator([at for at in round_ones if low + inset <= at <= high - inset]))
            axis.set_major_formatter(FuncFormatter(tick_text))


def _fill(axes: Axes, across: _Cells, up: _Cells, share: Array, page: Page) -> None:
    """Shade of each cell, and its share in numbers: of all cells, or of those between none and all where it fits."""
    extent, dots = axes.get_window_extent(), 72.0 / axes.figure.dpi
    per_x = float(np.ptp(across.edges)) / (float(extent.width) * dots)
    per_y = float(np.ptp(up.edges)) / (float(extent.height) * dots)
    size = 0.92 * page.value.small
    wide, high = np.diff(across.edges) / per_x, np.diff(up.edges) / per_y
    fits = (high[:, None] > size + 1.0) & (wide > width("100", size) + 1.5)
    if not np.isfinite(share).any():
        left, right, low, top = (float(edges[at]) for edges in (across.edges, up.edges) for at in (0, -1))
        _box(axes, left, right, low, top, "#ffffff")
        letters(axes, 0.5 * (left + right), 0.5 * (low + top), "not flown", page.value.small, QUIET, anchor="center")
        return
    cells(axes, across.edges, up.edges, shade(share), (*SHADES, "#ffffff"), _EDGE)
    for row, (low, top) in enumerate(pairwise(up.edges.tolist())):
        for column, (left, right) in enumerate(pairwise(across.edges.tolist())):
            value = float(share[row, column])
            is_known = math.isfinite(value)
            said = f"{value:.0f}" if is_known else "\u2013"
            is_wanted = fits.all() or said not in ("0", "100")
            if is_wanted and high[row] > size + 1.0 and wide[column] > width(said, size) + 1.5:
                ink = "white" if is_known and value < _WHITE else INK
                foot = 0.5 * (low + top) - 0.36 * size * per_y
                letters(axes, 0.5 * (left + right), foot, said, size, ink, anchor="center")
