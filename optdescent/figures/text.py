"""How wide text is on paper, and where its lines break, before anything is drawn."""

from __future__ import annotations

import unicodedata
from functools import cache
from typing import Any

from matplotlib import font_manager
from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

from optdescent.results.files import Fault, InputFault

_FAMILY = "DejaVu Sans"
LINE = 1.25
"""Distance of two base lines in font sizes."""
SMALLEST = 5.0
"""Smallest letters of a figure [pt]: what has no room for them on a page is refused."""


@cache
def check_letters(text: str) -> None:
    """See that a text can be written [-]: that the font of figures has its letters, from left to right.

    Raises
    ------
    InputFault
        It has others: they are named.
    """
    others = [letter for letter in dict.fromkeys(text) if not letter.isspace() and not _can_be_written(letter)]
    if others:
        shown = text if len(text) <= 60 else f"{text[:59]}\u2026"
        given = f"{shown!r} has letters that figures cannot write: {' '.join(others[:12])}"
        raise InputFault([Fault("text of a figure", "", given, f"letters of {_FAMILY}, written from left to right")])


@cache
def _can_be_written(letter: str) -> bool:
    return unicodedata.bidirectional(letter) not in ("R", "AL") and ord(letter) in _letters()


@cache
def _letters() -> frozenset[int]:
    """Letters that the font has, by their numbers."""
    # the library leaves part of the annotations of its functions open
    fonts: Any = font_manager
    found = fonts.get_font(fonts.findfont(FontProperties(family=_FAMILY)))
    return frozenset(int(number) for number in found.get_charmap())


@cache
def width(text: str, size: float, *, bold: bool = False) -> float:
    """Width [pt] of one line of text at a font size [pt], from the outlines, so the same in every format.

    Raises
    ------
    InputFault
        The font of figures does not have its letters.
    """
    check_letters(text)
    font = FontProperties(family=_FAMILY, size=size, weight="bold" if bold else "normal")
    return float(text_to_path.get_text_width_height_descent(text, font, ismath=False)[0])


def wrapped(text: str, size: float, room: float, *, bold: bool = False) -> tuple[str, ...]:
    """Lines of a text at a font size [pt], none wider than `room` [pt]; a word wider than that is cut."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}" if line else word
        if width(longer, size, bold=bold) <= room:
            line = longer
            continue
        if line:
            lines.append(line)
        while width(word, size, bold=bold) > room and len(word) > 1:
            head = _head(word, size, room, bold=bold)
            lines.append(word[:head])
            word = word[head:]
        line = word
    return (*lines, line) if line else tuple(lines)


def balanced(text: str, size: float, room: float) -> tuple[str, ...]:
    """Lines of a text at a font size [pt] within `room` [pt], no more than needed and of nearly one length."""
    lines = wrapped(text, size, room)
    while room > size and len(narrower := wrapped(text, size, room := room - size)) == len(lines) > 1:
        lines = narrower
    return lines


def _head(word: str, size: float, room: float, *, bold: bool) -> int:
    """Number of characters of a word that fit, at least one."""
    fitting = (count for count in range(len(word), 0, -1) if width(word[:count], size, bold=bold) <= room)
    return next(fitting, 1)
