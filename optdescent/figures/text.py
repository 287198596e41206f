"""How wide text is on paper, and where its lines break, before anything is drawn."""

from __future__ import annotations

from functools import cache

from matplotlib.font_manager import FontProperties
from matplotlib.textpath import text_to_path

LINE = 1.25
"""Distance of two base lines in font sizes."""


@cache
def width(text: str, size: float, *, bold: bool = False) -> float:
    """Width [pt] of one line of text at a font size [pt], from the outlines, so the same in every format."""
    font = FontProperties(family="DejaVu Sans", size=size, weight="bold" if bold else "normal")
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
