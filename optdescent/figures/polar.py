"""Drag polar by configuration: lift coefficient against drag coefficient, with the best lift over drag of each."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from optdescent.figures.grid import Cell, grid
from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet_of
from optdescent.figures.pen import line
from optdescent.figures.style import INK, SeriesStyle, styled
from optdescent.results.airframe import AIRFRAME_COLUMNS, AirframeNumbers

NOTE = (
    "Each line ends at the largest lift coefficient. Squares: best lift over drag (L/D), with its value. Solid: gear "
    "up; dashed: gear down; dotted: speed brake out."
)
UP, DOWN, BRAKE = (), (3.2, 1.8), (1.2, 1.2)
GREYS = ("#000000", "#0a3468", "#64460a", "#3d92c3", "#a64310", "#936f00")
"""Colours of slats and flaps, clean first; every other one is heavier, so that a grey print tells them apart."""


def polar(numbers: AirframeNumbers, page: Page) -> Figure:
    """Lift coefficient against drag coefficient of every configuration.

    Raises
    ------
    InputFault
        The page is too small for the labels.
    """
    lift, drag = numbers.charted("lift_coefficient"), numbers.charted("drag_coefficient")
    names = numbers.names("configuration")
    steps = numbers.names("step")
    with styled():
        frame = sheet_of(page, (numbers.provenance,), "Drag polar by configuration", NOTE)
        across, up = (AIRFRAME_COLUMNS[name].label for name in ("drag_coefficient", "lift_coefficient"))
        most = float(np.nanmax(drag)), float(lift[-1])
        cell = Cell("", across, up, 0.0, 1.04 * most[0], 0.0, 1.04 * most[1])
        (axes,) = grid(frame, (cell,), 1, "0.00")
        labels = Labels(axes, page.stroke)
        best, at = numbers.charted("best_lift_over_drag"), numbers.charted("best_lift_coefficient")
        asked: list[tuple[str, np.ndarray, np.ndarray, SeriesStyle]] = []
        for index, name in enumerate(names):
            known = np.isfinite(drag[index])
            x, y = drag[index][known], lift[known]
            step = next(number for number, text in enumerate(steps) if name.split(",")[0] == text)
            dash = DOWN if name.endswith("gear") else BRAKE if name.endswith("brake") else UP
            style = SeriesStyle(GREYS[step % len(GREYS)], 1.8 if step % 2 == 0 and dash != BRAKE else 1.2, dash, "")
            line(axes, x, y, style.colour, style.width * page.stroke, dash=dash, order=3.0)
            spot = line(axes, np.array([at[index] / best[index]]), np.array([at[index]]), style.colour, 1.0, order=4.5)
            spot.set(marker="s", markersize=3.6 * page.stroke)
            labels.avoid(x, y)
            asked.append((f"{name}: L/D {best[index]:.1f}", x, y, style))
        for text, x, y, style in asked:
            labels.name(text, x, y, INK, page.value.small, style)
        labels.settle()
        return frame.figure
