"""Front of rules: fuel against share, a line for each number of things to remember, a library's rules beside."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.grid import Cell, grid
from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet_of
from optdescent.figures.pen import Array, line
from optdescent.figures.style import INK, OTHER_STYLES, QUIET, SeriesStyle, styled
from optdescent.results.files import Fault, InputFault
from optdescent.results.front import FRONT_COLUMNS, Front

NOTE = (
    "Left is cheaper, up is safer. Filled: derived rules that none betters, joined where there are as many things to "
    "remember; ring: the recommended one. Hollow: rules of {library}, things to remember in brackets. All in {check} "
    "conditions that nothing was searched in. Bars: share predicted for {unseen} conditions never looked at; cross "
    "bars: share found there. Dashed: share that was wanted."
)
MOST_NAMES = 24
"""Rules of a library that a page has room for."""
_LIBRARY = SeriesStyle("#a64310", 1.0, (), "s")
_DERIVED = (OTHER_STYLES[0], OTHER_STYLES[2], OTHER_STYLES[3], OTHER_STYLES[4])
_MARKER = 2.0
"""Half the size of a marker [pt]."""
_ROOM = 0.08
"""Part of the width of what is shown that is left free beside it."""


@dataclass(frozen=True)
class _Points:
    """What is drawn of rules (rule,): fuel [kg] and shares [%]; places of the derived and of the library's rules."""

    names: tuple[str, ...]
    things: Array
    fuel: Array
    share: Array
    low: Array
    high: Array
    found: Array
    derived: list[int]
    others: list[int]
    recommended: int | None

    @classmethod
    def of(cls, front: Front) -> _Points:
        fuel = front.column("fuel_mean") / FRONT_COLUMNS["fuel_mean"].chart_unit.factor
        is_derived, is_known = front.flags("is_derived"), np.isfinite(fuel)
        is_shown = front.flags("is_on_front") | front.flags("is_recommended")
        if not (is_derived & is_shown).any():
            is_shown = is_derived
        return cls(
            front.names,
            front.column("simplicity"),
            fuel,
            100.0 * front.column("held_share"),
            100.0 * front.column("predicted_low"),
            100.0 * front.column("predicted_high"),
            100.0 * front.column("unseen_held_share"),
            np.flatnonzero(is_derived & is_shown & is_known).tolist(),
            np.flatnonzero(~is_derived & is_known).tolist(),
            front.recommended,
        )


def front(found: Front, page: Page = Page.A4) -> Figure:
    """Mean fuel [kg] against share of stable gates [%]: all rules, and the derived ones at a larger scale.

    Raises
    ------
    InputFault
        More rules in the library than a page has room for, or no derived rule.
    """
    points = _Points.of(found)
    if len(points.others) > MOST_NAMES:
        given = f"{len(points.others)} rules of the library"
        raise InputFault([Fault("figure front", "", given, f"at most {MOST_NAMES}")])
    if not points.derived:
        raise InputFault([Fault("figure front", "", "no derived rule", "at least one")])
    attributes = found.table.attrs
    note = NOTE.format(
        library=found.library, check=attributes["check_conditions"], unseen=attributes["unseen_conditions"]
    )
    with styled():
        frame = sheet_of(page, (found.provenance,), "Derived rules: simplicity, fuel, share of stable gates", note)
        everywhere = [*points.derived, *points.others]
        label = "Stable, every limit kept [%]" if found.keeps_limits else "Stable at the gate [%]"
        cells = (
            _cell("All rules", label, points, everywhere, -4.0),
            _cell("Derived rules, larger scale", label, points, points.derived, None),
        )
        whole, close = grid(frame, cells, 1, "00.0")
        _draw(whole, found.wanted, points, page, is_close=False)
        _draw(close, found.wanted, points, page, is_close=True)
        return frame.figure


def _cell(heading: str, label: str, points: _Points, shown: list[int], floor: float | None) -> Cell:
    """A panel that holds some rules; from a floor [%] if given, else from below the least that is drawn of them."""
    fuel = points.fuel[shown]
    room = _ROOM * max(float(np.ptp(fuel)), 5.0)
    least = float(min(points.low[shown].min(), points.found[shown].min()))
    low = max(5.0 * np.floor(0.2 * least - 0.2), 0.0) if floor is None else floor
    high = 100.0 + 0.06 * (100.0 - low)
    ends = float(fuel.min()) - room, float(fuel.max()) + room
    return Cell(heading, "Fuel, mean [kg]", label, *ends, low, high)


