"""Invented rule sheets: lines made up, worked out by no rule.

`python -m tests.figures.sheets` draws the stored image anew, after a wanted change that was looked at.
"""

from __future__ import annotations

import matplotlib.image as mpl_image
import numpy as np

from optdescent.figures import Page
from optdescent.figures.rule_sheet import rule_sheet
from optdescent.results import Provenance
from optdescent.results.rule_sheet import RuleSheet, rule_sheet_dataset
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.figures.images import LUMA, STORED, lines_only, rendered

WINDS = ("still air", "40 kt tailwind", "40 kt headwind")
CRUISE = 35000.0


def invented(title: str = "Invented rule", *, by_wind: bool = True) -> RuleSheet:
    """Sheet of 300 ft per mile, 4 miles earlier or later with the wind if the wind makes a difference."""
    miles = np.arange(0.0, 150.25, 0.25)
    earlier = np.array([0.0, 4.0, -4.0])[:, None] * by_wind
    height = np.minimum(300.0 * (miles - earlier), CRUISE)
    height = np.where(height >= 0.0, height, np.nan)
    speed = np.clip(130.0 + 6.0 * (miles + 0.5 * earlier), 130.0, 280.0)
    columns = {
        "distance_to_go": miles * NAUTICAL_MILE,
        "tailwind": np.array([0.0, 40.0, -40.0]) * KNOT,
        "start_down": (CRUISE / 300.0 + earlier[:, 0]) * NAUTICAL_MILE,
        "height_to_have": height * FOOT,
        "planned_speed": speed * KNOT,
        "sink_rate": np.full((3, miles.size), np.nan),
        "three_degrees": (50.0 + 318.44 * miles) * FOOT,
    }
    dataset = rule_sheet_dataset(WINDS, columns)
    provenance = Provenance("Invented aircraft and airport", "", "0123456789ab")
    return RuleSheet(dataset, "invented", title, "invented", ("300 ft for each nm to go",), provenance)


def grey(sheet: RuleSheet) -> np.ndarray:
    """Grey levels (rows, columns) from 0 to 1 of the figure's lines."""
    return rendered(lines_only(rule_sheet(sheet, Page.A4))) @ LUMA


def main() -> None:
    image = np.repeat((grey(invented()) * 255.0).round().astype(np.uint8)[..., None], 3, axis=2)
    mpl_image.imsave(STORED / "rule-sheet.png", image, metadata={"Software": None})


if __name__ == "__main__":
    main()
