"""Figures as images: nothing moved, what is drawn is where the data say, and a grey print tells the lines apart."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.colors import to_rgb
from matplotlib.figure import Figure

from optdescent.figures import FIGURES, Page, draw
from optdescent.figures.style import OPTIMUM_STYLE, OTHER_STYLES, SeriesStyle, styled
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.figures.flights import four, moved
from tests.figures.images import LUMA, different, grey, rendered, stored
from tests.figures.vision import VISIONS, contrast, lightness, luminance

pytestmark = pytest.mark.figures

STYLES = (OPTIMUM_STYLE, *OTHER_STYLES)
TOLERANCE = 60
"""Pixels of the 205 000 of a stored image that may differ; a line moved by 0.5 % differs in many more."""


@pytest.mark.parametrize("name", FIGURES)
def test_a_figure_is_as_stored(name: str) -> None:
    image = grey(name, four())
    assert image.shape == stored(name).shape
    assert different(image, stored(name)) <= TOLERANCE


@pytest.mark.parametrize(
    ("name", "column", "factor"),
    [
        ("height", "height_above_threshold", 1.005),
        ("height", "rule_height", 1.01),
        ("speed", "calibrated_airspeed", 1.01),
        ("speed", "limit_speed", 0.98),
        ("speed", "rule_speed", 1.02),
        ("speed", "speed_brake", 0.5),
        ("speed", "gear", 0.3),
        ("speed", "thrust_fraction", 0.5),
        ("speed", "flaps", 0.5),
        ("energy", "specific_energy_height", 1.005),
    ],
)
def test_a_moved_line_is_caught(name: str, column: str, factor: float) -> None:
    flights = four()
    changed = (*flights[:1], moved(flights[1], column, factor), *flights[2:])
    assert different(grey(name, changed), stored(name)) > TOLERANCE


@pytest.mark.parametrize(
    ("name", "column", "unit"),
    [
        ("height", "height_above_threshold", FOOT),
        ("speed", "calibrated_airspeed", KNOT),
        ("energy", "specific_energy_height", FOOT),
    ],
)
def test_the_ink_of_the_optimum_is_where_the_data_say(name: str, column: str, unit: float) -> None:
    figure = draw(name, four()[:1], Page.A4)
    image = rendered(figure, 300) @ LUMA
    axes = figure.axes[0]
    optimum = four()[0]
    shown = np.linspace(0.97, 0.03, 25) * axes.get_xlim()[0]
    distance = optimum.column("distance_to_go") / NAUTICAL_MILE
    places = np.column_stack([shown, np.interp(-shown, -distance, optimum.column(column) / unit)])
    columns, up = axes.transData.transform(places).T
    rows = image.shape[0] - 1 - up
    inside = [image[round(row), round(column)] for row, column in zip(rows, columns, strict=True)]
    assert max(inside) < 0.2, "the heavy black line runs through every place"
    # 2 pt wide is 8 pixels: 6 pixels away, across the line, there is paper (labels and demands apart)
    away = [image[round(row) - 7, round(column) + 7] for row, column in zip(rows, columns, strict=True)]
    assert np.median(away) > 0.8


@pytest.mark.parametrize("vision", VISIONS)
def test_lines_differ_for_every_kind_of_colour_vision(vision: str) -> None:
    assert VISIONS[vision].sum(axis=1) == pytest.approx([1.0] * 3, abs=1e-5), "white stays white"
    levels = [float(lightness(luminance(np.array(to_rgb(style.colour)), vision))) for style in STYLES]
    for (first, one), (second, other) in combinations(zip(STYLES, levels, strict=True), 2):
        assert first.dash != second.dash
        assert first.marker != second.marker
        assert abs(one - other) > 5.0


@pytest.mark.parametrize("vision", VISIONS)
@pytest.mark.parametrize("style", STYLES, ids=lambda style: style.colour)
def test_a_line_stands_out_from_paper(style: SeriesStyle, vision: str) -> None:
    """Contrast at least 3 to 1 (WCAG 2.1, success criterion 1.4.11)."""
    assert contrast(float(luminance(np.array(to_rgb(style.colour)), vision)), 1.0) >= 3.0


def test_grey_prints_of_the_lines_differ() -> None:
    """As drawn: the darkest grey, or how much of the length is inked, differs between any two lines."""
    measured: list[tuple[float, float]] = []
    for style in STYLES:
        with styled():
            figure = Figure(figsize=(4.0, 0.4), dpi=300)
            FigureCanvasAgg(figure)
            plain = SeriesStyle(style.colour, style.width, style.dash, "")
            figure.add_artist(plain.piece(0.0, 0.5, 1.0, 1.0))
        strip = rendered(figure, 300) @ LUMA
        darkest = strip.min(axis=0)
        measured.append((float(darkest.min()), float((darkest < 0.5 * (1.0 + darkest.min())).mean())))
    for (one_grey, one_ink), (other_grey, other_ink) in combinations(measured, 2):
        assert abs(one_grey - other_grey) > 0.03
        assert abs(one_grey - other_grey) > 0.12 or abs(one_ink - other_ink) > 0.05
