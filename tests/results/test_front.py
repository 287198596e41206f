"""A front of rules in memory, on disk and as JSON."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import numpy as np
import pytest

from optdescent.results import CAUTION
from optdescent.results.files import read_netcdf
from optdescent.results.front import FRONT_COLUMNS, front_dataset, front_plain
from tests.figures.fronts import EFFORT, RULES, invented


def test_a_stored_front_holds_columns_texts_and_where_it_is_from(tmp_path: Path) -> None:
    found = invented()
    found.to_netcdf(tmp_path / "front.nc")
    stored = read_netcdf(tmp_path / "front.nc")
    for name, column in FRONT_COLUMNS.items():
        np.testing.assert_array_equal(stored[name].to_numpy(), found.column(name))
        assert stored[name].attrs["units"] == column.unit
    assert tuple(stored["rule"].to_numpy()) == found.names
    assert tuple(stored["rule_title"].to_numpy()) == found.titles
    attributes = stored.attrs
    assert (attributes["kind"], attributes["caution"], attributes["title"]) == (
        "front",
        CAUTION,
        found.provenance.title,
    )
    assert (attributes["wanted_share"], attributes["unseen_conditions"]) == (0.95, 1024)


def test_json_carries_units_and_has_no_nan() -> None:
    plain = json.loads(json.dumps(front_plain(invented()), allow_nan=False))
    assert plain["recommended"] == "derived-4b"
    assert plain["caution"] == CAUTION
    assert (plain["train_conditions"], plain["check_conditions"], plain["unseen_conditions"]) == (256, 512, 1024)
    row = next(rule for rule in plain["rules"] if rule["rule"] == "derived-4b")
    assert (row["fuel_mean_kg"], row["time_mean_min"], row["simplicity"]) == (524.0, 27.5, 4)
    assert (row["is_derived"], row["is_on_front"], row["is_recommended"]) == (True, True, True)
    assert next(rule for rule in plain["rules"] if rule["rule"] == "three-to-one")["train_held_share"] is None


def test_the_table_has_a_row_for_each_rule_under_caution_and_source(tmp_path: Path) -> None:
    found = invented()
    found.to_csv(tmp_path / "front.csv")
    lines = (tmp_path / "front.csv").read_text(encoding="utf-8").splitlines()
    assert lines[0] == f"# {found.provenance.title}; {found.provenance.line}"
    assert lines[1] == f"# {CAUTION}"
    rows = list(csv.DictReader(io.StringIO("\n".join(lines[2:]))))
    assert [row["rule"] for row in rows] == list(found.names)
    assert rows[3]["fuel_mean_kg"] == "524.0"
    assert rows[-1]["train_held_share"] == ""


def test_whether_a_share_is_as_predicted_counts_the_ends_of_the_interval() -> None:
    shares = {"in": 0.98, "at the end": 0.975 + 0.025, "out": 0.94, "low end": 0.975 - 0.025}
    rules = [(name, 3, 500.0, 0.975, found, 1, 1, 0) for name, found in shares.items()]
    assert invented(rules=rules).is_as_predicted.tolist() == [True, True, False, True]


def test_no_rule_may_be_recommended() -> None:
    rules = [(*rule[:-1], 0) for rule in RULES]
    assert invented(rules=rules).recommended is None
    assert front_plain(invented(rules=rules))["recommended"] is None


def test_columns_must_be_those_of_the_schema() -> None:
    with pytest.raises(ValueError, match="columns differ from the schema"):
        front_dataset((), (), (), {"fuel_mean": np.zeros(0)}, EFFORT)
