"""Energy corridor: heights over the glide path from which the gate can still be met, a panel for each speed."""

from __future__ import annotations

import math

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.grid import Cell, grid
from optdescent.figures.key import key
from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet_of
from optdescent.figures.pen import Array, band, halo, line
from optdescent.figures.style import INK, OPTIMUM_STYLE, OTHER_STYLES, QUIET, SeriesStyle, styled
from optdescent.results.corridor import Corridor
from optdescent.results.files import Fault, InputFault
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

NOTE = (
    "Height over the glide path and its straight continuation. Each line: the highest from which the gate can be met "
    "at idle with the normal schedule and what the line names. Grey: the darker, the more of them are enough, down to "
    "the lowest that needs no thrust. Speed may rise first, but not once it falls. Mass {mass:.1f} t; windows are left "
    "out."
)
MOST_SPEEDS = 6
"""Panels that a page has room for."""
SHADES = ("#eeeeee", "#d9d9d9", "#c6c6c6", "#b2b2b2", "#a0a0a0", "#8d8d8d")
"""Greys where one set of devices is enough, two are, and so on: steps of 7 in lightness, which a grey print keeps."""
_HALO = 0.8
"""White beside a line on grey [pt], on both sides together."""


def corridor(found: Corridor, page: Page = Page.A4) -> Figure:
    """Highest and lowest heights over the glide path [ft] against distance to go [nm], by speed and devices.

    Raises
    ------
    InputFault
        More speeds or device sets than a page has room for, or no height at all.
    """
    speeds, distances = found.values("speed") / KNOT, found.values("distance_to_go") / NAUTICAL_MILE
    path = (found.marks.crossing_height + found.marks.gradient * distances * NAUTICAL_MILE) / FOOT
    highest = found.values("highest") / FOOT - path[:, None]
    lowest = found.values("lowest") / FOOT - path[:, None]
    if speeds.size > MOST_SPEEDS:
        raise InputFault([Fault("figure corridor", "", f"{speeds.size} speeds", f"at most {MOST_SPEEDS}")])
    if len(found.devices) > len(OTHER_STYLES) + 1 or not np.isfinite(highest).any():
        allowed = f"at most {len(OTHER_STYLES) + 1} sets of devices, and a height"
        raise InputFault([Fault("figure corridor", "", f"{len(found.devices)} sets of devices", allowed)])
    styles = (OPTIMUM_STYLE, *OTHER_STYLES)[: len(found.devices)]
    shown = np.concatenate([highest[np.isfinite(highest)], lowest[np.isfinite(lowest)]])
    ends = 1000.0 * math.floor(float(shown.min()) / 1000.0), 1000.0 * math.ceil(float(shown.max()) / 1000.0)
    columns = min(speeds.size, 2 if page.is_narrow and speeds.size > 3 else 1 if page.is_narrow else 3)
    room = 0.04 * max(float(np.ptp(distances)), 1.0)
    cells = tuple(
        Cell(
            f"{speed:.0f} kt",
            "Distance to go [nm]" if index >= speeds.size - columns else "",
            "Over the glide path [ft]" if index % columns == 0 else "",
            float(distances.max()) + room,
            float(distances.min()) - room,
            *ends,
        )
        for index, speed in enumerate(speeds)
    )
    with styled():
        note = NOTE.format(mass=found.mass / 1000.0)
        frame = sheet_of(page, (found.provenance,), "Energy corridor to the gate", note)
        if page.is_narrow:
            frame = key(frame, "What the lines name:", tuple(zip(found.devices, styles, strict=True)))
        panels = grid(frame, cells, columns, "00\u202f000")
        named = -1 if page.is_narrow else int(np.argmax(np.isfinite(highest).sum(axis=(0, 1))))
        for index, axes in enumerate(panels):
            own = [found.devices[at] if index == named else "" for at in range(len(styles))]
            _panel(axes, found, page, distances, highest[:, :, index], lowest[:, index], styles, own)
        return frame.figure


def steps(highest: Array, lowest: Array) -> tuple[Array, Array]:
    """Ends (set, distance) of the bands [as given] in which the gate is met with one set of devices, with two, and on.

    Of highest heights (set, distance), in any order; a set with no height is not enough anywhere. Lowest: (distance,).
    """
    falling = -np.sort(-highest, axis=0)  # what is not a number comes last
    below = np.fmax(lowest, np.concatenate([falling[1:], np.full((1, lowest.size), np.nan)]))
    return np.minimum(below, falling), falling


def _panel(
    axes: Axes,
    found: Corridor,
    page: Page,
    distances: Array,
    highest: Array,
    lowest: Array,
    styles: tuple[SeriesStyle, ...],
    names: list[str],
) -> None:
    labels = Labels(axes, page.stroke)
    for shade, low, high in zip(SHADES, *steps(highest, lowest), strict=False):
        band(axes, distances, low, high, shade)
    x = np.array([float(distances.max()), float(distances.min())])
    line(axes, x, np.zeros(2), QUIET, 0.8 * page.stroke, order=1.9)
    labels.avoid(x, np.zeros(2))
    for height, style in zip(highest, styles, strict=True):
        drawn = line(axes, distances, height, style.colour, style.width * page.stroke, dash=style.dash, order=3.0)
        style.mark(drawn, page.stroke)
        halo(drawn, _HALO * page.stroke)
        labels.avoid(distances, height)
    for height, style, name in zip(highest, styles, names, strict=True):
        if name and np.isfinite(height).any():
            labels.name(name, distances, height, INK, page.value.small, style)
    labels.settle()