def _draw(axes: Axes, wanted: float, points: _Points, page: Page, *, is_close: bool) -> None:
    labels = Labels(axes, page.stroke)
    start, end = axes.get_xlim()
    x, y = np.array([start, end]), np.full(2, 100.0 * wanted)
    line(axes, x, y, QUIET, 0.9 * page.stroke, dash=(4.0, 2.5), order=1.8)
    labels.avoid(x, y)
    if is_close:
        _intervals(axes, points, page, labels)
    else:
        _library(axes, points, page, labels)
    _derived(axes, points, page, labels, is_close=is_close)
    labels.settle()


def _derived(axes: Axes, points: _Points, page: Page, labels: Labels, *, is_close: bool) -> None:
    counts = sorted({points.things[place] for place in points.derived})
    for index, count in enumerate(counts):
        style = _DERIVED[index % len(_DERIVED)]
        own = sorted(
            (place for place in points.derived if points.things[place] == count), key=lambda at: points.share[at]
        )
        x, y = points.fuel[own], points.share[own]
        line(axes, x, y, style.colour, style.width * page.stroke, dash=style.dash, order=3.0)
        labels.avoid(x, y)
        for place in own:
            _mark(axes, points, place, style, page)
            if is_close:
                spot = _about(axes, points, place)
                labels.avoid(*spot)
                labels.name(points.names[place], *spot, INK, page.value.small)
        if not is_close:
            sample = replace(style, marker="") if len(own) > 1 else None
            labels.name(f"derived, {count:.0f} things", x, y, INK, page.value.small, sample)


def _mark(axes: Axes, points: _Points, place: int, style: SeriesStyle, page: Page) -> None:
    """Filled marker of a derived rule, with a ring about the recommended one."""
    x, y = _at(points, place)
    spot = line(axes, x, y, style.colour, 1.0, order=4.0)
    spot.set(marker=style.marker, markersize=3.8 * page.stroke)
    if place == points.recommended:
        ring = line(axes, x, y, INK, 1.0, order=4.1)
        ring.set(marker="o", markersize=8.5 * page.stroke, markerfacecolor="none", markeredgewidth=0.9 * page.stroke)


def _library(axes: Axes, points: _Points, page: Page, labels: Labels) -> None:
    for place in points.others:
        x, y = _at(points, place)
        spot = line(axes, x, y, _LIBRARY.colour, 1.0, order=3.5)
        spot.set(marker=_LIBRARY.marker, markersize=3.4 * page.stroke)
        spot.set(markerfacecolor="white", markeredgewidth=0.8 * page.stroke)
        around = _about(axes, points, place)
        labels.avoid(*around)
        labels.name(f"{points.names[place]} ({points.things[place]:.0f})", *around, INK, page.value.small)


def _intervals(axes: Axes, points: _Points, page: Page, labels: Labels) -> None:
    """Predicted interval of each derived rule as an upright bar, with a cross bar where the share was found."""
    start, end = axes.get_xlim()
    half = 0.006 * (end - start)
    for place in points.derived:
        fuel = points.fuel[place]
        x, y = np.full(2, fuel), np.array([points.low[place], points.high[place]])
        line(axes, x, y, QUIET, 0.8 * page.stroke, order=2.0)
        across, found = np.array([fuel - half, fuel + half]), np.full(2, points.found[place])
        line(axes, across, found, INK, 1.2 * page.stroke, order=4.5)
        labels.avoid(x, y)
        labels.avoid(across, found)


def _at(points: _Points, place: int) -> tuple[Array, Array]:
    """Where a rule is, as a line of one point [kg, %]."""
    return points.fuel[[place]], points.share[[place]]


def _about(axes: Axes, points: _Points, place: int) -> tuple[Array, Array]:
    """A line through the corners of a rule's marker [kg, %], for labels to keep off."""
    high, wide = axes.get_ylim(), axes.get_xlim()
    extent = axes.get_window_extent()
    dots = _MARKER * axes.figure.dpi / 72.0
    across = dots * (wide[1] - wide[0]) / float(extent.width)
    up = dots * (high[1] - high[0]) / float(extent.height)
    x, y = points.fuel[place], points.share[place]
    return x + across * np.array([-1.0, 1.0, 1.0, -1.0, -1.0]), y + up * np.array([-1.0, -1.0, 1.0, 1.0, -1.0])
