"""Letters of every figure in a file: text that can be searched and copied, in fonts that are embedded."""

from __future__ import annotations

import base64
import re
from io import BytesIO
from pathlib import Path

import pytest
from fontTools.ttLib import TTFont
from matplotlib.figure import Figure
from matplotlib.text import Text

from optdescent.figures import Format, Page, save
from optdescent.figures.style import styled
from optdescent.results import CAUTION
from tests.figures.every import EVERY, drawn
from tests.figures.pdf import objects, pdf_text
from tests.figures.test_figures import hidden_ticks, svg_texts


def squeezed(text: str) -> str:
    """Text without blanks: a reader of files sets its own between pieces."""
    return "".join(text.split())


def lines_of(figure: Figure) -> set[str]:
    """Every line of text that the figure shows, without blanks."""
    with styled():
        figure.draw_without_rendering()
        hidden = {id(tick) for axes in figure.axes for tick in hidden_ticks(axes)}
        shown = [text for text in figure.findobj(Text) if text.get_visible() and id(text) not in hidden]
    return {squeezed(line) for text in shown for line in text.get_text().splitlines()} - {""}


def check_whole(figure: Figure, text: str) -> None:
    """Assert that a file has every line that the figure shows, the caution and the source among them."""
    found, wanted = squeezed(text), lines_of(figure)
    assert len(wanted) > 15
    assert [line for line in wanted if line not in found] == []
    assert squeezed(CAUTION) in found
    assert "0123456789ab" in found


@pytest.mark.parametrize("name", EVERY)
def test_text_of_an_svg_is_text_in_an_embedded_font(tmp_path: Path, name: str) -> None:
    figure = drawn(name, Page.A4)
    (path,) = save(figure, tmp_path, name, (Format.SVG,))
    texts = svg_texts(path)
    check_whole(figure, " ".join(texts))
    source = path.read_text(encoding="utf-8")
    assert "http" not in re.sub(r'xmlns[:\w]*="[^"]*"|rdf:resource="[^"]*"|"-//W3C//DTD[^>]*', "", source)
    fonts = re.findall(r"font-weight:(\w+);src:url\((data:font/woff;base64,[^)]*)\)", source)
    assert {weight for weight, _ in fonts} == {"normal", "bold"}
    covered: set[int] = set()
    for _, address in fonts:
        run = base64.b64decode(address.split(",", 1)[1])
        covered |= set(TTFont(BytesIO(run), lazy=False).getBestCmap())
    assert {ord(character) for text in texts for character in text} <= covered | {ord("\n")}


@pytest.mark.parametrize("name", EVERY)
def test_text_of_a_pdf_is_text_in_an_embedded_font(tmp_path: Path, name: str) -> None:
    figure = drawn(name, Page.A4)
    (path,) = save(figure, tmp_path, name, (Format.PDF,))
    data = path.read_bytes()
    everything = b"".join(objects(data).values())
    assert b"/FontFile2" in everything, "TrueType outlines are inside"
    assert b"/Type3" not in everything, "no letters as drawings"
    check_whole(figure, pdf_text(data))
