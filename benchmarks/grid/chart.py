"""Height and speed against distance: the grid's policy over the collocated optimum."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from benchmarks.grid.bound import Rung
from benchmarks.grid.collocated import Collocated
from benchmarks.grid.descent import Descent
from benchmarks.grid.programming import Array
from optdescent.figures.style import OPTIMUM_STYLE, OTHER_STYLES, SeriesStyle, styled
from optdescent.results import CAUTION
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

_POINTS = 1401
_WIDTH, _HEIGHT = 6.7, 5.2
_TEXT = 7.5
"""Letters [pt]."""


def draw(path: Path, descent: Descent, rung: Rung, engine: Collocated) -> None:
    """Save the comparison as a picture whose name ends in .png."""
    with styled():
        figure = Figure(figsize=(_WIDTH, _HEIGHT), dpi=200)
        FigureCanvasAgg(figure)
        upper, lower = figure.subplots(2, 1, sharex=True)
        figure.subplots_adjust(left=0.1, right=0.98, top=0.94, bottom=0.11, hspace=0.08)
        flown = rung.flown
        at = np.linspace(0.0, descent.distance, _POINTS)
        altitude, true = engine.phase.state("altitude", at), engine.phase.state("speed", at)
        _series(upper, descent, at, altitude / FOOT, OPTIMUM_STYLE, "collocated optimum")
        _series(upper, descent, flown.distance, flown.altitude / FOOT, OTHER_STYLES[2], "grid's policy, flown")
        speed, other = descent.calibrated(altitude, true), descent.calibrated(flown.altitude, flown.true)
        _series(lower, descent, at, speed / KNOT, OPTIMUM_STYLE, "")
        _series(lower, descent, flown.distance, other / KNOT, OTHER_STYLES[2], "")
        upper.set_ylabel("pressure altitude [ft]", fontsize=_TEXT)
        lower.set_ylabel("calibrated airspeed [kt]", fontsize=_TEXT)
        lower.set_xlabel("distance to go [nm]", fontsize=_TEXT)
        lower.set_xlim(descent.distance / NAUTICAL_MILE, 0.0)
        drawn: Any = upper
        drawn.legend(frameon=False, fontsize=_TEXT, handlelength=5.0)
        for axes in (upper, lower):
            axes.tick_params(labelsize=_TEXT)
        upper.set_title(
            f"{descent.title}: collocated {engine.cost:.2f} kg, flown {flown.cost:.2f} kg, grid {rung.cost:.2f} kg "
            f"(bound {rung.bound:.2f} kg)",
            fontsize=_TEXT,
        )
        page: Any = figure
        page.text(0.01, 0.01, f"Invented aircraft, fixed mass. {CAUTION}", fontsize=4.8)
        page.savefig(path)


def _series(axes: Axes, descent: Descent, at: Array, values: Array, style: SeriesStyle, label: str) -> None:
    to_go = (descent.distance - at) / NAUTICAL_MILE
    drawn: Any = axes
    (line,) = drawn.plot(to_go, values, color=style.colour, linewidth=style.width, label=label)
    if style.dash:
        line.set_linestyle((0.0, style.dash))
    style.mark(line, 1.0)
