"""Sweep slices: a quantity over one varied quantity, a line for each level of another, a panel for each of a third."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import xarray as xr
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from optdescent.figures.cases import driver_of
from optdescent.figures.grid import Cell, grid
from optdescent.figures.label import Labels
from optdescent.figures.page import Page, sheet_of
from optdescent.figures.panel import number
from optdescent.figures.pen import Array, line
from optdescent.figures.style import INK, OTHER_STYLES, SeriesStyle, styled
from optdescent.results.files import Fault, InputFault
from optdescent.results.schema import with_unit
from optdescent.results.sweep import CHARTED, Swept
from optdescent.units import UNITS, Unit

NOTE = "Markers: cases of the sweep, straight between them; a case without an answer is left out. {lines}{fixed}"
MOST_PANELS = 4
STYLES = tuple(
    replace(style, marker=marker)
    for style, marker in zip((SeriesStyle(INK, 1.6, (), ""), *OTHER_STYLES[1:], OTHER_STYLES[0]), "os^DvP", strict=True)
)
"""Looks of lines in the order of their levels."""
_RULE, _DEVICES = "rule", "devices"
_LINES = (_RULE, _DEVICES)
"""Dimensions whose levels are lines before those of any axis are."""
_PLACES = {"corridor_distance": UNITS["nm"], "corridor_speed": UNITS["kt"]}
"""Unit that charts show the points of a corridor in; a sweep holds them in SI."""
_USUAL = ("fuel", "rule_fuel", "corridor_highest")
"""Quantities that are drawn where none is asked for: the first that is there."""
_LEAST_WIDE = 75.0
"""Width of a page for each panel beside another [mm]."""


@dataclass(frozen=True)
class _Side:
    """One dimension: its name, in words, unit, levels [file unit, or words], and those drawn by their places."""

    name: str
    words: str
    unit: Unit
    levels: tuple[Any, ...]
    places: tuple[int, ...]

    @property
    def label(self) -> str:
        """Label of an axis; of levels in words without a unit."""
        return with_unit(self.words, self.unit) if self.are_numbers else self.words

    @property
    def are_numbers(self) -> bool:
        """Whether its levels are numbers."""
        return all(isinstance(level, (int, float)) for level in self.levels)

    def said(self, place: int) -> str:
        """A level with its unit."""
        level = self.levels[place]
        shown = number(float(level)) if isinstance(level, (int, float)) else str(level)
        return f"{shown} {self.unit.symbol}" if self.unit.symbol else shown


def slices(
    found: Swept,
    page: Page = Page.A4,
    quantity: str = "",
    axes: tuple[str, ...] = (),
    rules: tuple[str, ...] = (),
) -> Figure:
    """A quantity [unit of charts] over one axis of a sweep [file unit], by levels of others.

    Parameters
    ----------
    quantity : str
        Name of what is drawn; if empty the fuel, or of a corridor the highest height.
    axes : tuple of str
        The axis across, the one whose levels are lines, and the one whose levels are panels; if empty the first axes.
    rules : tuple of str
        Rules that are lines, of a quantity by rule.

    Raises
    ------
    InputFault
        A sample, which has no slices; no quantity or axis of a name; more lines than can be told apart.
    """
    if not found.is_grid:
        given, allowed = "the cases are a sample", "a sweep over a grid: a sample has no slices"
        raise InputFault([Fault("figure slices", "sampling", given, allowed)])
    values = _quantity(found, quantity)
    sides = _sides(found, values, axes, rules)
    across, lines, panels, fixed = _parts(values, sides, axes)
    unit = _unit(values)
    label = with_unit(str(values.attrs.get("long_name", values.name)), unit)
    with styled():
        by = f"Lines: {_said(lines)}. " if lines else ""
        told = " ".join(f"{side.words}: {side.said(side.places[0])}." for side in fixed)
        frame = sheet_of(page, (found.provenance,), "Slices of a sweep", NOTE.format(lines=by, fixed=told).strip())
        at = {side.name: side.places[0] for side in fixed}
        shown = values.isel(at) / unit.factor
        x = _positions(across)
        ends = _ends(shown, across, lines, panels)
        columns = min(len(panels.places) if panels else 1, max(1, int(page.value.width / _LEAST_WIDE)))
        cells = _cells(panels, across, label, (x, ends), columns)
        drawn = grid(frame, cells, columns, "\u221200\u202f000")
        for axes_, place in zip(drawn, panels.places if panels else (0,), strict=True):
            own = shown.isel({panels.name: place}) if panels else shown
            _panel(axes_, x, own, (across, lines), page)
        return frame.figure


def _said(side: _Side) -> str:
    """Which levels are drawn, in words."""
    some = (
        "" if len(side.places) == len(side.levels) or side.name == _RULE else f", some of its {len(side.levels)} levels"
    )
    return f"{side.words[:1].lower()}{side.words[1:]}{some}"


def _quantity(found: Swept, name: str) -> xr.DataArray:
    """The quantity drawn.

    Raises
    ------
    InputFault
        The sweep has no such number over its axes.
    """
    allowed = [
        str(key)
        for key, own in found.dataset.data_vars.items()
        if own.dtype.kind == "f" and set(found.axes) <= set(own.dims) <= {*found.axes, *_LINES, *_PLACES}
    ]
    wanted = name or next((key for key in _USUAL if key in allowed), _USUAL[0])
    if wanted not in allowed:
        raise InputFault([Fault("quantity", "", f"{wanted!r} is missing", ", ".join(allowed) or "none is there")])
    return found.dataset[wanted]


def _unit(values: xr.DataArray) -> Unit:
    """Unit of charts, or SI where the sweep does not say it."""
    charted = UNITS.get(str(values.attrs.get(CHARTED, "")))
    if charted is not None and charted.suffix:
        return charted
    si = str(values.attrs.get("units", "1"))
    return next((unit for unit in UNITS.values() if unit.udunits == si), UNITS[""])


def _sides(found: Swept, values: xr.DataArray, axes: tuple[str, ...], rules: tuple[str, ...]) -> dict[str, _Side]:
    """Every dimension of the quantity by name, axes asked for first.

    Raises
    ------
    InputFault
        No axis or rule has a name that is asked for.
    """
    names = [str(dim) for dim in values.dims]
    faults = [Fault("axis", "", repr(name), ", ".join(names)) for name in axes if name not in names]
    known = [str(name) for name in found.dataset[_RULE].to_numpy()] if _RULE in names else []
    faults += [Fault("rule", "", repr(name), ", ".join(known) or "none") for name in rules if name not in known]
    if faults or len(set(axes)) < len(axes):
        raise InputFault(faults or [Fault("axis", "", "one is named twice", ", ".join(names))])
    sides: dict[str, _Side] = {}
    for name in (*axes, *(own for own in names if own not in axes)):
        if name == _RULE:
            places = tuple(known.index(rule) for rule in rules) or tuple(range(len(known)))
            sides[name] = _Side(name, "Rule", UNITS[""], tuple(known), places)
            continue
        driver = driver_of(found.dataset, name, (name,), (values.sizes[name],))
        unit = _PLACES.get(name, driver.unit)
        levels = tuple((driver.levels / unit.factor if name in _PLACES else driver.levels).tolist())
        sides[name] = _Side(name, driver.words, unit, levels, tuple(range(len(levels))))
    return sides


def _parts(
    values: xr.DataArray, sides: dict[str, _Side], axes: tuple[str, ...]
) -> tuple[_Side, _Side | None, _Side | None, list[_Side]]:
    """Which dimension goes across, which is lines, which panels, and those held at their middle level.

    Raises
    ------
    InputFault
        Nothing varies, or more lines than can be told apart.
    """
    varied = [side for side in sides.values() if len(side.places) > 1 and side.name not in _LINES]
    if not varied and not axes:
        raise InputFault([Fault("figure slices", str(values.name), "no axis of several levels", "one")])
    across = sides[axes[0]] if axes else varied[0]
    rest = [side for side in sides.values() if side.name != across.name]
    ordered = [side for side in rest if side.name in axes[1:]]
    ordered += [side for side in rest if side not in ordered and side.name in _LINES]
    ordered += [side for side in rest if side not in ordered and len(side.places) > 1]
    lines, panels = [*ordered, None, None][:2]
    if lines is not None and len(lines.places) > len(STYLES):
        if lines.name == _RULE:
            given = f"{len(lines.places)} rules are lines"
            raise InputFault([Fault("figure slices", "", given, f"at most {len(STYLES)}, by their names")])
        lines = _spread(lines, len(STYLES))
    if panels is not None and len(panels.places) > MOST_PANELS:
        panels = _spread(panels, MOST_PANELS)
    taken = {side.name for side in (across, lines, panels) if side is not None}
    fixed = [_only(side, (side.places[len(side.places) // 2],)) for side in rest if side.name not in taken]
    return across, lines, panels, fixed


def _spread(side: _Side, count: int) -> _Side:
    """So many of the levels, the ends among them."""
    picked: list[float] = np.linspace(0, len(side.places) - 1, count).tolist()
    return _only(side, tuple(side.places[round(at)] for at in picked))


def _only(side: _Side, places: tuple[int, ...]) -> _Side:
    return _Side(side.name, side.words, side.unit, side.levels, places)


def _positions(across: _Side) -> Array:
    """Places of levels on the axis [file unit], or their numbers where they are words."""
    return np.array(across.levels, dtype=float) if across.are_numbers else np.arange(float(len(across.levels)))


def _ends(shown: xr.DataArray, across: _Side, lines: _Side | None, panels: _Side | None) -> tuple[float, float]:
    """Ends of the upright axis over all lines and panels [as drawn].

    Raises
    ------
    InputFault
        No case has an answer.
    """
    picked = {side.name: list(side.places) for side in (lines, panels) if side is not None}
    values = np.asarray(shown.isel(picked).to_numpy(), dtype=float)
    known = values[np.isfinite(values)]
    if not known.size:
        raise InputFault([Fault("figure slices", str(shown.name), "has no answer in any case drawn", across.name)])
    room = 0.06 * max(float(np.ptp(known)), 1e-3 * max(abs(float(known.max())), 1.0))
    return float(known.min()) - room, float(known.max()) + room


def _cells(
    panels: _Side | None, across: _Side, label: str, drawn: tuple[Array, tuple[float, float]], columns: int
) -> tuple[Cell, ...]:
    x, ends = drawn
    room = 0.04 * max(float(np.ptp(x)), 1.0)
    places = panels.places if panels else (0,)
    last = len(places) - columns
    return tuple(
        Cell(
            f"{panels.words}: {panels.said(place)}" if panels else "",
            across.label if index >= last else "",
            label if index % columns == 0 else "",
            float(x.min()) - room,
            float(x.max()) + room,
            *ends,
        )
        for index, place in enumerate(places)
    )


def _panel(axes: Axes, x: Array, own: xr.DataArray, sides: tuple[_Side, _Side | None], page: Page) -> None:
    """A line with a marker at each case for every level, each named beside it."""
    across, lines = sides
    labels = Labels(axes, page.stroke)
    drawn: list[tuple[str, Array, Array, SeriesStyle]] = []
    places = lines.places if lines else (0,)
    for place, style in zip(places, STYLES, strict=False):
        row = own.isel({lines.name: place}) if lines else own
        y = np.asarray(row.transpose(across.name).to_numpy(), dtype=float)
        known = np.isfinite(y)
        curve = line(axes, x[known], y[known], style.colour, style.width * page.stroke, dash=style.dash, order=3.0)
        curve.set(marker=style.marker, markersize=3.4 * page.stroke, markerfacecolor="white")
        curve.set(markeredgewidth=0.8 * page.stroke)
        labels.avoid(x[known], y[known])
        if lines and known.any():
            drawn.append((lines.said(place), x[known], y[known], style))
    for text, at, y, style in drawn:
        labels.name(text, at, y, INK, page.value.small, style)
    labels.settle()
