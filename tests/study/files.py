"""Study files, written where a test wants them."""

from __future__ import annotations

from pathlib import Path

from tests.optimum.descents import SHORT as SHORT_OF_IT
from tests.optimum.descents import STILL
from tests.scenario.files import STUDY as SCENARIO

WIND_STUDY = SCENARIO.parents[1] / "wind_sensitivity" / "study.toml"
MASSES = "[[conditions.axes]]\nkind = 'values'\nkey = 'start.mass_kg'\nvalues = [60000.0, 62000.0]\n"
TAILWINDS = "[[conditions.axes]]\nkind = 'range'\nkey = 'added_tailwind_kt'\nfrom = -10\nto = 10\ncount = 2\n"
SHORT = [STILL, *SHORT_OF_IT]
"""Settings of a descent without wind that is soon solved."""


def write_study(folder: Path, axes: str = MASSES, rest: str = "", top: str = "", scenario: Path = SCENARIO) -> Path:
    """A study of the first descent: more keys at its top, its axes, more tables."""
    path = folder / "study.toml"
    text = f"title = 'A small study'\nscenario = '{scenario}'\n{top}\n{axes}\n{rest}\n"
    path.write_text(text, encoding="utf-8")
    return path
