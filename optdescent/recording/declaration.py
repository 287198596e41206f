"""The map of a recording: which foreign column is which quantity of ours, in which unit, and how it is to be read."""

from __future__ import annotations

import difflib
from enum import Enum
from pathlib import Path
from typing import Literal

from optdescent.inputs import Declared, Fault, InputFault, Number, choice, entry, quantity, read_toml, validated
from optdescent.recording.quantity import QUANTITIES
from optdescent.recording.unit import FOREIGN, TIMESTAMP, units_of


class ColumnDeclaration(Declared):
    """One column. A reading is `scale` times the cell plus `offset`, in `unit`.

    With `words` a cell is a word and stands for the number beside it, in `unit`. With `positions` the readings at
    0, 1, 2, … of ours are given: steps of slats and flaps by their angles, a fan speed by its idle and full level.
    """

    column: str = entry("name of the column in the recording")
    unit: str = entry("unit of the column, as `recording.unit` names it; a pure number is a 'fraction'")
    scale: float = quantity("", -1e9, 1e9, "factor on the cell; -1 turns its sign", default=1.0)
    offset: float = quantity("", -1e9, 1e9, "added after that, in the unit", default=0.0)
    sigma: float | None = quantity(
        "", 0, 1e9, "one sigma of it, in the unit; without it from the column's scatter and resolution", default=None
    )
    words: dict[str, Number] = entry(
        "cells that are words, and the number in the unit that each stands for", default={}
    )
    positions: tuple[Number, ...] = entry(
        "readings of the column at 0, 1, 2, … of ours, all rising or all falling", default=()
    )


class TextForm(Declared):
    """How a text file is written; netCDF needs none of it."""

    delimiter: str = entry("character between cells", default=",")
    decimal: str = entry("decimal mark", default=".")
    comment: str = entry("what a comment line begins with", default="#")
    missing: tuple[str, ...] = entry("cells that stand for no value, beside a blank one", default=("NaN", "-", "NULL"))


class FromColumn(Declared):
    """Distance to go as recorded."""

    kind: Literal["column"] = entry("the column `distance_to_go`", default="column")


class FromPositions(Declared):
    """Distance to go as the length of the flown path, from positions to the threshold of the scenario."""

    kind: Literal["positions"] = entry("the columns `latitude` and `longitude`; great circles to the threshold")


class FromGroundSpeed(Declared):
    """Distance to go by adding up ground speed back from one place; exactly one of the two is given."""

    kind: Literal["ground speed"] = entry("the column `ground_speed`, added up")
    last: float | None = quantity("nm", -5, 400, "distance to go at the last row", default=None)
    on_glide_path_at: float | None = quantity(
        "ft", 0, 3000, "height above the threshold at which the flight was last on the glide path", default=None
    )


class MassGiven(Declared):
    """Mass where no column has it; at most one of the two."""

    at_start: float | None = quantity("kg", 1000, 600000, "mass at the first row used", default=None)
    at_end: float | None = quantity("kg", 1000, 600000, "mass at the last row used", default=None)


class Device(Enum):
    """What an event moves; the value is the quantity."""

    FLAPS = "flaps"
    GEAR = "gear"
    SPEED_BRAKE = "speed_brake"


class Event(Declared):
    """A device that begins to move, where no column has it; it takes the airframe's time."""

    at: float | None = quantity("s", -1e12, 1e12, "when, on the clock of the time column", default=None)
    at_time: str | None = entry("when, as a timestamp, if the time column holds timestamps", default=None)
    device: Device = entry("what begins to move")
    to: float = quantity("", 0, 12, "step of the flaps, or 0 to 1 for gear and speed brake")


class Reading(Declared):
    """Gaps, smoothing and checks.

    Smoothing is by the method of Savitzky and Golay (Analytical Chemistry 36, 1964): a parabola of least squares in a
    moving window, between gaps. Slopes by time are those of such a parabola, whether or not values are smoothed.
    """

    longest_gap: float = quantity("s", 0, 600, "longest time between recorded values that is bridged", default=5.0)
    smoothing: float = quantity("s", 0, 120, "window of smoothing; 0: none", default=0.0)
    slopes: float = quantity("s", 1, 120, "window of slopes by time", default=9.0)
    frozen_after: float = quantity("s", 2, 3600, "a value that stays identical for longer may be frozen", default=30.0)


class Forces(Enum):
    """Whether thrust and drag are worked out."""

    NONE = "none"
    AIRFRAME = "airframe"


class ColumnMap(Declared):
    """One map of columns."""

    title: str = entry("what the recording is; invented ones say so")
    columns: dict[str, ColumnDeclaration] = entry("a table for each quantity that is recorded, by the quantity's name")
    text: TextForm = entry("how a text file is written", default=TextForm())
    distance: FromColumn | FromPositions | FromGroundSpeed = choice(
        "where the distance to go is from; `kind` decides", default=FromColumn()
    )
    mass: MassGiven = entry("mass where no column has it", default=MassGiven())
    events: tuple[Event, ...] = entry("devices where no column has them", default=())
    reading: Reading = entry("gaps, smoothing and checks", default=Reading())
    forces: Forces = entry(
        "'airframe': thrust and drag by the scenario's airframe; 'none': not known", default=Forces.NONE
    )


