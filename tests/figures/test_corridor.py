"""The corridor's figure: drawn from the numbers it is given, no letters collide, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from optdescent.figures import Page
from optdescent.figures.corridor import corridor, steps
from optdescent.inputs import InputFault
from optdescent.results import CAUTION, Marks, Provenance
from optdescent.results.corridor import Corridor, corridor_dataset
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.figures.images import rendered
from tests.figures.test_figures import apart, words, written
from tests.figures.vision import lightness, luminance

NAMES = ("idle and schedule", "speed brake", "early flaps", "early gear", "everything")
GRADIENT, CROSSING = 0.0524, 50.0 * FOOT


@cache
def invented(speeds: int = 5) -> Corridor:
    """Shapes that a corridor may have, computed by no airframe."""
    distance = NAUTICAL_MILE * np.arange(11.0, 50.0, 2.0)
    speed = KNOT * np.linspace(190.0, 280.0, speeds)
    path = CROSSING + GRADIENT * distance
    over = np.array([0.0, 700.0, 300.0, 450.0, 1800.0])[:, None, None] * (distance / distance[0])[None, :, None]
    highest = path[None, :, None] + FOOT * (over - 10.0 * (speed / KNOT - 190.0))
    highest[:, :3, -1] = np.nan
    lowest = path[:, None] - FOOT * 40.0 * (distance / NAUTICAL_MILE)[:, None] + 0.0 * speed
    none = np.zeros_like(highest)
    columns = {
        "highest": highest, "lowest": lowest, "excess_again": none, "off_again": none, "added_again": none[0],
    }  # fmt: skip
    marks = Marks("Quill Harbour (invented)", 180.0, (), (), GRADIENT, CROSSING, 1000.0 * FOOT, ("clean", "step 1"))
    dataset = corridor_dataset(NAMES, distance, speed, columns)
    return Corridor(dataset, 62000.0, Provenance("An invented corridor", "", "0123456789ab"), marks)


@pytest.mark.parametrize("page", Page)
def test_letters_do_not_collide_and_note_caution_and_source_are_there(page: Page) -> None:
    figure = corridor(invented(), page)
    apart(figure)
    on_page = written(figure)
    assert words(CAUTION) in on_page
    assert invented().provenance.line in on_page
    assert all(said in on_page for said in ("62.0 t", "[ft]", "[nm]", "190 kt", "280 kt"))
    assert set(NAMES) <= {text.get_text() for axes in figure.axes for text in axes.texts}


def test_each_panel_shows_the_heights_over_the_glide_path() -> None:
    found = invented()
    path = (CROSSING + GRADIENT * found.values("distance_to_go")) / FOOT
    panels = corridor(found, Page.A4).axes
    assert len(panels) == 5
    for index, axes in enumerate(panels):
        lines = [np.asarray(one.get_ydata(), dtype=float) for one in axes.lines]
        drawn = [line for line in lines if line.size == path.size]
        for own, wanted in zip(drawn, found.values("highest")[:, :, index] / FOOT - path, strict=True):
            assert own == pytest.approx(wanted, nan_ok=True)


def test_bands_lie_between_one_height_and_the_next_whatever_their_order() -> None:
    nan = np.nan
    highest = np.array([[10.0, 40.0, nan, nan], [30.0, 20.0, 30.0, nan], [50.0, 60.0, 50.0, nan]])
    low, high = steps(highest, np.array([0.0, 30.0, nan, 5.0]))
    assert high == pytest.approx(
        np.array([[50.0, 60.0, 50.0, nan], [30.0, 40.0, 30.0, nan], [10.0, 20.0, nan, nan]]), nan_ok=True
    )
    assert low == pytest.approx(
        np.array([[30.0, 40.0, 30.0, nan], [10.0, 30.0, nan, nan], [0.0, 20.0, nan, nan]]), nan_ok=True
    )


@pytest.mark.figures
@pytest.mark.parametrize("page", Page)
def test_the_more_devices_are_enough_the_darker_a_grey_print_is(page: Page) -> None:
    """In the middle of each band, from all sets of devices to the one that reaches farthest, and above it."""
    found = invented(1)
    figure = corridor(found, page)
    grey = lightness(luminance(rendered(figure, 200), "grey print"))
    axes = next(one for one in figure.axes if one.axison)
    distance = float(found.values("distance_to_go")[-4])  # far out, where the bands are high
    heights = [float(found.values("lowest")[-4, 0]), *sorted(found.values("highest")[:, -4, 0])]
    ends = (np.array([*heights, heights[-1] + 800.0 * FOOT]) - CROSSING - GRADIENT * distance) / FOOT
    levels: list[float] = []
    for middle in 0.5 * (ends[1:] + ends[:-1]):
        x, y = axes.transData.transform((distance / NAUTICAL_MILE, middle)) * 200.0 / figure.dpi
        row, column = grey.shape[0] - round(y), round(x)
        levels.append(float(np.median(grey[row - 1 : row + 2, column - 1 : column + 2])))
    assert len(levels) == len(NAMES) + 1
    assert np.diff(levels).min() >= 5.0
    assert levels[-1] == pytest.approx(100.0, abs=0.1)


def test_one_speed_has_one_panel() -> None:
    figure = corridor(invented(1), Page.SLIDE)
    apart(figure)
    assert len(figure.axes) == 1


def test_what_cannot_be_drawn_is_named() -> None:
    with pytest.raises(InputFault, match="at most 6"):
        corridor(invented(7))
    empty = invented().dataset.assign(highest=invented().dataset["highest"] * np.nan)
    with pytest.raises(InputFault, match="and a height"):
        corridor(replace(invented(), dataset=empty))
