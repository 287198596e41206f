"""Every figure of the package, of invented results: each drawn and rendered once for the tests that only look at it.

`python -m tests.figures.every` draws the stored images of `KEPT` anew, after a wanted change that was looked at.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import cache

import matplotlib.image as mpl_image
import numpy as np
from matplotlib.figure import Figure

from optdescent.figures import Page, draw, draw_airframe, draw_stored
from optdescent.figures.corridor import corridor
from optdescent.figures.debrief import debrief
from optdescent.figures.fit import fit
from optdescent.figures.front import front
from optdescent.figures.rule_sheet import rule_sheet
from optdescent.figures.slope import slope
from tests.figures import airframes, debriefs, fits, fronts, sheets, test_corridor, test_slope
from tests.figures.conditions import once, over
from tests.figures.flights import four
from tests.figures.images import STORED, lines_only, rendered
from tests.figures.sweeps import flown, last_useful, optimum, swept
from tests.figures.vision import LUMA

EVERY: dict[str, Callable[[Page], Figure]] = {
    **{name: lambda page, name=name: draw(name, four(), page) for name in ("height", "speed", "energy")},
    **{
        name: lambda page, name=name: draw_airframe(name, airframes.invented(by_mach=True), page)
        for name in ("polar", "idle", "operating-speeds")
    },
    "fit": lambda page: fit(fits.invented(), page),
    "front": lambda page: front(fronts.invented(), page),
    "corridor": lambda page: corridor(test_corridor.invented(), page),
    "slope": lambda page: slope(test_slope.invented(), page),
    "rule-sheet": lambda page: rule_sheet(sheets.invented(), page),
    "debrief": lambda page: debrief(debriefs.invented(), page),
    "margins": lambda page: draw_stored("margins", (over(),), page),
    "margins-once": lambda page: draw_stored("margins", (once(),), page),
    "rule-map": lambda page: draw_stored("rule-map", (over(),), page),
    "wind": lambda page: draw_stored("wind", (optimum(),), page),
    "winds": lambda page: draw_stored("wind", several(), page),
    "last-action": lambda page: draw_stored("last-action", (flown(), (last_useful(),)), page),
    "slices": lambda page: draw_stored("slices", (swept(),), page),
}
"""How each figure is drawn on a page."""
NEW = ("margins", "margins-once", "rule-map", "wind", "winds", "last-action", "slices")
"""Those of results over conditions, sweeps and winds."""
KEPT = (*NEW, "corridor", "slope", "debrief")
"""Those whose images are stored from these results."""


def several() -> tuple:  # type: ignore[type-arg]
    """Optima of three masses."""
    return tuple(optimum(f"{mass} t", factor=1.0 + 0.2 * index) for index, mass in enumerate((54, 60, 66)))


def grey(figure: Figure) -> np.ndarray:
    """Grey levels (rows, columns) from 0 to 1 of the lines of a figure, which is changed by it."""
    return rendered(lines_only(figure)) @ LUMA


@cache
def drawn(name: str, page: Page) -> Figure:
    """Figure, not to be changed."""
    return EVERY[name](page)


@cache
def image(name: str, page: Page, dots_per_inch: int) -> np.ndarray:
    """Red, green and blue (rows, columns, 3) of a figure."""
    return rendered(drawn(name, page), dots_per_inch)


def main() -> None:
    for name in KEPT:
        shades = np.repeat((grey(EVERY[name](Page.A4)) * 255.0).round().astype(np.uint8)[..., None], 3, axis=2)
        mpl_image.imsave(STORED / f"{name}.png", shades, metadata={"Software": None})


if __name__ == "__main__":
    main()
