"""Debrief: what a flight shows in order of time, how bad each is, and what would have been done instead."""

from __future__ import annotations

from dataclasses import dataclass
from enum import Enum
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.results.files import csv_text
from optdescent.results.flight import Flight, GateReport
from optdescent.results.last_action import LastActions, last_actions_plain
from optdescent.results.notebook import debrief_html
from optdescent.results.plain import flight_plain, gate_plain
from optdescent.results.provenance import CAUTION
from optdescent.units import FOOT, KNOT, MINUTE, NAUTICAL_MILE

Array = NDArray[np.float64]


class Severity(Enum):
    """How bad a finding is: to note, to work on, or the approach was lost by it or a limit was passed."""

    NOTE = "note"
    CAUTION = "caution"
    SEVERE = "severe"


class Subject(Enum):
    """What a finding is about; the value says it in words."""

    TOO_HIGH = "too high at a check"
    BRAKE_STOWED = "speed brake stowed while still high"
    LEVELLED = "levelled or climbed when it had to descend"
    THRUST_WITH_BRAKE = "thrust with the speed brake out"
    FLAPS_TOO_FAST = "flaps asked for above their limit speed"
    GEAR_TOO_FAST = "gear asked for above its limit speed"
    FLAPS_LATE = "flaps selected late"
    GEAR_LATE = "gear selected late"
    CAPTURED_FAST = "glide path captured too fast"
    CAPTURED_CLEAN = "glide path captured clean"
    CAPTURED_FROM_ABOVE = "glide path captured from above"
    SINK = "sink rate beyond the limit"
    LIMIT = "a limit passed"
    DEMAND = "a demand not kept"
    LAST_USEFUL = "last useful action passed"
    UNSTABLE = "unstable at the gate"
    GONE_AROUND = "gone around"
    NOT_TOLD = "not told"


@dataclass(frozen=True)
class Finding:
    """One thing a flight shows: when [s], where [m to go], evidence in a sentence, and what comes of it from there.

    `instead` says what the optimum had there and what a perfect crew would have made of it.
    """

    subject: Subject
    severity: Severity
    time: float
    distance_to_go: float
    height: float
    speed: float
    evidence: str
    instead: str = ""

    @property
    def sentence(self) -> str:
        """The finding in one line."""
        where = f"{self.distance_to_go / NAUTICAL_MILE:.1f} nm to go"
        return f"{self.time / MINUTE:.1f} min, {where}: {self.subject.value}: {self.evidence}"


@dataclass(frozen=True)
class WhatIf:
    """A flight flown again from a moment [s] with another action, in words; `low` is how it is at 500 ft."""

    time: float
    action: str
    flight: Flight
    low: GateReport

    @property
    def sentence(self) -> str:
        """What came of it."""
        gates = (self.flight.summary.gate, self.low)
        return f"{self.action} at {self.time / MINUTE:.1f} min: " + ", ".join(_ending(gate) for gate in gates)


def _ending(gate: GateReport) -> str:
    told = "stable" if gate.stable else "not stable"
    why = "" if gate.stable else f" ({'; '.join(gate.reasons) or 'it is not passed'})"
    return f"{told} at {gate.height / FOOT:.0f} ft{why}"


@dataclass(frozen=True, repr=False)
class Debrief:
    """A flight, its findings in order of time, and its last useful points.

    `points` holds over `point` the energy to spare [m] inside the reach of each set of devices (`devices`), the same as
    way along the glide path [m], the height above what the rule asks for and the energy height above the optimum's [m].
    `others` are flights to stand beside it.
    """

    flight: Flight
    findings: tuple[Finding, ...]
    points: xr.Dataset
    last: LastActions
    others: tuple[Flight, ...] = ()
    what_ifs: tuple[WhatIf, ...] = ()

    @property
    def severe(self) -> tuple[Finding, ...]:
        """Severe findings."""
        return tuple(finding for finding in self.findings if finding.severity is Severity.SEVERE)

    def about(self, subject: Subject) -> tuple[Finding, ...]:
        """Findings about a subject."""
        return tuple(finding for finding in self.findings if finding.subject is subject)

    def margin(self, devices: str) -> Array:
        """Energy height (point,) [m] inside the reach of a set of devices; negative outside, NaN where not asked."""
        index = [str(name) for name in self.points["devices"].to_numpy()].index(devices)
        return np.asarray(self.points["energy_to_spare"].to_numpy()[index], dtype=float)

    def __repr__(self) -> str:
        return f"Debrief({self.flight.name!r}, {len(self.findings)} findings, {len(self.severe)} severe)"

    def _repr_html_(self) -> str:
        """Rich display in notebooks."""
        return debrief_html(self)


