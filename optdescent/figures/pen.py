"""Lines, areas and letters put on a chart; the plotting library's own calls take untyped options, these do not."""

from __future__ import annotations

from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.colors import ListedColormap
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patheffects import withStroke
from matplotlib.text import Text
from matplotlib.transforms import Transform
from numpy.typing import NDArray

from optdescent.figures.text import check_letters

Array = NDArray[np.float64]
"""Places or values, in the unit that each function names."""

FINEST = 0.3
"""Length of the steps in which areas are drawn [pt]."""


def panel(figure: Figure, place: tuple[float, float, float, float]) -> Axes:
    """Axes at a place (left, bottom, width, height) [fractions of the page]."""
    page: Any = figure
    axes: Axes = page.add_axes(place)
    return axes


def line(
    axes: Axes, x: Array, y: Array, colour: str, width: float, *, dash: tuple[float, ...] = (), order: float = 2.0
) -> Line2D:
    """Line through x, y (n,) [data units], its width in points [pt] and its dashes in widths; none is solid."""
    style: Any = (0.0, dash) if dash else "solid"
    drawn = Line2D(x, y, color=colour, linewidth=width, linestyle=style, zorder=order)
    axes.add_line(drawn)
    return drawn


def halo(drawn: Line2D, width: float) -> None:
    """White on both sides of a line, together so wide [pt], so that it stands out from a grey as from paper."""
    drawn.set_path_effects([withStroke(linewidth=drawn.get_linewidth() + width, foreground="white")])


def area(axes: Axes, x: Array, floor: float, rise: Array, colour: str) -> None:
    """Filled area over falling x (n,) from a floor to a rise (n,) [data units], in steps too fine to see."""
    chart: Any = axes
    points = float(axes.get_window_extent().width) * 72.0 / axes.figure.dpi
    start, end = axes.get_xlim()
    even = np.linspace(min(start, float(x[0])), max(end, float(x[-1])), max(2, int(points / FINEST)))
    heights = np.interp(-even, -x, rise)
    bends = np.ones(len(even), dtype=bool)
    bends[1:-1] = np.abs(np.diff(heights, 2)) > 1e-6
    chart.fill_between(even[bends], floor, heights[bends], color=colour, linewidth=0.0)


def band(axes: Axes, x: Array, low: Array, high: Array, colour: str) -> None:
    """Filled area between two lines over x (n,) [data units], where both are known."""
    chart: Any = axes
    chart.fill_between(x, low, high, where=np.isfinite(low + high), color=colour, linewidth=0.0, zorder=1.0)


def cells(axes: Axes, x: Array, y: Array, shades: NDArray[np.intp], colours: tuple[str, ...], edge: str) -> None:
    """Boxes between edges x (n + 1,) and y (m + 1,) [data units], each in the colour that shades (m, n) number."""
    chart: Any = axes
    chart.pcolormesh(
        x, y, shades, cmap=ListedColormap(list(colours)), vmin=-0.5, vmax=len(colours) - 0.5, edgecolors=edge,
        linewidth=0.4, zorder=1.0,
    )  # fmt: skip


def letters(
    axes: Axes,
    x: float,
    y: float,
    text: str,
    size: float,
    colour: str,
    *,
    anchor: str = "left",
    places: Transform | None = None,
) -> None:
    """Text of a size [pt] with its base line at x, y [data units, or those of `places`]; anchor: left or center.

    Raises
    ------
    InputFault
        The font of figures does not have its letters.
    """
    check_letters(text)
    chart: Any = axes
    written = chart.text(
        x, y, text, size=size, color=colour, ha=anchor, va="baseline", zorder=6.0,
        transform=axes.transData if places is None else places,
    )  # fmt: skip
    without_ligatures(written)


def heading(
    figure: Figure,
    x: float,
    y: float,
    text: str,
    size: float,
    colour: str,
    *,
    anchor: str = "left",
    weight: str = "normal",
    angle: float = 0.0,
) -> None:
    """Text of a size [pt] on the page, its foot at x, y [fractions of it], turned by an angle [deg].

    Raises
    ------
    InputFault
        The font of figures does not have its letters.
    """
    check_letters(text)
    page: Any = figure
    written = page.text(
        x, y, text, size=size, color=colour, ha=anchor, va="baseline", weight=weight, rotation=angle,
        rotation_mode="anchor",
    )  # fmt: skip
    without_ligatures(written)


def without_ligatures(text: Text) -> None:
    """Keep f and l two letters, so that every reader finds the words; before 3.11 the library draws no ligatures."""
    written: Any = text
    if hasattr(written, "set_fontfeatures"):
        written.set_fontfeatures(("-liga",))


def upper_marks(axes: Axes, x: Array, length: float, colour: str) -> None:
    """Short upright strokes of a length [pt] above the axes at x (n,) [data units]."""
    up = length * axes.figure.dpi / 72.0 / float(axes.get_window_extent().height)
    where = axes.get_xaxis_transform()
    for place in x.tolist():
        mark = Line2D((place, place), (1.0, 1.0 + up), color=colour, linewidth=0.6, transform=where)
        mark.set_clip_on(False)
        axes.add_line(mark)


def ticks(
    axes: Axes,
    *,
    size: float | None = None,
    across: bool | None = None,
    up: bool | None = None,
    grid: bool | None = None,
) -> None:
    """Font size [pt] of tick labels; which axes have labels; whether there is a grid with upright marks."""
    chart: Any = axes
    if up is not None:
        chart.tick_params(labelleft=up)
    if size is not None:
        chart.tick_params(labelsize=size)
    if across is not None:
        chart.tick_params(labelbottom=across)
    if grid is not None:
        chart.tick_params(axis="y", left=grid)
        chart.grid(visible=grid)
