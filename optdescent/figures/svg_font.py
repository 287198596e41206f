"""Fonts inside an SVG: its text stays text, and looks and measures the same where the font is not installed."""

from __future__ import annotations

import base64
import re
from functools import cache
from html import unescape
from io import BytesIO
from pathlib import Path
from typing import Any

from fontTools import subset  # pyright: ignore[reportMissingTypeStubs]
from matplotlib import font_manager

_TEXT = re.compile(r"<text [^>]*?style=\"([^\"]*)\"[^>]*>([^<]*)</text>")
_BOLD = re.compile(r"(?<![\w.])(?:bold|700)(?![\w.])")
"""A weight in a style, not digits of a size such as 5.1700px."""
_FIRST_STYLE = re.compile(r"(<style type=\"text/css\">)")


def embed_fonts(path: Path) -> None:
    """Put the outlines of the characters used, normal and bold, into the style sheet of an SVG file."""
    drawing = path.read_text(encoding="utf-8")
    used: dict[str, set[str]] = {"normal": set(), "bold": set()}
    for style, text in _TEXT.findall(drawing):
        used["bold" if _BOLD.search(style) else "normal"].update(unescape(text))
    faces = "".join(_face(weight, "".join(sorted(characters))) for weight, characters in used.items() if characters)
    path.write_text(_FIRST_STYLE.sub(lambda found: found.group(1) + faces, drawing, count=1), encoding="utf-8")


@cache
def _face(weight: str, characters: str) -> str:
    """Style rule with the outlines of some characters."""
    fonts: Any = font_manager
    shaping: Any = subset
    # The font has its pairs of letters that stand closer in two tables alike: the older one is quicker to cut down.
    options = shaping.Options(flavor="woff", hinting=False, recalc_timestamp=False, legacy_kern=True)
    options.drop_tables += ["FFTM", "GDEF", "GPOS", "GSUB", "MATH"]  # the first is a date of the font's editor
    found = fonts.findfont(fonts.FontProperties(family="DejaVu Sans", weight=weight))
    font = shaping.load_font(found, options)
    chosen = shaping.Subsetter(options)
    chosen.populate(text=characters)
    chosen.subset(font)
    written = BytesIO()
    shaping.save_font(font, written, options)
    font.close()
    data = base64.b64encode(written.getvalue()).decode("ascii")
    source = f"url(data:font/woff;base64,{data})"
    return f"@font-face{{font-family:'DejaVu Sans';font-weight:{weight};src:{source}}}"
