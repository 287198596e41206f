"""Idle net thrust and idle fuel flow against pressure altitude, at Mach numbers, with anti-ice off and on."""

from __future__ import annotations

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.grid import Cell, grid
from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet_of
from optdescent.figures.pen import Array, line
from optdescent.figures.style import INK, SeriesStyle, styled
from optdescent.results.airframe import AIRFRAME_COLUMNS, AirframeNumbers

NOTE = (
    "Solid: engine anti-ice off; dashed: on, which raises idle. Lines begin where the Mach number is the largest "
    "calibrated airspeed. All engines together."
)
COLOURS = ("#000000", "#a64310", "#3d92c3")
RAISED = (5.0, 1.8)
SHORT = {name: f"{said} [{AIRFRAME_COLUMNS[name].chart_unit.symbol}]" for name, said in
         (("idle_thrust", "Idle net thrust"), ("idle_flow", "Idle fuel flow"))}  # fmt: skip
"""Labels of the upright axes; the note says that all engines are meant."""
SAME = 0.005
"""Largest part by which lines differ that are drawn as one."""


def idle(numbers: AirframeNumbers, page: Page) -> Figure:
    """Idle thrust over idle fuel flow, both against pressure altitude.

    Raises
    ------
    InputFault
        The page is too small for the labels.
    """
    altitude = numbers.charted("pressure_altitude")
    with styled():
        frame = sheet_of(page, (numbers.provenance,), "Idle thrust and idle fuel flow", NOTE)
        cells: list[Cell] = []
        for name in ("idle_thrust", "idle_flow"):
            values = numbers.charted(name)
            low = min(0.0, 1.1 * float(np.nanmin(values)))
            across = AIRFRAME_COLUMNS["pressure_altitude"].label if name == "idle_flow" or page.is_narrow else ""
            high = 1.08 * float(np.nanmax(values))
            cells.append(Cell("", across, SHORT[name], 0.0, float(altitude[-1]), low, high))
        for axes, name in zip(grid(frame, tuple(cells), 1, "000"), ("idle_thrust", "idle_flow"), strict=True):
            _panel(axes, numbers, name, altitude, page)
        return frame.figure


def _panel(axes: Axes, numbers: AirframeNumbers, name: str, altitude: Array, page: Page) -> None:
    """Lines of one quantity, each Mach number and each state of anti-ice; one line where Mach makes no difference."""
    values, machs = numbers.charted(name), numbers.charted("mach")
    labels = Labels(axes, page.stroke)
    for of_idle, dash, said in zip(values, ((), RAISED), ("", ", anti-ice"), strict=False):
        spread = float(np.nanmax(np.nanmax(of_idle, axis=0) - np.nanmin(of_idle, axis=0)))
        is_one = spread <= SAME * float(np.nanmax(of_idle))
        shown = [("every Mach number", of_idle[0])] if is_one else [
            (f"Mach {mach:g}", row) for mach, row in zip(machs, of_idle, strict=True)
        ]  # fmt: skip
        for (text, row), colour in zip(shown, COLOURS, strict=False):
            known = np.isfinite(row)
            style = SeriesStyle(colour, 1.5, dash, "")
            line(axes, altitude[known], row[known], colour, style.width * page.stroke, dash=dash, order=3.0)
            labels.avoid(altitude[known], row[known])
            labels.name(f"{text}{said}", altitude[known], row[known], INK, page.value.small, style)
    labels.settle()
