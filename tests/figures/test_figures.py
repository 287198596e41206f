"""Figures on the page: size, letters, caution, no collisions, same bytes, and what is refused."""

from __future__ import annotations

import hashlib
import os
import re
import struct
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from functools import cache
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import matplotlib as mpl
import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.text import Text

from optdescent.figures import FIGURES, Format, Page, draw, page_named, save
from optdescent.figures.page import sheet
from optdescent.figures.style import styled
from optdescent.figures.text import balanced, width, wrapped
from optdescent.inputs import InputFault
from optdescent.results import CAUTION, Flight, Kind
from tests.figures.flights import flight, four

ROOT = Path(__file__).resolve().parents[2]
MM = 72.0 / 25.4
SVG = "{http://www.w3.org/2000/svg}"
ALL = [(name, page) for name in FIGURES for page in Page]
PROVENANCE = four()[0].provenance.line


@cache
def drawn(name: str, page: Page) -> Figure:
    """Figure of the four flights, shared by tests that only look at it."""
    return draw(name, four(), page)


def words(text: str) -> str:
    """Text with its line breaks and runs of blanks made one blank."""
    return " ".join(text.split())


def written(figure: Figure) -> str:
    """Everything written on the page around the panels."""
    return words(" ".join(text.get_text() for text in figure.texts))


def svg_texts(path: Path) -> list[str]:
    return ["".join(element.itertext()) for element in ElementTree.parse(path).iter(f"{SVG}text")]


@pytest.mark.parametrize("page", Page)
@pytest.mark.parametrize("kind", Format)
def test_the_page_has_its_size(tmp_path: Path, page: Page, kind: Format) -> None:
    (path,) = save(sheet(page, four(), "Subject", "Note").figure, tmp_path, "page", (kind,))
    data, size = path.read_bytes(), page.value
    match kind:
        case Format.PDF:
            box = re.search(rb"/MediaBox \[ ?0 0 ([\d.]+) ([\d.]+) ?\]", data)
            assert box is not None
            found = [float(box.group(1)) / MM, float(box.group(2)) / MM]
        case Format.SVG:
            root = ElementTree.fromstring(data)
            found = [float(root.attrib[side].removesuffix("pt")) / MM for side in ("width", "height")]
        case Format.PNG:
            columns, rows = struct.unpack(">II", data[16:24])
            start = data.index(b"pHYs") + 4
            per_metre = struct.unpack(">IIB", data[start : start + 9])
            assert per_metre == (11811, 11811, 1), "300 dots per inch"
            found = [columns * 25.4 / 300.0, rows * 25.4 / 300.0]
    tolerance = 25.4 / 300.0 if kind is Format.PNG else 0.01
    assert found == pytest.approx([size.width, size.height], abs=tolerance)


@pytest.mark.parametrize(("name", "page"), ALL)
def test_caution_and_provenance_are_whole(name: str, page: Page) -> None:
    on_page = written(drawn(name, page))
    assert words(CAUTION) in on_page
    assert PROVENANCE in on_page
    assert four()[0].provenance.title in on_page


@pytest.mark.parametrize(("name", "page"), ALL)
def test_letters_do_not_collide(name: str, page: Page) -> None:
    apart(drawn(name, page))


@pytest.mark.parametrize("name", FIGURES)
def test_letters_do_not_collide_where_flights_are_one(name: str) -> None:
    one = flight("optimum", Kind.OPTIMUM)
    same = [replace(one, kind=Kind.RULE, name=f"rule {index}") for index in range(5)]
    apart(draw(name, (one, *same), Page.A4))


def apart(figure: Figure) -> None:
    """Assert that no two pieces of text overlap, all are on the page, and no flown line runs through a label."""
    with styled():
        figure.draw_without_rendering()
        renderer = figure.canvas.get_renderer()
        texts = [text for text in figure.findobj(Text) if text.get_text().strip() and text.get_visible()]
        ticks = {id(tick) for axes in figure.axes for tick in hidden_ticks(axes)}
        boxes = [(text.get_text(), text.get_window_extent(renderer)) for text in texts if id(text) not in ticks]
        lines = [
            (axes, axes.transData.transform(line.get_xydata()))
            for axes in figure.axes
            for line in axes.lines
            if line.get_transform() == axes.transData and len(line.get_xydata()) > 10
        ]
    assert len(boxes) > 15
    for (one, first), (other, second) in combinations(boxes, 2):
        assert not first.overlaps(second), f"{one!r} and {other!r} overlap"
    for text, box in boxes:
        assert figure.bbox.contains(box.x0, box.y0), text
        assert figure.bbox.contains(box.x1, box.y1), text
        for axes, line in lines:
            within = axes.bbox.contains(box.x0, box.y0)
            assert not within or not any(box.contains(x, y) for x, y in line), f"a line runs through {text!r}"


def hidden_ticks(axes: mpl.axes.Axes) -> list[Text]:
    """Tick labels outside the axis, or switched off."""
    found: list[Text] = []
    for axis in (axes.xaxis, axes.yaxis):
        low, high = sorted(axis.get_view_interval())
        for tick in axis.get_major_ticks():
            off = not tick.label1.get_visible() or not low <= tick.get_loc() <= high
            found += [tick.label2, *([tick.label1] if off else [])]
    return found


def test_a_speed_figure_that_nobody_could_read_is_refused() -> None:
    one = flight("optimum", Kind.OPTIMUM)
    six = (one, *[replace(one, kind=Kind.RULE, name=f"rule {index}") for index in range(5)])
    apart(draw("speed", six, Page.A5))
    with pytest.raises(InputFault, match="page: has no room for so many rows of letters"):
        draw("speed", six, Page.COLUMN)


