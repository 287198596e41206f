"""The figure of a front of rules: as stored, where the data say, nothing collides, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optdescent.figures import Format, Page, save
from optdescent.figures.front import MOST_NAMES, front
from optdescent.inputs import InputFault
from optdescent.results import CAUTION
from optdescent.results.front import Front
from tests.figures.fronts import RULES, grey, invented
from tests.figures.images import LUMA, different, rendered, stored
from tests.figures.test_figures import apart, words, written

TOLERANCE = 60
"""Pixels of the stored image that may differ."""


def moved(found: Front, column: str, by: float) -> Front:
    return replace(found, table=found.table.assign({column: found.table[column] + by}))


@pytest.mark.figures
def test_the_figure_is_as_stored() -> None:
    assert different(grey(invented()), stored("front")) <= TOLERANCE


@pytest.mark.figures
@pytest.mark.parametrize(
    ("column", "by"),
    [("held_share", -0.02), ("predicted_low", -0.02), ("predicted_high", -0.02), ("unseen_held_share", -0.01)],
)
def test_what_has_moved_is_caught(column: str, by: float) -> None:
    assert different(grey(moved(invented(), column, by)), stored("front")) > TOLERANCE


@pytest.mark.figures
def test_every_rule_of_the_front_has_its_ink_where_the_data_say() -> None:
    figure = front(invented(), Page.A4)
    image = rendered(figure, 300) @ LUMA
    whole, close = figure.axes
    for name, _, fuel, share, _, derived, on_front, _ in RULES:
        for axes, is_shown in ((whole, not derived or on_front), (close, derived and on_front)):
            across, up = axes.transData.transform((fuel, 100.0 * share))
            if not is_shown or not axes.bbox.contains(across, up):
                continue
            row, column = image.shape[0] - 1 - round(up), round(across)
            assert image[row - 12 : row + 13, column - 12 : column + 13].min() < 0.6, name


def test_a_rule_that_others_better_is_left_out_and_the_recommended_has_a_ring() -> None:
    figure = front(invented(), Page.A4)
    texts = [{text.get_text() for text in axes.texts} for axes in figure.axes]
    assert {"derived, 3 things", "derived, 4 things", "three-to-one (8)", "stable-at-1000 (12)"} <= texts[0]
    assert texts[1] == {rule[0] for rule in RULES if rule[5] and rule[6]}
    for axes in figure.axes:
        rings = [line for line in axes.lines if line.get_marker() == "o" and line.get_markersize() > 6.0]
        ((x, y),) = [ring.get_xydata()[0] for ring in rings]
        assert (x, y) == pytest.approx((524.0, 97.3))


def test_the_wanted_share_is_a_line_across() -> None:
    for axes in front(invented(), Page.A4).axes:
        across = [line for line in axes.lines if list(line.get_ydata()) == [95.0, 95.0]]
        assert len(across) == 1
        assert list(across[0].get_xdata()) == list(axes.get_xlim())


@pytest.mark.parametrize("page", Page)
def test_letters_do_not_collide_and_caution_and_source_are_there(page: Page) -> None:
    figure = front(invented(), page)
    apart(figure)
    on_page = written(figure)
    assert words(CAUTION) in on_page
    assert invented().provenance.line in on_page
    assert "[kg]" in on_page
    assert "[%]" in on_page


def test_rules_on_one_spot_are_all_named() -> None:
    same = [(f"rule {index}", 4, 500.0, 0.9, 0.9, 0, 0, 0) for index in range(5)]
    figure = front(invented(rules=[*RULES[:3], *same]), Page.A4)
    apart(figure)
    assert {f"rule {index} (4)" for index in range(5)} <= {text.get_text() for text in figure.axes[0].texts}


def test_a_single_rule_can_be_drawn() -> None:
    apart(front(invented(rules=[("alone", 3, 500.0, 1.0, 1.0, 1, 1, 0)]), Page.A4))


def test_the_same_front_gives_the_same_bytes(tmp_path: Path) -> None:
    for folder in ("one", "other"):
        save(front(invented(), Page.A5), tmp_path / folder, "front", (Format.SVG,))
    one, other = (tmp_path / folder / "front.svg" for folder in ("one", "other"))
    assert one.read_bytes() == other.read_bytes()


def test_what_cannot_be_drawn_is_refused() -> None:
    many = [(f"rule {index}", 4, 400.0 + index, 0.5, 0.5, 0, 0, 0) for index in range(MOST_NAMES + 1)]
    with pytest.raises(InputFault, match=f"at most {MOST_NAMES}"):
        front(invented(rules=[*RULES[:3], *many]), Page.A4)
    with pytest.raises(InputFault, match="no derived rule"):
        front(invented(rules=[rule for rule in RULES if not rule[5]]), Page.A4)


def test_a_rule_without_fuel_is_left_out() -> None:
    lost = ("lost", 4, np.inf, 0.0, 0.0, 0, 0, 0)
    texts = {text.get_text() for text in front(invented(rules=[*RULES, lost]), Page.A4).axes[0].texts}
    assert "lost (4)" not in texts
