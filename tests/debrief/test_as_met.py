"""The scenario as a recorded flight met it: its mass, wind and temperature in place of the scenario's."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest

from optdescent.debrief import Met, as_met
from optdescent.recording import Recording, read_recording
from optdescent.scenario import Scenario
from optdescent.units import KNOT
from tests.debrief.recordings import FOLDER, SCENARIO

OTHER = ("air.wind.kind=none", "start.mass_kg=56000", "air.temperature_offset_k=-10")
"""Another day and another load than those in which the recordings were made."""


@cache
def other() -> Scenario:
    return Scenario.from_toml(FOLDER / "scenario.toml", OTHER)


@cache
def read() -> Recording:
    return read_recording(FOLDER / "good.csv", FOLDER / "columns.toml", other())


@cache
def met() -> Met:
    return as_met(other(), read())


@pytest.mark.parametrize("altitude", [1500.0, 4000.0, 8000.0])
def test_the_wind_met_is_found_again_where_the_scenario_has_none(altitude: float) -> None:
    """The recordings were flown in the steady wind of their scenario; noise of the sensors is left."""
    x = -40.0 * 1852.0
    course = SCENARIO.arrival.track.course(x)
    found, truth = (one.air.sample(x, altitude, course) for one in (met().scenario, SCENARIO))
    assert abs(float(found.wind_along) - float(truth.wind_along)) < 3.0 * KNOT
    assert abs(float(other().air.sample(x, altitude, course).wind_along)) < 1e-9


def test_mass_and_temperature_are_those_recorded() -> None:
    assert abs(met().scenario.start.mass - SCENARIO.start.mass) < 50.0
    assert abs(met().scenario.temperature_offset - SCENARIO.temperature_offset) < 1.0
    told = " ".join(met().taken)
    assert "as recorded (scenario: 56000 kg)" in told
    assert "wind by height, as met" in told
    assert "scenario: -10 K" in told


def test_the_digest_tells_what_was_changed_and_the_rest_is_kept() -> None:
    assert met().scenario.digest != other().digest
    assert met().scenario.arrival == other().arrival
    assert met().scenario.airframe == other().airframe


def test_what_is_not_recorded_is_left_to_the_scenario(tmp_path: Path) -> None:
    """Without airspeed nothing tells the wind, and without temperature nothing the day: the scenario's are assumed."""
    text = (FOLDER / "columns.toml").read_text(encoding="utf-8")
    kept = [part for part in text.split("\n\n") if not part.startswith(("[columns.calibrated", "[columns.temper"))]
    assert len(kept) == len(text.split("\n\n")) - 2
    columns = tmp_path / "columns.toml"
    columns.write_text("\n\n".join(kept), encoding="utf-8")
    found = as_met(other(), read_recording(FOLDER / "good.csv", columns, other()))
    assert found.scenario.wind == other().wind
    assert found.scenario.temperature_offset == other().temperature_offset
    assert len(found.taken) == 1  # the mass
