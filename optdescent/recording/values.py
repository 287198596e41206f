"""Cells to numbers in SI, by the map; what cannot be read is counted, and a column of which too much is, refused."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from optdescent.recording.clock import past_midnight, seconds
from optdescent.recording.declaration import ALTITUDES, SPEEDS, ColumnDeclaration, ColumnMap, TextForm
from optdescent.recording.doubts import Doubts
from optdescent.recording.quantity import QUANTITIES, Quantity
from optdescent.recording.table import Table, is_stamped
from optdescent.recording.unit import FOREIGN, ForeignUnit, units_of

Array = NDArray[np.float64]

MOST_UNREADABLE = 0.2
"""Largest share [-] of cells that may be unreadable, or no value an aircraft can have; they count as blank."""
_INSIDE = 0.95
_SYSTEMATIC = 0.01
"""Share [-] of impossible values from which another unit, in which nearly all would be possible, is the reason."""
_SPELLED = {
    "knots": "kt",
    "knot": "kt",
    "kts": "kt",
    "feet": "ft",
    "foot": "ft",
    "metre": "m",
    "meter": "m",
    "meters": "m",
    "metres": "m",
    "m s-1": "m/s",
    "m/s": "m/s",
    "ft min-1": "ft/min",
    "fpm": "ft/min",
    "nautical_mile": "nm",
    "degrees": "deg",
    "degree": "deg",
    "radian": "rad",
    "celsius": "degC",
    "kelvin": "K",
}
"""Spellings of units in netCDF files (UDUNITS-2 and usage); others are not compared with the map."""


@dataclass(frozen=True)
class Raw:
    """Rows of a recording: numbers in the file, time (row,) [s], values (row,) [SI] by quantity, blank as not a number.

    `sigma` by quantity [SI] where the map gives it; `stamped` whether time is that of a clock.
    """

    rows: NDArray[np.intp]
    time: Array
    values: Mapping[str, Array]
    sigma: Mapping[str, float]
    stamped: bool

    def kept(self, keep: NDArray[np.bool_]) -> Raw:
        """The rows [-] to keep."""
        values = {name: column[keep] for name, column in self.values.items()}
        return replace(self, rows=self.rows[keep], time=self.time[keep], values=values)

    def left_blank(self, whole: Raw) -> bool:
        """Whether values of the same rows are blank that are not as a whole [-]."""
        return any(np.isnan(self.values[name][np.isfinite(column)]).any() for name, column in whole.values.items())

    def has(self, *names: str) -> bool:
        """Whether quantities have columns [-]."""
        return all(name in self.values for name in names)


def read_values(table: Table, asked: ColumnMap, doubts: Doubts) -> Raw:
    """Numbers of a table [SI].

    Raises
    ------
    InputFault
        A column of which too much cannot be read, or a unit that the file itself contradicts; each with its rows.
        A quantity that every recording needs, without any value.
    """
    stamped, values, sigma = is_stamped(table, asked), dict[str, Array](), dict[str, float]()
    for name, one in asked.columns.items():
        quantity = QUANTITIES[name]
        cells = Cells(one, table.columns[one.column], table.rows, doubts)
        _check_unit(table, one, doubts)
        if name == "time" and stamped:
            found = _stamps(cells, asked.text)
        else:
            found = _possible(_in_unit(_numbers(cells, asked.text), one), quantity, cells)
        values[name] = found
        if one.sigma is not None:
            sigma[name] = one.sigma * abs(_factor(one))
    _check_filled(values, asked, doubts)
    doubts.refuse()
    time = values.pop("time")
    raw = Raw(table.rows, time, values, sigma, stamped)
    untimed = ~np.isfinite(time)
    doubts.leave_out("the row has no time", table.rows[untimed])
    return raw.kept(~untimed)


def _check_filled(values: Mapping[str, Array], asked: ColumnMap, doubts: Doubts) -> None:
    """Note columns of what no recording can do without, if none of them has a value."""
    for needed in (("time",), ALTITUDES, SPEEDS, ("distance_to_go",)):
        own = [name for name in needed if name in values]
        if not any(np.isfinite(values[name]).any() for name in own):
            for name in own:
                doubts.fault(asked.columns[name].column, "is blank in every row", "a value in most rows")


@dataclass(frozen=True)
class Cells:
    """Cells (row,) of one column: words of a text file, or numbers; `rows` are their numbers in the file."""

    declared: ColumnDeclaration
    cells: Sequence[str] | Array
    rows: NDArray[np.intp]
    doubts: Doubts

    def note_bad(self, given: str, bad: NDArray[np.intp], filled: int, allowed: str) -> None:
        """Note cells [-] that are no values: a fault where they are more than a share of those filled."""
        if not bad.size:
            return
        rows, column = self.rows[np.sort(bad)], self.declared.column
        if bad.size > MOST_UNREADABLE * filled:
            said = f"{given} in {bad.size} of {filled} cells: {self.doubts.said(rows)}"
            self.doubts.fault(column, said, allowed)
        else:
            self.doubts.leave_out(f"{column}: the cell {given}; taken as blank", rows)


def _numbers(column: Cells, form: TextForm) -> Array:
    """Numbers of cells (row,) as they stand, words by the map; unreadable cells are noted and blank."""
    cells, declared = column.cells, column.declared
    if not declared.words and isinstance(cells, np.ndarray):
        return cells
    texts = [f"{cell:g}" for cell in cells] if isinstance(cells, np.ndarray) else cells
    missing = {"", *(word.casefold() for word in form.missing)}
    words = {word.casefold(): float(number) for word, number in declared.words.items()}
    found, bad = np.full(len(texts), np.nan), list[int]()
    for row, text in enumerate(texts):
        key = text.casefold()
        if key in missing:
            continue
        try:
            found[row] = words[key] if words else float(text.replace(form.decimal, "."))
        except (KeyError, ValueError):
            bad.append(row)
    bad += np.flatnonzero(np.isinf(found)).tolist()
    found[np.isinf(found)] = np.nan
    filled = len(bad) + int(np.isfinite(found).sum())
    allowed = f"one of {', '.join(declared.words)}, or blank" if words else "numbers, or blank"
    given = f"cannot be read ({texts[min(bad)]!r})" if bad else ""
    column.note_bad(given, np.array(bad, dtype=np.intp), filled, allowed)
    return found


def _stamps(column: Cells, form: TextForm) -> Array:
    """Times (row,) [s] of timestamps."""
    cells = column.cells
    if isinstance(cells, np.ndarray):
        return cells
    found = np.array([seconds(cell) if cell else np.nan for cell in cells])
    blank = np.array([not cell or cell in form.missing for cell in cells], dtype=np.bool_)
    bad = np.flatnonzero(~np.isfinite(found) & ~blank)
    given = f"is no time ({cells[int(bad[0])]!r})" if bad.size else ""
    column.note_bad(given, bad, int((~blank).sum()), "ISO 8601, as 2026-01-31T12:00:00 or 12:00:00")
    return past_midnight(found)


def _factor(one: ColumnDeclaration) -> float:
    """What one of a cell's unit is in SI; with positions, in steps between them."""
    if one.positions:
        return (len(one.positions) - 1) / (one.positions[-1] - one.positions[0])
    return FOREIGN[one.unit].factor


