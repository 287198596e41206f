"""The one table of names, and the caution."""

from __future__ import annotations

import re

import pytest

from optdescent.results import CAUTION, Kind, Provenance
from optdescent.results.provenance import software_version
from optdescent.results.schema import COLUMNS
from optdescent.units import UNITS

PROMISED = {
    "time",
    "altitude",
    "height_above_threshold",
    "true_airspeed",
    "calibrated_airspeed",
    "mach",
    "ground_speed",
    "flight_path_angle",
    "vertical_speed",
    "mass",
    "fuel_used",
    "thrust",
    "drag",
    "lift_coefficient",
    "load_factor",
    "thrust_fraction",
    "speed_brake",
    "configuration",
    "gear",
    "wind_along",
    "wind_across",
    "temperature",
    "specific_energy_height",
    "distance_to_go",
}


def test_every_promised_column_is_declared() -> None:
    assert set(COLUMNS) >= PROMISED


@pytest.mark.parametrize("name", COLUMNS)
def test_a_column_is_charted_in_a_unit_of_its_own_kind(name: str) -> None:
    column = COLUMNS[name]
    assert column.name == name
    assert re.fullmatch(r"[a-z_]+", name)
    assert UNITS[column.charted].si == column.unit
    assert column.chart_unit.symbol in column.label
    assert column.label[0] == column.long_name[0].upper()
    assert column.label[1:].startswith(column.long_name[1:])
    assert column.long_name


def test_long_names_differ() -> None:
    assert len({column.long_name for column in COLUMNS.values()}) == len(COLUMNS)


def test_the_caution_says_what_it_must() -> None:
    for words in (
        "training analysis",
        "research only",
        "not for use in flight",
        "dispatch",
        "operator",
        "regulations",
        "instructors",
    ):
        assert words in CAUTION.lower()


def test_the_line_of_provenance_names_version_and_digest() -> None:
    line = Provenance("title", "{}", "0123456789ab").line
    assert software_version() in line
    assert "0123456789ab" in line


def test_kinds_are_the_three_that_files_may_name() -> None:
    assert {kind.value for kind in Kind} == {"optimum", "rule", "recording"}
