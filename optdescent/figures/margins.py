"""Margins by rule: share of stable gates with its interval, energy too much on the way, fuel above the optimum."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.page import Page, sheet_of
from optdescent.figures.pen import Array, band, letters, line
from optdescent.figures.rows import Beside, rows
from optdescent.figures.style import OTHER_STYLES, QUIET, styled
from optdescent.figures.text import width
from optdescent.results.files import Fault, InputFault
from optdescent.results.margins import MARGIN_COLUMNS, Margins
from optdescent.results.over_conditions import TABLE_COLUMNS, OverConditions
from optdescent.results.price import NOT_STABLE
from optdescent.results.schema import Column
from optdescent.units import FOOT, NAUTICAL_MILE

OVER_NOTE = (
    "Share: of {cases} conditions; bar: 95 % interval where drawn. Energy: energy height above what was asked; "
    "dot: median, end of the bar: exceeded in one condition of ten. Fuel: above the condition's own optimum, where "
    "there is one ({optima} conditions) and it and the rule compared with are stable; dot: mean, bar: 95 % interval."
)
ONE_NOTE = (
    "One flight each, in one air. Energy: energy height above the optimum's. Filled: stable at {gate} ft; hollow: not."
)
_COLOUR = OTHER_STYLES[0].colour
_BAR, _DOT, _DOT_ON_BAR, _CAP = 1.1, 3.4, 2.8, 5.4
"""Width of a bar, size of a dot and of one on a bar, which must not hide it, and height of a bar's caps [pt]."""
_CAP_OF_ROW = 0.8
"""Part of a row that a cap takes at most."""
_ROOM = 0.06
"""Part of an axis that is left free beyond what is drawn."""
_SHARE_ENDS, _SHARE_LEAST = (-4.0, 104.0), 20.0
"""Ends of the widest axis of a share, and how much of it the narrowest shows [%]."""


@dataclass(frozen=True)
class _Drawn:
    """A panel: heading, label, values (rule,) and ends of bars [as drawn], what is written where there is none."""

    heading: str
    label: str
    value: Array
    low: Array
    high: Array
    none: str


def margins(found: OverConditions, page: Page = Page.A4, rules: tuple[str, ...] = ()) -> Figure:
    """Share of stable gates [%], energy height too much at the ends of the way [ft], fuel above the optimum [kg].

    Parameters
    ----------
    rules : tuple of str
        Names of the rules drawn; all if empty.

    Raises
    ------
    InputFault
        No rule has a name that is asked for, or the page has no room for so many.
    """
    table = found.table
    known = tuple(str(name) for name in table["rule"].to_numpy())
    shown = [known.index(name) for name in chosen(rules, known)]
    count, cases = np.asarray(table["flown"].to_numpy(), dtype=float), found.cases.sizes["case"]

    def of(name: str, at: int | None = None) -> Array:
        return _charted(table, TABLE_COLUMNS[name], at)[shown]

    share = _Drawn(
        "Share stable", "Stable at the gate [%]",
        100.0 * of("stable_share"), 100.0 * of("stable_share_low"), 100.0 * of("stable_share_high"), "not flown",
    )  # fmt: skip
    miles = np.asarray(table["at_distance"].to_numpy(), dtype=float) / NAUTICAL_MILE
    energy = [
        _Drawn(
            f"At {miles[at]:.0f} nm", "Energy too much [ft]",
            of("excess_energy_median", at), of("excess_energy_median", at), of("excess_energy_high", at), "",
        )
        for at in (int(np.argmax(miles)), int(np.argmin(miles)))
    ]  # fmt: skip
    fuel = _Drawn(
        "Fuel", "Above the optimum [kg]", of("fuel_above_optimum_mean"), of("fuel_above_optimum_mean_low"),
        of("fuel_above_optimum_mean_high"), "none compared",
    )  # fmt: skip
    names = tuple(known[at] if count[at] in (0.0, cases) else f"{known[at]} (flown in {count[at]:.0f})" for at in shown)
    note = OVER_NOTE.format(cases=cases, optima=table.attrs["conditions_with_optimum"])
    with styled():
        frame = sheet_of(page, (found.provenance,), "Margins by rule", note)
        drawn = (share, *energy, fuel)
        like = _ends(*energy)
        ends = (_share_ends(share), like, like, _ends(fuel))
        panels = tuple(Beside(one.heading, one.label, *own) for one, own in zip(drawn, ends, strict=True))
        for axes, one in zip(rows(frame, names, panels), drawn, strict=True):
            _panel(axes, one, np.ones(len(names), dtype=bool), page)
        return frame.figure


