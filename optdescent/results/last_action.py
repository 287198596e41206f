"""The last useful point of each set of drag devices along a flight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from optdescent.results.files import csv_text
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
            f"{round(self.height / FOOT, -1):.0f} ft above the threshold, {self.speed / KNOT:.0f} kt"
        )


@dataclass(frozen=True)
class LastActions:
    """The last useful points of every set of devices along one flight."""

    flight: str
    actions: tuple[LastAction, ...]
    provenance: Provenance

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
    comments = [*(f"{provenance.title}; {provenance.line}" for provenance in provenances), CAUTION]
    rows = [{"flight": one.flight, **row} for one in found for row in last_actions_plain(one)["last_useful"]]
    return csv_text(comments, list(rows[0]) if rows else [], rows)
