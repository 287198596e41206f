"""Operating speeds by mass, a panel for each step of slats and flaps: stall, manoeuvring, selection, limit."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from optdescent.figures.grid import Cell, grid
from optdescent.figures.key import key
from optdescent.figures.label import Labels, settle_together
from optdescent.figures.page import Page, sheet_of
from optdescent.figures.pen import line
from optdescent.figures.style import INK, QUIET, SeriesStyle, styled
from optdescent.results.airframe import AIRFRAME_COLUMNS, AirframeNumbers

NOTE = (
    "Stall: at one g. Least: least manoeuvring speed, with landing flaps the reference speed. Selection: where the "
    "schedule selects the step. Limit: largest speed with the step out; of the clean aircraft, the largest speed. "
    "Upright line: largest landing mass."
)
LINES = (
    ("limit", "limit_speed", SeriesStyle("#000000", 1.8, (), "")),
    ("selection", "selection_speed", SeriesStyle("#3d92c3", 1.3, (5.0, 1.2, 1.2, 1.2), "")),
    ("least", "manoeuvre_speed", SeriesStyle("#0a3468", 1.3, (), "")),
    ("stall", "stall_speed", SeriesStyle("#a64310", 1.3, (2.4, 1.2), "")),
)


def operating_speeds(numbers: AirframeNumbers, page: Page) -> Figure:
    """Speeds against mass, a panel for each step.

    Raises
    ------
    InputFault
        The page is too small for the labels.
    """
    mass, steps = numbers.charted("mass"), numbers.names("step")
    with styled():
        frame = sheet_of(page, (numbers.provenance,), "Operating speeds by mass", f"{NOTE} {_devices(numbers)}")
        if page.is_narrow:
            frame = key(frame, "Lines:", tuple((text, style) for text, _, style in LINES))
        columns = 2 if page.is_narrow or len(steps) in (2, 4) else 3
        low = 20.0 * np.floor(float(np.nanmin(numbers.charted("stall_speed"))) / 20.0)
        high = 1.03 * float(np.nanmax(numbers.charted("limit_speed")))
        cells = tuple(
            Cell(
                step,
                AIRFRAME_COLUMNS["mass"].label if index >= len(steps) - columns else "",
                "Speed [kt]" if index % columns == 0 else "",
                float(mass[0]), float(mass[-1]), low, high,
            )
            for index, step in enumerate(steps)
        )  # fmt: skip
        landing = float(numbers.charted("largest_landing_mass"))
        panels = [Labels(axes, page.stroke) for axes in grid(frame, cells, columns, "000")]
        for index, labels in enumerate(panels):
            axes = labels.axes
            x, y = np.array([landing, landing]), np.array([low, 2.0 * high])
            line(axes, x, y, QUIET, 1.0 * page.stroke, dash=(4.0, 2.0), order=1.8)
            labels.avoid(x, y)
            for text, name, style in LINES:
                values = np.broadcast_to(np.atleast_1d(numbers.charted(name)[index]), mass.shape)
                if np.isfinite(values).any():
                    line(axes, mass, values, style.colour, style.width * page.stroke, dash=style.dash, order=3.0)
                    labels.avoid(mass, values)
                    if not page.is_narrow:
                        labels.name(text, mass, values, INK, page.value.small)
        settle_together(panels)
        return frame.figure


def _devices(numbers: AirframeNumbers) -> str:
    """Limit speeds that belong to no step."""
    brake = float(numbers.charted("brake_limit_speed"))
    of_brake = "none of its own" if np.isnan(brake) else f"{brake:.0f} kt"
    return f"Limit speeds: gear {float(numbers.charted('gear_limit_speed')):.0f} kt, speed brake {of_brake}."
