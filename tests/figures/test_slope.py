"""The slope chart: where the data say, nothing collides, grey tells its lines apart, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from matplotlib.lines import Line2D

from optdescent.airframe import BUILT_IN, read_airframe
from optdescent.corridor import slope_chart, usual_slope
from optdescent.figures import Page
from optdescent.figures.slope import slope
from optdescent.inputs import InputFault
from optdescent.results import CAUTION, Provenance
from optdescent.results.slope import SlopeChart, slope_dataset
from optdescent.units import DEGREE, FOOT, KNOT, NAUTICAL_MILE
from tests.figures.images import LUMA, rendered
from tests.figures.test_figures import apart, words, written

PER_MILE = KNOT / NAUTICAL_MILE
TABLE = np.array([[0, 0, 0], [0, 0, 1], [1, 0, 0], [2, 0, 0], [2, 1, 0], [3, 1, 0]], dtype=float)
NAMES = ("clean", "clean, speed brake", "step 1", "step 2", "step 2, gear", "landing, gear")
ENDS = ((220, 250), (220, 250), (190, 225), (170, 200), (170, 200), (135, 175))


@cache
def invented(winds: tuple[float, ...] = (0.0, 30.0), steps: int = 3) -> SlopeChart:
    """Shapes that a slope chart may have, computed by no airframe."""
    speed = np.arange(130.0, 251.0, 5.0)
    level = np.array([-2.5, 9.0, 1.0, 5.0, 12.0, 23.0])
    flown = np.array([(speed >= low) & (speed <= high) for low, high in ENDS])
    slowing = level[:, None, None] + 0.0005 * (speed - 190.0) ** 2 - 0.1 * np.array(winds)[:, None]
    slowing = np.where(flown[:, None, :], slowing, np.nan)[:, None]
    stop = np.where(flown & (np.abs(level) < 6.0)[:, None], 10.0 * level[:, None] + 0.0 * speed, np.nan)[:, None]
    mass = np.linspace(40000.0, 76000.0, 25)
    room = 55.0 - 1.5 * np.arange(1.0, steps + 1.0)[:, None] * (mass - 40000.0) / 1000.0 / steps
    distance = np.full((6, 1, len(winds)), 3.0 * NAUTICAL_MILE)
    return SlopeChart(
        slope_dataset(
            {
                "deceleration": slowing * PER_MILE,
                "deceleration_by_height": slowing * PER_MILE / np.tan(3.0 * DEGREE),
                "stop_tailwind": stop * KNOT,
                "stretch_from": np.array([high for _, high in ENDS]) * KNOT,
                "stretch_to": np.array([low for low, _ in ENDS]) * KNOT,
                "stretch_distance": distance,
                "stretch_height": 0.05 * distance,
                "flaps": TABLE[:, 0],
                "gear": TABLE[:, 1],
                "speed_brake": TABLE[:, 2],
                "room": room * KNOT,
            },
            {
                "configuration": NAMES,
                "mass": [66000.0],
                "tailwind": np.array(winds) * KNOT,
                "speed": speed * KNOT,
                "step": [f"step {number}" for number in range(steps)],
                "room_mass": mass,
            },
        ),
        3.0 * DEGREE,
        2000.0 * FOOT,
        Provenance("Invented airframe", "", "0123456789ab", "airframe"),
    )


@pytest.mark.parametrize("page", Page)
def test_letters_do_not_collide_and_note_caution_and_source_are_there(page: Page) -> None:
    figure = slope(invented(), page)
    apart(figure)
    on_page = written(figure)
    assert words(CAUTION) in on_page
    assert invented().provenance.line in on_page
    assert all(said in on_page for said in ("path of 3° over", "66.0 t", "In still air", "In 30 kt of tailwind"))
    assert all(unit in on_page for unit in ("[kt/nm]", "[kt]", "[t]"))


@pytest.mark.parametrize("built_in", BUILT_IN)
def test_the_built_in_airframes_can_be_drawn(built_in: str) -> None:
    airframe = read_airframe(built_in)
    found = slope_chart(airframe, usual_slope(airframe))
    for page in (Page.A4, Page.SLIDE):
        apart(slope(found, page))


def test_low_panels_have_few_upright_ticks() -> None:
    """Four panels one above the other on a column page are less than 25 mm high: a tick for each 5 mm at most."""
    panels = [axes for axes in slope(invented(), Page.COLUMN).axes if axes.axison]
    assert len(panels) == 4
    for axes in panels:
        high = axes.get_position().height * Page.COLUMN.value.height
        assert high < 25.0
        low, top = axes.get_ylim()
        assert 2 <= sum(low <= tick <= top for tick in axes.get_yticks()) <= 1 + int(high / 5.0)


def test_each_panel_shows_the_numbers_of_the_chart() -> None:
    found = invented()
    panels = slope(found, Page.A4).axes
    expected = (
        found.charted("deceleration")[:, -1, 0],
        found.charted("deceleration")[:, -1, 1],
        found.charted("stop_tailwind")[:, -1],
        found.charted("room"),
    )
    assert len(panels) == 4
    for axes, values in zip(panels, expected, strict=True):
        drawn = [np.asarray(one.get_ydata(), dtype=float) for one in lines_of(axes)]
        known = [row[np.isfinite(row)] for row in values if np.isfinite(row).any()]
        assert len(drawn) == len(known)
        for own, wanted in zip(drawn, known, strict=True):
            assert own == pytest.approx(wanted)
    low, high = zip(*(axes.get_ylim() for axes in panels[:2]), strict=True)
    assert low[0] == low[1] <= -5.0
    assert min(high) >= 25.0


def lines_of(axes) -> list[Line2D]:  # type: ignore[no-untyped-def]
    """Lines in data units without the level of zero."""
    in_data = [one for one in axes.lines if one.get_transform() == axes.transData]
    return [one for one in in_data if np.any(np.asarray(one.get_ydata(), dtype=float) != 0.0)]


def test_every_line_is_named_in_every_panel() -> None:
    for axes in slope(invented(), Page.A4).axes:
        assert len(axes.texts) == len(lines_of(axes))


def test_lines_differ_in_grey_by_dash_or_marker() -> None:
    drawn = lines_of(slope(invented(), Page.A4).axes[0])
    looks = {(one.get_marker(), one.get_linestyle(), round(one.get_linewidth(), 2)) for one in drawn}
    assert len(looks) == len(drawn) == 6


@pytest.mark.figures
def test_the_room_is_where_the_data_say() -> None:
    figure = slope(invented(steps=1), Page.A4)
    image, axes = rendered(figure, 300) @ LUMA, figure.axes[3]
    for mass in (47.0, 55.0, 63.0):
        across, up = axes.transData.transform((mass, 55.0 - 1.5 * (mass - 40.0)))
        assert image[image.shape[0] - 1 - round(up), round(across)] < 0.3


def test_without_a_tailwind_there_is_no_second_panel() -> None:
    figure = slope(invented((-20.0, 0.0)), Page.A4)
    assert len(figure.axes) == 3
    assert "of tailwind" not in written(figure)


def test_what_cannot_be_drawn_is_named() -> None:
    with pytest.raises(InputFault, match="7 steps"):
        slope(invented(steps=7), Page.A4)
    found = invented()
    nothing = found.dataset.assign(deceleration=np.nan * found.dataset["deceleration"])
    with pytest.raises(InputFault, match="and a deceleration"):
        slope(replace(found, dataset=nothing), Page.A4)
