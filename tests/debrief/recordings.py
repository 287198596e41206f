"""The invented recordings of the studies, read and debriefed once for the tests of this room."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from optdescent.debrief import Measures, debrief, measures
from optdescent.recording import Recording, read_recording
from optdescent.results import Flight
from optdescent.results.debrief import Debrief
from optdescent.rules import read_rules
from optdescent.scenario import Scenario

FOLDER = Path(__file__).resolve().parents[2] / "studies" / "recordings"
SCENARIO = Scenario.from_toml(FOLDER / "scenario.toml")
TRUTH: dict[str, Any] = tomllib.loads((FOLDER / "truth.toml").read_text(encoding="utf-8"))
RULE = read_rules("library")[0]


def silent(_sentence: str) -> None:
    """Say nothing."""


@cache
def recording(name: str) -> Recording:
    return read_recording(FOLDER / f"{name}.csv", FOLDER / "columns.toml", SCENARIO)


def flight(name: str) -> Flight:
    return recording(name).flight


@cache
def against() -> Measures:
    """One corridor for all: up to the fastest of them."""
    fastest = max(TRUTH, key=lambda name: float(flight(name).column("calibrated_airspeed")[-2400:].max()))
    return measures(SCENARIO, RULE, flight(fastest), silent)


@cache
def debriefed(name: str) -> Debrief:
    return debrief(flight(name), against(), silent)
