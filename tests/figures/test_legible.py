"""Every figure, as rendered: in a grey print and to every kind of colour vision, letters and lines stand out from the
paper, and lines that a label tells apart by their look do look different.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import combinations

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.colors import to_hex
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.text import Text

from optdescent.figures import Page, draw, style
from optdescent.figures.rule_map import CLASSES, SHADES
from optdescent.figures.style import styled
from tests.figures.every import EVERY, drawn, image
from tests.figures.flights import four
from tests.figures.images import rendered
from tests.figures.vision import VISIONS, contrast, lightness, luminance

pytestmark = pytest.mark.figures

PAGES, DOTS = (Page.A5, Page.COLUMN), 200
"""The pages with the smallest letters, and the pixels per inch."""
PAGE = Page.A5
LETTERS, LINES = 4.5, 3.0
"""Least contrast with the paper of letters and of lines (WCAG 2.1, success criteria 1.4.3 and 1.4.11)."""
LIGHTER = 10.0
"""Difference of lightness that tells two lines of one dash and marker apart [of 100]."""
OTHER_INK = 0.3
"""Or the part of their ink that must not lie alike."""
ALONE = ("operating-speeds", "fit", "margins", "margins-once", "rule-map", "wind", "last-action")
"""Figures whose panels have one line that a label names, or words beside each, and none before them."""
KEYED = {("operating-speeds", Page.COLUMN)}
"""Those of them that have a key on a page."""
SMALLEST = 5.0
"""Smallest letters [pt]."""


@dataclass(frozen=True)
class Sample:
    """The piece of a line before a label: whose axes, the line as drawn, and its pixels (rows, columns, 3)."""

    axes: Axes
    line: Line2D
    pixels: np.ndarray


def samples(figure: Figure, pixels: np.ndarray) -> list[Sample]:
    """Pieces of line before the labels of a figure, cut from its image."""
    scale = DOTS / figure.dpi
    found: list[Sample] = []
    for axes in figure.axes:
        for line in axes.lines:
            if len(line.get_xdata()) != 3 or (line.get_transform() == axes.transData and not is_apart(axes, line)):
                continue
            places = line.get_transform().transform(np.column_stack([line.get_xdata(), line.get_ydata()])) * scale
            start, end = sorted((places[0, 0], places[-1, 0]))
            half = 3.0 * DOTS / 72.0
            row = pixels.shape[0] - places[0, 1]
            found.append(
                Sample(axes, line, pixels[round(row - half) : round(row + half), round(start) - 1 : round(end) + 2])
            )
    return found


def is_apart(axes: Axes, line: Line2D) -> bool:
    """Whether a line of three points is the level piece before a name in a strip of devices or in a key."""
    is_in_strip = axes.get_ylim()[1] == 0.0 and line.get_zorder() == 2.0
    return bool(np.ptp(line.get_ydata()) == 0.0 and (is_in_strip or not axes.axison))


def apart_by(one: np.ndarray, other: np.ndarray) -> tuple[float, float]:
    """Difference of the least of two lightnesses (rows, columns), and the part of their ink that lies apart."""
    ink = max(1e-9, *(float((100.0 - own).mean()) for own in (one, other)))
    wide, high = min(one.shape[1], other.shape[1]) - 4, min(one.shape[0], other.shape[0]) - 4
    still = one[2 : 2 + high, 2 : 2 + wide]
    moved = [other[up : up + high, across : across + wide] for up in range(5) for across in range(5)]
    return abs(float(one.min() - other.min())), min(float(np.abs(still - own).mean()) for own in moved) / ink


def check_lines(figure: Figure, pixels: np.ndarray) -> int:
    """Assert that samples stand out and that those of one panel differ; returns how many pairs were compared."""
    found, pairs = samples(figure, pixels), 0
    for vision in VISIONS:
        seen = [luminance(sample.pixels, vision) for sample in found]
        for sample, of in zip(found, seen, strict=True):
            assert contrast(float(of.min()), 1.0) >= LINES, f"{vision}: {to_hex(sample.line.get_color())} is too light"
        light = [(sample, lightness(of)) for sample, of in zip(found, seen, strict=True)]
        for (one, first), (other, second) in combinations(light, 2):
            if one.axes is other.axes:
                lighter, other_ink = apart_by(first, second)
                looks = " and ".join(f"{to_hex(own.line.get_color())}" for own in (one, other))
                assert lighter >= LIGHTER or other_ink >= OTHER_INK, f"{vision}: {looks} look alike"
                pairs += 1
    return pairs


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("name", EVERY)
def test_lines_stand_out_and_differ_for_every_kind_of_vision(name: str, page: Page) -> None:
    pairs = check_lines(drawn(name, page), image(name, page, DOTS))
    assert bool(pairs) == (name not in ALONE or (name, page) in KEYED)


def test_a_leader_is_grey_as_no_line_of_a_flight_is() -> None:
    leaders = [
        line
        for name in EVERY
        for axes in drawn(name, PAGE).axes
        for line in axes.lines
        if line.get_linewidth() == 0.4 and line.get_transform() != axes.transData and line.get_zorder() == 2.5
    ]
    assert len(leaders) >= 3
    assert {to_hex(line.get_color()) for line in leaders} == {style.QUIET}
    assert style.QUIET not in {own.colour for own in (style.OPTIMUM_STYLE, *style.OTHER_STYLES)}


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("name", EVERY)
def test_a_label_has_a_piece_of_a_line_of_its_panel(name: str, page: Page) -> None:
    figure = drawn(name, page)
    found = samples(figure, image(name, page, DOTS))
    pieces = [sample.line for sample in found]
    for sample in found:
        look = looks_of(sample.line)
        panels = figure.axes if is_apart(sample.axes, sample.line) else [sample.axes]
        own = [line for axes in panels for line in axes.lines if line not in pieces and len(line.get_xdata()) > 1]
        assert any(looks_of(line) == look for line in own), look


def looks_of(line: Line2D) -> tuple[object, ...]:
    dashes = line.get_linestyle() if isinstance(line.get_linestyle(), str) else str(line.get_linestyle())
    return to_hex(line.get_color()), round(line.get_linewidth(), 2), dashes, line.get_marker()


@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("name", EVERY)
def test_letters_stand_out_and_are_not_too_small(name: str, page: Page) -> None:
    figure, pixels = drawn(name, page), image(name, page, DOTS)
    scale, count = DOTS / figure.dpi, 0
    with styled():
        figure.draw_without_rendering()
        for text in figure.findobj(Text):
            box = text.get_window_extent()
            if not text.get_text().strip() or not text.get_visible() or not figure.bbox.contains(box.x0, box.y0):
                continue
            assert text.get_fontsize() >= SMALLEST, text.get_text()
            rows = slice(pixels.shape[0] - int(np.ceil(box.y1 * scale)), pixels.shape[0] - int(box.y0 * scale))
            columns = slice(int(box.x0 * scale), int(np.ceil(box.x1 * scale)))
            if pixels[rows, columns].min() > 0.99:
                continue  # the label of a tick outside the axis, which is not drawn
            for vision in VISIONS:
                part = luminance(pixels[rows, columns], vision)
                assert contrast(float(part.min()), float(part.max())) >= LETTERS, f"{vision}: {text.get_text()!r}"
                count += 1
    assert count > 10 * len(VISIONS)


@pytest.mark.parametrize("vision", VISIONS)
def test_shades_of_a_rule_map_go_from_dark_to_light(vision: str) -> None:
    pixels, figure = image("rule-map", PAGE, DOTS), drawn("rule-map", PAGE)
    key = figure.axes[0]
    levels: list[float] = []
    for box in key.collections:
        middle = key.transData.transform(box.get_paths()[0].get_extents().get_points().mean(axis=0)) * DOTS / figure.dpi
        row, column = pixels.shape[0] - round(middle[1]), round(middle[0])
        levels.append(float(lightness(luminance(pixels[row, column], vision))))
    assert len(levels) == len(CLASSES) == len(SHADES)
    assert np.diff(levels).min() >= LIGHTER


def test_a_flight_that_is_not_stable_has_a_hollow_dot() -> None:
    pixels, figure = image("margins-once", PAGE, DOTS), drawn("margins-once", PAGE)
    grey = lightness(luminance(pixels, "grey print"))
    axes = figure.axes[0]
    dots = [line for line in axes.lines if line.get_marker() == "o"]
    middles = [axes.transData.transform(dot.get_xydata()[0]) * DOTS / figure.dpi for dot in dots]
    inside = [grey[grey.shape[0] - round(up), round(across)] for across, up in middles]
    assert [value > 80.0 for value in inside] == [False, True, False, False]


def alike(monkeypatch: pytest.MonkeyPatch, **of_second: object) -> Figure:
    """The heights of four flights, the second of the rules drawn otherwise."""
    first, second, *others = style.OTHER_STYLES
    changed = replace(second, **of_second)  # type: ignore[arg-type]
    monkeypatch.setattr(style, "OTHER_STYLES", (first, changed, *others))
    return draw("height", four(), PAGE)


def test_two_lines_of_one_look_are_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    first = style.OTHER_STYLES[0]
    figure = alike(monkeypatch, colour=first.colour, dash=first.dash, marker=first.marker, width=first.width)
    with pytest.raises(AssertionError, match="look alike"):
        check_lines(figure, rendered(figure, DOTS))


def test_two_lines_that_only_their_tint_tells_apart_are_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    """Dark red is as light as the dark blue of the first: their dash and marker are one too."""
    first = style.OTHER_STYLES[0]
    figure = alike(monkeypatch, colour="#6b0d0d", dash=first.dash, marker=first.marker, width=first.width)
    with pytest.raises(AssertionError, match=r"grey print: .* look alike"):
        check_lines(figure, rendered(figure, DOTS))


def test_a_line_too_light_for_paper_is_caught(monkeypatch: pytest.MonkeyPatch) -> None:
    figure = alike(monkeypatch, colour="#c8c8c8")
    with pytest.raises(AssertionError, match="too light"):
        check_lines(figure, rendered(figure, DOTS))
