"""Optimal descents of other airframes: the built-in ones, tables in place of coefficients, anti-ice."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from optdescent.airframe import Airframe, read_airframe
from optdescent.airframe.declaration import IdleTable, TabulatedPolar
from optdescent.inputs import Declared, as_given
from optdescent.optimum.optimise import Optimum
from optdescent.units import KNOT, NAUTICAL_MILE
from tests.airframe.tables import tabulated
from tests.optimum.descents import STILL, optimum

pytestmark = pytest.mark.slow

OTHERS = {
    "regional-jet": ("airframe=regional-jet", "start.mass_kg=31000", "start.mach=0.74"),
    "wide-body-twin": ("airframe=wide-body-twin", "start.mass_kg=165000", "start.mach=0.80"),
}


def written(airframe: Airframe, path: Path) -> Path:
    """An airframe of tables as a file."""
    path.write_text("\n".join(_table(airframe, "")), encoding="utf-8")
    return path


def _table(table: Declared, heading: str) -> list[str]:
    """Lines of a table: its own values first, then the tables inside it."""
    lines: list[str] = []
    inner: list[str] = []
    for name, value in as_given(table).items():
        path = f"{heading}.{name}" if heading else name
        if isinstance(value, Declared):
            inner += [f"[{path}]", *_table(value, path)]
        elif name == "steps":
            for step in value:
                inner += [f"[[{path}]]", *_table(step, path)]
        elif value is not None:
            lines.append(f"{name} = {json.dumps(value)}")
    return [*lines, *inner]


@pytest.mark.parametrize("name", OTHERS)
def test_the_other_built_in_airframes_fly_a_sensible_descent(name: str) -> None:
    found: Optimum = optimum(*OTHERS[name])
    flight = found.flight
    assert flight.summary.gate.stable
    assert flight.summary.keeps_every_limit
    # three miles per thousand feet, more with the jet's tailwind: 34 400 ft to lose
    assert 80.0 < flight.summary.top_of_descent / NAUTICAL_MILE < 160.0
    speed = flight.column("calibrated_airspeed") / KNOT
    assert speed[-1] < 0.65 * speed.max()
    flaps = flight.column("flaps")
    assert np.all(np.diff(flaps) > -1e-6)


@pytest.mark.long
def test_tables_made_from_coefficients_give_nearly_the_same_optimum(tmp_path: Path) -> None:
    airframe = tabulated(read_airframe("narrow-body-twin"))
    assert isinstance(airframe.engines.idle, IdleTable)
    assert isinstance(airframe.steps[0].polar, TabulatedPolar)
    path = written(airframe, tmp_path / "tables.toml")
    by_table, by_number = optimum(STILL, f'airframe="{path}"').flight.summary, optimum(STILL).flight.summary
    assert by_table.fuel == pytest.approx(by_number.fuel, rel=2e-3)
    assert by_table.top_of_descent == pytest.approx(by_number.top_of_descent, abs=1.0 * NAUTICAL_MILE)
    assert by_table.keeps_every_limit


def test_anti_ice_moves_the_descent_out_and_costs_fuel() -> None:
    off, on = optimum(STILL), optimum(STILL, "handling.anti_ice.kind=on")
    assert on.flight.summary.keeps_every_limit
    assert on.flight.summary.top_of_descent > off.flight.summary.top_of_descent + 2.0 * NAUTICAL_MILE
    assert on.flight.summary.fuel > off.flight.summary.fuel


@pytest.mark.long
def test_anti_ice_in_a_layer_lies_between() -> None:
    off, on = optimum(STILL), optimum(STILL, "handling.anti_ice.kind=on")
    layer = 'handling.anti_ice={kind="layer", bottom_ft=4000.0, top_ft=20000.0}'
    between = optimum(STILL, layer).flight.summary
    assert off.flight.summary.top_of_descent < between.top_of_descent < on.flight.summary.top_of_descent
    assert between.keeps_every_limit
