"""The figures of an airframe: as stored, where the data say, nothing collides, units, provenance, what is refused."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optdescent.airframe import BUILT_IN, read_airframe
from optdescent.figures import AIRFRAME_FIGURES, Format, Page, draw_airframe, save
from optdescent.inputs import InputFault
from optdescent.motion.airframe_numbers import airframe_numbers
from optdescent.results import CAUTION
from optdescent.results.airframe import AIRFRAME_COLUMNS, COORDINATES, DIMENSIONS, AirframeNumbers
from optdescent.units import KNOT
from tests.figures.airframes import ZERO_LIFT, grey, invented
from tests.figures.images import LUMA, different, rendered, stored
from tests.figures.test_figures import apart, words, written

TOLERANCE = 60
"""Pixels of the stored image that may differ."""
EACH = pytest.mark.parametrize("name", AIRFRAME_FIGURES)


def scaled(numbers: AirframeNumbers, name: str, factor: float) -> AirframeNumbers:
    return replace(numbers, dataset=numbers.dataset.assign({name: numbers.dataset[name] * factor}))


@pytest.mark.figures
@EACH
def test_a_figure_is_as_stored(name: str) -> None:
    assert different(grey(name, invented()), stored(name)) <= TOLERANCE


@pytest.mark.figures
@pytest.mark.parametrize(
    ("name", "variable", "factor"),
    [
        ("polar", "drag_coefficient", 1.01),
        ("polar", "best_lift_coefficient", 1.1),
        ("operating-speeds", "stall_speed", 1.02),
        ("operating-speeds", "manoeuvre_speed", 1.02),
        ("operating-speeds", "selection_speed", 0.98),
        ("operating-speeds", "limit_speed", 1.02),
        ("operating-speeds", "largest_landing_mass", 0.97),
    ],
)
def test_a_moved_line_is_caught(name: str, variable: str, factor: float) -> None:
    assert different(grey(name, scaled(invented(), variable, factor)), stored(name)) > TOLERANCE


@pytest.mark.figures
@pytest.mark.parametrize("name", ["idle_thrust", "idle_flow"])
@pytest.mark.parametrize("which", ["usual", "anti-ice on"])
def test_moved_idle_is_caught(name: str, which: str) -> None:
    """One of the two, since the axis follows what is drawn."""
    numbers = invented()
    values = numbers.dataset[name]
    moved = numbers.dataset.assign({name: values.where(values["idle"] != which, 0.97 * values)})
    assert different(grey("idle", replace(numbers, dataset=moved)), stored("idle")) > TOLERANCE


@pytest.mark.figures
def test_the_clean_polar_is_where_the_data_say() -> None:
    figure = draw_airframe("polar", invented(), Page.A4)
    image = rendered(figure, 300) @ LUMA
    axes = figure.axes[0]
    for lift in (0.1, 0.4, 0.9, 1.2):
        across, up = axes.transData.transform((ZERO_LIFT[0] + 0.045 * lift**2, lift))
        row = image.shape[0] - 1 - round(up)
        assert image[row, round(across)] < 0.3
        assert image[row, round(across) - 10] > 0.7


@EACH
@pytest.mark.parametrize("page", Page)
def test_letters_do_not_collide_and_caution_and_source_are_there(name: str, page: Page) -> None:
    figure = draw_airframe(name, invented(), page)
    apart(figure)
    assert words(CAUTION) in written(figure)
    assert invented().provenance.line in written(figure)
    assert "airframe 0123456789ab" in written(figure)


@EACH
@pytest.mark.parametrize("built_in", BUILT_IN)
def test_the_built_in_airframes_can_be_drawn(name: str, built_in: str) -> None:
    apart(draw_airframe(name, airframe_numbers(read_airframe(built_in)), Page.A4))


def test_every_axis_says_its_unit() -> None:
    said = {name: written(draw_airframe(name, invented(), Page.A4)) for name in AIRFRAME_FIGURES}
    assert all(unit in said["idle"] for unit in ("[kN]", "[kg/min]", "[ft]"))
    assert all(unit in said["operating-speeds"] for unit in ("[kt]", "[t]", "gear 240 kt"))


@pytest.mark.parametrize("page", Page)
@pytest.mark.parametrize("built_in", [None, *BUILT_IN])
def test_panels_of_operating_speeds_have_one_scale(page: Page, built_in: str | None) -> None:
    numbers = airframe_numbers(read_airframe(built_in)) if built_in else invented()
    panels = [axes for axes in draw_airframe("operating-speeds", numbers, page).axes if axes.axison]
    assert len(panels) == len(numbers.names("step"))
    assert len({axes.get_ylim() for axes in panels}) == 1
    assert len({round(axes.get_position().height, 6) for axes in panels}) == 1
    assert panels[0].get_ylim()[1] >= np.nanmax(numbers.charted("limit_speed"))


@pytest.mark.parametrize("page", [Page.A4, Page.SLIDE])
def test_room_for_labels_of_one_panel_is_made_in_all(page: Page) -> None:
    """Lines of the clean aircraft close below its limit leave their labels no room unless the axis is raised."""
    numbers = invented()
    crowded = numbers.dataset.copy(deep=True)
    for place, name in enumerate(("selection_speed", "manoeuvre_speed", "stall_speed"), start=1):
        crowded[name][0] = float(crowded["limit_speed"].max()) - 8.0 * place * KNOT
    panels = draw_airframe("operating-speeds", replace(numbers, dataset=crowded), page).axes
    ((_, top),) = {axes.get_ylim() for axes in panels}
    assert top > 1.1 * 335.0


def test_operating_speeds_on_a_narrow_page_stand_in_pairs_over_one_key() -> None:
    numbers = airframe_numbers(read_airframe("narrow-body-twin"))
    figure = draw_airframe("operating-speeds", numbers, Page.COLUMN)
    apart(figure)
    named, *panels = figure.axes
    assert [text.get_text() for text in named.texts] == ["Lines:", "limit", "selection", "least", "stall"]
    assert not [text for axes in panels for text in axes.texts]
    assert len({round(axes.get_position().x0, 6) for axes in panels}) == 2
    assert [text.get_text() for text in figure.texts].count("Mass [t]") == 2


def test_one_line_stands_for_all_where_mach_makes_no_difference() -> None:
    one, three = (draw_airframe("idle", invented(by_mach=flag), Page.A4).axes[1] for flag in (False, True))
    texts = [" ".join(text.get_text() for text in axes.texts) for axes in (one, three)]
    assert "every Mach number" in texts[0]
    assert "Mach 0.7" in texts[1]
    assert "every" not in texts[1]


def test_same_input_same_bytes(tmp_path: Path) -> None:
    for name in AIRFRAME_FIGURES:
        for run in ("one", "two"):
            save(draw_airframe(name, invented(), Page.A5), tmp_path / run, name, (Format.SVG,))
        one, two = (tmp_path / run / f"{name}.svg" for run in ("one", "two"))
        assert one.read_bytes() == two.read_bytes()


def test_an_unknown_figure_is_named_with_those_there_are() -> None:
    with pytest.raises(InputFault, match=r"figure: 'drag'; allowed: polar, idle, operating-speeds"):
        draw_airframe("drag", invented(), Page.A4)


def test_numbers_keep_to_the_schema() -> None:
    numbers = invented()
    assert set(DIMENSIONS) <= set(AIRFRAME_COLUMNS)
    for name in DIMENSIONS:
        assert numbers.dataset[name].attrs["units"] == AIRFRAME_COLUMNS[name].unit
    values = {name: numbers.dataset[name].to_numpy() for name in DIMENSIONS}
    coordinates = {name: numbers.dataset[name].to_numpy() for name in COORDINATES}
    with pytest.raises(ValueError, match="stall_speed"):
        AirframeNumbers.of({k: v for k, v in values.items() if k != "stall_speed"}, coordinates, numbers.provenance)


@pytest.mark.parametrize("built_in", BUILT_IN)
def test_numbers_of_an_airframe_are_its_own(built_in: str) -> None:
    airframe = read_airframe(built_in)
    numbers = airframe_numbers(airframe)
    assert numbers.names("step") == tuple(step.name for step in airframe.steps)
    thrust = numbers.charted("idle_thrust")
    known = np.isfinite(thrust[0])
    assert np.all(thrust[1][known] > thrust[0][known])
    assert np.isnan(numbers.charted("selection_speed")[0]).all()
    at = numbers.charted("best_lift_coefficient")
    lift, drag = numbers.charted("lift_coefficient"), numbers.charted("drag_coefficient")
    with np.errstate(invalid="ignore"):
        best = np.nanmax(lift / drag, axis=1)
    assert best == pytest.approx(numbers.charted("best_lift_over_drag"), rel=2e-3)
    assert np.all((at > 0.3) & (at < 1.6))
