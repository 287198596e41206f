"""Soundings made up for tests."""

from __future__ import annotations

from optdescent.air.wind.sounding import COLUMNS, Sounding, read_sounding

HEADER = ",".join(COLUMNS)


def text_of(*rows: str, header: str = HEADER) -> str:
    """Text of a sounding file."""
    return "\n".join(["# made up", header, *rows, ""])


def sounding_of(levels: list[tuple[float, float]]) -> Sounding:
    """Sounding of heights [m] and westerly winds [kt]."""
    return read_sounding("made up", text_of(*(f",{height},,270,{speed}" for height, speed in levels)))
