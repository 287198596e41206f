"""Faults between the numbers of an airframe file: each named with file, key, value and what is allowed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from optdescent.airframe import read_airframe
from optdescent.inputs import InputFault
from tests.airframe.test_read import BUILT_IN_TEXT, changed, faults_of, written

POLAR = """
kind = "table"
lift_coefficient = [0.0, 0.5, 1.0, 1.5]
drag_coefficient = [0.020, 0.031, 0.064, 0.119]
"""
IDLE = """
[engines.idle]
kind = "table"
mach = [0.0, 0.4, 0.8]
pressure_altitude_ft = [0.0, 20000.0, 40000.0]
thrust_kn = [[5.8, 3.6, 1.2], [3.5, 2.1, 0.7], [2.1, 1.3, 0.4]]
flow_kg_per_s = [[0.105, 0.105, 0.105], [0.073, 0.073, 0.073], [0.056, 0.056, 0.056]]
"""


def with_polar(**values: str) -> str:
    """The built-in file with a table as the clean polar, lines of it changed."""
    table = POLAR
    for key, value in values.items():
        table, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", table)
        assert count == 1, key
    pattern = r'\nkind = "coefficients"\nzero_lift_drag = 0.0195.*\ninduced_drag_factor = .*\n'
    text, count = re.subn(pattern, table, BUILT_IN_TEXT, count=1)
    assert count == 1
    return text


def with_idle(**values: str) -> str:
    """The built-in file with a table of idle, lines of it changed, and no raised idle."""
    table = IDLE
    for key, value in values.items():
        table, count = re.subn(rf"(?m)^{key} = .*$", f"{key} = {value}", table)
        assert count == 1, key
    return BUILT_IN_TEXT.partition("[engines.idle]")[0] + table


def test_good_tables_are_read(tmp_path: Path) -> None:
    for text in (with_polar(), with_idle()):
        read_airframe(str(written(tmp_path, text)))


def test_tables_are_in_si_in_memory(tmp_path: Path) -> None:
    idle = read_airframe(str(written(tmp_path, with_idle()))).engines.idle
    assert idle.kind == "table"
    assert idle.pressure_altitude[1] == pytest.approx(6096.0)
    assert idle.thrust[0] == pytest.approx((5800.0, 3600.0, 1200.0))


@pytest.mark.parametrize(
    ("text", "key", "words"),
    [
        (
            with_polar(drag_coefficient="[0.020, -0.031, 0.064, 0.119]"),
            "steps[0].polar",
            "gives a drag coefficient of -0.03",
        ),
        (
            with_polar(drag_coefficient="[0.020, 0.010, 0.001, 0.060]"),
            "steps[0].polar",
            "drag above 0 at every lift coefficient from 0 to 1.5",
        ),
        (
            with_polar(lift_coefficient="[0.0, 1.0, 0.5, 1.5]"),
            "steps[0].polar.lift_coefficient[2]",
            "got 0.5; more than",
        ),
        (with_polar(lift_coefficient="[0.0, 1.0]"), "steps[0].polar.lift_coefficient", "2 number(s); 3 or more"),
        (
            with_polar(drag_coefficient="[0.02, 0.03]"),
            "steps[0].polar.drag_coefficient",
            "2 number(s); 4, one for each lift coefficient",
        ),
        (with_polar(drag_coefficient="[0.02, 3.0, 0.06, 0.1]"), "steps[0].polar.drag_coefficient", "-1 to 2"),
        (with_polar(drag_coefficient="[0.02, nan, 0.06, 0.1]"), "steps[0].polar.drag_coefficient[1]", "finite"),
        (with_polar(kind='"curve"'), "steps[0].polar.kind", "got 'curve'; one of 'coefficients', 'table'"),
        (with_idle(mach="[0.0, 0.4, 0.4]"), "engines.idle.mach[2]", "got 0.4; more than the number before it (0.4)"),
        (
            with_idle(pressure_altitude_ft="[0.0, 20000.0, 10000.0]"),
            "engines.idle.pressure_altitude_ft[2]",
            "got 10000; more than the number before it (20000)",
        ),
        (
            with_idle(thrust_kn="[[5.8, 3.6, 1.2], [3.5, 2.1, 0.7]]"),
            "engines.idle.thrust_kn",
            "2 row(s); 3, one for each pressure altitude",
        ),
        (
            with_idle(flow_kg_per_s="[[0.1, 0.1, 0.1], [0.07, 0.07], [0.05, 0.05, 0.05]]"),
            "engines.idle.flow_kg_per_s[1]",
            "2 number(s); 3, one for each Mach number",
        ),
        (
            with_idle(thrust_kn="[[5.8, 3.6, 1.2], [3.5, 2.1, 0.7], [60.0, 60.0, 60.0]]"),
            "engines.idle",
            "idle thrust below the largest thrust",
        ),
        (
            with_idle(flow_kg_per_s="[[0.1, 0.1, 0.1], [0.07, 0.07, 0.07], [1.9, 1.9, 1.9]]"),
            "engines.idle",
            "below the flow at largest thrust",
        ),
        (
            changed(lift_loss="0.95").replace("maximum_lift = 1.30", "maximum_lift = 0.90"),
            "speed_brake.lift_loss",
            "got 0.95",
        ),
        (changed(maximum_speed_kt="160"), "limits.maximum_speed_kt", "above the stall speed with 'clean' at 76000 kg"),
        (changed(maximum_speed_kt="200"), "limits.maximum_speed_kt", "above the least manoeuvring speed with 'clean'"),
    ],
)
def test_each_fault_names_key_value_and_what_is_allowed(tmp_path: Path, text: str, key: str, words: str) -> None:
    assert words in faults_of(tmp_path, text)[key]


@pytest.mark.parametrize(
    ("limit", "given", "words"),
    [
        ("limit_speed_kt = 176", "limit_speed_kt = 100", "above the stall speed with 'landing' at 66000 kg, 107 kt"),
        (
            "limit_speed_kt = 176",
            "limit_speed_kt = 120",
            "above the least manoeuvring speed with 'landing' at 66000 kg",
        ),
        ("limit_speed_kt = 176", "limit_speed_kt = 140", "where the schedule selects it"),
    ],
)
def test_limit_speeds_below_those_that_are_flown(tmp_path: Path, limit: str, given: str, words: str) -> None:
    found = faults_of(tmp_path, BUILT_IN_TEXT.replace(limit, given))
    assert list(found) == ["steps[4].limit_speed_kt"]
    assert f"got {given.split()[-1]}" in found["steps[4].limit_speed_kt"]
    assert words in found["steps[4].limit_speed_kt"]


def test_gear_and_brake_limits_are_judged_too(tmp_path: Path) -> None:
    text = BUILT_IN_TEXT.replace("limit_speed_kt = 240", "limit_speed_kt = 115")
    text = text.replace("[speed_brake]", "[speed_brake]\nlimit_speed_kt = 150")
    found = faults_of(tmp_path, text)
    assert "stall speed with 'step 2'" in found["gear.limit_speed_kt"]
    assert "stall speed with 'clean'" in found["speed_brake.limit_speed_kt"]


def test_a_limit_above_that_of_the_clean_aircraft_is_named(tmp_path: Path) -> None:
    text = BUILT_IN_TEXT.replace("limit_speed_kt = 240", "limit_speed_kt = 380")
    assert "at most limits.maximum_speed_kt (335)" in faults_of(tmp_path, text)["gear.limit_speed_kt"]


def test_anti_ice_must_raise_idle(tmp_path: Path) -> None:
    head, key, raised = BUILT_IN_TEXT.partition("[engines.anti_ice_idle]")
    low = raised.replace("thrust = 0.085", "thrust = 0.030").replace("flow_kg_per_s = 0.060", "flow_kg_per_s = 0.010")
    found = faults_of(tmp_path, head + key + low)
    assert "at least that of engines.idle" in found["engines.anti_ice_idle"]


def test_every_fault_of_tables_is_found_in_one_pass(tmp_path: Path) -> None:
    text = with_idle(mach="[0.0, 0.4]", pressure_altitude_ft="[0.0, 0.0, 1000.0]", thrust_kn="[[1.0, 1.0]]")
    with pytest.raises(InputFault) as caught:
        read_airframe(str(written(tmp_path, text)))
    keys = {fault.key for fault in caught.value.faults}
    assert {"engines.idle.mach", "engines.idle.pressure_altitude_ft[1]", "engines.idle.thrust_kn"} <= keys
