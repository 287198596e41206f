"""How a series looks: told apart by dash, width, grey level and marker before its tint.

Blues among reds and yellows are what the common colour-vision deficiencies keep apart, and no two tints have the same
lightness, so a grey print tells them apart too. Letters are black; a piece of the line before them says whose they are.
"""

from __future__ import annotations

import math
import threading
from collections.abc import Generator, Iterable
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
from matplotlib.lines import Line2D

from optdescent.results import Flight, Kind
from optdescent.results.files import Fault, InputFault

STYLE_FILE = Path(__file__).with_name("optdescent.mplstyle")
INK = "#000000"
QUIET = "#555555"
"""Colours of text and of what the arrival demands."""

_LOCK = threading.RLock()


@contextmanager
def styled() -> Generator[None]:
    """Settings of `optdescent.mplstyle` inside the block; the caller's own are untouched after it.

    The plotting library keeps its settings in one place for the whole process, so threads enter one at a time.
    """
    settings: Any = mpl
    with _LOCK, settings.rc_context(fname=STYLE_FILE):
        yield


@dataclass(frozen=True)
class SeriesStyle:
    """How one flight is drawn: colour, line width [pt], dashes in line widths (none is solid), marker (or none)."""

    colour: str
    width: float
    dash: tuple[float, ...]
    marker: str

    def piece(self, x: float, y: float, length: float, stroke: float) -> Line2D:
        """Level piece of the line from x, y [as drawn], its marker in the middle; widths times `stroke` [-]."""
        line = Line2D((x, x + 0.5 * length, x + length), (y, y, y), color=self.colour, linewidth=self.width * stroke)
        if self.dash:
            line.set_linestyle((0.0, self.dash))
        self.mark(line, stroke)
        line.set_markevery([1])
        return line

    def mark(self, line: Line2D, stroke: float) -> None:
        """Give a line the marker, hollow, at even distances; sizes times `stroke` [-]."""
        if self.marker:
            offset = 0.03 + 0.02 * "os^DvP".index(self.marker)
            line.set(marker=self.marker, markevery=(offset, 0.16), markersize=3.0 * stroke)
            line.set(markerfacecolor="white", markeredgewidth=0.7 * stroke)


OPTIMUM_STYLE = SeriesStyle(INK, 2.0, (), "")
"""The optimum: heavy, solid, black."""

OTHER_STYLES = (
    SeriesStyle("#0a3468", 1.3, (6.5, 1.8), "o"),
    SeriesStyle("#a64310", 1.3, (2.4, 1.2), "s"),
    SeriesStyle("#3d92c3", 1.5, (5.0, 1.2, 1.2, 1.2), "^"),
    SeriesStyle("#64460a", 1.1, (1.2, 1.2), "D"),
    SeriesStyle("#936f00", 1.5, (5.0, 3.0), "v"),
)
"""Rules and recordings: see `series_styles`."""


def in_order(flights: Iterable[Flight]) -> tuple[Flight, ...]:
    """Flights as figures show them: optima first, then rules as their file has them, then all others by name."""
    return tuple(sorted(flights, key=_standing))


def _standing(flight: Flight) -> tuple[bool, float, str]:
    if flight.kind is Kind.OPTIMUM:
        return False, 0.0, ""
    place = _place(flight)
    return True, math.inf if place is None else float(place), flight.name


def _place(flight: Flight) -> int | None:
    """Place of a flight's rule in the file that it was read from; None where that is not known."""
    names = flight.provenance.rule_names
    return names.index(flight.name) if flight.name in names else None


def series_styles(flights: tuple[Flight, ...]) -> tuple[SeriesStyle, ...]:
    """One style per flight: the first optimum heavy and black, a rule by its place in its file, others in order.

    So a rule looks the same whatever stands beside it, unless that is a rule of the same style: then the later one of
    the file has the next that is free.

    Raises
    ------
    InputFault
        No flight, or more flights than can be told apart on one figure.
    """
    optimum = next((index for index, flight in enumerate(flights) if flight.kind is Kind.OPTIMUM), None)
    standing = sorted(range(len(flights)), key=lambda index: _standing(flights[index]))
    others = [index for index in standing if index != optimum]
    if not flights or len(others) > len(OTHER_STYLES):
        allowed = f"one optimum and at most {len(OTHER_STYLES)} others, so that a grey print tells them apart"
        raise InputFault([Fault("flights of a figure", "", f"{len(flights)} flights", allowed)])
    count = len(OTHER_STYLES)
    placed: dict[int, int] = {}
    for rank, index in sorted(enumerate(others), key=lambda one: _place(flights[one[1]]) is None):
        place = _place(flights[index])
        wanted = rank if place is None else place
        placed[index] = next(k % count for k in range(wanted, wanted + count) if k % count not in placed.values())
    return tuple(OTHER_STYLES[placed[index]] if index in placed else OPTIMUM_STYLE for index in range(len(flights)))
