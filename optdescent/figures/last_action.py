"""Last useful action: along a flight, until where each set of drag devices still saves the approach."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FixedFormatter, FixedLocator

from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet
from optdescent.figures.panel import Row, Span, axis_label, charted, fit, number, panels
from optdescent.figures.pen import Array, letters, line, ticks, without_ligatures
from optdescent.figures.series import draw_series, require
from optdescent.figures.strip import bar, block_name, least_high, per_point_of, row_height, row_size
from optdescent.figures.style import INK, QUIET, SeriesStyle, series_styles, styled
from optdescent.figures.text import width
from optdescent.results import Flight
from optdescent.results.files import Fault, InputFault
from optdescent.results.last_action import LastAction, LastActions
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

NOTE = (
    "A bar ends where the devices it names are last enough: used from there on they still bring the flight to the gate "
    "as it has to be, beyond it they do not. Filled on the line: the same places. A bar to the gate: always enough."
)
MOST_FLIGHTS = 3
_LEAD = 8.0
"""Flight shown before the first last useful point [nm]."""
_LEAST = 25.0
_FILL = "#4d4d4d"
_IN_ROW, _MOST_SHARE = 0.68, 2.6
"""Largest letters in heights of a row: they stand inside a bar; largest height of the bars in those of the profile."""


def last_action(flights: tuple[Flight, ...], told: tuple[LastActions, ...], page: Page = Page.A4) -> Figure:
    """Height above the threshold [ft] over distance to go [nm], and under it until where each set of devices is enough.

    Flights without last useful points, and points of other flights, are left out.

    Raises
    ------
    InputFault
        No flight has last useful points, they are of another scenario, or there are more than a page has room for.
    """
    known = {one.flight: one for one in told if one.actions}
    shown = tuple(flight for flight in flights if flight.name in known)
    _check(flights, shown, told)
    require("last-action", shown, "height_above_threshold")
    own = tuple(known[flight.name] for flight in shown)
    styles = series_styles(shown)
    with styled():
        frame = sheet(page, shown, "Last useful action", NOTE)
        widest = max((action.devices for one in own for action in one.actions), key=len)
        blocks = sum(len(one.actions) + 1 for one in own)
        rows = (
            Row(1.0, axis_label("height_above_threshold"), "00\u202f000"),
            Row(min(0.12 * blocks, _MOST_SHARE), "", widest, least_high(blocks, _IN_ROW)),
        )
        start = _start(shown, own)
        ((height, strip),) = panels(frame, rows, (Span(f"Last {start:.0f} nm", start),))
        _heights(height, shown, own, styles, page)
        _strip(strip, shown, own, styles, page)
        return frame.figure


def _check(flights: tuple[Flight, ...], shown: tuple[Flight, ...], told: tuple[LastActions, ...]) -> None:
    if not shown:
        given = ", ".join(flight.name for flight in flights) or "no flight"
        allowed = f"the flight of one of: {', '.join(one.flight for one in told)}" if told else "last useful points too"
        raise InputFault([Fault("figure last-action", "", given, allowed)])
    digests = {one.provenance.scenario_digest for one in told}
    faults = [
        Fault(f"flight {flight.name}", "", f"is of scenario {flight.provenance.scenario_digest}", ", ".join(digests))
        for flight in shown
        if flight.provenance.scenario_digest not in digests
    ]
    if len(shown) > MOST_FLIGHTS:
        faults.append(Fault("figure last-action", "", f"{len(shown)} flights", f"at most {MOST_FLIGHTS}"))
    if faults:
        raise InputFault(faults)


def _start(flights: tuple[Flight, ...], told: tuple[LastActions, ...]) -> float:
    """Distance to go from which on the flights are shown [nm]."""
    places = [action.distance_to_go / NAUTICAL_MILE for one in told for action in one.actions if action.has_point]
    wanted = 5.0 * math.ceil((max([_LEAST - _LEAD, *places]) + _LEAD) / 5.0)
    return min(wanted, max(float(charted(flight, "distance_to_go").max()) for flight in flights))


def _heights(
    axes: Axes, flights: tuple[Flight, ...], told: tuple[LastActions, ...], styles: tuple[SeriesStyle, ...], page: Page
) -> None:
    curves = [(charted(flight, "distance_to_go"), charted(flight, "height_above_threshold")) for flight in flights]
    fit(axes, curves, floor=0.0)
    labels = Labels(axes, page.stroke)
    for (x, y), one, style in zip(curves, told, styles, strict=True):
        draw_series(axes, x, y, style, page.stroke)
        labels.avoid(x, y)
        for place in (action.distance_to_go / NAUTICAL_MILE for action in one.actions if action.has_point):
            height = float(np.interp(-place, -x, y))
            dot = line(axes, np.array([place]), np.array([height]), style.colour, 1.0, order=5.0)
            dot.set(marker=style.marker or "o", markersize=4.6 * page.stroke)
            if len(flights) == 1:
                drop = np.array([place, place]), np.array([0.0, height])
                line(axes, *drop, QUIET, 0.7 * page.stroke, dash=(1.5, 2.0), order=1.9)
                labels.avoid(*drop)
    for (x, y), flight, style in zip(curves, flights, styles, strict=True):
        labels.name(flight.name, x, y, INK, page.value.small, style)
    labels.settle()


def _strip(
    axes: Axes, flights: tuple[Flight, ...], told: tuple[LastActions, ...], styles: tuple[SeriesStyle, ...], page: Page
) -> None:
    """A block for each flight under its name, in it a bar for each set of devices with what its end says."""
    count = sum(len(one.actions) + 1 for one in told)
    axes.set_ylim(count, 0.0)
    axes.spines["left"].set_visible(False)
    ticks(axes, grid=False)
    row = 0
    names: dict[float, str] = {}
    for flight, one, style in zip(flights, told, styles, strict=True):
        block_name(axes, flight.name, style, row, page)
        for action in one.actions:
            row += 1
            names[row + 0.5] = action.devices
            _row(axes, flight, action, row, page)
        row += 1
    axes.yaxis.set_major_locator(FixedLocator(list(names)))
    axes.yaxis.set_major_formatter(FixedFormatter(list(names.values())))
    for text in axes.get_yticklabels():
        text.set_fontsize(row_size(axes, page))
        without_ligatures(text)


def _row(axes: Axes, flight: Flight, action: LastAction, row: int, page: Page) -> None:
    start, per_point = axes.get_xlim()[0], per_point_of(axes)
    size = min(row_size(axes, page), _IN_ROW * row_height(axes))
    foot = row + 0.5 + 0.34 * size / row_height(axes)
    end = start
    if action.is_of_use:
        end = _gate(flight) if action.is_kept else action.distance_to_go / NAUTICAL_MILE
        bar(axes, start, end, row, _FILL)
    room = max(end, start - end) / per_point - 6.0
    said = next(text for text in _said(action) if width(text, size) < room or not text)
    wide = width(said, size) * per_point
    if wide + 4.0 * per_point < end:
        letters(axes, end - 3.0 * per_point, foot, said, size, INK if action.is_of_use else QUIET)
    else:
        letters(axes, end + 3.0 * per_point + wide, foot, said, size, "white")


def _said(action: LastAction) -> tuple[str, ...]:
    """What stands beside a bar, from long to short."""
    if not action.is_of_use:
        return "too high and fast from the first point asked", "never enough", ""
    if action.is_kept:
        return "enough all the way to the gate", "enough to the gate", ""
    place = f"{action.distance_to_go / NAUTICAL_MILE:.1f} nm"
    height, speed = number(10.0 * round(action.height / FOOT / 10.0)), f"{action.speed / KNOT:.0f} kt"
    return f"{place}, {height} ft, {speed}", f"{place}, {height} ft", place, ""


def _gate(flight: Flight) -> float:
    """Distance to go at the height of the gate [nm]."""
    x, height = charted(flight, "distance_to_go"), charted(flight, "height_above_threshold")
    above = height > flight.marks.gate_height / FOOT
    at: Array = x[above]
    return float(at[-1]) if at.size else 0.0
