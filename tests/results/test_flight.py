"""Flights to disk and back, and what a file says of itself."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from optdescent.inputs import InputFault
from optdescent.motion import record
from optdescent.results import CAUTION, Breach, EventRecord, Flight, Kind, Slope, SolverRecord
from optdescent.results.flight import flight_dataset
from optdescent.results.plain import flight_plain
from optdescent.results.schema import COLUMNS
from tests.motion.trajectories import straight_down
from tests.scenario.files import scenario

SCENARIO = scenario()
FLIGHT = record(SCENARIO, straight_down(101), Kind.RULE, "made up")
SOLVER = SolverRecord(
    status="solved",
    iterations=31,
    optimality=1e-9,
    constraint_violation=2e-10,
    local_error=1e-6,
    cost_error=1e-4,
    lacking_curvature=0.01,
    reflight_altitude=0.01,
    reflight_speed=0.002,
    reflight_fuel=0.0003,
    hamiltonian_drift=1e-3,
    wrong_signs=2,
    stationarity=1e-5,
    regularisation=0.1,
    regularisation_cost=0.05,
    chatter=("speed_brake to gate",),
    orders=("one order", "another"),
    events=(EventRecord("gate", 5000.0, 500.0, 70.0, 1700.0),),
    sensitivity=(Slope("mass at the start", "t", 1e-3, 1.1e-3, -0.4),),
)
OPTIMUM = replace(FLIGHT, kind=Kind.OPTIMUM, name="optimum", solver=SOLVER)


@pytest.mark.parametrize("flight", [FLIGHT, OPTIMUM], ids=["rule", "optimum"])
def test_a_flight_comes_back_from_its_file_as_it_was(tmp_path: Path, flight: Flight) -> None:
    path = tmp_path / "deep" / "flight.nc"
    flight.to_netcdf(path)
    again = Flight.from_netcdf(path)
    xr.testing.assert_identical(again.dataset, flight.dataset)
    assert again.dataset["configuration"].dtype == flight.dataset["configuration"].dtype
    assert again.summary == flight.summary
    assert again.solver == flight.solver
    assert again.kind is flight.kind
    assert again.name == flight.name
    assert again.provenance == flight.provenance
    assert again.marks == flight.marks
    assert [p.name for p in path.parent.iterdir()] == ["flight.nc"]


def test_twice_there_and_back_is_once(tmp_path: Path) -> None:
    for name in ("one.nc", "two.nc"):
        flight = FLIGHT if name == "one.nc" else Flight.from_netcdf(tmp_path / "one.nc")
        flight.to_netcdf(tmp_path / name)
    first, second = (Flight.from_netcdf(tmp_path / name) for name in ("one.nc", "two.nc"))
    xr.testing.assert_identical(first.dataset, second.dataset)
    assert first.summary == second.summary


def test_further_gates_the_floor_and_hold_downs_come_back_too(tmp_path: Path) -> None:
    asked = scenario(
        "arrival.more_gates=[{height_ft=500},{height_ft=1500,speed_over_kt=30}]",
        "arrival.floor=[{distance_nm=60,altitude_ft=9000},{distance_nm=12,altitude_ft=2000}]",
        "arrival.hold_downs=[{altitude_ft=11000,from_nm=50,to_nm=40}]",
    )
    flight = record(asked, straight_down(101), Kind.RULE, "made up")
    flight.to_netcdf(tmp_path / "f.nc")
    again = Flight.from_netcdf(tmp_path / "f.nc")
    assert again.summary == flight.summary
    assert [round(gate.height / 0.3048) for gate in again.summary.more_gates] == [500, 1500]
    assert again.marks == flight.marks
    assert len(again.marks.floor) == 2
    assert len(again.marks.hold_downs) == 1
    assert [gate["height_ft"] for gate in flight_plain(again)["more_gates"]] == [500.0, 1500.0]


def test_a_flight_that_never_reached_the_gate_comes_back_too(tmp_path: Path) -> None:
    gate = replace(FLIGHT.summary.gate, reached=False, calibrated_airspeed=float("nan"), reasons=("never passes",))
    breach = Breach("no climb", 1000.0, 30.0, "no climb: climbs 98 ft")
    flight = replace(FLIGHT, summary=replace(FLIGHT.summary, gate=gate, breaches=(breach,)))
    flight.to_netcdf(tmp_path / "f.nc")
    again = Flight.from_netcdf(tmp_path / "f.nc").summary
    assert not again.gate.stable
    assert np.isnan(again.gate.calibrated_airspeed)
    assert again.breaches == (breach,)
    assert not again.keeps_every_limit
    json.dumps(flight_plain(flight), allow_nan=False)  # JSON has no NaN


def test_the_file_follows_the_climate_and_forecast_conventions(tmp_path: Path) -> None:
    """CF 1.11: global Conventions and title, units and long_name on each variable, flags of the variable's own type."""
    OPTIMUM.to_netcdf(tmp_path / "f.nc")
    with xr.open_dataset(tmp_path / "f.nc", engine="h5netcdf", decode_cf=False) as raw:
        assert raw.attrs["Conventions"] == "CF-1.11"
        assert raw.attrs["title"] == SCENARIO.title
        assert raw.attrs["kind"] == "optimum"
        assert raw.attrs["caution"] == CAUTION
        assert raw.attrs["scenario_digest"] == SCENARIO.digest
        assert json.loads(raw.attrs["scenario"])["airframe"]["title"].startswith("Fictional")
        assert raw.attrs["software_version"]
        assert json.loads(raw.attrs["solver"])["iterations"] == 31
        for name, variable in raw.variables.items():
            assert variable.attrs["long_name"], name
            assert ("flag_values" in variable.attrs) != ("units" in variable.attrs), name
        flags = raw["configuration"].attrs["flag_values"]
        assert np.asarray(flags).dtype == raw["configuration"].dtype
        assert len(raw["configuration"].attrs["flag_meanings"].split()) == len(flags)
        assert "distance_to_go" in raw["altitude"].attrs.get(
            "coordinates", raw["altitude"].encoding.get("coordinates", "")
        )


