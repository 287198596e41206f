"""Reading a sounding: good files, and every fault of a bad one."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optdescent.air.wind.sounding import BUILT_IN, COLUMNS, WIDEST_GAP, read_sounding, sounding_text
from optdescent.inputs import InputFault
from optdescent.units import KNOT
from tests.air.wind.soundings import HEADER, text_of

GOOD = ["1000,100,10,,", "990,200,9,270,10", "950,500,8,,", "900,1000,,260,20", "850,1500,5,180,30"]


def faults_of(text: str) -> dict[str, str]:
    with pytest.raises(InputFault) as caught:
        read_sounding("made.csv", text)
    assert all(fault.file == "made.csv" for fault in caught.value.faults)
    return {fault.key: f"{fault.given}; {fault.allowed}" for fault in caught.value.faults}


def edited(index: int, row: str) -> str:
    rows = list(GOOD)
    rows[index] = row
    return text_of(*rows)


def test_levels_without_wind_are_left_out() -> None:
    sounding = read_sounding("made.csv", text_of(*GOOD))
    assert sounding.title == "made up"
    assert sounding.height.tolist() == [200.0, 1000.0, 1500.0]
    np.testing.assert_allclose(sounding.east[[0, 2]], [10.0 * KNOT, 0.0], atol=1e-12)
    np.testing.assert_allclose(sounding.north[[0, 2]], [0.0, 30.0 * KNOT], atol=1e-12)


@pytest.mark.parametrize("name", BUILT_IN)
def test_built_in_soundings_are_read_and_rise(name: str) -> None:
    sounding = read_sounding(*sounding_text(name, None))
    assert sounding.title.startswith("Radiosonde")
    assert sounding.height.size > 30
    assert np.all(np.diff(sounding.height) > 0.0)


def test_a_path_is_relative_to_the_folder_given(tmp_path: Path) -> None:
    (tmp_path / "up.csv").write_text(text_of(*GOOD), encoding="utf-8")
    name, text = sounding_text("up.csv", tmp_path)
    assert name.endswith("up.csv")
    assert read_sounding(name, text).height.size == 3


def test_a_missing_file_names_the_built_in_ones(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"absent\.csv.*nashville-2014-02-21"):
        sounding_text("absent.csv", tmp_path)


@pytest.mark.parametrize("text", ["", "# only a comment\n", text_of(*GOOD, header="height_m,wind"), "\n".join(GOOD)])
def test_a_wrong_header_is_shown_with_the_right_one(text: str) -> None:
    assert HEADER in faults_of(text)["header"]


@pytest.mark.parametrize(
    ("row", "key", "words"),
    [
        ("900,abc,5,260,20", "row 6, height_m", "'abc'"),
        ("900,1000,5,361,20", "row 6, wind_from_deg", "0 to 360"),
        ("900,1000,5,260,-3", "row 6, wind_speed_kt", "0 to 400"),
        ("900,1000,5,260,nan", "row 6, wind_speed_kt", "'nan'"),
        ("900,1000,500,260,20", "row 6, temperature_degC", "-120 to 60"),
        ("90000,1000,5,260,20", "row 6, pressure_hPa", "0.1 to 1100"),
        ("900,1000,5,260", "row 6", "4 cells"),
        ("900,1000,5,260,20,1", "row 6", "6 cells"),
        ("900,1000,5,260,", "row 6", "only one of wind direction and speed"),
        ("900,1000,5,,20", "row 6", "only one of wind direction and speed"),
        ("900,500,5,260,20", "row 6, height_m", "repeats"),
        ("900,150,5,260,20", "row 6, height_m", "falls below"),
    ],
)
def test_each_fault_names_its_row(row: str, key: str, words: str) -> None:
    assert words in faults_of(edited(3, row))[key]


def test_a_height_is_judged_against_every_row_also_one_without_wind() -> None:
    assert "falls below" in faults_of(edited(2, "950,150,8,,"))["row 5, height_m"]


def test_a_gap_in_the_wind_is_named_with_its_ends() -> None:
    found = faults_of(text_of("990,200,9,270,10", "800,1200,,,", "700,2300,,,", "650,3500,,260,20"))
    assert "200 and 3500" in found["row 6"]
    assert f"{WIDEST_GAP:g}" in found["row 6"]


def test_a_gap_of_exactly_the_widest_is_bridged() -> None:
    assert read_sounding("x", text_of("990,200,9,270,10", "800,2200,,260,20")).height.size == 2


@pytest.mark.parametrize(
    "rows", [[], ["990,200,9,270,10"], ["990,200,9,,", "900,900,9,,"], ["990,,9,270,5", "900,900,9,270,5"]]
)
def test_fewer_than_two_levels_with_wind_are_refused(rows: list[str]) -> None:
    assert "at least two" in faults_of(text_of(*rows))["wind"]


def test_all_faults_in_one_pass() -> None:
    rows = ["990,200,9,270,10", "950,200,8,400,10", "900,abc,1,260,20", "850,4500,5,180,30"]
    assert set(faults_of(text_of(*rows))) == {
        "row 4, height_m",
        "row 4, wind_from_deg",
        "row 4",
        "row 5, height_m",
        "row 6",
    }


@given(st.lists(st.lists(st.text(max_size=6), max_size=6), max_size=6))
def test_any_text_is_read_or_refused(cells: list[list[str]]) -> None:
    try:
        sounding = read_sounding("x", text_of(*(",".join(row) for row in cells)))
    except InputFault:
        return
    assert np.all(np.isfinite(sounding.east))


def test_the_columns_are_these() -> None:
    assert list(COLUMNS) == ["pressure_hPa", "height_m", "temperature_degC", "wind_from_deg", "wind_speed_kt"]
