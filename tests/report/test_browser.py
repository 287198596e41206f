"""The page in a real headless browser: widths, requests, errors, sorting, printing and accessibility."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, Route

from optdescent.report import compose, write_page
from tests.report.chromium import browser
from tests.report.stored import HOSTILE, few

PHONE, LAPTOP = 390, 1366
PRINTED = 680
"""Width of a sheet of A4 between the margins of the page's style, in the pixels of CSS (96 to the inch)."""
OVERFLOW = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@dataclass
class Opened:
    """A page in the browser, and what it asked for and complained of since it was opened."""

    page: Page
    requests: list[str]
    complaints: list[str]

    def at(self, width: int) -> Page:
        self.page.set_viewport_size({"width": width, "height": 900})
        return self.page


@pytest.fixture(scope="module")
def opened(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Opened]:
    """One page in one browser for all tests of this file; whatever it would ask of a network is refused and noted."""
    folder = tmp_path_factory.mktemp("browser")
    with browser() as running:
        path = folder / "report.html"
        write_page(compose(few(folder / "results", HOSTILE)), path)
        page = running.new_page(viewport={"width": LAPTOP, "height": 900})
        own = Opened(page, [], [])
        address = path.as_uri()

        def answer(route: Route) -> None:
            own.requests.append(route.request.url)
            if route.request.url == address:
                route.continue_()
            else:
                route.abort()

        page.route("**/*", answer)
        page.on("console", lambda message: own.complaints.append(message.text))
        page.on("pageerror", lambda error: own.complaints.append(str(error)))
        page.on("dialog", lambda dialog: own.complaints.append(dialog.message))
        page.goto(address)
        yield own


@pytest.mark.parametrize("width", [PHONE, LAPTOP])
def test_nothing_runs_out_of_the_page_and_wide_boxes_scroll_by_themselves(opened: Opened, width: int) -> None:
    page = opened.at(width)
    assert page.evaluate(OVERFLOW) == 0
    boxes = page.eval_on_selector_all(".sliding", "all => all.map(b => [b.scrollWidth > b.clientWidth, b.tabIndex])")
    assert all(place == 0 for _, place in boxes)
    assert any(is_wider for is_wider, _ in boxes) or width == LAPTOP
    drawn = page.eval_on_selector_all("figure svg", "all => all.map(s => s.getBoundingClientRect().width)")
    assert len(drawn) >= 12
    assert min(drawn) >= 600
    captions = " ".join(page.locator("table caption").all_inner_texts())
    kinds = ("Rules over conditions", "at 190 kt", "Cases of the sweep", "Findings of recording", "Derived rules")
    assert [kind for kind in kinds if kind not in captions] == []


def test_it_asks_for_nothing_complains_of_nothing_and_shows_a_title_as_it_is(opened: Opened) -> None:
    page = opened.at(LAPTOP)
    assert page.locator("h1").inner_text().startswith(HOSTILE.replace("  ", " "))
    assert page.title().startswith("</title><script>")
    page.evaluate("document.fonts.ready.then(() => true)")
    faces = page.evaluate("[...document.fonts].map(f => [f.weight, f.status])")
    assert sorted(faces) == [["bold", "loaded"], ["normal", "loaded"]]
    assert opened.requests == [page.url]
    assert opened.complaints == []


def test_a_table_sorts_by_mouse_and_by_keyboard_blanks_last(opened: Opened) -> None:
    page = opened.at(LAPTOP)
    table = page.locator("table", has=page.locator("caption", has_text="Derived rules and others"))
    place = table.locator("thead th").all_inner_texts().index("fuel, mean [kg]")
    heading = table.locator("thead th").nth(place)
    cells = table.locator(f"tbody tr > :nth-child({place + 1})")

    def numbers() -> list[float]:
        return [float(text) for text in cells.all_inner_texts()]

    assert numbers() != sorted(numbers())
    heading.locator("button").click()
    assert heading.get_attribute("aria-sort") == "ascending"
    assert numbers() == sorted(numbers())
    heading.locator("button").focus()
    page.keyboard.press("Enter")
    assert heading.get_attribute("aria-sort") == "descending"
    assert numbers() == sorted(numbers(), reverse=True)
    assert "sorted by fuel, mean [kg], largest first" in page.locator("#told").inner_text()
    first = table.locator("thead th").first
    first.locator("button").click()
    names = table.locator("tbody th").all_inner_texts()
    assert names == sorted(names, key=str.casefold)
    assert [own.get_attribute("aria-sort") for own in table.locator("thead th").all()].count(None) == 9
    crew = page.locator("table", has=page.locator("caption", has_text="What was not kept"))
    crew.locator("thead button").nth(1).click()
    assert [text for text in crew.locator("tbody tr > :nth-child(2)").all_inner_texts()] == ["30.0", "", ""]


def test_it_prints_on_a4_within_the_margins_with_nothing_folded(opened: Opened) -> None:
    page = opened.at(PRINTED)
    page.emulate_media(media="print")
    assert page.evaluate(OVERFLOW) == 0
    wide = page.eval_on_selector_all(
        "table, svg[role=img], pre", "all => Math.max(...all.map(b => b.getBoundingClientRect().right))"
    )
    assert wide <= PRINTED + 1
    assert not page.locator("nav").is_visible()
    page.emulate_media(media="screen")
    printed = page.pdf(prefer_css_page_size=True)
    boxes = re.findall(rb"/MediaBox \[0 0 ([\d.]+) ([\d.]+)\]", printed)
    assert len(boxes) >= 5
    assert all((round(float(width)), round(float(height))) == (595, 842) for width, height in boxes)
    assert page.locator("details[open]").count() == 0  # opened for the print, closed after it
    assert opened.complaints == []


def test_an_accessibility_checker_finds_nothing(opened: Opened) -> None:
    page = opened.at(PHONE)
    page.eval_on_selector_all("details", "all => all.forEach(d => { d.open = true; })")
    try:
        found = Axe().run(page).response
    finally:
        page.eval_on_selector_all("details", "all => all.forEach(d => { d.open = false; })")
    assert [(one["id"], one["nodes"][0]["html"]) for one in found["violations"]] == []
    passed = {one["id"] for one in found["passes"]}
    assert {"color-contrast", "heading-order", "html-has-lang", "svg-img-alt", "scrollable-region-focusable"} <= passed


def test_the_checker_itself_finds_a_pale_letter_and_a_skipped_heading(opened: Opened) -> None:
    running = opened.page.context.browser
    assert running is not None
    page = running.new_page()
    page.set_content("<html lang=en><title>x</title><main><h1>a</h1><h4>b</h4><p style='color:#bbb'>pale</p></main>")
    found = {one["id"] for one in Axe().run(page).response["violations"]}
    page.close()
    assert {"color-contrast", "heading-order"} <= found
