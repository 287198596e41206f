"""Stored results, opened by what their file says: the same as before they were written, and what is refused."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from optdescent.inputs import InputFault
from optdescent.optimum.report import BANDS, QUANTITIES
from optdescent.results import Flight, Kind, Slope
from optdescent.results.files import netcdf_kind, write_text
from optdescent.results.front import Front
from optdescent.results.last_action import LastActions, Lost, last_actions_csv, read_last_actions
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.results.provenance import fingerprint
from optdescent.results.stored import read_stored
from optdescent.results.sweep import Swept
from tests.figures import fits, fronts, sheets, test_corridor, test_slope
from tests.figures.conditions import once, over
from tests.figures.flights import flight
from tests.figures.sweeps import AXES, last_useful, optimum, store, swept

WRITTEN: dict[str, Callable[[], object]] = {
    "optimum": optimum,
    "rule": lambda: flight("three to one", Kind.RULE),
    "recording": lambda: flight("recorded", Kind.RECORDING),
    "margins": once,
    "margins over conditions": over,
    "corridor": test_corridor.invented,
    "slope": test_slope.invented,
    "front": fronts.invented,
    "fit": fits.invented,
    "rule sheet": sheets.invented,
}


@pytest.mark.parametrize("kind", WRITTEN)
def test_a_file_is_read_as_what_was_written(tmp_path: Path, kind: str) -> None:
    written = WRITTEN[kind]()
    written.to_netcdf(tmp_path / "result.nc")  # type: ignore[attr-defined]
    assert netcdf_kind(tmp_path / "result.nc") == kind
    found = read_stored(tmp_path / "result.nc")
    assert type(found) is type(written)
    assert found.provenance == written.provenance  # type: ignore[union-attr, attr-defined]


def test_margins_over_conditions_keep_table_and_cases(tmp_path: Path) -> None:
    over().to_netcdf(tmp_path / "conditions.nc")
    found = OverConditions.from_netcdf(tmp_path / "conditions.nc")
    xr.testing.assert_equal(found.table, over().table)
    xr.testing.assert_equal(found.cases, over().cases)
    assert found.table.attrs == over().table.attrs
    assert found.cases["level_mass_kg"].attrs == over().cases["level_mass_kg"].attrs


def test_margins_and_a_front_keep_their_tables(tmp_path: Path) -> None:
    once().to_netcdf(tmp_path / "margins.nc")
    xr.testing.assert_equal(Margins.from_netcdf(tmp_path / "margins.nc").table, once().table)
    fronts.invented().to_netcdf(tmp_path / "front.nc")
    found = Front.from_netcdf(tmp_path / "front.nc")
    xr.testing.assert_equal(found.table, fronts.invented().table)
    assert (found.recommended, found.wanted) == (fronts.invented().recommended, fronts.invented().wanted)
    assert found.provenance.line == fronts.invented().provenance.line


@pytest.mark.parametrize("reader", [OverConditions.from_netcdf, Margins.from_netcdf, Front.from_netcdf])
def test_a_result_of_another_kind_is_named(tmp_path: Path, reader: Callable[[Path], object]) -> None:
    optimum().to_netcdf(tmp_path / "optimum.nc")
    with pytest.raises(InputFault, match=r"does not hold .* kind 'optimum'"):
        reader(tmp_path / "optimum.nc")


def test_a_sweep_knows_its_axes_and_where_it_is_from(tmp_path: Path) -> None:
    store(tmp_path / "sweep")
    found = read_stored(tmp_path / "sweep")
    assert isinstance(found, Swept)
    assert (found.axes, found.is_grid, found.provenance.title) == (AXES, True, "A sweep")
    assert found.provenance.line.endswith(f"study {fingerprint('{}')}")
    assert found.provenance.scenario_text == "{}"
    np.testing.assert_array_equal(found.dataset["fuel"].to_numpy(), swept().dataset["fuel"].to_numpy())
    store(tmp_path / "bare", title="-")
    with pytest.raises(InputFault, match="does not say where it is from"):
        read_stored(tmp_path / "bare")


def test_last_useful_points_are_read_to_the_digits_that_were_written(tmp_path: Path) -> None:
    lost = Lost(12.0 * 1852.0, 1080.0, 105.0, 1265.4)
    told = (last_useful(), replace(last_useful("by the mile", nearer=2.0), lost=lost, now=1200.0))
    write_text(tmp_path / "last_useful.csv", last_actions_csv(told))
    found = read_stored(tmp_path / "last_useful.csv")
    assert isinstance(found, tuple)
    for one, other in zip(found, told, strict=True):
        assert isinstance(one, LastActions)
        assert (one.flight, one.provenance) == (other.flight, other.provenance)
        assert one.sentences == tuple(said.replace("to 1000 ft", "to the gate") for said in other.sentences)
        for read, was in zip(one.actions, other.actions, strict=True):
            assert (read.devices, read.is_of_use, read.is_kept) == (was.devices, was.is_of_use, was.is_kept)
            assert np.isnan(read.gate_height)
            if was.is_of_use and not was.is_kept:
                assert read.distance_to_go == pytest.approx(was.distance_to_go, abs=0.005 * 1852.0)
                assert (read.height, read.speed) == pytest.approx((was.height, was.speed), rel=2e-3)
                assert read.sentence == was.sentence
    assert found[0].now is None
    assert found[0].lost is None
    assert found[1].now == pytest.approx(1200.0, abs=0.1)
    last = "nothing saves it from 12.0 nm to go on, 3540 ft above the threshold, 204 kt, at 21.1 min, 65 s from now"
    assert found[1].sentences[-1] == last


@pytest.mark.parametrize("text", ["", "# a; b\n", "a,b\n1,2\n", "# t; s\nflight,devices\nx,y\n"])
def test_a_table_that_holds_no_last_useful_points_is_named(tmp_path: Path, text: str) -> None:
    (tmp_path / "other.csv").write_text(text, encoding="utf-8")
    with pytest.raises(InputFault, match=r"other\.csv: does not hold last useful points"):
        read_last_actions(tmp_path / "other.csv")


def test_what_is_no_result_is_named(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"none\.nc: not found"):
        read_stored(tmp_path / "none.nc")
    (tmp_path / "text.nc").write_text("not netCDF", encoding="utf-8")
    with pytest.raises(InputFault, match=r"text\.nc: cannot be read"):
        read_stored(tmp_path / "text.nc")
    xr.Dataset({"a": ("x", [1.0])}).to_netcdf(tmp_path / "other.nc", engine="h5netcdf")
    with pytest.raises(InputFault, match=r"other\.nc: holds a result of kind ''; allowed: optimum, rule, recording"):
        read_stored(tmp_path / "other.nc")
    with pytest.raises(InputFault, match="a sweep written by this package"):
        read_stored(tmp_path)


def test_a_slope_to_wind_between_heights_knows_them() -> None:
    named = [Slope(quantity, unit, 0.0, 0.0, 0.0) for quantity, unit in QUANTITIES]
    bands = [one.heights for one in named if one.heights is not None]
    assert len(bands) == len(BANDS) - 1
    assert [low for low, _ in bands[1:]] == pytest.approx(BANDS[1:-1])
    assert [high for _, high in bands] == pytest.approx(BANDS[1:])
    assert bands[0][0] == 0.0
    assert named[0].heights is None
    assert all(one.heights is None for one in named[len(BANDS) :])


def test_a_flight_is_what_a_flight_file_holds(tmp_path: Path) -> None:
    optimum().to_netcdf(tmp_path / "optimum.nc")
    found = read_stored(tmp_path / "optimum.nc")
    assert isinstance(found, Flight)
    assert found.solver == optimum().solver
