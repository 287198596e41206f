"""HTML for notebooks: texts are shown and never obeyed, the caution is there."""

from __future__ import annotations

from html.parser import HTMLParser

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optdescent.caution import CAUTION
from optdescent.markup import card, escaped, folded, pairs, preformatted, sentences, table
from optdescent.results.provenance import CAUTION as OF_RESULTS

OURS = {"div", "p", "strong", "small", "br", "table", "thead", "tbody", "tr", "th", "td"}
OURS |= {"ul", "li", "details", "summary", "pre"}


class Tags(HTMLParser):
    """Tags and text of a piece of HTML."""

    def __init__(self, source: str) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.text = ""
        self.feed(source)
        self.close()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)

    def handle_data(self, data: str) -> None:
        self.text += data


def test_results_and_displays_carry_one_caution() -> None:
    assert OF_RESULTS is CAUTION


@given(st.text(alphabet=st.characters(exclude_categories=["Cs", "Cc", "Cn"])))
def test_no_text_becomes_markup(text: str) -> None:
    parts = [pairs([(text, text)]), table(["", text], [[text, text]]), sentences([text]), preformatted(text)]
    found = Tags(card(text, [*parts, folded(text, sentences([text]))], text))
    assert set(found.tags) <= OURS
    assert text in found.text
    assert CAUTION in found.text


@pytest.mark.parametrize("character", ["\x00", "\x0b", "\x85", "\ud800", "\ufdd0", "\uffff"])
def test_a_character_that_a_page_may_not_hold_is_replaced_in_notebooks_too(character: str) -> None:
    shown = card(f"a{character}b", [sentences([f"c{character}d"])])
    assert character not in shown
    assert "a\ufffdb" in shown
    assert "c\ufffdd" in shown


def test_quotes_do_not_end_an_attribute() -> None:
    assert escaped("<a href=\"x\" id='y'>&") == "&lt;a href=&quot;x&quot; id='y'&gt;&amp;"


def test_a_table_has_its_header_and_every_row() -> None:
    found = Tags(table(["", "one"], [["a", "1"], ["b", "2"]]))
    assert (found.tags.count("tr"), found.tags.count("th"), found.tags.count("td")) == (3, 2, 4)


def test_a_pair_without_a_value_is_left_out() -> None:
    assert "nothing" not in pairs([("nothing", ""), ("some", "1 kg")])
