"""A recording as it lies in its file: rows and columns of a CSV file or of a netCDF file, nothing interpreted yet."""

from __future__ import annotations

import csv
import difflib
import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault, read_text
from optdescent.recording.declaration import ColumnMap, TextForm
from optdescent.recording.doubts import Doubts
from optdescent.recording.rows import FROM_ZERO, LINES
from optdescent.recording.unit import TIMESTAMP
from optdescent.results.files import read_netcdf

_MOST_BROKEN = 0.2
"""Largest share [-] of rows with a wrong number of cells that is left out; with more it is no table."""
_NETCDF = (".nc", ".nc4", ".cdf", ".netcdf")


@dataclass(frozen=True)
class Table:
    """Columns of a file: words of a text file, or numbers (row,) of a netCDF file; `rows` are their numbers in it.

    `units` are those that a netCDF file says itself; `stamped` are its columns of dates, which hold seconds.
    """

    columns: Mapping[str, Sequence[str] | NDArray[np.float64]]
    rows: NDArray[np.intp]
    units: Mapping[str, str]
    stamped: frozenset[str]


def read_table(path: Path, asked: ColumnMap) -> tuple[Table, Doubts]:
    """Table of a recording, columns of the map only [as recorded], and what is doubtful about it so far.

    Raises
    ------
    InputFault
        The file cannot be read or is no table, or a column that the map names is not in it.
    """
    if path.suffix.lower() in _NETCDF:
        doubts = Doubts(str(path), FROM_ZERO)
        table = _netcdf(path, asked, doubts)
    else:
        doubts = Doubts(str(path), LINES)
        table = _text(path, asked.text, asked, doubts)
    doubts.refuse()
    return table, doubts


def digest_of(path: Path, asked: ColumnMap) -> str:
    """First twelve hexadecimal digits [-] of the SHA-256 of a recording and its map."""
    whole = path.read_bytes() + asked.model_dump_json().encode()
    return hashlib.sha256(whole).hexdigest()[:12]


def _text(path: Path, form: TextForm, asked: ColumnMap, doubts: Doubts) -> Table:
    lines = read_text(path).splitlines()
    kept = [place for place, line in enumerate(lines) if line.strip() and not line.lstrip().startswith(form.comment)]
    cells = list(csv.reader((lines[place] for place in kept), delimiter=form.delimiter))
    if len(cells) < 2:
        raise InputFault([Fault(str(path), "", "has no rows", "a header and rows of numbers")])
    names = [name.strip() for name in cells[0]]
    _check_columns(asked, names, doubts)
    doubts.refuse()
    rows = np.array(kept[1:], dtype=np.intp) + 1
    whole = np.array([len(row) == len(names) for row in cells[1:]], dtype=np.bool_)
    broken = rows[~whole]
    if broken.size > _MOST_BROKEN * rows.size:
        given = (
            f"{broken.size} of {rows.size} rows have not {len(names)} cells, as the header has: {doubts.said(broken)}"
        )
        raise InputFault([Fault(str(path), "", given, f"rows of {len(names)} cells between {form.delimiter!r}")])
    doubts.leave_out(f"the row has not {len(names)} cells, as the header has", broken)
    columns: dict[str, list[str]] = {}
    used = [row for row, good in zip(cells[1:], whole, strict=True) if good]
    for one in asked.columns.values():
        place = names.index(one.column)
        columns[one.column] = [row[place].strip() for row in used]
    return Table(columns, rows[whole], {}, frozenset())


def _netcdf(path: Path, asked: ColumnMap, doubts: Doubts) -> Table:
    try:
        dataset = read_netcdf(path)
    except (OSError, ValueError) as error:
        raise InputFault([Fault(str(path), "", f"cannot be read ({error})", "a netCDF-4 file")]) from error
    names = [str(name) for name in dataset.variables]
    _check_columns(asked, names, doubts)
    doubts.refuse()
    along = dataset[asked.columns["time"].column].dims
    columns: dict[str, NDArray[np.float64]] = {}
    units: dict[str, str] = {}
    stamped: set[str] = set()
    for name in {one.column for one in asked.columns.values()}:
        variable = dataset[name]
        if len(along) != 1 or variable.dims != along:
            doubts.fault(name, f"lies along {variable.dims}", f"one dimension, that of time: {along}")
            continue
        columns[name], is_stamped = _numbers(variable, name, doubts)
        if is_stamped:
            stamped.add(name)
        units[name] = str(variable.attrs.get("units", ""))
    size = int(dataset.sizes[along[0]]) if len(along) == 1 else 0
    return Table(columns, np.arange(size, dtype=np.intp), units, frozenset(stamped))


def _numbers(variable: xr.DataArray, name: str, doubts: Doubts) -> tuple[NDArray[np.float64], bool]:
    """Numbers (row,) of a variable, dates as seconds; whether they were dates."""
    values = variable.to_numpy()
    if values.dtype.kind == "M":
        since = values.astype("datetime64[us]")
        return np.where(np.isnat(since), np.nan, since.astype(np.int64) / 1e6), True
    if values.dtype.kind not in "fiub":
        doubts.fault(name, f"holds {values.dtype}", "numbers")
        return np.full(values.shape, np.nan), False
    return values.astype(float), False


def _check_columns(asked: ColumnMap, names: Sequence[str], doubts: Doubts) -> None:
    """Note columns that the map names and the file does not have, and those that it has twice."""
    for key, one in asked.columns.items():
        if one.column not in names:
            near = difflib.get_close_matches(one.column, names, n=1, cutoff=0.5)
            allowed = f"nearest is {near[0]!r}" if near else f"its columns: {', '.join(names)}"
            doubts.fault(one.column, f"no such column (columns.{key} of the map)", allowed)
        elif names.count(one.column) > 1:
            doubts.fault(one.column, "stands twice in the header", "one column of that name")


def is_stamped(table: Table, asked: ColumnMap) -> bool:
    """Whether the time column holds dates or times of day [-]."""
    one = asked.columns["time"]
    return one.unit == TIMESTAMP or one.column in table.stamped
