"""A fit in memory, on disk, as text and as JSON."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from optdescent.inputs import InputFault
from optdescent.results import CAUTION, Fit
from optdescent.results.fit import FIT_COLUMNS, fit_dataset, fit_plain
from tests.figures.fits import invented


def test_a_stored_fit_opens_as_it_was(tmp_path: Path) -> None:
    found = invented()
    found.to_netcdf(tmp_path / "fit.nc")
    again = Fit.from_netcdf(tmp_path / "fit.nc")
    assert again.provenance == found.provenance
    assert (again.keys, again.sentences, again.recordings) == (found.keys, found.sentences, found.recordings)
    for name in FIT_COLUMNS:
        np.testing.assert_array_equal(again.column(name), found.column(name))


def test_another_file_is_no_fit(tmp_path: Path) -> None:
    path = tmp_path / "fit.nc"
    path.write_text("not netCDF", encoding="utf-8")
    with pytest.raises(InputFault, match="does not hold a fit"):
        Fit.from_netcdf(path)
    invented().dataset.assign_attrs(kind="margins").to_netcdf(path, engine="h5netcdf")
    with pytest.raises(InputFault, match="of kind 'margins'"):
        Fit.from_netcdf(path)


def test_columns_must_be_those_of_the_schema() -> None:
    with pytest.raises(ValueError, match="columns differ from the schema"):
        fit_dataset((), (), (), {"value": np.zeros(0)})


def test_every_numeric_column_says_its_unit() -> None:
    dataset = invented().dataset
    for name, column in FIT_COLUMNS.items():
        assert dataset[name].attrs == {"units": column.unit, "long_name": column.long_name}


def test_the_text_has_every_coefficient_noise_and_caution() -> None:
    text = invented().text()
    assert CAUTION in text
    for key in invented().keys:
        assert key in text
    assert "noise 0.50 kt and 10.00 ft" in text
    assert "900 points in 15 segments" in text


def test_json_carries_units_and_has_no_nan() -> None:
    plain = json.loads(json.dumps(fit_plain(invented()), allow_nan=False))
    assert plain["speed_noise_kt"] == pytest.approx(0.5)
    assert plain["altitude_noise_ft"] == pytest.approx(10.0)
    gear = plain["coefficients"][10]
    assert gear["key"] == "gear.drag"
    assert gear["is_fixed"]
    assert gear["standard_error"] is None
    assert plain["coefficients"][0]["standard_error"] == pytest.approx(0.02 * 0.0195)
