"""Slope chart: deceleration at idle in still air and in a tailwind, the wind that ends it, and room between speeds."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.grid import Cell, grid
from optdescent.figures.key import key
from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet_of
from optdescent.figures.pen import Array, line
from optdescent.figures.style import INK, OPTIMUM_STYLE, OTHER_STYLES, QUIET, SeriesStyle, styled
from optdescent.results.files import Fault, InputFault
from optdescent.results.slope import SLOPE_COLUMNS, SlopeChart
from optdescent.units import DEGREE, FOOT

NOTE = (
    "Idle on a path of {angle:g}° over the ground, standard air at {altitude}, {mass:.1f} t: fall of calibrated "
    "airspeed, below zero a rise; each line from the manoeuvring speed to the limit speed of what is out. Tailwind at "
    "which slowing stops: a line that is absent keeps slowing, or never does, in any wind up to 80 kt. Room: limit "
    "speed of the next step above the manoeuvring speed of the one named."
)
STYLES = (OPTIMUM_STYLE, *OTHER_STYLES)
_ROUND = 5.0
"""The upright axes end at multiples of this [kt/nm, kt]."""

_BEYOND = 0.12
"""Part of the level axis beyond the end of a line that is kept free of labels."""


@dataclass(frozen=True)
class _Line:
    """A named line (point,) in the units of its panel."""

    name: str
    x: Array
    y: Array
    style: SeriesStyle


def slope(found: SlopeChart, page: Page = Page.A4) -> Figure:
    """Deceleration [kt/nm] and the tailwind that ends it [kt] against speed [kt], room between speeds [kt] by mass [t].

    At the largest mass of the chart, in still air and in its strongest tailwind, if it has one.

    Raises
    ------
    InputFault
        More steps than can be told apart, or no deceleration at all.
    """
    steps = len(found.names("step"))
    if steps > len(STYLES) or not np.isfinite(found.values("deceleration")).any():
        allowed = f"at most {len(STYLES)} steps, and a deceleration"
        raise InputFault([Fault("figure slope", "", f"{steps} steps", allowed)])
    winds = found.charted("tailwind")
    still, strongest = int(np.argmin(np.abs(winds))), int(np.argmax(winds))
    panels = [("In still air", "Deceleration [kt/nm]", _decelerations(found, still))]
    if strongest != still:
        heading = f"In {winds[strongest]:.0f} kt of tailwind"
        panels.append((heading, "Deceleration [kt/nm]", _decelerations(found, strongest)))
    panels.append(("Tailwind at which slowing stops", "Tailwind [kt]", _stops(found)))
    panels.append(("Room to the next limit speed", "Room [kt]", _rooms(found)))
    slowing = _ends([one for _, up, lines in panels for one in lines if up.startswith("Dec")])
    cells = [_cell(found, heading, up, lines, slowing) for heading, up, lines in panels]
    with styled():
        frame = sheet_of(page, (found.provenance,), "Deceleration on a slope at idle", _note(found))
        if page.is_narrow:
            for title, lines in (("Room:", panels[-1][2]), ("Configurations:", panels[0][2])):
                frame = key(frame, title, tuple((one.name, one.style) for one in lines))
        columns = 1 if page.is_narrow else 2
        for axes, (_, _, lines) in zip(grid(frame, tuple(cells), columns, "\u2212000"), panels, strict=True):
            _panel(axes, lines, page)
        return frame.figure


def _note(found: SlopeChart) -> str:
    altitude = f"{found.altitude / FOOT:,.0f} ft".replace(",", "\u202f")
    return NOTE.format(angle=round(found.angle / DEGREE, 2), altitude=altitude, mass=found.values("mass")[-1] / 1000.0)


def _shown(found: SlopeChart) -> list[int]:
    """Indices of the configurations that a page has room for, in the order in which a crew has them."""
    table = np.array([found.values(name) for name in ("flaps", "gear", "speed_brake")]).T
    last = float(table[:, 0].max())
    second = min(2.0, last)
    wanted = [
        (0.0, 0.0, 0.0),
        (0.0, 0.0, 1.0),
        (1.0, 0.0, 0.0),
        (second, 0.0, 0.0),
        (second, 1.0, 0.0),
        (last, 1.0, 0.0),
    ]
    found_at = [np.flatnonzero((table == one).all(axis=1)) for one in dict.fromkeys(wanted)]
    return [int(at[0]) for at in found_at if at.size]


def _decelerations(found: SlopeChart, wind: int) -> list[_Line]:
    names, speed = found.names("configuration"), found.charted("speed")
    values = found.charted("deceleration")[:, -1, wind]
    return [_Line(names[at], speed, values[at], style) for at, style in zip(_shown(found), STYLES, strict=False)]


def _stops(found: SlopeChart) -> list[_Line]:
    names, speed = found.names("configuration"), found.charted("speed")
    values = found.charted("stop_tailwind")[:, -1]
    return [_Line(names[at], speed, values[at], style) for at, style in zip(_shown(found), STYLES, strict=False)]


def _rooms(found: SlopeChart) -> list[_Line]:
    mass, room = found.charted("room_mass"), found.charted("room")
    return [_Line(name, mass, y, style) for name, y, style in zip(found.names("step"), room, STYLES, strict=False)]


def _ends(lines: list[_Line]) -> tuple[float, float]:
    """Round ends of the upright axis, zero among them."""
    known = np.concatenate([[0.0], *(one.y[np.isfinite(one.y)] for one in lines)])
    room = 0.03 * float(np.ptp(known))
    low = _ROUND * math.floor((float(known.min()) - room) / _ROUND)
    return low, max(_ROUND * math.ceil((float(known.max()) + room) / _ROUND), low + _ROUND)


def _cell(found: SlopeChart, heading: str, up: str, lines: list[_Line], slowing: tuple[float, float]) -> Cell:
    name = "room_mass" if up.startswith("Room") else "speed"
    label, x = SLOPE_COLUMNS[name].label, found.charted(name)
    ends = slowing if up.startswith("Dec") else _ends(lines)
    return Cell(heading, label, up, float(x[0]), float(x[-1]), *ends)


def _panel(axes: Axes, lines: list[_Line], page: Page) -> None:
    labels = Labels(axes, page.stroke)
    x = np.array(axes.get_xlim())
    line(axes, x, np.zeros(2), QUIET, 0.8 * page.stroke, order=1.9)
    labels.avoid(x, np.zeros(2))
    for one in lines:
        known, style = np.isfinite(one.y), one.style
        if known.any():
            x, y = one.x[known], one.y[known]
            style.mark(
                line(axes, x, y, style.colour, style.width * page.stroke, dash=style.dash, order=3.0), page.stroke
            )
            labels.avoid(x, y)
            _keep_ends_free(axes, labels, x, y)
            if page.is_narrow:
                continue  # the key has their names
            labels.name(one.name, x, y, INK, page.value.small, style)
    labels.settle()


def _keep_ends_free(axes: Axes, labels: Labels, x: Array, y: Array) -> None:
    """Keep labels from standing where a line would go on: the piece of line before a label would lengthen it."""
    long = _BEYOND * float(np.ptp(axes.get_xlim()))
    for end, way in ((0, -long), (-1, long)):
        labels.avoid(x[end] + np.array([0.25 * way, way]), y[[end, end]])