def _in_unit(cells: Array, one: ColumnDeclaration) -> Array:
    """SI values of cells (row,)."""
    readings = one.scale * cells + one.offset
    if not one.positions:
        return readings * FOREIGN[one.unit].factor + FOREIGN[one.unit].zero
    at = np.array(one.positions, dtype=float)
    if at[0] > at[-1]:
        readings, at = -readings, -at
    part = np.clip(np.searchsorted(at, readings) - 1, 0, at.size - 2)
    return part + (readings - at[part]) / (at[part + 1] - at[part])


def _possible(values: Array, quantity: Quantity, column: Cells) -> Array:
    """Values (row,) that the quantity can have; others are noted, with the units that they may be in, and blank."""
    known = np.isfinite(values)
    bad = np.flatnonzero(known & ((values < quantity.low) | (values > quantity.high)))
    if not bad.size:
        return values
    unit = FOREIGN[column.declared.unit]
    low, high, worst = (
        f"{(value - unit.zero) / unit.factor:.6g}" for value in (quantity.low, quantity.high, float(values[bad[0]]))
    )
    given = f"is no {quantity.name.replace('_', ' ')} ({worst} {unit.name})"
    others = [] if column.declared.positions else [other.name for other in _fitting(values[known], quantity, unit)]
    allowed = f"{low} to {high} {unit.name}{', or the unit ' + ' or '.join(others) if others else ''}"
    if others and bad.size > _SYSTEMATIC * int(known.sum()):
        said = f"{given} in {bad.size} of {int(known.sum())} cells: {column.doubts.said(column.rows[bad])}"
        column.doubts.fault(column.declared.column, said, allowed)
    else:
        column.note_bad(given, bad, int(known.sum()), allowed)
    found = values.copy()
    found[bad] = np.nan
    return found


def _fitting(values: Array, quantity: Quantity, unit: ForeignUnit) -> list[ForeignUnit]:
    """Other units in which nearly all of the values [SI] would be possible."""
    cells = (values - unit.zero) / unit.factor
    found: list[ForeignUnit] = []
    for other in units_of(quantity.si):
        there = cells * other.factor + other.zero
        if (
            other != unit
            and quantity.is_usual(other.name)
            and float(np.mean((there >= quantity.low) & (there <= quantity.high))) > _INSIDE
        ):
            found.append(other)
    return found


def _check_unit(table: Table, one: ColumnDeclaration, doubts: Doubts) -> None:
    """Note a unit of the map that the file itself contradicts."""
    said = table.units.get(one.column, "").strip()
    there = FOREIGN.get(_SPELLED.get(said.casefold(), said))
    if there is None or one.positions or one.words:
        return
    mapped = FOREIGN[one.unit]
    if (there.si, there.factor, there.zero) != (mapped.si, mapped.factor, mapped.zero):
        doubts.fault(one.column, f"the map says {one.unit!r}, the file itself {said!r}", f"unit = {there.name!r}")