def margins_once(found: Margins, page: Page = Page.A4, rules: tuple[str, ...] = ()) -> Figure:
    """Energy height above the optimum's at the ends of the way [ft] and fuel above it [kg], one flight of each rule.

    Parameters
    ----------
    rules : tuple of str
        Names of the rules drawn; all if empty.

    Raises
    ------
    InputFault
        No rule has a name that is asked for, or the page has no room for so many.
    """
    table = found.table
    flights = [str(name) for name in table["flight"].to_numpy()]
    names = chosen(rules, tuple(flights[1:]))
    shown = [1 + flights[1:].index(name) for name in names]

    def of(name: str, at: int | None = None) -> Array:
        return _charted(table, MARGIN_COLUMNS[name], at)[shown]

    miles = np.asarray(table["at_distance"].to_numpy(), dtype=float) / NAUTICAL_MILE
    energy = [
        _Drawn(f"At {miles[at]:.0f} nm", "Energy above the optimum's [ft]", values, values, values, "")
        for at in (int(np.argmax(miles)), int(np.argmin(miles)))
        for values in (of("excess_energy", at),)
    ]
    values = of("fuel_above_optimum")
    fuel = _Drawn("Fuel", "Above the optimum [kg]", values, values, values, NOT_STABLE)
    stable = of("gate_stable", 0) > 0.5
    gate = f"{float(table['at_height'].to_numpy()[0]) / FOOT:.0f}"
    with styled():
        frame = sheet_of(page, (found.provenance,), "Margins by rule, one flight each", ONE_NOTE.format(gate=gate))
        drawn = (*energy, fuel)
        like = _ends(*energy)
        panels = tuple(
            Beside(one.heading, one.label, *own) for one, own in zip(drawn, (like, like, _ends(fuel)), strict=True)
        )
        for axes, one in zip(rows(frame, names, panels), drawn, strict=True):
            _panel(axes, one, stable, page)
        return frame.figure


def _charted(table: xr.Dataset, column: Column, at: int | None) -> Array:
    """Values (rule,) of a column of a table [unit of charts], at one place of its second dimension if it has one."""
    values = np.asarray(table[column.name].to_numpy(), dtype=float) / column.chart_unit.factor
    return values if at is None else values[:, at]


def chosen(wanted: tuple[str, ...], known: tuple[str, ...]) -> tuple[str, ...]:
    """Names of rules to draw [-]: those wanted, or all.

    Raises
    ------
    InputFault
        A name that no rule has.
    """
    wrong = [name for name in wanted if name not in known]
    if wrong:
        raise InputFault([Fault("rule", "", repr(name), ", ".join(known)) for name in wrong])
    return wanted or known


def _ends(*drawn: _Drawn) -> tuple[float, float]:
    """Ends of an axis that holds zero and all that is drawn, with room for a dot at either."""
    values = np.concatenate([own for one in drawn for own in (one.value, one.low, one.high)])
    known = np.append(values[np.isfinite(values)], 0.0)
    room = _ROOM * max(float(np.ptp(known)), 1.0)
    return float(known.min()) - room, float(known.max()) + room


def _share_ends(drawn: _Drawn) -> tuple[float, float]:
    """Ends of an axis [%] that holds the shares drawn and their intervals, so that these can be read."""
    values = np.concatenate([drawn.value, drawn.low, drawn.high])
    known = values[np.isfinite(values)]
    if not known.size:
        return _SHARE_ENDS
    spare = 0.5 * max(_SHARE_LEAST - float(np.ptp(known)), 0.0)
    low = max(min(float(known.min()) - spare, 100.0 - _SHARE_LEAST), 0.0)
    high = min(max(float(known.max()) + spare, _SHARE_LEAST), 100.0)
    room = _ROOM * (high - low)
    return max(low - room, _SHARE_ENDS[0]), min(high + room, _SHARE_ENDS[1])


def _panel(axes: Axes, drawn: _Drawn, filled: np.ndarray, page: Page) -> None:
    """A bar and a dot in each row, hollow where it is not filled, and words where there is nothing."""
    row_height = float(axes.get_window_extent().height) * 72.0 / axes.figure.dpi / max(len(drawn.value), 1)
    cap = min(_CAP * page.stroke, _CAP_OF_ROW * row_height)
    has_bars = bool((drawn.high > drawn.low).any())
    size = min((_DOT_ON_BAR if has_bars else _DOT) * page.stroke, row_height)
    for row, value in enumerate(drawn.value):
        middle = np.array([row + 0.5])
        if not np.isfinite(value):
            _say(axes, drawn.none, row, page)
            continue
        ends = np.array([drawn.low[row], drawn.high[row]])
        if np.isfinite(ends).all() and ends[1] > ends[0]:
            bar = line(axes, ends, np.repeat(middle, 2), _COLOUR, _BAR * page.stroke, order=3.0)
            bar.set(marker="|", markersize=cap, markeredgewidth=0.9 * page.stroke)
            bar.set_markevery([at for at, end in enumerate(ends.tolist()) if end != value])
        dot = line(axes, np.array([value]), middle, _COLOUR, 1.0, order=4.0)
        dot.set(marker="o", markersize=size, markeredgewidth=0.9 * page.stroke)
        dot.set(markerfacecolor=_COLOUR if filled[row] else "white")


def _say(axes: Axes, text: str, row: int, page: Page) -> None:
    """Words in a row, on paper, to the right of zero."""
    if not text:
        return
    low, high = axes.get_xlim()
    extent, dots = axes.get_window_extent(), 72.0 / axes.figure.dpi
    per_x = (high - low) / (float(extent.width) * dots)
    per_y = abs(float(np.ptp(axes.get_ylim()))) / (float(extent.height) * dots)
    size = min(page.value.small, 0.8 / per_y)
    start = max(low, 0.0) + 2.5 * per_x
    paper = np.array([start, start + width(text, size) * per_x]), row + 0.5 - 0.6 * size * per_y
    band(axes, paper[0], np.full(2, paper[1]), np.full(2, paper[1] + 1.2 * size * per_y), "white")
    letters(axes, start, row + 0.5 + 0.34 * size * per_y, text, size, QUIET)
