"""The page without a browser: what it says, that texts are texts, that parts have names of their own, and its size."""

from __future__ import annotations

import re
import shlex
from dataclasses import replace
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import pytest

from optdescent.markup import escaped
from optdescent.report import compose, read_given, write_page
from optdescent.report.asked import RULES, asked_html
from optdescent.report.flight_tables import flight_table, optimum_tables
from optdescent.report.map_tables import sheet_table
from optdescent.report.page import NO_CERTIFICATE, page_html
from optdescent.report.words import commands
from optdescent.results import CAUTION
from optdescent.results.debrief_file import write_debrief
from optdescent.results.files import write_text
from optdescent.results.last_action import last_actions_csv
from tests.figures import conditions, debriefs, fronts, sheets, sweeps
from tests.report.stored import COMMAND, HOSTILE, RULES_READ, few, flights, given, write_sweep
from tests.report.stored import asked as stored_asked

VOID = {"meta"}
MOST_BYTES = 5_000_000


class Parsed(HTMLParser):
    """Elements of a page with their attributes, and the text inside each."""

    def __init__(self, page: str) -> None:
        super().__init__()
        self.elements: list[tuple[str, dict[str, str | None]]] = []
        self.inside: list[str] = []
        self.texts: dict[str, list[str]] = {}
        self.feed(page)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.elements.append((tag, dict(attrs)))
        if tag not in VOID:
            self.inside.append(tag)
            self.texts.setdefault(tag, []).append("")

    def handle_endtag(self, tag: str) -> None:
        assert self.inside.pop() == tag, f"{tag} closes what is not open"

    def handle_data(self, data: str) -> None:
        if self.inside:
            self.texts[self.inside[-1]][-1] += data

    def attributes(self, name: str) -> list[str]:
        return [value for _, own in self.elements for key, value in own.items() if key == name and value]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> str:
    """A page of every kind of result but a sweep, of a hostile title."""
    folder = tmp_path_factory.mktemp("page")
    path = folder / "report.html"
    write_page(compose(given(folder / "results", HOSTILE)), path)
    assert [one.name for one in folder.iterdir() if one.is_file()] == ["report.html"]
    return path.read_text(encoding="utf-8")


@pytest.fixture(scope="module")
def parsed(page: str) -> Parsed:
    found = Parsed(page)
    assert not found.inside
    return found


def test_markup_in_a_title_is_text_and_letters_of_any_script_stay(parsed: Parsed) -> None:
    assert parsed.texts["h1"][0].startswith(HOSTILE)
    assert parsed.texts["title"][0].startswith(HOSTILE)
    assert [tag for tag, _ in parsed.elements].count("script") == 1
    assert {tag for tag, _ in parsed.elements}.isdisjoint({"img", "iframe", "link", "object", "embed", "form", "base"})
    assert not [key for _, own in parsed.elements for key in own if key.startswith("on")]


def test_a_page_asks_for_nothing_from_outside(parsed: Parsed, page: str) -> None:
    assert not parsed.attributes("src")
    assert all(address.startswith("#") for address in parsed.attributes("href") + parsed.attributes("xlink:href"))
    assert all(
        address.startswith(("data:font/woff;base64,", "#")) for address in re.findall(r"url\(['\"]?([^)]*)", page)
    )
    assert "@import" not in page


def test_names_of_parts_are_their_own_and_every_link_leads_to_one(parsed: Parsed, page: str) -> None:
    names = parsed.attributes("id")
    assert len(names) == len(set(names))
    links = [one.removeprefix("#") for one in parsed.attributes("href") + parsed.attributes("xlink:href")]
    links += re.findall(r"url\(#([^)]+)\)", page)
    links += [one for said in parsed.attributes("aria-labelledby") for one in said.split()]
    assert len(links) > 50
    assert set(links) <= set(names)


def test_headings_go_down_one_level_at_a_time_and_sections_stand_in_order(parsed: Parsed) -> None:
    levels = [int(tag[1]) for tag, _ in parsed.elements if re.fullmatch("h[1-6]", tag)]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after <= before + 1 for before, after in pairwise(levels))
    order = ["answer", "asked", "figures", "tables", "method", "certificate", "cautions", "again"]
    assert [own["id"] for tag, own in parsed.elements if tag == "section"] == order
    assert parsed.elements[0] == ("html", {"lang": "en-GB"})


def test_twelve_figures_are_in_a_page_of_at_most_five_megabytes_with_one_font(parsed: Parsed, page: str) -> None:
    drawings = [own for tag, own in parsed.elements if tag == "svg"]
    assert len(drawings) >= 12
    assert len(page.encode()) <= MOST_BYTES
    assert page.count("@font-face") == 2  # normal and bold
    assert all(own["role"] == "img" for own in drawings)
    described = [words for words in parsed.texts["desc"] if len(words) > 40]
    assert len(described) == len(drawings)