def test_a_rule_s_file_names_the_rule(tmp_path: Path) -> None:
    for flight, rule in ((FLIGHT, "made up"), (OPTIMUM, "")):
        flight.to_netcdf(tmp_path / "f.nc")
        with xr.open_dataset(tmp_path / "f.nc", engine="h5netcdf") as stored:
            assert stored.attrs["rule"] == rule


def test_a_missing_file_and_one_of_something_else_are_faults(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match=r"absent\.nc"):
        Flight.from_netcdf(tmp_path / "absent.nc")
    (tmp_path / "text.nc").write_text("not netCDF", encoding="utf-8")
    with pytest.raises(InputFault, match=r"text\.nc"):
        Flight.from_netcdf(tmp_path / "text.nc")
    xr.Dataset({"x": ("point", [1.0])}).to_netcdf(tmp_path / "other.nc", engine="h5netcdf")
    with pytest.raises(InputFault, match=r"other\.nc.*does not hold a flight"):
        Flight.from_netcdf(tmp_path / "other.nc")


@pytest.mark.parametrize(
    ("attribute", "value"),
    [
        ("kind", "balloon"),
        ("summary", "{"),
        ("summary", "[]"),
        ("summary", '{"gate": 3}'),
        ("solver", '{"status": "x"}'),
        ("marks", "{}"),
    ],
)
def test_a_file_with_spoilt_attributes_is_a_fault_and_no_crash(tmp_path: Path, attribute: str, value: str) -> None:
    FLIGHT.to_netcdf(tmp_path / "f.nc")
    with xr.open_dataset(tmp_path / "f.nc", engine="h5netcdf", decode_timedelta=False) as stored:
        dataset = stored.load()
    dataset.assign_attrs({attribute: value}).to_netcdf(tmp_path / "g.nc", engine="h5netcdf")
    with pytest.raises(InputFault, match=r"g\.nc"):
        Flight.from_netcdf(tmp_path / "g.nc")


def test_a_flight_that_cannot_be_written_is_a_fault(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", encoding="utf-8")
    with pytest.raises(InputFault, match="cannot be written"):
        FLIGHT.to_netcdf(tmp_path / "file" / "f.nc")


def test_a_dataset_has_exactly_the_columns_of_the_schema() -> None:
    columns = {name: np.zeros(3) for name in COLUMNS}
    assert set(flight_dataset(columns, ("clean", "out")).variables) == set(COLUMNS)
    with pytest.raises(ValueError, match="extra"):
        flight_dataset({**columns, "extra": np.zeros(3)}, ("clean",))
    del columns["mach"]
    with pytest.raises(ValueError, match="mach"):
        flight_dataset(columns, ("clean",))


def test_a_flight_shows_itself() -> None:
    assert "made up" in repr(FLIGHT)
    assert "480 kg" in repr(FLIGHT)
    assert "xarray" in FLIGHT._repr_html_()


def test_a_file_written_before_switching_was_recorded_is_read(tmp_path: Path) -> None:
    OPTIMUM.to_netcdf(tmp_path / "f.nc")
    with xr.open_dataset(tmp_path / "f.nc", engine="h5netcdf", decode_timedelta=False) as stored:
        dataset = stored.load()
    solver = json.loads(dataset.attrs["solver"])
    for name in ("wrong_signs", "stationarity", "regularisation_cost", "lacking_curvature"):
        del solver[name]
    dataset.assign_attrs(solver=json.dumps(solver)).to_netcdf(tmp_path / "g.nc", engine="h5netcdf")
    found = Flight.from_netcdf(tmp_path / "g.nc").solver
    assert found is not None
    assert found.wrong_signs is None
    assert np.isnan([found.stationarity, found.regularisation_cost, found.lacking_curvature]).all()
    known = replace(found, wrong_signs=2, stationarity=1e-5, regularisation_cost=0.05, lacking_curvature=0.01)
    assert known == SOLVER
    assert found._repr_html_().count("not known") == 4