def test_every_axis_says_its_unit() -> None:
    for name in FIGURES:
        labels = [text.get_text() for text in drawn(name, Page.SLIDE).texts]
        assert sum("[nm]" in label for label in labels) == 2
        assert any(f"[{unit}]" in label for unit in ("ft", "kt") for label in labels)


def test_distance_falls_to_the_right() -> None:
    for name in FIGURES:
        for axes in drawn(name, Page.A4).axes:
            start, end = axes.get_xlim()
            assert start > end == 0.0


def digests(folder: Path) -> dict[str, str]:
    return {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in sorted(folder.iterdir())}


def written_as(name: str) -> tuple[Format, ...]:
    """Formats in which the bytes of a figure are compared."""
    return tuple(Format) if name == "energy" else (Format.SVG,)


def test_same_input_same_bytes(tmp_path: Path) -> None:
    """In this process, in another with another hash seed and time, and in threads; one figure in all formats."""
    for name in FIGURES:
        save(draw(name, four(), Page.A5), tmp_path / "here", name, written_as(name))
    code = (
        "import sys; from pathlib import Path; from optdescent.figures import *\n"
        "from tests.figures.flights import four\n"
        "from tests.figures.test_figures import written_as\n"
        "[save(draw(name, four(), Page.A5), Path(sys.argv[1]), name, written_as(name)) for name in FIGURES]\n"
        "print('matplotlib.pyplot' in sys.modules, 'casadi' in sys.modules)"
    )
    run = subprocess.run(
        [sys.executable, "-c", code, str(tmp_path / "process")],
        cwd=ROOT,
        env={**os.environ, "PYTHONHASHSEED": "1", "SOURCE_DATE_EPOCH": "1", "TZ": "UTC-1"},
        capture_output=True,
        text=True,
        check=True,
    )
    assert run.stdout.split() == ["False", "False"], "no global plotting state, no solver"
    with ThreadPoolExecutor(3) as pool:
        threads = tmp_path / "threads"
        list(pool.map(lambda name: save(draw(name, four(), Page.A5), threads, name, written_as(name)), FIGURES))
    here = digests(tmp_path / "here")
    assert len(here) == 5
    assert digests(tmp_path / "process") == digests(threads) == here


def test_settings_of_the_caller_are_untouched(tmp_path: Path) -> None:
    with mpl.rc_context({"font.size": 31.0, "pdf.fonttype": 3, "lines.linewidth": 9.0}):
        before = dict(mpl.rcParams)
        save(draw("energy", four(), Page.A4), tmp_path / "odd", "energy", (Format.PDF, Format.SVG))
        assert dict(mpl.rcParams) == before
    save(draw("energy", four(), Page.A4), tmp_path / "plain", "energy", (Format.PDF, Format.SVG))
    assert digests(tmp_path / "odd") == digests(tmp_path / "plain")


def test_a_short_flight_has_one_span_and_one_flight_is_enough() -> None:
    one = flight("recorded", Kind.RECORDING, start_nm=30.0)
    for name in FIGURES:
        figure = draw(name, (one,), Page.A5)
        assert {axes.get_xlim()[0] for axes in figure.axes} == {30.0}
        apart(figure)


def test_a_title_of_any_length_is_written_as_it_is(tmp_path: Path) -> None:
    title = "Cost $5 or $6, <b>bold</b> & " + "a very long title " * 12 + "x" * 200
    one = flight("optimum", Kind.OPTIMUM, title=title)
    figure = draw("height", (one,), Page.COLUMN)
    apart(figure)
    (path,) = save(figure, tmp_path, "height", (Format.SVG,))
    letters = "".join("".join(svg_texts(path)).split())
    assert "".join(title.split()) in letters


def test_an_unknown_figure_or_page_is_named_with_those_there_are() -> None:
    with pytest.raises(InputFault, match=r"figure: 'heigth'; allowed: height, speed, energy"):
        draw("heigth", four(), Page.A4)
    with pytest.raises(InputFault, match=r"page: 'a0'; allowed: a4, a5, letter, column, slide"):
        page_named("a0")
    assert [page_named(page.value.name) for page in Page] == list(Page)


@pytest.mark.parametrize(
    ("flights", "message"),
    [
        ((), "no flight"),
        (tuple(flight(str(index), Kind.RULE) for index in range(7)), "7 flights"),
        ((replace(four()[0], dataset=four()[0].dataset.drop_vars("gear")),), "flight optimum: gear: is missing"),
        ((replace(four()[0], dataset=four()[0].dataset.isel(point=slice(0, 1))),), "point: is of length 1; allowed: 2"),
    ],
)
def test_flights_that_cannot_be_drawn_are_refused(flights: tuple[Flight, ...], message: str) -> None:
    with pytest.raises(InputFault, match=message):
        draw("height", flights, Page.A4)


def test_a_file_that_cannot_be_written_is_named(tmp_path: Path) -> None:
    (tmp_path / "energy.pdf").mkdir()
    with pytest.raises(InputFault, match=r"energy\.pdf: cannot be written"):
        save(draw("energy", four(), Page.A4), tmp_path, "energy")
    assert [path.name for path in tmp_path.iterdir()] == ["energy.pdf"]


def test_text_breaks_where_there_is_no_room() -> None:
    text = "one two three four five six seven"
    for break_lines in (wrapped, balanced):
        lines = break_lines(text, 7.0, 60.0)
        assert " ".join(lines) == text
        assert all(width(line, 7.0) <= 60.0 for line in lines)
    assert "".join(wrapped("x" * 90, 7.0, 60.0)) == "x" * 90
    assert wrapped("", 7.0, 60.0) == ()
    assert np.ptp([width(line, 7.0) for line in balanced(text, 7.0, 100.0)]) < 30.0
