"""The figure of a fit: as stored, where the data say, nothing collides, and what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optdescent.figures import Format, Page, save
from optdescent.figures.fit import fit
from optdescent.inputs import InputFault
from optdescent.results import CAUTION, Fit
from optdescent.units import FOOT, KNOT
from tests.figures.fits import grey, invented
from tests.figures.images import LUMA, different, rendered, stored
from tests.figures.test_figures import apart, words, written

TOLERANCE = 60
"""Pixels of the stored image that may differ."""


def scaled(found: Fit, column: str, factor: float) -> Fit:
    return replace(found, dataset=found.dataset.assign({column: found.dataset[column] * factor}))


@pytest.mark.figures
def test_the_figure_is_as_stored() -> None:
    assert different(grey(invented()), stored("fit")) <= TOLERANCE


@pytest.mark.figures
@pytest.mark.parametrize(
    ("column", "factor"),
    [
        ("value", 1.01),
        ("standard_error", 1.3),
        ("speed_residual", 1.1),
        ("altitude_residual", 0.9),
        ("speed_noise", 1.2),
    ],
)
def test_what_has_moved_is_caught(column: str, factor: float) -> None:
    assert different(grey(scaled(invented(), column, factor)), stored("fit")) > TOLERANCE


@pytest.mark.figures
def test_the_bars_are_where_the_data_say() -> None:
    figure = fit(invented(shift=3.0), Page.A4)
    image = rendered(figure, 300) @ LUMA
    axes, found = figure.axes[0], invented(shift=3.0)
    value, error, declared = (found.column(name) for name in ("value", "standard_error", "declared"))
    for row in np.flatnonzero(error > 0.0):
        middle = (value[row] - declared[row]) / error[row]
        for away, is_dark in ((-1.9, True), (1.9, True), (-2.3, False), (2.3, False)):
            across, up = axes.transData.transform((middle + away, row + 0.5))
            darkest = image[image.shape[0] - 1 - round(up), round(across)]
            assert bool(darkest < 0.4) == is_dark or abs(middle + away) < 0.05, "the line of the declared value aside"


@pytest.mark.parametrize("page", Page)
def test_letters_do_not_collide_and_caution_and_source_are_there(page: Page) -> None:
    figure = fit(invented(), page)
    apart(figure)
    assert words(CAUTION) in written(figure)
    assert invented().provenance.line in written(figure)


def test_every_number_is_written_with_its_error() -> None:
    figure = fit(invented(), Page.A4)
    texts = {text.get_text() for text in figure.axes[0].texts}
    assert {"declared", "found ± standard error", "0.018 fixed"} <= texts
    assert sum("±" in text for text in texts) == 15
    labels = written(figure)
    for unit in ("[kt]", "[ft]", "[min]", "[standard errors]"):
        assert unit in labels


def test_residuals_are_drawn_in_units_of_the_trade_against_time_and_speed() -> None:
    found = invented()
    for axes, name, unit in zip(
        fit(found, Page.A4).axes[1:], ("speed", "speed", "altitude", "altitude"), (KNOT, KNOT, FOOT, FOOT), strict=True
    ):
        dots = next(line for line in axes.lines if line.get_marker() == "o")
        assert np.asarray(dots.get_ydata()) == pytest.approx(found.column(f"{name}_residual") / unit)


def test_the_same_fit_gives_the_same_bytes(tmp_path: Path) -> None:
    for folder in ("one", "other"):
        save(fit(invented(), Page.A5), tmp_path / folder, "fit", (Format.SVG,))
    one, other = (tmp_path / folder / "fit.svg" for folder in ("one", "other"))
    assert one.read_bytes() == other.read_bytes()


def of_coefficients(count: int) -> Fit:
    rows = np.arange(count) % len(invented().keys)
    return replace(invented(), dataset=invented().dataset.isel(coefficient=rows))


def test_a_column_has_room_for_22_coefficients_and_refuses_what_nobody_could_read() -> None:
    apart(fit(of_coefficients(22), Page.COLUMN))
    with pytest.raises(InputFault, match="page: has no room for 40 coefficients"):
        fit(of_coefficients(40), Page.COLUMN)


def test_a_page_has_room_for_23_coefficients_and_refuses_what_nobody_could_read() -> None:
    apart(fit(of_coefficients(23), Page.A4))
    with pytest.raises(InputFault, match="page: has no room for 40 coefficients"):
        fit(of_coefficients(40), Page.A4)
