"""A rule sheet in memory, on disk, as JSON and as a page."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from optdescent.inputs import InputFault
from optdescent.results import CAUTION
from optdescent.results.rule_sheet import (
    RULE_SHEET_COLUMNS,
    RuleSheet,
    rule_sheet_dataset,
    rule_sheet_page,
    rule_sheet_plain,
)
from optdescent.units import FOOT_PER_MINUTE
from tests.figures.sheets import invented


def with_sink() -> RuleSheet:
    """The invented sheet with a sink rate of 1500 ft/min everywhere."""
    sheet = invented()
    rates = np.full_like(sheet.dataset["sink_rate"].to_numpy(), 1500.0 * FOOT_PER_MINUTE)
    return replace(sheet, dataset=sheet.dataset.assign(sink_rate=(("wind", "distance_to_go"), rates)))


def test_a_stored_sheet_opens_as_it_was_with_caution_and_provenance(tmp_path: Path) -> None:
    sheet = replace(invented("A title with ü and 3°"), note="What it is for.")
    sheet.to_netcdf(tmp_path / "sheet.nc")
    again = RuleSheet.from_netcdf(tmp_path / "sheet.nc")
    assert (again.name, again.title, again.source, again.note) == (sheet.name, sheet.title, sheet.source, sheet.note)
    assert (again.sentences, again.winds, again.provenance) == (sheet.sentences, sheet.winds, sheet.provenance)
    for name in RULE_SHEET_COLUMNS:
        np.testing.assert_array_equal(again.charted(name), sheet.charted(name))


def test_the_file_carries_the_caution(tmp_path: Path) -> None:
    invented().to_netcdf(tmp_path / "sheet.nc")
    assert CAUTION.encode() in (tmp_path / "sheet.nc").read_bytes()


def test_another_file_is_no_rule_sheet(tmp_path: Path) -> None:
    path = tmp_path / "sheet.nc"
    path.write_text("not netCDF", encoding="utf-8")
    with pytest.raises(InputFault, match="does not hold a rule sheet"):
        RuleSheet.from_netcdf(path)
    invented().dataset.assign_attrs(kind="margins").to_netcdf(path, engine="h5netcdf")
    with pytest.raises(InputFault, match="of kind 'margins'"):
        RuleSheet.from_netcdf(path)


def test_columns_must_be_those_of_the_schema_and_say_their_units() -> None:
    with pytest.raises(ValueError, match="columns differ from the schema"):
        rule_sheet_dataset((), {"tailwind": np.zeros(0)})
    for name, column in RULE_SHEET_COLUMNS.items():
        assert invented().dataset[name].attrs == {"units": column.unit, "long_name": column.long_name}


def test_json_carries_units_and_has_no_nan() -> None:
    plain = json.loads(json.dumps(rule_sheet_plain(invented()), allow_nan=False))
    still, tail, _ = plain["winds"]
    assert (plain["in_words"], plain["note"]) == (["300 ft for each nm to go"], "")
    assert (still["tailwind_kt"], tail["tailwind_kt"]) == (0.0, 40.0)
    assert tail["start_down_nm"] == pytest.approx(35000.0 / 300.0 + 4.0, abs=0.01)
    assert still["at"][0] == {"distance_nm": 40.0, "height_to_have_ft": 12000.0, "planned_speed_kt": 280.0}
    assert tail["at"][-1] == {"distance_nm": 10.0, "height_to_have_ft": 1800.0, "planned_speed_kt": 202.0}


def test_a_height_below_the_threshold_is_no_number() -> None:
    sheet = invented()
    low = replace(sheet, dataset=sheet.dataset.assign(height_to_have=sheet.dataset["height_to_have"] * np.nan))
    plain = json.loads(json.dumps(rule_sheet_plain(low), allow_nan=False))
    assert plain["winds"][0]["at"][0]["height_to_have_ft"] is None
    assert "| 10 | – | 190 | – | 202 |" in rule_sheet_page(low, "x.svg")


def test_the_page_has_title_words_numbers_source_figure_and_caution() -> None:
    page = rule_sheet_page(invented("A title"), "figure.svg")
    assert page.startswith("# A title\n")
    for expected in (
        "Source: invented.",
        "- 300 ft for each nm to go",
        "Start down: still air: 117 nm to go; 40 kt tailwind: 121 nm to go; 40 kt headwind: 113 nm to go.",
        "| 40 | 12000 | 280 | 10800 | 280 |",
        "| 10 | 3000 | 190 | 1800 | 202 |",
        "](figure.svg)",
        invented().provenance.line,
        CAUTION,
    ):
        assert expected in page
    assert "sink rate" not in page
    noted = rule_sheet_page(replace(invented("A title"), note="What it is for."), "figure.svg")
    assert noted == page.replace("invented.\n", "invented.\n\nWhat it is for.\n", 1) != page


def test_where_winds_make_no_difference_the_start_is_said_once_and_far_out_it_says_so() -> None:
    assert "Start down: 117 nm to go in any wind." in rule_sheet_page(invented(by_wind=False), "x.svg")
    sheet = invented()
    far = replace(sheet, dataset=sheet.dataset.assign(start_down=sheet.dataset["start_down"] * np.nan))
    assert "Start down: farther out than was worked out in any wind." in rule_sheet_page(far, "x.svg")


def test_a_sink_rate_has_its_column() -> None:
    page, plain = rule_sheet_page(with_sink(), "x.svg"), rule_sheet_plain(with_sink())
    assert "| 40 | 12000 | 280 | 1500 | 10800 | 280 | 1500 |" in page
    assert plain["winds"][1]["at"][0]["sink_rate_ft_per_min"] == 1500.0


def test_it_shows_itself_in_notebooks() -> None:
    assert "still air, 40 kt tailwind, 40 kt headwind" in repr(invented())
    assert "height_to_have" in invented()._repr_html_()