NUMBERS = {
    "Height along": "optimum begins down at 122.6 nm to go",
    "Wind sensitivity": "one knot more of tailwind from 10000 to 20000 ft changes fuel by -0.55 kg",
    "Last useful action": "last of use at 12.1 nm to go: early gear",
    "Margins by rule, one": "three-to-one: 1234 kg, +21 kg to the optimum",
    "Margins by rule: ": "three-to-one: stable at the gate in 62.0 % of 40 conditions (95 % interval 57.0 to 67.0 %)",
    "Where a rule": "300-with-allowances: stable at the gate in 93.0 % of 40 conditions",
    "Energy corridor": "at 11.0 nm to go and 235 kt: idle and schedule 3100 ft, speed brake 3800 ft",
    "Derived rules": "holds in 97.3 % (95 % interval 95.3 to 99.3 %) at 524 kg",
    "Rule of thumb": "still air: 117 nm to go",
    "Deceleration on a slope": "step 2, gear 12.0 to 12.2 kt/nm",
    "Airframe coefficients": "speed_brake.drag 0.02595 (declared 0.026)",
    "Slices of a sweep": "62 of 63 cases of the sweep over added_tailwind_kt (-30 to 30), mass_kg (54000 to 66000)",
    "Debrief": "step 1 asked for at 236 kt, 6 kt above its limit",
}
"""What the alternative text of a figure says of these results, by how its title begins."""


def test_the_alternative_text_of_every_figure_has_its_own_numbers(tmp_path: Path) -> None:
    told: list[str] = []
    for made in (compose(given(tmp_path / "own", "One title")), compose(few(tmp_path / "few", "One title"))):
        for picture in made.pictures.drawn:
            own = Parsed(f"<p>{picture.drawing}</p>").texts
            assert re.search(r"\d", own["desc"][0].removeprefix(picture.words)), picture.title
            told.append(f"{own['title'][0]}: {own['desc'][0]}")
    for begins, numbers in NUMBERS.items():
        assert any(one.startswith(begins) and numbers in one for one in told), begins


def test_key_numbers_inputs_method_certificate_and_cautions_are_said(parsed: Parsed) -> None:
    told = " ".join(words for texts in parsed.texts.values() for words in texts)
    assert "three to one: 543 kg, 26.7 min, +43 kg to the optimum" in told
    assert "not stable at 1000 ft (gear not down; 46 kt too fast)" in told
    assert "by the mile: 500 kg, 26.7 min; top of descent" in told
    assert "Invented twin, 62.0 t, from 35000 ft at 150 nm to go, to Invented field; wind: none." in told
    assert "arrival.windows[0].name" in told
    assert "collocation" in told
    assert "top & <start>" in told
    assert "42" in parsed.texts["td"]
    assert NO_CERTIFICATE not in told
    assert told.count(CAUTION) >= 2
    assert "by the mile does not keep every limit or window" in told
    assert "Results of more than one scenario" not in told
    commands = next(words for words in parsed.texts["code"] if words.startswith("optdescent --version"))
    assert commands.splitlines()[1:3] == [COMMAND, f"{COMMAND} --conditions winds.toml"]
    assert "scenario.toml -o out" not in commands, "no command that nobody typed"
    page = shlex.split(commands.splitlines()[-1])
    assert page[:2] == ["optdescent", "report"]
    assert page[page.index("--title") + 1] in told
    assert "No command is stored with corridor.nc, front.nc, sheet.nc, slope.nc, fit.nc, last_useful.csv." in told
    assert RULES_READ in parsed.texts["code"]
    assert "[sampling]  # of <winds>" in parsed.texts["code"]


def test_a_flight_that_is_not_stable_has_no_price(tmp_path: Path) -> None:
    conditions.once().to_netcdf(tmp_path / "margins.nc")
    made = compose(read_given([tmp_path / "margins.nc"]))
    assert made.answers[1:3] == (
        "three-to-one: 1234 kg, +21 kg to the optimum.",
        "three-to-one-alone: 1234 kg, not stable at the gate.",
    )
    for table, name in (
        (made.tables[0], "three-to-one-alone"),
        (flight_table(flights(), frozenset())[0], "by the mile"),
    ):
        place = [heading.key for heading in table.headings].index("fuel_above_optimum")
        row = next(row for row in table.rows if row[0] == name)
        assert table.headings[place].shown(row[place]) == "not stable"


def test_what_an_optimum_answers_to_is_rounded_to_hundredths() -> None:
    (sensitivity,) = (table for table in optimum_tables(flights()) if table.name == "sensitivity")
    shown = [
        [head.shown(value) for head, value in zip(sensitivity.headings, row, strict=True)] for row in sensitivity.rows
    ]
    assert shown[0] == ["tailwind at every height", "kt", "0.00", "-1.60", "0.30"]
    assert shown[1][2:] == ["0.00", "-0.42", "0.03"]


