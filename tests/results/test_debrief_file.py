"""A debrief as a file: everything comes back, its flights are stored once, and what is no debrief is named."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from optdescent.inputs import InputFault
from optdescent.results import CAUTION
from optdescent.results.debrief import Debrief, WhatIf, debrief_plain
from optdescent.results.debrief_file import read_debrief, write_debrief
from optdescent.results.stored import read_stored
from tests.figures.debriefs import invented


def with_what_if() -> Debrief:
    """The invented debrief with another action, whose flight stands beside it too."""
    found = invented()
    (other,) = found.others
    return replace(found, what_ifs=(WhatIf(600.0, "gear down", other, other.summary.gate),))


@pytest.fixture(scope="module")
def stored(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("debrief") / "debrief.nc"
    write_debrief(path, with_what_if())
    return path


def test_everything_of_a_debrief_comes_back(stored: Path) -> None:
    found, again = with_what_if(), read_stored(stored)
    assert isinstance(again, Debrief)
    assert again.findings == found.findings
    assert json.dumps(debrief_plain(again)) == json.dumps(debrief_plain(found)), "as one reads it"
    assert again.points.equals(found.points)
    assert again.last.provenance == found.last.provenance
    for one, other in zip((found.flight, *found.others), (again.flight, *again.others), strict=True):
        assert other.dataset.equals(one.dataset)
        assert (other.name, other.kind, other.marks, other.provenance) == (
            one.name,
            one.kind,
            one.marks,
            one.provenance,
        )
    assert again.what_ifs[0].flight is again.others[0], "one flight is stored once"


def test_the_file_says_what_it_is_and_its_points_open_without_this_package(stored: Path) -> None:
    with xr.open_dataset(stored, engine="h5netcdf") as root:
        assert root.attrs["kind"] == "debrief"
        assert root.attrs["caution"] == CAUTION
        assert root.attrs["scenario_digest"] == "0123456789ab"
        assert root["energy_to_spare"].dims == ("devices", "point")
        assert np.isfinite(root["energy_to_spare"]).any()


def test_what_is_no_debrief_or_lacks_a_flight_is_named(stored: Path, tmp_path: Path) -> None:
    path = tmp_path / "other.nc"
    invented().flight.to_netcdf(path)
    with pytest.raises(InputFault, match=r"other\.nc: does not hold a debrief \(it is of kind 'recording'\)"):
        read_debrief(path)
    with xr.open_dataset(stored, engine="h5netcdf") as root:
        root.load().to_netcdf(path, engine="h5netcdf")
    with pytest.raises(InputFault, match=r"other\.nc: does not hold a debrief"):
        read_debrief(path)
    with pytest.raises(InputFault, match="cannot be written"):
        write_debrief(stored / "debrief.nc", invented())
