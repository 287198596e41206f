"""Reading a sounding: one measured ascent as CSV, with gaps, each fault named by row.

The file has comment lines beginning with '#', then the header
`pressure_hPa,height_m,temperature_degC,wind_from_deg,wind_speed_kt`, then one row a level. Heights are geopotential
metres above mean sea level, as upper-air reports give them. A blank is a value not observed.
"""

from __future__ import annotations

import csv
import math
from dataclasses import dataclass
from functools import lru_cache
from importlib import resources
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from optdescent.air.wind.direction import towards
from optdescent.inputs import Fault, InputFault
from optdescent.units import DEGREE, HECTOPASCAL, KNOT

COLUMNS = {
    "pressure_hPa": (0.1, 1100.0),
    "height_m": (-450.0, 50000.0),
    "temperature_degC": (-120.0, 60.0),
    "wind_from_deg": (0.0, 360.0),
    "wind_speed_kt": (0.0, 400.0),
}
"""Columns of a sounding file and the range allowed in each."""
WIDEST_GAP = 2000.0
"""Widest gap [m] between two levels with wind that may be bridged below the highest of them."""
BUILT_IN = (
    "nashville-2014-02-21",
    "amarillo-1999-05-04",
    "dodge-city-1999-05-04",
    "fort-worth-1999-05-04",
    "little-rock-1999-05-04",
    "nashville-1999-05-04",
    "norman-1999-05-04",
    "springfield-1999-05-04",
    "topeka-1999-05-04",
)
"""Soundings that come with the package, by name."""


@dataclass(frozen=True)
class Sounding:
    """One measured ascent.

    ``height`` [m] rising, ``east``, ``north`` [m/s]: the levels with an observed wind. ``pressure`` [Pa] falling,
    ``temperature`` [K]: those with an observed temperature, perhaps none.
    """

    title: str
    height: NDArray[np.float64]
    east: NDArray[np.float64]
    north: NDArray[np.float64]
    pressure: NDArray[np.float64]
    temperature: NDArray[np.float64]
    text: str

    def at(self, height: NDArray[np.float64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Wind towards east and north [m/s] at heights [m]: linear between levels, constant outside them."""
        return np.interp(height, self.height, self.east), np.interp(height, self.height, self.north)


def sounding_text(source: str, folder: Path | None) -> tuple[str, str]:
    """Name and text [-] of a sounding, given by the name of a built-in one or by a path.

    Raises
    ------
    InputFault
        No such built-in sounding and no such file.
    """
    if source in BUILT_IN:
        text = resources.files("optdescent.air.wind").joinpath("data", f"{source}.csv").read_text(encoding="utf-8")
        return source, text
    path = Path(source) if folder is None else folder / source
    try:
        return str(path), path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError) as error:
        allowed = f"a readable CSV file, or the name of a built-in sounding ({', '.join(BUILT_IN)})"
        raise InputFault([Fault(str(path), "", "sounding cannot be read", allowed)]) from error


@lru_cache(maxsize=64)
def read_sounding(name: str, text: str) -> Sounding:
    """Sounding from the text of its file.

    Raises
    ------
    InputFault
        Wrong header, values that are not numbers or out of range, heights that do not rise, a gap in the wind wider
        than `WIDEST_GAP`, or fewer than two levels with wind: every fault, with its row.
    """
    lines = text.splitlines()
    title = next((line.lstrip("# ").strip() for line in lines if line.startswith("#")), name)
    numbered = [(number, line) for number, line in enumerate(lines, 1) if line.strip() and not line.startswith("#")]
    if not numbered or numbered[0][1].strip().split(",") != list(COLUMNS):
        given = numbered[0][1] if numbered else "no header"
        raise InputFault([Fault(name, "header", f"got {given!r}", ",".join(COLUMNS))])
    faults: list[Fault] = []
    rows = [(number, _row(name, number, line, faults)) for number, line in numbered[1:]]
    faults += _height_faults(name, rows)
    levels = [
        (n, r) for n, r in rows if not any(math.isnan(r[c]) for c in ("height_m", "wind_from_deg", "wind_speed_kt"))
    ]
    if len(levels) < 2:
        faults.append(Fault(name, "wind", f"{len(levels)} level(s) with height and wind", "at least two"))
    faults += _gap_faults(name, levels)
    if faults:
        raise InputFault(faults)
    height = np.array([r["height_m"] for _, r in levels])
    from_ = np.array([r["wind_from_deg"] for _, r in levels]) * DEGREE
    speed = np.array([r["wind_speed_kt"] for _, r in levels]) * KNOT
    east, north = towards(from_, speed)
    warm = [r for _, r in rows if not any(math.isnan(r[c]) for c in ("pressure_hPa", "temperature_degC"))]
    pressure = np.array([HECTOPASCAL * r["pressure_hPa"] for r in warm])
    temperature = np.array([r["temperature_degC"] + 273.15 for r in warm])
    return Sounding(title, height, east, north, pressure, temperature, text)


def _row(name: str, number: int, line: str, faults: list[Fault]) -> dict[str, float]:
    cells = next(csv.reader([line]))
    values: dict[str, float] = dict.fromkeys(COLUMNS, math.nan)
    if len(cells) != len(COLUMNS):
        faults.append(Fault(name, f"row {number}", f"has {len(cells)} cells", f"{len(COLUMNS)} cells"))
        return values
    for (column, (low, high)), cell in zip(COLUMNS.items(), cells, strict=True):
        if not cell.strip():
            continue
        try:
            value = float(cell)
        except ValueError:
            value = math.nan
        if low <= value <= high:
            values[column] = value
        else:
            faults.append(Fault(name, f"row {number}, {column}", f"got {cell!r}", f"{low:g} to {high:g}, or blank"))
    if math.isnan(values["wind_from_deg"]) != math.isnan(values["wind_speed_kt"]):
        faults.append(Fault(name, f"row {number}", "has only one of wind direction and speed", "both or neither"))
    return values


def _height_faults(name: str, rows: list[tuple[int, dict[str, float]]]) -> list[Fault]:
    faults: list[Fault] = []
    last = -math.inf
    for number, row in rows:
        height = row["height_m"]
        if math.isnan(height):
            continue
        if height <= last:
            word = "repeats" if height == last else "falls below"
            given = f"{height:g} {word} the height before it ({last:g})"
            faults.append(Fault(name, f"row {number}, height_m", given, "heights that rise from row to row"))
        last = max(last, height)
    return faults


def _gap_faults(name: str, levels: list[tuple[int, dict[str, float]]]) -> list[Fault]:
    faults: list[Fault] = []
    for (_, below), (number, above) in pairwise(levels):
        gap = above["height_m"] - below["height_m"]
        if gap > WIDEST_GAP:
            given = f"no wind between {below['height_m']:g} and {above['height_m']:g} m"
            faults.append(Fault(name, f"row {number}", given, f"gaps up to {WIDEST_GAP:g} m"))
    return faults
