"""The map of columns: every fault of it by its key."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

from optdescent.inputs import InputFault
from optdescent.recording import read_columns
from optdescent.recording.declaration import columns_of
from optdescent.recording.quantity import QUANTITIES
from optdescent.recording.unit import FOREIGN, units_of
from optdescent.results.schema import COLUMNS
from optdescent.units import UNITS
from tests.recording.written import TRADE, save


def data(**more: Any) -> dict[str, Any]:
    """A map without faults, with more columns or tables."""
    columns = {name: {"column": column, "unit": unit} for name, (column, unit) in TRADE.columns.items()}
    return {"title": "invented", "columns": columns} | more


def faults(given: dict[str, Any]) -> str:
    with pytest.raises(InputFault) as caught:
        columns_of(given, "columns.toml")
    return str(caught.value)


def changed(name: str, **keys: Any) -> dict[str, Any]:
    """That map with keys of one column changed."""
    found = data()
    found["columns"][name] = found["columns"].get(name, {"column": "c", "unit": "m"}) | keys
    return found


def test_a_map_without_faults_is_read(tmp_path: Path) -> None:
    path = tmp_path / "columns.toml"
    lines = ['title = "invented"']
    for name, (column, unit) in TRADE.columns.items():
        lines.append(f'columns.{name} = {{ column = "{column}", unit = "{unit}" }}')
    found = read_columns(save(path, [*lines, "[reading]", "longest_gap_s = 12.0"]))
    assert set(found.columns) == set(TRADE.columns)
    assert found.reading.longest_gap == 12.0
    with pytest.raises(InputFault, match="is not TOML"):
        read_columns(save(path, ["title ="]))


FAULTS = {
    "unknown quantity": (
        changed("true_air_speed"),
        "columns.true_air_speed: is no quantity",
        "nearest is 'true_airspeed'",
    ),
    "unit of another kind": (changed("temperature", unit="ft"), "columns.temperature.unit: got 'ft'", "K, degC, degF"),
    "unknown unit": (changed("ground_speed", unit="knots"), "got 'knots'", "m/s, km/h, kt, ft/min"),
    "a step that is no step": (changed("gear", unit="step"), "columns.gear.unit: got 'step'", "fraction, percent"),
    "positions out of order": (changed("flaps", positions=[0.0, 5.0, 3.0]), "columns.flaps.positions", "all rising"),
    "one position": (changed("flaps", positions=[0.0]), "columns.flaps.positions", "two or more"),
    "positions and words": (changed("flaps", positions=[0.0, 1.0], words={"UP": 0.0}), "stands beside words", ""),
    "fan speed without levels": (changed("fan_speed", unit="percent"), "fan_speed.positions", "readings at idle"),
    "scale nothing": (changed("mass", unit="kg", scale=0.0), "columns.mass.scale: got 0", ""),
    "unknown key": (changed("mass", unit="kg", factor=2.0), "columns.mass.factor: unknown key", "keys of this table"),
    "wind without speed": (changed("wind_from", unit="deg"), "columns.wind_speed: missing", ""),
    "no place of the sum": (data(distance={"kind": "ground speed"}), "distance: has not one place", "last_nm"),
    "no positions": (data(distance={"kind": "positions"}), "columns.latitude: missing", ""),
    "mass twice": (data(mass={"at_start_kg": 6e4, "at_end_kg": 5.9e4}), "mass: is given twice", ""),
    "an event without time": (data(events=[{"device": "flaps", "to": 1.0}]), "events[0]: has not one time", "at_s"),
    "an event with a column": (data(events=[{"at_s": 1.0, "device": "gear", "to": 1.0}]), "moves gear, which has", ""),
}


@pytest.mark.parametrize(("given", "said", "allowed"), FAULTS.values(), ids=FAULTS)
def test_a_fault_of_the_map_is_named_by_its_key(given: dict[str, Any], said: str, allowed: str) -> None:
    text = faults(given)
    assert "columns.toml: " in text
    assert said in text
    assert allowed in text


@pytest.mark.parametrize("name", ["time", "pressure_altitude", "distance_to_go"])
def test_what_every_recording_needs_is_asked_for(name: str) -> None:
    found = data()
    del found["columns"][name]
    assert f"columns.{name}: missing" in faults(found)


def test_a_speed_is_asked_for() -> None:
    found = data()
    for name in ("calibrated_airspeed", "ground_speed"):
        del found["columns"][name]
    assert "columns.calibrated_airspeed: missing; allowed: a speed: one of" in faults(found)


def test_every_quantity_of_the_schema_that_is_one_has_its_unit() -> None:
    for name in QUANTITIES.keys() & COLUMNS.keys():
        assert QUANTITIES[name].si == COLUMNS[name].unit, name


def test_units_that_both_tables_have_are_the_same() -> None:
    names = {"ft": "ft", "nm": "nm", "kt": "kt", "ft/min": "ft_per_min", "deg": "deg", "hPa": "hpa", "t": "t"}
    for foreign, own in names.items():
        assert FOREIGN[foreign].factor == UNITS[own].factor


@pytest.mark.parametrize(
    ("unit", "number", "si"),
    [
        ("degC", 15.0, 288.15),
        ("degF", 59.0, 288.15),  # 15 degrees Celsius exactly, by the definition of the scale
        ("inHg", 29.92, 101320.8),  # NIST SP 811, appendix B: 3386.389 Pa
        ("lb", 2.2046226, 1.0),  # international yard and pound agreement 1959
        ("km/h", 3.6, 1.0),
        ("h", 1.0, 3600.0),
        ("lb/h", 7936.641, 1.0),
    ],
)
def test_foreign_units_are_this_much_in_si(unit: str, number: float, si: float) -> None:
    assert number * FOREIGN[unit].factor + FOREIGN[unit].zero == pytest.approx(si, rel=1e-6)


def test_every_quantity_has_a_unit() -> None:
    assert all(units_of(quantity.si) for quantity in QUANTITIES.values())
    assert all(quantity.low < quantity.high for quantity in QUANTITIES.values())
    for quantity in QUANTITIES.values():
        assert set(quantity.usual) <= {unit.name for unit in units_of(quantity.si)}
    assert np.isfinite([unit.factor for unit in FOREIGN.values()]).all()