def debrief_plain(found: Debrief) -> dict[str, Any]:
    """A debrief as a plain dictionary for JSON; keys carry their unit [min, s, nm, ft, kt]."""
    return {
        **last_actions_plain(found.last),
        "flight": flight_plain(found.flight),
        "findings": [_finding_plain(finding) for finding in found.findings],
        "what_if": [
            {
                "time_s": round(one.time, 1),
                "action": one.action,
                "sentence": one.sentence,
                "stable": one.flight.summary.gate.stable,
                "at_500_ft": gate_plain(one.low),
                "flight": flight_plain(one.flight),
            }
            for one in found.what_ifs
        ],
        "caution": CAUTION,
    }


def _finding_plain(finding: Finding) -> dict[str, Any]:
    return {
        "subject": finding.subject.name.lower(),
        "severity": finding.severity.value,
        "time_s": round(finding.time, 1),
        "distance_nm": round(finding.distance_to_go / NAUTICAL_MILE, 2),
        "height_ft": None if np.isnan(finding.height) else round(finding.height / FOOT),
        "speed_kt": None if np.isnan(finding.speed) else round(finding.speed / KNOT, 1),
        "evidence": finding.evidence,
        "instead": finding.instead,
        "sentence": finding.sentence,
    }


def findings_csv(found: Debrief) -> str:
    """Findings as CSV with comment lines [units of the trade in the header]."""
    comments = (f"{found.flight.name}; {found.flight.provenance.line}", CAUTION)
    keys = ["time_s", "distance_nm", "height_ft", "speed_kt", "severity", "subject", "evidence", "instead"]
    return csv_text(comments, keys, (_finding_plain(finding) for finding in found.findings))


_POINTS = (
    ("height_above_rule_ft", "height_above_rule", FOOT),
    ("energy_above_optimum_ft", "energy_above_optimum", FOOT),
)
_TO_SPARE = (("ft", "energy_to_spare", FOOT), ("nm", "way_to_spare", NAUTICAL_MILE))


def points_csv(found: Debrief) -> str:
    """Energy point by point as CSV with comment lines [units of the trade in the header]; blank where not known.

    To spare in feet of energy height and in miles along the glide path, for each set of devices; below zero the set
    does not lose enough, and `-inf` from any height.
    """
    comments = (f"{found.flight.name}; {found.flight.provenance.line}", CAUTION)
    points = found.points
    columns = {
        "time_s": np.round(points["time"].to_numpy(), 1),
        "distance_nm": np.round(points["distance_to_go"].to_numpy() / NAUTICAL_MILE, 3),
        **{key: np.round(points[name].to_numpy() / factor) for key, name, factor in _POINTS},
    }
    for index, devices in enumerate(points["devices"].to_numpy()):
        for unit, name, factor in _TO_SPARE:
            key = f"{str(devices).replace(' ', '_')}_to_spare_{unit}"
            columns[key] = np.round(points[name].to_numpy()[index] / factor, 0 if unit == "ft" else 2)
    asked = np.isfinite(columns["height_above_rule_ft"]) | ~np.isnan(points["energy_to_spare"].to_numpy()).all(axis=0)
    rows = [
        {key: "" if np.isnan(values[at]) else f"{values[at] + 0.0:g}" for key, values in columns.items()}
        for at in np.flatnonzero(asked).tolist()
    ]
    return csv_text(comments, list(columns), rows)
