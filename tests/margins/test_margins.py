"""The margins table: what separates rules and optimum, and that it says so in its own words."""

from __future__ import annotations

from functools import lru_cache

import numpy as np
import pytest

from optdescent.margins import margins
from optdescent.results.margins import MARGIN_COLUMNS, Margins
from optdescent.rules import read_rules
from optdescent.units import NAUTICAL_MILE
from tests.optimum.descents import scenario

SAID: list[str] = []
"""Progress of the job."""


@lru_cache(maxsize=1)
def job() -> Margins:
    """The first study in still air with its three rules."""
    return margins(scenario("air.wind.kind=none"), read_rules(), SAID.append)


def test_every_column_of_the_schema_is_there_with_its_unit() -> None:
    table = job().table
    assert set(MARGIN_COLUMNS) <= set(table.data_vars)
    assert all(table[name].attrs["units"] == column.unit for name, column in MARGIN_COLUMNS.items())


def test_the_optimum_comes_first_and_is_measured_against_itself() -> None:
    table = job().table
    assert str(table["flight"].values[0]) == "optimum"
    assert float(table["fuel_above_optimum"][0]) == 0.0
    assert np.all(table["excess_energy"].values[0] == 0.0)


def test_a_rule_that_keeps_every_limit_and_the_gate_burns_no_less() -> None:
    table = job().table
    kept = (table["limits_kept"].values > 0.5) & np.all(table["gate_stable"].values > 0.5, axis=1)
    assert kept[0]
    assert np.all(table["fuel_above_optimum"].values[kept] >= 0.0)


def test_fuel_is_what_the_flights_burnt() -> None:
    found = job()
    for flight, fuel in zip(found.flights, found.table["fuel"].values, strict=True):
        mass = flight.column("mass")
        assert mass[0] - mass[-1] == pytest.approx(float(fuel), abs=1e-6)


def test_heights_against_a_rule_are_flown_less_asked() -> None:
    """A rule's own flight, well established, is within a few hundred feet of what the rule asks for."""
    table = job().table
    own = table["height_against_rule"].sel(flight="300-feet-per-mile", rule="300-feet-per-mile")
    away = own.sel(at_distance=20.0 * NAUTICAL_MILE, method="nearest")
    assert abs(float(away)) < 300.0


def test_progress_is_told_of_each_rule() -> None:
    job()
    told = [sentence for sentence in SAID if sentence.startswith("flying ")]
    assert [sentence.removeprefix("flying ") for sentence in told[-3:]] == [rule.name for rule in read_rules()]
