"""The last useful point of each set of drag devices along a flight."""

from __future__ import annotations

import csv
import math
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from optdescent.inputs import Fault, InputFault
from optdescent.results.files import csv_text
from optdescent.results.notebook import last_actions_html
from optdescent.results.provenance import CAUTION, Provenance
from optdescent.units import FOOT, KNOT, MINUTE, NAUTICAL_MILE


@dataclass(frozen=True)
class LastAction:
    """Where a set of devices is last of use: distance to go [m], height [m], speed [m/s], time [s], what was out [-].

    `is_of_use` says that it is at all, `is_kept` that the flight stays inside its reach all the way to the gate, at the
    gate's height [m].
    """

    devices: str
    gate_height: float
    is_of_use: bool
    is_kept: bool
    distance_to_go: float
    height: float
    speed: float
    time: float
    flaps: float
    gear: float

    @property
    def has_point(self) -> bool:
        """Whether there is a last useful point: the set is of use, but not all the way to the gate."""
        return self.is_of_use and not self.is_kept

    @property
    def sentence(self) -> str:
        """What it says to a pilot."""
        if not self.is_of_use:
            return f"{self.devices}: too high and fast from the first point asked"
        if self.is_kept:
            gate = "the gate" if math.isnan(self.gate_height) else f"{self.gate_height / FOOT:.0f} ft"
            return f"{self.devices}: enough all the way to {gate}"
        return f"{self.devices}: last useful at {self.distance_to_go / NAUTICAL_MILE:.1f} nm to go, {_state(self)}"


@dataclass(frozen=True)
class Lost:
    """The first point asked at which no device saves the approach any more [m, m/s, s]."""

    distance_to_go: float
    height: float
    speed: float
    time: float

    @property
    def sentence(self) -> str:
        """What it says to a pilot."""
        return f"{NOTHING} saves it from {self.distance_to_go / NAUTICAL_MILE:.1f} nm to go on, {_state(self)}"


def _state(point: LastAction | Lost) -> str:
    """Height, speed and time of a point in words."""
    height, speed = round(point.height / FOOT, -1), point.speed / KNOT
    return f"{height:.0f} ft above the threshold, {speed:.0f} kt, at {point.time / MINUTE:.1f} min"


NOTHING = "nothing"
"""What stands for devices where none of them saves the approach."""


@dataclass(frozen=True)
class LastActions:
    """The last useful points of every set of devices along one flight.

    ``lost`` is where nothing saves the approach any more; None where that is nowhere or not known. ``now`` is the time
    of the flight [s] that seconds are counted from, if one was given.
    """

    flight: str
    actions: tuple[LastAction, ...]
    provenance: Provenance
    lost: Lost | None = None
    now: float | None = None

    @property
    def sentences(self) -> tuple[str, ...]:
        """What they say to a pilot, in the order of the sets."""
        told = [action.sentence + self._from_now(action) for action in self.actions]
        return (*told, *([] if self.lost is None else [self.lost.sentence + self._from_now(self.lost)]))

    def seconds_from_now(self, point: LastAction | Lost) -> float | None:
        """How long after now a point is passed [s], before it where negative; None without a now or a point."""
        is_point = isinstance(point, Lost) or point.has_point
        return None if self.now is None or not is_point else point.time - self.now

    def _from_now(self, point: LastAction | Lost) -> str:
        seconds = self.seconds_from_now(point)
        if seconds is None:
            return ""
        return f", {seconds:.0f} s from now" if seconds >= 0.0 else f", {-seconds:.0f} s ago"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return last_actions_html(self)

    def of(self, devices: str) -> LastAction:
        """The one of a set of devices by its name.

        Raises
        ------
        KeyError
            No set has the name.
        """
        for action in self.actions:
            if action.devices == devices:
                return action
        raise KeyError(devices)


def last_actions_plain(found: LastActions) -> dict[str, Any]:
    """Last useful points as a plain dictionary for JSON; keys carry their unit [nm, ft, kt, min, s]."""
    rows: list[dict[str, Any]] = []
    for action, sentence in zip(found.actions, found.sentences, strict=False):
        flags = {"of_use": action.is_of_use, "enough_to_the_gate": action.is_kept}
        place: dict[str, Any] = _place(action, found) if action.has_point else dict.fromkeys(_PLACE)
        rows.append({"devices": action.devices, **flags, **place, "sentence": sentence})
    lost = None if found.lost is None else {**_place(found.lost, found), "sentence": found.sentences[-1]}
    return {"flight": found.flight, "last_useful": rows, "lost": lost}


