"""The figure of a rule: as stored, where the data say, nothing collides, units, provenance, same bytes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optdescent.figures import Format, Page, save
from optdescent.figures.rule_sheet import rule_sheet
from optdescent.results import CAUTION
from optdescent.results.rule_sheet import RuleSheet
from optdescent.rules import read_rules
from optdescent.rules.sheet import rule_sheet as worked_out
from tests.figures.images import LUMA, different, rendered, stored
from tests.figures.sheets import grey, invented
from tests.figures.test_figures import apart, words, written

TOLERANCE = 60
"""Pixels of the stored image that may differ."""
LIBRARY = {rule.name: rule for rule in read_rules("library")}
SHAPES = ("three-to-one", "300-with-allowances", "half-ground-speed", "mile-per-ten-knots", "three-degrees")
"""Rules whose lines differ in kind; the others stand on the profiles of these."""


def scaled(sheet: RuleSheet, name: str, factor: float) -> RuleSheet:
    """The sheet with a line moved: of the first wind only where there are three, since the axes follow the lines."""
    values = sheet.dataset[name].copy(deep=True)
    values[0 if "wind" in values.dims else slice(None)] *= factor
    return replace(sheet, dataset=sheet.dataset.assign({name: values}))


@pytest.mark.figures
def test_the_figure_is_as_stored() -> None:
    assert different(grey(invented()), stored("rule-sheet")) <= TOLERANCE


@pytest.mark.figures
@pytest.mark.parametrize(
    ("name", "factor"), [("height_to_have", 0.98), ("planned_speed", 0.98), ("three_degrees", 1.03)]
)
def test_a_moved_line_is_caught(name: str, factor: float) -> None:
    assert different(grey(scaled(invented(), name, factor)), stored("rule-sheet")) > TOLERANCE


@pytest.mark.figures
def test_the_lines_are_where_the_data_say() -> None:
    figure = rule_sheet(invented(), Page.A4)
    image = rendered(figure, 300) @ LUMA
    heights, speeds = figure.axes[2:]
    for axes, x, y, is_line in (
        (heights, 30.0, 9000.0, True),
        (heights, 12.0, 3600.0, True),
        (heights, 36.0, 4000.0, False),
        (speeds, 18.0, 238.0, True),
        (speeds, 36.0, 280.0, True),
        (speeds, 31.0, 160.0, False),
    ):
        across, up = axes.transData.transform((x, y))
        assert (image[image.shape[0] - 1 - round(up), round(across)] < 0.3) == is_line, (x, y)


@pytest.mark.parametrize("by_wind", [True, False])
@pytest.mark.parametrize("page", Page)
def test_letters_do_not_collide_and_caution_and_source_are_there(page: Page, by_wind: bool) -> None:
    figure = rule_sheet(invented(by_wind=by_wind), page)
    apart(figure)
    assert words(CAUTION) in written(figure)
    assert invented().provenance.line in written(figure)
    assert "Source: invented" in written(figure)


@pytest.mark.parametrize("name", SHAPES)
def test_the_rules_of_the_library_can_be_drawn_and_their_titles_are_there(name: str) -> None:
    sheet = worked_out(LIBRARY[name])
    figure = rule_sheet(sheet, Page.A4)
    apart(figure)
    assert words(sheet.title) in written(figure)
    assert words(sheet.source) in written(figure)


def test_every_axis_says_its_unit() -> None:
    labels = written(rule_sheet(invented(), Page.A4))
    for unit in ("[ft]", "[kt]", "[nm]"):
        assert unit in labels


def test_one_line_stands_for_winds_that_make_no_difference() -> None:
    one, three = (rule_sheet(invented(by_wind=flag), Page.A4) for flag in (False, True))
    texts = [{text.get_text() for axes in figure.axes for text in axes.texts} for figure in (one, three)]
    assert texts[0] == {"any wind", "3° path"}
    assert texts[1] == {"still air", "40 kt tailwind", "40 kt headwind", "3° path"}


def test_a_path_of_three_degrees_has_one_name() -> None:
    figure = rule_sheet(worked_out(LIBRARY["three-degrees"]), Page.A4)
    assert {text.get_text() for axes in figure.axes for text in axes.texts} == {"any wind"}


def test_a_start_farther_out_than_worked_out_is_drawn_from_the_farthest_distance_on() -> None:
    sheet = invented()
    far = replace(sheet, dataset=sheet.dataset.assign(start_down=sheet.dataset["start_down"] * np.nan))
    assert rule_sheet(far, Page.A4).axes[0].get_xlim()[0] == pytest.approx(150.0)


def test_the_same_sheet_gives_the_same_bytes(tmp_path: Path) -> None:
    runs = [save(rule_sheet(invented(), Page.A5), tmp_path / run, "sheet", (Format.SVG,)) for run in ("one", "two")]
    for one, two in zip(*runs, strict=True):
        assert one.read_bytes() == two.read_bytes()
