"""A small study of a short descent, for tests that fly."""

from __future__ import annotations

import json
from pathlib import Path

from optdescent.study import Study
from optdescent.sweep.question import Asked
from tests.study.files import write_study

SHORT = (
    "air.wind.kind=none",
    "start.distance_nm=40",
    "start.altitude_ft=9000",
    "start.mach=0.42",
    "arrival.windows=[]",
    "arrival.transition_altitude_ft=5000",
)
AXES = """
[conditions.sampling]
kind = "sobol"
count = 16
seed = 3
[[conditions.axes]]
kind = "normal"
key = "added_tailwind_kt"
mean = 0.0
standard_deviation = 10.0
[[conditions.axes]]
kind = "range"
key = "start.mass_kg"
from = 56000.0
to = 64000.0
"""
DERIVE = """
[derive]
stable_share = 0.8
descent_kt = 250.0
train = 16
check = 32
unseen = 32
most_rules = 12
most_parts = 4
"""


def study_file(folder: Path, axes: str = AXES, derive: str = DERIVE) -> Path:
    """A study of a short descent, 40 nm from 9000 ft in still air but for the added wind."""
    return write_study(folder, axes=axes, rest=derive, top=f"set = {json.dumps(SHORT)}\n")


def small_study(folder: Path) -> Study:
    """That study, read."""
    return Study.from_toml(study_file(folder))


def asked_with(folder: Path, axes: str) -> Asked:
    """What a study with other axes, and no table `derive`, asks of each case."""
    return Study.from_toml(study_file(folder, axes, "")).asked