def read_columns(path: str | Path) -> ColumnMap:
    """Map of columns of a file [SI in memory where keys carry a unit].

    Raises
    ------
    InputFault
        Every fault of the file.
    """
    return columns_of(read_toml(Path(path)), str(path))


def columns_of(data: dict[str, object], name: str) -> ColumnMap:
    """Map of columns of parsed TOML; `name` stands in messages [SI in memory where keys carry a unit].

    Raises
    ------
    InputFault
        Every fault of the data.
    """
    found = validated(ColumnMap, data, name)
    faults = [
        Fault(name, f"columns.{key}{part}", given, allowed)
        for key, one in found.columns.items()
        for part, given, allowed in _column_faults(key, one)
    ]
    faults += [Fault(name, key, given, allowed) for key, given, allowed in _map_faults(found)]
    if faults:
        raise InputFault(faults)
    return found


def _column_faults(key: str, one: ColumnDeclaration) -> list[tuple[str, str, str]]:
    if key not in QUANTITIES:
        nearest = difflib.get_close_matches(key, QUANTITIES, n=1, cutoff=0.5)
        known = f"nearest is '{nearest[0]}'" if nearest else ", ".join(QUANTITIES)
        return [("", "is no quantity of a recording", known)]
    si = QUANTITIES[key].si
    allowed = [unit.name for unit in units_of(si)]
    if key == "time":
        allowed.append(TIMESTAMP)
    if key != "flaps" and si == "1":
        allowed.remove("step")
    faults: list[tuple[str, str, str]] = []
    if one.unit not in FOREIGN or one.unit not in allowed:
        faults.append((".unit", f"got {one.unit!r}", ", ".join(allowed)))
    steps = [after - before for before, after in zip(one.positions, one.positions[1:], strict=False)]
    if one.positions and not (steps and (min(steps) > 0.0 or max(steps) < 0.0)):
        faults.append((".positions", f"got {list(one.positions)}", "two or more, all rising or all falling"))
    if one.positions and one.words:
        faults.append((".positions", "stands beside words", "one of the two"))
    if key == "fan_speed" and len(one.positions) != 2:
        faults.append((".positions", f"got {list(one.positions)}", "two: the readings at idle and at full thrust"))
    if one.scale == 0.0:
        faults.append((".scale", "got 0", "any other number"))
    return faults


def _map_faults(found: ColumnMap) -> list[tuple[str, str, str]]:
    faults: list[tuple[str, str, str]] = []
    columns = set(found.columns)

    def needs(key: str, wanted: tuple[str, ...], why: str) -> None:
        if not columns & set(wanted):
            faults.append((key, "missing", f"{why}: {'one of ' if len(wanted) > 1 else ''}{', '.join(wanted)}"))

    needs("columns.time", ("time",), "every recording has a time")
    needs("columns.pressure_altitude", ALTITUDES, "an altitude")
    needs("columns.calibrated_airspeed", SPEEDS, "a speed")
    match found.distance:
        case FromColumn():
            needs("columns.distance_to_go", ("distance_to_go",), "or distance.kind 'positions' or 'ground speed'")
        case FromPositions():
            needs("columns.latitude", ("latitude",), "distance.kind is 'positions'")
            needs("columns.longitude", ("longitude",), "distance.kind is 'positions'")
        case FromGroundSpeed() as summed:
            needs("columns.ground_speed", ("ground_speed",), "distance.kind is 'ground speed'")
            if (summed.last is None) == (summed.on_glide_path_at is None):
                faults.append(("distance", "has not one place", "last_nm or on_glide_path_at_ft, and only one of them"))
    return faults + _pair_faults(found) + _event_faults(found)


def _pair_faults(found: ColumnMap) -> list[tuple[str, str, str]]:
    faults: list[tuple[str, str, str]] = []
    for one, other in (("wind_from", "wind_speed"), ("wind_speed", "wind_from")):
        if one in found.columns and other not in found.columns:
            faults.append((f"columns.{other}", "missing", f"this column, beside {one}"))
    if found.mass.at_start is not None and found.mass.at_end is not None:
        faults.append(("mass", "is given twice", "at_start_kg or at_end_kg"))
    return faults


def _event_faults(found: ColumnMap) -> list[tuple[str, str, str]]:
    faults: list[tuple[str, str, str]] = []
    for index, event in enumerate(found.events):
        if (event.at is None) == (event.at_time is None):
            faults.append((f"events[{index}]", "has not one time", "at_s or at_time, and only one of them"))
        if event.device.value in found.columns:
            given = f"moves {event.device.value}, which has a column"
            faults.append((f"events[{index}].device", given, "devices without a column"))
    return faults


ALTITUDES = ("pressure_altitude", "qnh_altitude", "static_pressure", "height_above_threshold")
"""Quantities of which one gives an altitude [m]."""
SPEEDS = ("calibrated_airspeed", "true_airspeed", "mach", "ground_speed")
"""Quantities of which one gives a speed."""
