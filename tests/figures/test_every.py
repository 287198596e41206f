"""Figures of margins, conditions, sweeps, winds and last actions: as stored, moved lines are caught, nothing collides,
units, provenance, and what is refused.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import TypeVar

import numpy as np
import pytest
from matplotlib.figure import Figure

from optdescent.figures import Choice, Format, Page, draw_stored, figures_of, save
from optdescent.figures.rule_map import shade
from optdescent.inputs import InputFault
from optdescent.results import CAUTION, Flight
from optdescent.results.corridor import Corridor
from optdescent.results.debrief import Debrief
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.results.slope import SlopeChart
from optdescent.results.sweep import Swept
from optdescent.rules.compared import share_interval
from optdescent.units import FOOT
from tests.figures import debriefs, test_corridor, test_slope
from tests.figures.conditions import RULES, once, over
from tests.figures.every import EVERY, KEPT, NEW, drawn, grey, several
from tests.figures.flights import four
from tests.figures.images import different, stored
from tests.figures.sweeps import SETS, flown, last_useful, of_corridor, optimum, swept
from tests.figures.test_figures import apart, words, written

TOLERANCE = 20
"""Pixels of the 205 000 of a stored image that may differ: dots and bars have fewer than long lines."""


Told = TypeVar("Told", Corridor, SlopeChart)


def of_table(name: str, by: float) -> OverConditions:
    found = over()
    return replace(found, table=found.table.assign({name: found.table[name] + by}))


def of_margins(name: str, by: float) -> Margins:
    return replace(once(), table=once().table.assign({name: once().table[name] + by}))


def of_cases(by: float) -> OverConditions:
    """Rules that break at another tailwind."""
    cases = over().cases
    wind = cases["level_added_tailwind_kt"]
    later = cases["stable"].where(~((wind > 0.0) & (wind < by)), 0.0)
    return replace(over(), cases=cases.assign(stable=later.where(cases["stable"].notnull())))


def of_sweep(name: str, factor: float) -> Swept:
    dataset = swept().dataset
    part = dataset[name].where(dataset["mass_kg"] != 60000.0, dataset[name] * factor)
    return replace(swept(), dataset=dataset.assign({name: part.assign_attrs(dataset[name].attrs)}))


def test_a_flight_that_is_not_stable_has_words_in_the_place_of_its_price() -> None:
    *_, fuel = drawn("margins-once", Page.A4).axes
    assert [text.get_text() for text in fuel.texts] == ["not stable"]
    assert [float(dot.get_xdata()[0]) for dot in fuel.lines if dot.get_marker() == "o"] == [21.0, 12.0, 33.0]


def axis_labels(figure: Figure) -> list[str]:
    """Labels of axes, whole: pieces that are written upright, or centred, one line beside or below the other."""
    found: list[str] = []
    before = ("", 0.0)
    for text in figure.texts:
        is_upright, x, y = text.get_rotation() == 90.0, *text.get_position()
        if not is_upright and text.get_horizontalalignment() != "center":
            continue
        here = ("up", y) if is_upright else ("level", x)
        goes_on = bool(found) and not found[-1].endswith("]") and here == before
        found = [*found[:-1], f"{found[-1]} {text.get_text()}"] if goes_on else [*found, text.get_text()]
        before = here
    return found


@pytest.mark.parametrize("page", Page)
@pytest.mark.parametrize("name", EVERY)
def test_no_axis_is_without_a_unit(name: str, page: Page) -> None:
    labels = axis_labels(drawn(name, page))
    assert labels
    assert [label for label in labels if not re.fullmatch(r"[^\[\]]+ \[[^\[\]]+\]", label)] == []


def test_pure_numbers_have_a_dash_for_a_unit() -> None:
    assert axis_labels(drawn("polar", Page.A4)) == ["Drag coefficient below the drag rise [–]", "Lift coefficient [–]"]
    swept_over = swept().dataset
    pure = swept_over.assign(fuel=swept_over["fuel"].assign_attrs(units="1", charted=""))
    figure = draw_stored("slices", (replace(swept(), dataset=pure),))
    assert "Fuel from the start to the threshold [–]" in axis_labels(figure)


@pytest.mark.figures
@pytest.mark.parametrize("name", KEPT)
def test_a_figure_is_as_stored(name: str) -> None:
    assert different(grey(EVERY[name](Page.A4)), stored(name)) <= TOLERANCE


MOVED: dict[str, tuple[str, Callable[[], Figure]]] = {
    "share": ("margins", lambda: draw_stored("margins", (of_table("stable_share", 0.05),))),
    "interval": ("margins", lambda: draw_stored("margins", (of_table("stable_share_low", -0.06),))),
    "energy": ("margins", lambda: draw_stored("margins", (of_table("excess_energy_median", 40.0),))),
    "fuel": ("margins", lambda: draw_stored("margins", (of_table("fuel_above_optimum_mean", 2.0),))),
    "one flight": ("margins-once", lambda: draw_stored("margins", (of_margins("fuel_above_optimum", 3.0),))),
    "cases": ("rule-map", lambda: draw_stored("rule-map", (of_cases(6.0),))),
    "wind": ("wind", lambda: draw_stored("wind", (bent(1.04),))),
    "wind of three masses": ("winds", lambda: draw_stored("wind", (*several()[:2], bent(1.04, several()[2])))),
    "last point": (
        "last-action",
        lambda: draw_stored("last-action", (flown(), (last_useful(nearer=0.3),))),
    ),
    "slices": ("slices", lambda: draw_stored("slices", (of_sweep("fuel", 1.01),))),
    "highest": ("corridor", lambda: draw_stored("corridor", (of_dataset(test_corridor.invented(), "highest", 1.01),))),
    "lowest": ("corridor", lambda: draw_stored("corridor", (of_dataset(test_corridor.invented(), "lowest", 0.98),))),
    "slowing": ("slope", lambda: draw_stored("slope", (of_dataset(test_slope.invented(), "deceleration", 1.03),))),
    "room": ("slope", lambda: draw_stored("slope", (of_dataset(test_slope.invented(), "room", 1.02),))),
    "to spare": ("debrief", lambda: draw_stored("debrief", (with_spare(1.03),))),
    "minutes": ("debrief", lambda: draw_stored("debrief", (later(12.0),))),
}


def of_dataset(found: Told, name: str, factor: float) -> Told:
    """A result with one of its quantities more by a factor."""
    part = found.dataset[name]
    return replace(found, dataset=found.dataset.assign({name: (factor * part).assign_attrs(part.attrs)}))


def with_spare(factor: float) -> Debrief:
    """The debrief with more energy to spare with the speed brake, by a factor."""
    own = debriefs.invented()
    spare = own.points["energy_to_spare"]
    more = spare.where(spare["devices"] != "speed brake", factor * spare)
    return replace(own, points=own.points.assign(energy_to_spare=more))


def later(seconds: float) -> Debrief:
    """The debrief of a flight that is everywhere later by so much [s]."""
    own = debriefs.invented()
    time = own.flight.dataset["time"]
    moved = own.flight.dataset.assign(time=(time + seconds).assign_attrs(time.attrs))
    return replace(own, flight=replace(own.flight, dataset=moved))


def bent(factor: float, flight: Flight | None = None) -> Flight:
    """An optimum with one band more of an effect."""
    own = flight or optimum()
    assert own.solver is not None
    whole, first, *others = own.solver.sensitivity
    changed = (whole, replace(first, fuel=factor * first.fuel), *others)
    return replace(own, solver=replace(own.solver, sensitivity=changed))


@pytest.mark.figures
@pytest.mark.parametrize("what", MOVED)
def test_what_has_moved_is_caught(what: str) -> None:
    name, make = MOVED[what]
    assert different(grey(make()), stored(name)) > TOLERANCE


@pytest.mark.parametrize("name", NEW)
@pytest.mark.parametrize("page", Page)
def test_letters_do_not_collide_and_caution_and_source_are_there(page: Page, name: str) -> None:
    figure = drawn(name, page)
    apart(figure)
    on_page = written(figure)
    assert words(CAUTION) in on_page
    assert " 0123456789ab" in on_page
    assert "Invented" in on_page


def test_every_axis_says_its_unit() -> None:
    units = {
        "margins": ("[%]", "[ft]", "[kg]"),
        "margins-once": ("[ft]", "[kg]"),
        "rule-map": ("[kt]", "[kg]"),
        "wind": ("[nm/kt]", "[kg/kt]", "[ft]"),
        "last-action": ("[nm]", "[ft]"),
        "slices": ("[kt]", "[kg]"),
    }
    for name, wanted in units.items():
        on_page = written(drawn(name, Page.A4))
        assert all(unit in on_page for unit in wanted), name
    assert "Share stable [%]" in {text.get_text() for text in drawn("rule-map", Page.A4).axes[0].texts}


def test_a_library_of_fourteen_rules_has_room_on_every_page() -> None:
    many = over(rules=tuple(f"a-rule-of-the-library-{number}" for number in range(14)))
    for page in (Page.A5, Page.COLUMN):
        for name in ("margins", "rule-map"):
            apart(draw_stored(name, (many,), page))
    with pytest.raises(InputFault, match="page: has no room"):
        draw_stored("margins", (over(rules=tuple(f"rule {number}" for number in range(90))),), Page.COLUMN)


def test_a_rule_that_was_not_flown_is_said_and_those_chosen_alone_are_drawn() -> None:
    told = [text.get_text() for axes in drawn("margins", Page.A4).axes for text in axes.texts]
    assert told.count("not flown") == 1
    assert told.count("none compared") == 2
    figure = draw_stored("margins", (over(),), choice=Choice(rules=RULES[2:3]))
    assert [label.get_text() for label in figure.axes[0].get_yticklabels()] == [RULES[2]]
    with pytest.raises(InputFault, match="rule: 'none such'; allowed: three-to-one, "):
        draw_stored("rule-map", (over(),), choice=Choice(rules=("none such",)))


def test_margins_are_drawn_where_the_numbers_are() -> None:
    panels = drawn("margins", Page.A4).axes
    dots = [[line for line in axes.lines if line.get_marker() == "o"] for axes in panels]
    assert [float(dot.get_xdata()[0]) for dot in dots[0]] == pytest.approx([62.0, 21.0, 93.0, 48.0])
    assert [float(dot.get_xdata()[0]) for dot in dots[3]] == pytest.approx([18.6, 27.9, 14.4])
    assert panels[1].get_xlim() == panels[2].get_xlim()
    bars = [list(line.get_xdata()) for line in panels[0].lines if len(line.get_xdata()) == 2]
    ends = [bar for bar in bars if bar[0] < bar[1]]
    assert np.array(ends) == pytest.approx(np.array([[57.0, 67.0], [16.0, 26.0], [88.0, 98.0], [43.0, 53.0]]))


@pytest.mark.parametrize("page", [Page.A4, Page.COLUMN])
@pytest.mark.parametrize(("stable", "least"), [((1320, 1601, 1512, 1751, 1821), 0.5), ((2, 430, 1024, 1750, 2046), 0)])
def test_an_interval_of_many_conditions_is_seen_beside_its_dot(
    page: Page, stable: tuple[int, ...], least: float
) -> None:
    """Of 2048 conditions the bar is two points either way, and the axis as wide as what is drawn."""
    low, high = np.array([share_interval(count, 2048) for count in stable]).T
    shares = {"stable_share": np.array(stable) / 2048, "stable_share_low": low, "stable_share_high": high}
    table = over().table.assign({name: ("rule", own) for name, own in shares.items()})
    axes = draw_stored("margins", (replace(over(), table=table),), page).axes[0]
    left, right = axes.get_xlim()
    assert -4.0 <= left < 100.0 * low.min() < 100.0 * high.max() < right <= 104.0
    assert right - left < 1.25 * 100.0 * (high.max() - low.min())
    per_point = (right - left) / (72.0 / axes.figure.dpi * axes.get_window_extent().width)
    dots, bars = ([line for line in axes.lines if line.get_marker() == marker] for marker in "o|")
    for dot, bar in zip(dots, bars, strict=True):
        whole = dot.get_markersize() + dot.get_markeredgewidth()
        assert bar.get_markersize() > 1.2 * whole, "caps are taller than the dot"
        assert np.abs(bar.get_xdata() - dot.get_xdata()[0]).min() / per_point > least * whole


def test_a_dot_at_the_end_of_an_axis_is_whole() -> None:
    """Far out there is thousands of feet too much, close in too little: both have one axis."""
    feet = np.array([[5000.0, -1400.0], [5500.0, -900.0], [4500.0, -200.0], [6000.0, -100.0], [np.nan, np.nan]])
    table = over().table.isel(at_distance=[0, 3])
    ends = {f"excess_energy_{end}": (("rule", "at_distance"), feet * FOOT) for end in ("median", "high")}
    for axes in draw_stored("margins", (replace(over(), table=table.assign(ends)),)).axes[1:3]:
        low, high = axes.get_xlim()
        per_point = (high - low) / (72.0 / axes.figure.dpi * axes.get_window_extent().width)
        for dot in (line for line in axes.lines if line.get_marker() == "o"):
            half = 0.5 * dot.get_markersize() * per_point
            assert low + half < float(dot.get_xdata()[0]) < high - half


def test_the_map_counts_what_is_stable_in_each_cell() -> None:
    """Of a sweep over a grid each level is a cell; 14 kt and 22 kt are where the invented rules break."""
    figure = draw_stored("rule-map", (swept(),), choice=Choice(axes=("added_tailwind_kt", "mass_kg")))
    _, first, second = figure.axes
    shares = [
        np.array([float(text.get_text()) for text in axes.texts if text.get_text().isdigit()]).reshape(3, 7)
        for axes in (first, second)
    ]
    wind = np.linspace(-30.0, 30.0, 7)
    assert shares[0] == pytest.approx(100.0 * (wind < np.array([4.5, 12.0, 19.5])[:, None]))
    assert shares[1] == pytest.approx(np.tile(100.0 * (wind < 24.0), (3, 1)))
    assert shade(np.array([0.0, 19.9, 20.0, 95.0, 100.0, np.nan])).tolist() == [0, 0, 1, 4, 4, 5]


def test_the_map_takes_the_drivers_that_explain_most_or_those_named() -> None:
    assert "Added tailwind [kt]" in written(drawn("rule-map", Page.A4))
    chosen = draw_stored("rule-map", (over(),), choice=Choice(axes=("anti_ice", "mass_kg"), rules=RULES[:1]))
    assert "Engine anti-ice" in written(chosen)
    assert {label.get_text() for label in chosen.axes[1].get_xticklabels()} == {"off", "on"}
    with pytest.raises(InputFault, match=r"axis: 'crew' has 600 levels; allowed: added_tailwind_kt, mass_kg, anti_ice"):
        draw_stored("rule-map", (over(),), choice=Choice(axes=("crew", "mass_kg")))
    with pytest.raises(InputFault, match="axis: 'gear'"):
        draw_stored("rule-map", (over(),), choice=Choice(axes=("gear", "mass_kg")))
    with pytest.raises(InputFault, match="two different"):
        draw_stored("rule-map", (over(),), choice=Choice(axes=("mass_kg",)))


@pytest.mark.parametrize("axes", [("sounding", "mass_kg"), ("mass_kg", "sounding")])
def test_long_names_of_soundings_are_letters_that_the_note_explains(axes: tuple[str, str]) -> None:
    names = ("Midwinter ascent over the fjord at dawn", "Summer inversion with a low-level jet", "Calm")
    cases = over().cases
    level = np.array([names[at % 3] for at in range(cases.sizes["case"])], dtype=object)
    own = (("case",), level, {"long_name": "sounding", "unit_in_file": ""})
    found = replace(over(), cases=cases.assign(level_sounding=own))
    for page in (Page.A4, Page.COLUMN):
        figure = draw_stored("rule-map", (found,), page, Choice(axes=axes))
        apart(figure)
        on_page = written(figure)
        assert all(words(f"{letter}: {name}") in on_page for letter, name in zip("ABC", names, strict=True))


def test_a_sample_with_rules_has_a_map_and_no_slices() -> None:
    sampled = swept(is_grid=False)
    assert figures_of((sampled,)) == ("rule-map",)
    apart(draw_stored("rule-map", (sampled,)))
    assert figures_of((swept(with_rules=False),)) == ("slices",)
    with pytest.raises(InputFault, match="a sample without rules"):
        figures_of((swept(is_grid=False, with_rules=False),))


def test_bars_of_wind_are_as_long_as_what_a_knot_does() -> None:
    place, fuel = drawn("wind", Page.A4).axes
    for axes, expected in ((place, ("+0.03", "+0.05", "+0.11", "+0.12", "−0.01")), (fuel, ("−0.42", "+0.09"))):
        assert set(expected) <= {text.get_text() for text in axes.texts}
    ends = [float(line.get_xdata()[1]) for line in place.lines if len(line.get_xdata()) == 4]
    assert ends == pytest.approx([0.03, 0.05, 0.11, 0.12, -0.01])
    assert place.get_ylim() == (0.0, 36000.0), "up to the cruise, not to where nobody flies"
    assert "Fuel, all heights: −1.57 kg/kt" in written(drawn("wind", Page.A4))
    for page in Page:
        for axes in drawn("wind", page).axes:
            for text in axes.texts:
                box = text.get_window_extent()
                assert axes.bbox.x0 + 3.0 < box.x0 < box.x1 < axes.bbox.x1


def test_bars_end_at_the_last_useful_points_and_at_the_gate() -> None:
    figure = drawn("last-action", Page.A4)
    strip = figure.axes[1]
    ends = [float(box.get_paths()[0].vertices[:, 0].min()) for box in strip.collections]
    assert ends == pytest.approx([17.5, 13.2, 12.1, 2.98], abs=0.05)
    texts = {text.get_text() for text in strip.texts}
    assert {"three to one", "too high and fast from the first point asked", "enough all the way to the gate"} <= texts
    assert "13.2 nm, 3\u202f960 ft, 216 kt" in texts


def test_several_flights_have_a_block_each() -> None:
    three = ("three to one", "by the mile", "constant angle")
    told = tuple(last_useful(name, nearer=2.0 * number) for number, name in enumerate(three))
    figure = draw_stored("last-action", (*four(), told), Page.A5)
    apart(figure)
    assert set(three) <= {text.get_text() for text in figure.axes[1].texts}
    with pytest.raises(InputFault, match="figure last-action: optimum; allowed: the flight of one of: by the mile"):
        draw_stored("last-action", (four()[0], (last_useful("by the mile"),)))
    other = replace(four()[1], provenance=replace(four()[1].provenance, scenario_digest="ba9876543210"))
    with pytest.raises(InputFault, match="is of scenario ba9876543210; allowed: 0123456789ab"):
        draw_stored("last-action", (other, (last_useful(),)))


def test_slices_show_the_cases_of_the_sweep() -> None:
    first = drawn("slices", Page.A4).axes[0]
    lines = [line for line in first.lines if line.get_transform() == first.transData]
    fuel = swept().dataset["fuel"].to_numpy()
    for line, mass in zip(lines, range(3), strict=True):
        assert line.get_ydata() == pytest.approx(fuel[:, mass, 0])
    middle = drawn("slices", Page.A4).axes[1]
    assert len(middle.lines[0].get_xdata()) == 6, "the case without an answer is left out"


def test_slices_of_what_is_named() -> None:
    by_rule = draw_stored("slices", (swept(),), choice=Choice(quantity="rule_fuel", rules=("three-to-one",)))
    assert {"three-to-one"} == {text.get_text() for text in by_rule.axes[0].texts}
    choice = Choice(quantity="top_of_descent", axes=("mass_kg", "added_tailwind_kt"))
    figure = draw_stored("slices", (swept(),), Page.SLIDE, choice)
    apart(figure)
    assert "Distance to go at the top [nm]" in written(figure)
    assert "Lines: added tailwind, some of its 7 levels." in written(figure)
    assert {"−30 kt", "30 kt"} <= {text.get_text() for text in figure.axes[0].texts}
    with pytest.raises(InputFault, match=r"quantity: 'drag' is missing; allowed: fuel, top_of_descent, rule_fuel"):
        draw_stored("slices", (swept(),), choice=Choice(quantity="drag"))
    with pytest.raises(InputFault, match=r"axis: 'flap'; allowed: added_tailwind_kt"):
        draw_stored("slices", (swept(),), choice=Choice(axes=("flap",)))


@pytest.mark.parametrize(
    ("name", "results", "message"),
    [
        ("hight", four, "figure: 'hight' is none of flights; allowed: height, speed, energy"),
        ("rule-map", lambda: (once(),), "'rule-map' is none of margins; allowed: margins"),
        ("height", lambda: (over(),), "'height' is none of margins over conditions; allowed: margins, rule-map"),
        ("height", lambda: (over(), *four()), "5 results: margins over conditions, flights"),
        ("wind", lambda: four()[1:], "'wind' is none of flights"),
        ("last-action", lambda: ((last_useful(),),), "last useful points alone"),
        ("margins", lambda: (lacking("stable_share"),), "margins over conditions: stable_share: is missing"),
        ("rule-map", lambda: (lacking("miss_share"),), "miss_share: is missing"),
    ],
)
def test_what_is_no_figure_of_a_result_is_named(name: str, results: Callable[[], tuple], message: str) -> None:  # type: ignore[type-arg]
    with pytest.raises(InputFault, match=message):
        draw_stored(name, results())


def lacking(name: str) -> OverConditions:
    return replace(over(), table=over().table.drop_vars(name))


def test_a_choice_that_a_figure_does_not_take_is_refused() -> None:
    with pytest.raises(InputFault, match="figure height: does not take axes; allowed: nothing to choose"):
        draw_stored("height", four(), choice=Choice(axes=("mass_kg",)))
    with pytest.raises(InputFault, match="figure margins: does not take quantity; allowed: rules"):
        draw_stored("margins", (over(),), choice=Choice(quantity="fuel"))


@pytest.mark.parametrize("title", ["降下", "תוכנית", "नीचे"])
def test_a_title_that_cannot_be_written_is_named(title: str) -> None:
    with pytest.raises(InputFault, match="has letters that figures cannot write: "):
        draw_stored("margins", (over(f"Descent {title}"),))


@pytest.mark.parametrize("title", ["Спуск", "Κάθοδος", "Hạ cánh", "$x_1$ <b>a</b> & \\textbf{b}"])
def test_a_title_in_letters_of_the_font_or_with_markup_is_written_as_it_is(title: str) -> None:
    assert title in written(draw_stored("margins", (over(title),)))


def test_a_name_that_cannot_be_written_is_named() -> None:
    with pytest.raises(InputFault, match="'rule 降'"):
        draw_stored("margins", (over(rules=("rule 降",)),))


def test_same_input_same_bytes(tmp_path: Path) -> None:
    for name in ("margins", "rule-map", "slices"):
        one = save(drawn(name, Page.A5), tmp_path / "one", name, (Format.SVG,))
        other = save(EVERY[name](Page.A5), tmp_path / "other", name, (Format.SVG,))
        for first, second in zip(one, other, strict=True):
            assert first.read_bytes() == second.read_bytes()


def test_a_corridor_alone_has_slices_by_devices_and_distance() -> None:
    assert figures_of((of_corridor(),)) == ("slices",)
    choice = Choice(axes=("added_tailwind_kt", "devices", "corridor_distance"))
    figure = draw_stored("slices", (of_corridor(),), choice=choice)
    apart(figure)
    told = written(figure)
    assert "Highest height [ft]" in told
    assert "Distance to go, of the corridor: 16 nm" in told
    assert "Airspeed, of the corridor: 210 kt." in told
    assert words("Mass at the start: 60\u202f000 kg.") in told
    first = figure.axes[0]
    lines = [line for line in first.lines if line.get_transform() == first.transData]
    heights = of_corridor().dataset["corridor_highest"].sel(mass_kg=60000.0).isel(corridor_speed=1) / FOOT
    for line, own in zip(lines, heights.isel(corridor_distance=0).transpose("devices", ...).to_numpy(), strict=True):
        assert line.get_ydata() == pytest.approx(own)
    usual = draw_stored("slices", (of_corridor(),))
    assert set(SETS) <= {text.get_text() for text in usual.axes[0].texts}
    with pytest.raises(InputFault, match="a sample without rules; allowed: a sweep over a grid, or one that flies"):
        figures_of((of_corridor(is_grid=False),))
