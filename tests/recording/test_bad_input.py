"""What is wrong with a recording is said: file, column, rows, what is allowed; nothing is dropped without a count."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optdescent.inputs import InputFault
from optdescent.recording import Recording, read_recording
from tests.recording.written import METRIC, SCENARIO, TRADE, Layout, read, save, save_netcdf, truth

Lines = list[str]


def faults(folder: Path, layout: Layout, lines: Lines | None = None) -> str:
    """What is said of a recording that is refused."""
    with pytest.raises(InputFault) as caught:
        read(folder, layout, lines)
    return str(caught.value)


def with_cell(lines: Lines, row: int, column: str, text: str) -> Lines:
    """Lines with another cell; `row` is the line of the file, from 1."""
    cells = lines[row - 1].split(",")
    cells[lines[0].split(",").index(column)] = text
    return [*lines[: row - 1], ",".join(cells), *lines[row:]]


def with_column(lines: Lines, column: str, change: Callable[[int, str], str]) -> Lines:
    """Lines with every cell of a column changed; the line of the file is given."""
    place = lines[0].split(",").index(column)
    found = [lines[0]]
    for row, line in enumerate(lines[1:], start=2):
        cells = line.split(",")
        cells[place] = change(row, cells[place])
        found.append(",".join(cells))
    return found


def left_out(recording: Recording) -> dict[str, tuple[int, ...]]:
    """Rows left out by reason."""
    return {one.reason: one.rows for one in recording.left_out}


def test_a_file_that_is_not_there_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"none\.csv: cannot be read"):
        read_recording(tmp_path / "none.csv", METRIC.map, SCENARIO)
    save(tmp_path / "flight.nc", ["t,x"])
    with pytest.raises(InputFault, match=r"flight\.nc: cannot be read"):
        read_recording(tmp_path / "flight.nc", METRIC.map, SCENARIO)


def test_a_file_without_rows_is_refused(tmp_path: Path) -> None:
    assert "flight.csv: has no rows" in faults(tmp_path, METRIC, METRIC.lines()[:1])
    assert "only 5 rows can be used; allowed: 10 or more" in faults(tmp_path, METRIC, METRIC.lines()[:6])


def test_a_missing_column_is_named_with_the_nearest(tmp_path: Path) -> None:
    lines = METRIC.lines()
    text = faults(tmp_path, METRIC.but(ground_speed=("vgs", "m/s")), lines)
    assert "flight.csv: vgs: no such column (columns.ground_speed of the map); allowed: nearest is 'vg'" in text
    twice = [lines[0].replace("vz", "vg"), *lines[1:]]
    assert "vg: stands twice in the header" in faults(tmp_path, METRIC.without("vertical_speed"), twice)


def test_every_missing_column_is_told_at_once(tmp_path: Path) -> None:
    text = faults(tmp_path, METRIC.but(mass=("weight", "kg"), gear=("wheels", "fraction")), METRIC.lines())
    assert "weight: no such column" in text
    assert "wheels: no such column" in text


def test_a_cell_that_is_no_number_is_blank_and_counted(tmp_path: Path) -> None:
    lines = with_cell(with_cell(METRIC.lines(), 100, "v", "abc"), 205, "v", "#REF")
    recording = read(tmp_path, METRIC, lines)
    assert left_out(recording) == {"v: the cell cannot be read ('abc'); taken as blank": (100, 205)}
    assert ("true_airspeed", 2) in recording.reading.filled


def test_a_column_without_numbers_is_refused_with_its_rows(tmp_path: Path) -> None:
    lines = with_column(METRIC.lines(), "v", lambda row, cell: cell.replace(".", "m"))
    count = len(lines) - 1
    text = faults(tmp_path, METRIC, lines)
    assert f"in {count} of {count} cells: rows 2, 3, 4, 5, 6 and {count - 5} more (lines of the file)" in text
    assert "allowed: numbers, or blank" in text


def test_blank_and_missing_cells_and_comments_are_no_faults(tmp_path: Path) -> None:
    lines = with_cell(with_cell(METRIC.lines(), 100, "v", ""), 101, "v", "NaN")
    recording = read(tmp_path, METRIC, ["# an invented descent", "", *lines[:50], "# half-way", *lines[50:]])
    assert recording.left_out == ()
    assert ("true_airspeed", 2) in recording.reading.filled


def test_a_row_with_another_number_of_cells_is_left_out(tmp_path: Path) -> None:
    lines = METRIC.lines()
    lines[299] = lines[299] + ",1.0"
    assert left_out(read(tmp_path, METRIC, lines)) == {"the row has not 13 cells, as the header has": (300,)}
    broken = [lines[0], *(f"{line},1" for line in lines[1:])]
    assert "rows have not 13 cells, as the header has: rows 2, 3" in faults(tmp_path, METRIC, broken)


def test_a_repeated_row_is_left_out(tmp_path: Path) -> None:
    lines = METRIC.lines()
    doubled = [*lines[:400], lines[399], lines[399], *lines[400:]]
    assert left_out(read(tmp_path, METRIC, doubled)) == {"the row repeats the row before it": (401, 402)}


@pytest.mark.parametrize("column", ["t", "hp", "x"])
def test_a_column_that_is_needed_and_has_no_value_is_named(column: str, tmp_path: Path) -> None:
    text = faults(tmp_path, METRIC, with_column(METRIC.lines(), column, lambda _row, _cell: ""))
    assert f"flight.csv: {column}: is blank in every row; allowed: " in text


def test_the_same_time_with_other_values_is_left_out(tmp_path: Path) -> None:
    lines = METRIC.lines()
    time = lines[399].split(",")[0]
    found = left_out(read(tmp_path, METRIC, with_cell(lines, 401, "t", time)))
    assert found == {"time stands still, with other values, there": (401,)}


def test_a_clock_that_jumps_back_is_told_and_one_that_goes_back_for_long_refused(tmp_path: Path) -> None:
    lines = with_cell(METRIC.lines(), 500, "t", "400.5")
    assert left_out(read(tmp_path, METRIC, lines)) == {"time runs backwards there": (500,)}
    back = with_column(METRIC.lines(), "t", lambda row, cell: f"{float(cell) - 300.0 * (row > 800):.3f}")
    text = faults(tmp_path, METRIC, back)
    assert "flight.csv: time: runs backwards in" in text
    assert "rows 801, 802, 803, 804, 805 and" in text


def test_a_row_without_a_time_is_left_out(tmp_path: Path) -> None:
    assert left_out(read(tmp_path, METRIC, with_cell(METRIC.lines(), 77, "t", ""))) == {"the row has no time": (77,)}


def test_a_recording_that_never_descends_is_refused(tmp_path: Path) -> None:
    cruise = METRIC.lines()[:160]
    assert "never descends: row 160, its last with an altitude, is 31 ft below" in faults(tmp_path, METRIC, cruise)
    climb = [METRIC.lines()[0], *reversed(METRIC.lines()[1:])]
    climb = with_column(climb, "t", lambda row, _: f"{row:.1f}")
    climb = with_column(climb, "vz", lambda _, cell: f"{-float(cell):.4f}")
    climb = with_column(climb, "x", lambda _, cell: f"{3e5 - float(cell):.1f}")
    assert "never descends" in faults(tmp_path, METRIC, climb)


WRONG = {
    "metres for feet": (TRADE.but(vertical_speed=("VS", "ft/min")), "pressure_altitude", "m", "unit = 'm' for ALT STD"),
    "feet for metres": (METRIC, "pressure_altitude", "ft", "or the unit ft"),
    "feet, by the glide path alone": (TRADE, "pressure_altitude", "m", "unit = 'm' for ALT STD"),
    "metres a second for knots": (TRADE, "calibrated_airspeed", "m/s", "unit = 'm/s'"),
    "knots for metres a second": (METRIC, "true_airspeed", "kt", "or the unit km/h or kt"),
    "knots for metres a second over the ground": (METRIC, "ground_speed", "kt", "unit = 'kt' for vg"),
    "kilometres for nautical miles": (TRADE, "distance_to_go", "km", "unit = 'km' for DIST"),
    "feet a minute for metres a second": (METRIC, "vertical_speed", "ft/min", "or the unit ft/min"),
    "pounds for kilograms": (METRIC, "mass", "lb", "unit = 'lb'"),
    "tonnes for kilograms": (METRIC, "mass", "t", "or the unit t"),
    "kelvin for Celsius": (TRADE, "temperature", "K", "or the unit K"),
    "kilograms an hour for a second": (METRIC, "fuel_flow", "kg/h", "or the unit kg/h or lb/h"),
    "percent for a fraction": (METRIC, "speed_brake", "percent", "or the unit percent"),
}
"""A layout, a quantity, the unit that its cells really have, and what is said."""


@pytest.mark.parametrize(("layout", "name", "unit", "said"), WRONG.values(), ids=WRONG)
def test_a_wrong_unit_is_suspected_and_the_right_one_named(
    layout: Layout, name: str, unit: str, said: str, tmp_path: Path
) -> None:
    column = layout.columns[name][0]
    really = layout.but(**{name: (column, unit)})
    if unit == "K":
        really = really.but(temperature=(column, "K"))
    text = faults(tmp_path, layout, really.lines())
    assert "flight.csv: " in text
    assert said in text
    assert column in text


def test_a_speed_beyond_the_airframe_is_a_doubt_where_ground_speed_agrees_and_else_a_suspicion(tmp_path: Path) -> None:
    """Faster than the airframe flies, as kilometres an hour would be; the ground speed tells which it is."""
    lines = with_column(TRADE.lines(), "CAS", lambda _, cell: f"{1.5 * float(cell):.2f}")
    assert any(
        "its fastest is 4" in one and "kt calibrated, not" in one for one in read(tmp_path, TRADE, lines).warnings
    )
    alone = {name: column for name, column in TRADE.columns.items() if name != "ground_speed"}
    assert "unit = 'km/h'" in faults(tmp_path, replace(TRADE, columns=alone), lines)


def test_a_vertical_speed_with_the_other_sign_is_suspected(tmp_path: Path) -> None:
    lines = with_column(METRIC.lines(), "vz", lambda _, cell: f"{-float(cell):.4f}")
    assert "scale = -1 for it or for vz" in faults(tmp_path, METRIC, lines)
    turned = replace(METRIC, each={"vertical_speed": {"scale": -1.0}})
    assert read(tmp_path, turned, lines).flight.column("vertical_speed").min() < -5.0


def test_a_disagreement_that_no_unit_explains_is_a_warning(tmp_path: Path) -> None:
    lines = with_column(METRIC.lines(), "vz", lambda _, cell: f"{2.0 * float(cell):.4f}")
    recording = read(tmp_path, METRIC, lines)
    assert any("hp is 0." in one and "which no unit explains" in one for one in recording.warnings)


def test_a_unit_that_the_netcdf_file_contradicts_is_a_fault(tmp_path: Path) -> None:
    path = save_netcdf(tmp_path / "flight.nc", METRIC, {"vg": "knots"})
    with pytest.raises(InputFault, match=r"vg: the map says 'm/s', the file itself 'knots'; allowed: unit = 'kt'"):
        read_recording(path, METRIC.map, SCENARIO)


def test_a_value_that_cannot_be_is_blank_and_counted(tmp_path: Path) -> None:
    lines = with_cell(METRIC.lines(), 321, "T", "900.0")
    found = left_out(read(tmp_path, METRIC, lines))
    assert found == {"T: the cell is no temperature (900 K); taken as blank": (321,)}


def frozen(column: str, first: int, last: int) -> Lines:
    """Lines in which a column stays what it is in one row."""
    lines = METRIC.lines()
    cell = lines[first - 1].split(",")[lines[0].split(",").index(column)]
    return with_column(lines, column, lambda row, own: cell if first <= row <= last else own)


FROZEN = [("hp", "pressure_altitude"), ("T", "temperature"), ("x", "distance_to_go")]


@pytest.mark.parametrize(("column", "name"), FROZEN)
def test_a_frozen_column_is_blank_there_and_counted(column: str, name: str, tmp_path: Path) -> None:
    recording = read(tmp_path, METRIC, frozen(column, 600, 900))
    rows = left_out(recording)[f"{column}: frozen, identical while others move; taken as blank"]
    assert rows == tuple(range(601, 901))
    if name == "pressure_altitude":
        assert np.isnan(recording.flight.column("pressure_altitude")[610:890]).all()
        assert any(gap.quantity == name for gap in recording.reading.gaps)


def test_a_frozen_airspeed_is_seen_by_its_jump(tmp_path: Path) -> None:
    speed = truth()["true_airspeed"]
    fastest_change = int(np.argmax(np.abs(speed[120:] - speed[:-120])))
    found = left_out(read(tmp_path, METRIC, frozen("v", fastest_change + 2, fastest_change + 122)))
    assert len(found["v: frozen, identical while others move; taken as blank"]) == 120


def test_a_column_frozen_for_most_of_the_time_is_refused(tmp_path: Path) -> None:
    count = len(METRIC.lines())
    text = faults(tmp_path, METRIC, frozen("hp", 300, count - 100))
    assert f"hp: stays identical in {count - 400} of {count - 1} rows while others move: rows 301, 302" in text


def test_a_level_altitude_and_settled_devices_are_not_frozen(tmp_path: Path) -> None:
    quiet = replace(METRIC, digits=1)
    lines = quiet.lines({"pressure_altitude": truth()["pressure_altitude"]})
    level = with_column(lines, "hp", lambda row, cell: lines[2].split(",")[2] if row < 100 else cell)
    assert not any("frozen" in reason for reason in left_out(read(tmp_path, quiet, level)))


def test_a_step_that_the_airframe_does_not_have_is_a_fault(tmp_path: Path) -> None:
    lines = with_cell(METRIC.lines(), 1000, "flaps", "7")
    text = faults(tmp_path, METRIC, lines)
    assert "flaps: goes to step 7 in row 1000 (lines of the file); allowed: 0 to 4 (0 clean, 1 step 1" in text


def test_rows_on_the_ground_and_of_the_climb_are_left_out(tmp_path: Path) -> None:
    lines = METRIC.lines()
    last = [float(cell) for cell in lines[-1].split(",")]
    ground = []
    for second in range(1, 61):
        cells = [last[0] + second, -20.0 * second, *last[2:]]
        cells[3], cells[4], cells[5] = 20.0, 20.0, 0.0
        ground.append(",".join(f"{cell:.4f}" for cell in cells))
    found = left_out(read(tmp_path, METRIC, [*lines, *ground]))
    assert found["slower than 0.5 of the reference speed: on the ground"] == tuple(
        range(len(lines) + 1, len(lines) + 61)
    )