_PLACE = ("distance_nm", "height_ft", "speed_kt", "time_min", "from_now_s")


def _place(point: LastAction | Lost, found: LastActions) -> dict[str, Any]:
    from_now = found.seconds_from_now(point)
    values = (
        round(point.distance_to_go / NAUTICAL_MILE, 2),
        round(point.height / FOOT),
        round(point.speed / KNOT, 1),
        round(point.time / MINUTE, 3),
        None if from_now is None else round(from_now, 1),
    )
    return dict(zip(_PLACE, values, strict=True))


def last_actions_csv(found: Sequence[LastActions]) -> str:
    """Last useful points of flights of one scenario as CSV, with comment lines [units of the trade in the header].

    Where a flight is lost, a last row of it says from where on: its devices are `nothing`.
    """
    provenances = dict.fromkeys(one.provenance for one in found)
    comments = [*(provenance.source for provenance in provenances), CAUTION]
    rows = [row for one in found for row in _rows(one)]
    return csv_text(comments, list(rows[0]) if rows else [], rows)


def _rows(found: LastActions) -> list[dict[str, Any]]:
    plain = last_actions_plain(found)
    rows: list[dict[str, Any]] = plain["last_useful"]
    if found.lost is not None:
        rows = [*rows, {"devices": NOTHING, "of_use": False, "enough_to_the_gate": False, **plain["lost"]}]
    return [{"flight": found.flight, **row} for row in rows]


def read_last_actions(path: str | Path) -> tuple[LastActions, ...]:
    """Last useful points of a file that `last_actions_csv` made, by flight [SI].

    What such a file does not hold (height of the gate, flaps, gear) is not a number; `now` is known to a tenth of a
    second, and only where a set of devices has a point; of the scenario it has title and
    digest, of several scenarios those of the first.

    Raises
    ------
    InputFault
        The file cannot be read or does not hold last useful points.
    """
    try:
        lines = Path(path).read_text(encoding="utf-8").splitlines()
        comments = [line.removeprefix("# ") for line in lines if line.startswith("#")]
        title, _, source = comments[0].rpartition("; ")
        provenance = Provenance(title, "", source.rpartition(" ")[2])
        found: dict[str, list[dict[str, str]]] = {}
        for row in csv.DictReader(line for line in lines if not line.startswith("#")):
            found.setdefault(row["flight"], []).append(row)
        if not found:
            raise ValueError("no row")
        return tuple(_of_rows(flight, rows, provenance) for flight, rows in found.items())
    except (OSError, KeyError, IndexError, TypeError, ValueError) as error:
        told = f"does not hold last useful points ({type(error).__name__}: {error})"
        raise InputFault([Fault(str(path), "", told, "last_useful.csv of this package")]) from error


def _of_rows(flight: str, rows: list[dict[str, str]], provenance: Provenance) -> LastActions:
    lost = [Lost(*_numbers(row)) for row in rows if row["devices"] == NOTHING]
    actions = tuple(_action(row) for row in rows if row["devices"] != NOTHING)
    nows = [float(row["time_min"]) * MINUTE - float(row["from_now_s"]) for row in rows if row.get("from_now_s")]
    return LastActions(flight, actions, provenance, *(lost or [None]), now=nows[0] if nows else None)


def _action(row: dict[str, str]) -> LastAction:
    nothing = float("nan")
    is_of_use, is_kept = ({"True": True, "False": False}[row[key]] for key in ("of_use", "enough_to_the_gate"))
    return LastAction(row["devices"], nothing, is_of_use, is_kept, *_numbers(row), flaps=nothing, gear=nothing)


def _numbers(row: dict[str, str]) -> list[float]:
    """Distance to go, height, speed and time of a row [SI]; not a number where it has none."""
    return [unit * float(row[key] or "nan") for key, unit in zip(_PLACE, _UNITS, strict=False)]


_UNITS = (NAUTICAL_MILE, FOOT, KNOT, MINUTE)
