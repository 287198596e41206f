"""Drawn figures as arrays of grey, and the stored images they are compared with.

`python -m tests.figures.images` draws the stored images anew, after a wanted change that was looked at.
"""

from __future__ import annotations

from io import BytesIO
from pathlib import Path
from typing import Any

import matplotlib.image as mpl_image
import numpy as np
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text

from optdescent.figures import FIGURES, Page, draw
from optdescent.figures.style import styled
from tests.figures.flights import four
from tests.figures.vision import LUMA as LUMA

STORED = Path(__file__).with_name("stored")
DOTS_PER_INCH = 72


def rendered(figure: Figure, dots_per_inch: int = DOTS_PER_INCH) -> np.ndarray:
    """Red, green and blue (rows, columns, 3) from 0 to 1."""
    written = BytesIO()
    with styled():
        figure.savefig(written, format="png", dpi=dots_per_inch)
    written.seek(0)
    return np.asarray(mpl_image.imread(written))[..., :3]


def is_above(line: Line2D) -> bool:
    """Whether a line is a mark above its panel: a minute of a flight."""
    return not line.get_clip_on() and len(line.get_ydata()) == 2 and min(line.get_ydata()) == 1.0


def lines_only(figure: Figure) -> Figure:
    """The figure without letters and without the label samples and leaders that go with them.

    Letters are drawn differently by different versions of the font library; lines are not. Marks above a panel are
    drawn broad: they are so short that a few pixels are all there is of them.
    """

    def is_writing(artist: Any) -> bool:
        if isinstance(artist, Text):
            return True
        if not isinstance(artist, Line2D) or artist.axes is None or artist.get_transform() == artist.axes.transData:
            return False
        return not is_above(artist)

    for artist in figure.findobj(is_writing):
        artist.set_visible(False)
    for mark in figure.findobj(lambda one: isinstance(one, Line2D) and is_above(one)):
        mark.set_linewidth(3.0)
    for axes in figure.axes:
        axes.tick_params(labelbottom=False, labelleft=False)
    return figure


def grey(name: str, flights: tuple[Any, ...]) -> np.ndarray:
    """Grey levels (rows, columns) from 0 to 1 of a figure's lines."""
    return rendered(lines_only(draw(name, flights, Page.A4))) @ LUMA


def stored(name: str) -> np.ndarray:
    """Grey levels of the stored image."""
    return np.asarray(mpl_image.imread(STORED / f"{name}.png"))[..., :3] @ LUMA


def different(one: np.ndarray, other: np.ndarray) -> int:
    """Number of pixels whose grey differs by more than a quarter of the way from white to black."""
    return int((np.abs(one - other) > 0.25).sum())


def main() -> None:
    STORED.mkdir(exist_ok=True)
    for name in FIGURES:
        image = np.repeat((grey(name, four()) * 255.0).round().astype(np.uint8)[..., None], 3, axis=2)
        mpl_image.imsave(STORED / f"{name}.png", image, metadata={"Software": None})


if __name__ == "__main__":
    main()
