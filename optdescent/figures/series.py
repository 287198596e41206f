"""Flights drawn as lines, and what a figure needs of a flight before it is drawn."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes

from optdescent.figures.label import Labels
from optdescent.figures.page import Page
from optdescent.figures.pen import Array, line
from optdescent.figures.style import INK, OPTIMUM_STYLE, SeriesStyle
from optdescent.results import Flight
from optdescent.results.files import Fault, InputFault
from optdescent.results.kinds import faults_of


def require(figure: str, flights: tuple[Flight, ...], column: str) -> None:
    """Refuse flights that a figure of a column [SI] cannot draw.

    Raises
    ------
    InputFault
        No flight, or a flight that lacks what every flight must hold or does not know the column anywhere; every fault
        is named.
    """
    faults = [] if flights else [Fault(f"figure {figure}", "", "no flight", "at least one flight")]
    for flight in flights:
        where = f"flight {flight.name}"
        own = faults_of(flight, where)
        if not own and not np.isfinite(flight.column(column)).any():
            own = [Fault(where, column, "is not known anywhere", f"a number, which figure {figure} draws")]
        faults += own
    if faults:
        raise InputFault(faults)


def draw_series(axes: Axes, x: Array, y: Array, style: SeriesStyle, stroke: float) -> None:
    """Line of one flight through x (n,) [nm] and y (n,) [as drawn]; line widths times `stroke` [-]."""
    order = 3.0 if style is OPTIMUM_STYLE else 3.0 + 0.1 * len(style.dash) / 4.0
    style.mark(line(axes, x, y, style.colour, style.width * stroke, dash=style.dash, order=order), stroke)


def draw_bracket(
    axes: Axes, labels: Labels, name: str, place: float, low: float | None, high: float | None, page: Page
) -> None:
    """Bracket at a place [nm] from low to high [as drawn], open where it is free, with its name; none if free."""
    if (low is None and high is None) or not 0.0 <= place <= axes.get_xlim()[0]:
        return
    bottom, top = axes.get_ylim()
    y = np.array([bottom if low is None else low, top if high is None else high])
    x = np.array([place, place])
    across = place + 0.008 * axes.get_xlim()[0] * np.array([-1.0, 1.0])
    line(axes, x, y, INK, 1.0 * page.stroke, order=3.5)
    for end in (low, high):
        if end is not None:
            line(axes, across, np.array([end, end]), INK, 1.4 * page.stroke, order=3.5)
            labels.avoid(across, np.array([end, end]))
    labels.avoid(x, y)
    labels.name(name, x, y, INK, page.value.small)
