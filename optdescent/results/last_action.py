"""The last useful point of each set of drag devices along a flight."""

from __future__ import annotations

import csv
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
    def sentence(self) -> str:
        """What it says to a pilot."""
        if not self.is_of_use:
            return f"{self.devices}: too high and fast from the first point asked"
        if self.is_kept:
            return f"{self.devices}: enough all the way to {self.gate_height / FOOT:.0f} ft"
        return (
            f"{self.devices}: last useful at {self.distance_to_go / NAUTICAL_MILE:.1f} nm to go, "
            f"{round(self.height / FOOT, -1):.0f} ft above the threshold, {self.speed / KNOT:.0f} kt, "
            f"at {self.time / MINUTE:.1f} min"
        )


@dataclass(frozen=True)
class LastActions:
    """The last useful points of every set of devices along one flight."""

    flight: str
    actions: tuple[LastAction, ...]
    provenance: Provenance

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
    """Last useful points as a plain dictionary for JSON; keys carry their unit [nm, ft, kt, min]."""
    rows: list[dict[str, Any]] = []
    for action in found.actions:
        is_told = action.is_of_use and not action.is_kept
        rows.append(
            {
                "devices": action.devices,
                "of_use": action.is_of_use,
                "enough_to_the_gate": action.is_kept,
                "distance_nm": round(action.distance_to_go / NAUTICAL_MILE, 2) if is_told else None,
                "height_ft": round(action.height / FOOT) if is_told else None,
                "speed_kt": round(action.speed / KNOT, 1) if is_told else None,
                "time_min": round(action.time / MINUTE, 3) if is_told else None,
                "sentence": action.sentence,
            }
        )
    return {"flight": found.flight, "last_useful": rows}


def last_actions_csv(found: Sequence[LastActions]) -> str:
    """Last useful points of flights of one scenario as CSV, with comment lines [units of the trade in the header]."""
    provenances = dict.fromkeys(one.provenance for one in found)
    comments = [*(provenance.source for provenance in provenances), CAUTION]
    rows = [{"flight": one.flight, **row} for one in found for row in last_actions_plain(one)["last_useful"]]
    return csv_text(comments, list(rows[0]) if rows else [], rows)


def read_last_actions(path: str | Path) -> tuple[LastActions, ...]:
    """Last useful points of a file that `last_actions_csv` made, by flight [SI].

    What such a file does not hold (height of the gate, flaps, gear) is not a number; of the scenario it has title and
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
        found: dict[str, list[LastAction]] = {}
        for row in csv.DictReader(line for line in lines if not line.startswith("#")):
            found.setdefault(row["flight"], []).append(_action(row))
        if not found:
            raise ValueError("no row")
        return tuple(LastActions(flight, tuple(actions), provenance) for flight, actions in found.items())
    except (OSError, KeyError, IndexError, TypeError, ValueError) as error:
        told = f"does not hold last useful points ({type(error).__name__}: {error})"
        raise InputFault([Fault(str(path), "", told, "last_useful.csv of this package")]) from error


def _action(row: dict[str, str]) -> LastAction:
    units = (("distance_nm", NAUTICAL_MILE), ("height_ft", FOOT), ("speed_kt", KNOT), ("time_min", MINUTE))
    numbers = [unit * float(row[key] or "nan") for key, unit in units]
    nothing = float("nan")
    is_of_use, is_kept = ({"True": True, "False": False}[row[key]] for key in ("of_use", "enough_to_the_gate"))
    return LastAction(row["devices"], nothing, is_of_use, is_kept, *numbers, flaps=nothing, gear=nothing)