def test_what_a_rule_notes_stands_open_beside_the_inputs_and_markup_in_it_is_text(parsed: Parsed) -> None:
    assert parsed.texts["li"].count("Note of the rule three-to-one: for <i>two</i> engines & more") == 1
    assert not [tag for tag, _ in parsed.elements if tag == "i"]


@pytest.mark.parametrize("rules", ["rules = 3", "rules = [3]", "no = = toml", '[[rules]]\nname = "silent"'])
def test_a_text_without_notes_of_rules_has_none_on_the_page(rules: str) -> None:
    assert "Note of the rule" not in asked_html(stored_asked("A descent"), ((RULES, rules),))


def test_the_sheet_of_a_rule_says_what_it_notes() -> None:
    noted = replace(sheets.invented(), note="Not above FL300.")
    assert sheet_table(noted).note.endswith("Source of the rule: invented. Not above FL300.")


def test_the_same_results_give_the_same_bytes(tmp_path: Path) -> None:
    fronts.invented().to_netcdf(tmp_path / "front.nc")
    results = read_given([tmp_path / "front.nc"])
    for name in ("one.html", "other.html"):
        write_page(compose(results), tmp_path / name)
    assert (tmp_path / "one.html").read_bytes() == (tmp_path / "other.html").read_bytes()


def test_a_sweep_is_reported_and_no_optimum_means_no_certificate(tmp_path: Path) -> None:
    made = compose(read_given([write_sweep(tmp_path / "out.zarr")]), "A title\nof our own")
    assert made.title == "A title of our own"
    assert made.answers[0].startswith("62 of 63 cases of the sweep")
    assert {table.name for table in made.tables} == {"cases", "spread", "swept-rules"}
    page = page_html(made)
    assert NO_CERTIFICATE in page
    assert "1 case of the sweep has no answer: what is said of its optima leaves it out." in page


def test_a_debrief_is_reported_with_its_findings_and_figures(tmp_path: Path) -> None:
    found = debriefs.invented()
    write_debrief(tmp_path / "debrief.nc", found)
    made = compose(read_given([tmp_path / "debrief.nc"]))
    assert {table.name for table in made.tables} == {"findings", "last-useful"}
    assert [row[7] for row in made.tables[0].rows] == [finding.evidence for finding in found.findings]
    assert len(made.pictures.drawn) == 3
    assert made.answers[0] == "recording: 6 findings, 2 severe."
    page = page_html(made)
    assert all(escaped(finding.evidence) in page for finding in found.findings)
    assert "No command is stored with debrief.nc." in page
    assert "The text of what was asked is not stored for 0123456789ab." in page


@pytest.mark.parametrize(("digest", "count"), [("0123456789ab", 1), ("ba9876543210", 2)])
def test_the_energy_of_a_debrief_is_left_out_only_where_flights_of_its_scenario_show_it(
    tmp_path: Path, digest: str, count: int
) -> None:
    write_debrief(tmp_path / "debrief.nc", debriefs.invented())
    one = flights()[1]
    replace(one, provenance=replace(one.provenance, scenario_digest=digest)).to_netcdf(tmp_path / "one.nc")
    made = compose(read_given([tmp_path / "debrief.nc", tmp_path / "one.nc"]))
    assert sum(picture.title.startswith("Energy along the descent") for picture in made.pictures.drawn) == count


def test_files_are_named_by_their_paths_from_the_folder_that_holds_them_all(tmp_path: Path) -> None:
    paths = [tmp_path / "results" / "still" / "rule.nc", tmp_path / "results" / "jet" / "deep" / "rule.nc"]
    for path, one in zip(paths, flights()[1:], strict=True):
        path.parent.mkdir(parents=True)
        one.to_netcdf(path)
    made = compose(read_given(paths))
    assert commands(made.given, "Both")[-1] == (
        "optdescent report still/rule.nc jet/deep/rule.nc --title Both -o page.html"
    )
    page = page_html(made)
    assert ">jet/deep/rule.nc</th>" in page
    assert str(tmp_path) not in page


def test_what_cannot_be_drawn_is_told_and_the_rest_is_there(tmp_path: Path) -> None:
    folder = tmp_path / "out"
    folder.mkdir()
    last, front = folder / "last_useful.csv", folder / "front.nc"
    write_text(last, last_actions_csv([sweeps.last_useful()]))
    fronts.invented(rules=[rule for rule in fronts.RULES if not rule[5]]).to_netcdf(front)
    made = compose(read_given([last, front]))
    assert made.pictures.drawn == ()
    assert len(made.pictures.not_drawn) == 2
    assert "no derived rule" in " ".join(made.pictures.not_drawn)
    assert all(escaped(sentence) in page_html(made) for sentence in made.pictures.not_drawn)
    assert {table.name for table in made.tables} == {"last-useful", "front"}
