"""The study's scenario as data, and edited copies of it."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

from optdescent.inputs import with_settings
from optdescent.scenario import Scenario

STUDY = Path(__file__).resolve().parents[2] / "studies" / "first_descent" / "scenario.toml"
DATA: dict[str, Any] = tomllib.loads(STUDY.read_text(encoding="utf-8"))
# windows of our own, so that the study may be tuned without touching the tests of bad input
DATA["arrival"]["windows"] = [
    {"name": "ALDER", "distance_nm": 60.0, "altitude_at_least_ft": 16000.0, "altitude_at_most_ft": 22000.0},
    {"name": "BRIAR", "distance_nm": 30.0, "altitude_at_least_ft": 7000.0, "altitude_at_most_ft": 10000.0},
]


def scenario(*settings: str) -> Scenario:
    """The first descent with settings applied."""
    return Scenario.from_data(with_settings(DATA, settings), "scenario.toml", STUDY.parent)
