"""One table of steps: what people read, and a digit more for programs."""

from __future__ import annotations

import pytest

from optdescent.results.rounding import STEPS, as_data, as_read
from optdescent.results.tables import Heading
from optdescent.units import UNITS
from tests.figures.conditions import once


@pytest.mark.parametrize(
    ("amount", "unit", "read", "data"),
    [
        (363.84, "kg", "364", 363.8),
        (28.5149, "min", "28.5", 28.51),
        (1234.4, "ft", "1230", 1234.0),
        (-0.04, "nm", "0.0", -0.04),
        (-0.004, "nm", "0.0", 0.0),
        (0.41237, "", "0", 0.4124),
        (1234.56, "hpa", "1234.6", 1234.56),
        (float("nan"), "kg", "", None),
        (float("-inf"), "kg", "-infinite", None),
    ],
)
def test_people_read_steps_and_programs_a_digit_more(amount: float, unit: str, read: str, data: float | None) -> None:
    assert as_read(amount, unit) == read
    assert as_data(amount, unit) == data
    assert f"{as_data(amount, unit)}" != "-0.0"


def test_tables_of_a_report_and_those_beside_a_command_round_alike() -> None:
    header, rows = once().rows()
    at = header.index("fuel_above_optimum_kg")
    values = once().table["fuel_above_optimum"].to_numpy()
    heading = Heading("fuel_above_optimum", "", "kg")
    assert [row[at] for row in rows] == [heading.shown(float(value)) for value in values]
    assert set(STEPS) - {"percent"} <= set(UNITS)
