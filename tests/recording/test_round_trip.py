"""A descent of our own crew, written as recorders would hold it and read back, within the sigmas that are stated."""

from __future__ import annotations

import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from scipy.ndimage import uniform_filter1d

from optdescent.arrival.legs import route_along
from optdescent.recording import Recording, read_recording
from optdescent.results import Flight, Kind
from optdescent.results.reading import Source
from optdescent.results.schema import COLUMNS
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE
from tests.recording.written import (
    METRIC,
    SCENARIO,
    SIGMA,
    TRADE,
    Layout,
    flown,
    read,
    save,
    save_netcdf,
    truth,
)
from tests.scenario.files import STUDY

COMPARED = (
    "distance_to_go",
    "pressure_altitude",
    "altitude",
    "height_above_threshold",
    "true_airspeed",
    "calibrated_airspeed",
    "mach",
    "ground_speed",
    "flight_path_angle",
    "vertical_speed",
    "temperature",
    "wind_along",
    "load_factor",
)
MOST = 1.25
"""Largest quadratic mean error over sigma."""


def errors(recording: Recording, every: float = 1.0) -> dict[str, float]:
    """Quadratic mean error of each column over its stated sigma [-]."""
    flight, whole = recording.flight, truth(every)
    found: dict[str, float] = {}
    for name in COMPARED:
        wanted = np.interp(flight.column("time"), whole["time"] - whole["time"][0], whole[name])
        if name == "load_factor":
            # a slope is one over its window: the load factor that turned the path, over as long
            wanted = uniform_filter1d(wanted, max(1, round(9.0 / every)), mode="nearest")
        error = flight.column(name) - wanted
        found[name] = float(np.sqrt(np.nanmean(error**2))) / recording.reading.origin(name).sigma
    return found


def within_sigmas(recording: Recording, every: float = 1.0) -> None:
    """Every compared column lies within its stated sigma."""
    assert {name: error for name, error in errors(recording, every).items() if not error < MOST} == {}


LAYOUTS = {
    "metric": METRIC,
    "trade": TRADE,
    "a semicolon and a decimal comma": replace(
        METRIC, delimiter=";", decimal=",", more={"text": {"delimiter": ";", "decimal": ","}}
    ),
    "kilometres an hour and pounds": METRIC.but(
        ground_speed=("vg", "km/h"), mass=("m", "lb"), flaps=("f", "step"), temperature=("oat", "degC")
    ),
    "QNH altitude": TRADE.without("pressure_altitude").but(qnh_altitude=("ALT", "ft")),
    "height": METRIC.without("pressure_altitude").but(height_above_threshold=("h", "m")),
    "both airspeeds, no temperature": METRIC.without("temperature").but(calibrated_airspeed=("cas", "m/s")),
    "wind by direction": METRIC.but(wind_from=("dd", "deg"), wind_speed=("ff kt", "kt")).without("ground_speed"),
    "heading and track": TRADE.but(heading=("HDG", "deg"), track=("TRK", "deg")),
    "four a second": replace(TRADE, every=0.25),
    "one in four seconds": replace(METRIC, every=4.0, more={"reading": {"longest_gap_s": 10.0}}),
    "no ground speed": METRIC.without("ground_speed"),
}


@pytest.mark.parametrize("layout", LAYOUTS.values(), ids=LAYOUTS)
def test_what_is_read_back_is_what_was_flown_within_the_stated_sigmas(layout: Layout, tmp_path: Path) -> None:
    recording = read(tmp_path, layout)
    within_sigmas(recording, layout.every)
    assert recording.flight.kind is Kind.RECORDING
    assert set(recording.flight.dataset.variables) == set(COLUMNS)
    # noise of the distance puts the last rows beyond the threshold
    assert {one.reason for one in recording.left_out} <= {"beyond the threshold"}
    assert sum(len(one.rows) for one in recording.left_out) < 3.0 / layout.every


@pytest.mark.parametrize("layout", [METRIC, TRADE], ids=["metric", "trade"])
def test_the_verdict_on_noisy_columns_is_that_on_the_flight(layout: Layout, tmp_path: Path) -> None:
    recording = read(tmp_path, layout)
    summary, wanted = recording.flight.summary, flown().summary
    assert [breach.demand for breach in summary.breaches] == [breach.demand for breach in wanted.breaches]
    assert summary.gate.stable == wanted.gate.stable
    assert summary.gate.calibrated_airspeed == pytest.approx(
        wanted.gate.calibrated_airspeed, abs=5.0 * SIGMA["calibrated_airspeed"]
    )
    assert summary.top_of_descent == pytest.approx(wanted.top_of_descent, abs=0.5 * NAUTICAL_MILE)
    assert summary.time == pytest.approx(wanted.time, abs=2.0)
    assert summary.fuel == pytest.approx(wanted.fuel, abs=4.0 * recording.reading.origin("fuel_used").sigma + 0.1)
    # between two looks of the crew the recorder sees the brake move: counted over what was written
    out = -np.gradient(truth()["distance_to_go"])[truth()["speed_brake"] > 0.02]
    assert summary.brake_distance == pytest.approx(float(out.sum()), rel=0.005)


@pytest.mark.parametrize("seed", [2, 3, 4])
def test_no_seed_of_the_noise_invents_a_breach(seed: int, tmp_path: Path) -> None:
    wanted = {breach.demand for breach in flown().summary.breaches}
    found = read(tmp_path, replace(TRADE, seed=seed)).flight.summary.breaches
    assert {breach.demand for breach in found} == wanted


def test_netcdf_is_read_as_text_is(tmp_path: Path) -> None:
    path = save_netcdf(tmp_path / "flight.nc", TRADE, {"CAS": "knots", "ALT STD": "ft"})
    found = read_recording(path, TRADE.map, SCENARIO)
    within_sigmas(found)
    text = read(tmp_path, TRADE)
    assert found.flight.column("altitude") == pytest.approx(text.flight.column("altitude"), abs=1e-6)
    assert found.reading.counted == "the first row is 0"


def test_a_map_is_a_file(tmp_path: Path) -> None:
    path = tmp_path / "columns.toml"
    lines = ['title = "invented descent"']
    for name, (column, unit) in TRADE.columns.items():
        lines += [f"[columns.{name}]", f'column = "{column}"', f'unit = "{unit}"']
    found = read_recording(save(tmp_path / "flight.csv", TRADE.lines()), save(path, lines), SCENARIO)
    assert found.flight.name == "invented descent"
    within_sigmas(found)


def test_smoothing_lowers_the_sigma_and_keeps_it_true(tmp_path: Path) -> None:
    plain = read(tmp_path, TRADE)
    smooth = read(tmp_path, replace(TRADE, more={"reading": {"smoothing_s": 7.0}}))
    assert "Savitzky" in smooth.reading.smoothing
    for name in ("pressure_altitude", "calibrated_airspeed", "ground_speed"):
        before, after = plain.reading.origin(name).sigma, smooth.reading.origin(name).sigma
        # seven points of a parabola: the middle weight, and so the variance, is 7/21 (Savitzky and Golay 1964, table I)
        assert after / before == pytest.approx(np.sqrt(7.0 / 21.0), rel=1e-9)
        error = smooth.flight.column(name) - truth()[name][: smooth.reading.points]
        # a crew's moves are faster than seven seconds: the middle of the errors, not the largest
        assert float(np.median(np.abs(error))) < 0.6745 * 1.3 * after


def _placed() -> Scenario:
    return Scenario.from_toml(STUDY, ("arrival.position={latitude_deg=48.0, longitude_deg=9.0}",))


def test_positions_give_the_length_of_the_path(tmp_path: Path) -> None:
    scenario = _placed()
    whole = truth()
    position = scenario.arrival.position
    assert position is not None
    back = -whole["distance_to_go"]
    route, _ = route_along(scenario.arrival.track, (position.latitude, position.longitude), back.tolist())
    extra = {"latitude": np.radians(route.latitude), "longitude": np.radians(route.longitude)}
    layout = TRADE.without("distance_to_go").but(latitude=("LAT", "deg"), longitude=("LON", "deg"))
    layout = replace(layout, more={"distance": {"kind": "positions"}}, digits=8)
    recording = read(tmp_path, layout, layout.lines(extra), scenario)
    error = recording.flight.column("distance_to_go") - whole["distance_to_go"][: recording.reading.points]
    # noise of 3 m lengthens chords of 1 to 2 km by less than a metre each hundred
    assert np.abs(error).max() < 30.0
    assert recording.derived["distance_to_go"].source is Source.DERIVED
    assert not any("beside" in warning for warning in recording.warnings)


@pytest.mark.parametrize("place", [{"last_nm": 0.0}, {"on_glide_path_at_ft": 1000.0}], ids=["last row", "glide path"])
def test_ground_speed_adds_up_to_the_distance(place: dict[str, float], tmp_path: Path) -> None:
    layout = replace(TRADE.without("distance_to_go"), more={"distance": {"kind": "ground speed", **place}})
    recording = read(tmp_path, layout)
    points = recording.reading.points
    error = recording.flight.column("distance_to_go") - truth()["distance_to_go"][:points]
    origin = recording.derived["distance_to_go"]
    assert "adding up ground speed" in origin.sentence
    # the last row lies up to a second, and the crew up to 20 ft of height, off the place that the map gives
    given = 80.0 if "last_nm" in place else 200.0
    assert np.abs(error).max() < given + 4.0 * origin.sigma


def test_thrust_by_the_airframe_is_what_the_crew_had(tmp_path: Path) -> None:
    more = {"forces": "airframe", "reading": {"slopes_s": 15.0, "smoothing_s": 9.0}}
    layout = replace(METRIC.without("thrust_fraction"), more=more)
    recording = read(tmp_path, layout)
    found = recording.flight.column("thrust_fraction")
    wanted = truth()["thrust_fraction"][: found.size]
    sigma = recording.derived["thrust_fraction"].sigma
    error = found - wanted
    assert float(np.median(np.abs(error))) < 2.0 * sigma < 0.1
    assert np.isfinite(recording.flight.column("drag")).all()


def test_forces_are_not_known_unless_the_map_asks(tmp_path: Path) -> None:
    recording = read(tmp_path, METRIC)
    for name in ("thrust", "drag", "lift_coefficient"):
        assert not np.isfinite(recording.flight.column(name)).any()
        assert recording.reading.origin(name).source is Source.UNKNOWN
    assert np.isnan(recording.flight.summary.thrust_fuel)


def test_a_recording_is_stored_and_opened_again(tmp_path: Path) -> None:
    recording = read(tmp_path, TRADE.without("gear"))
    path = tmp_path / "flight.nc"
    recording.flight.to_netcdf(path)
    again = Flight.from_netcdf(path)
    assert again.reading is not None
    assert again.reading.plain() == recording.reading.plain()
    assert again.kind is Kind.RECORDING
    assert again.dataset["vertical_speed"].attrs["origin"] == "derived"
    assert again.dataset["vertical_speed"].attrs["sigma"] == recording.derived["vertical_speed"].sigma


@pytest.mark.parametrize("rate", [1.0, 0.125])
def test_forty_minutes_are_read_quickly(rate: float, tmp_path: Path) -> None:
    """At one row a second in a fraction of the 3 s allowed; at eight, still in them."""
    whole, count = truth(), int(2400 / rate)
    at = rate * np.arange(count)
    lines = ["TIME,DIST,ALT STD,CAS,GS,SAT,FLAP,GEAR,SPOILER,FF"]
    share = np.linspace(0.0, whole["time"].size - 1, count)
    columns = [at] + [
        np.interp(share, np.arange(whole["time"].size), values)
        for name, values in TRADE.cells().items()
        if name != "TIME"
    ]
    # the flight slowed down to forty minutes: ground speed with it
    columns[4] = columns[4] * whole["time"][-1] / at[-1]
    lines += [",".join(f"{value:.4f}" for value in row) for row in zip(*columns, strict=True)]
    path = save(tmp_path / "flight.csv", lines)
    begun = time.process_time()
    recording = read_recording(path, TRADE.map, SCENARIO)
    assert time.process_time() - begun < 3.0
    assert recording.reading.points > 0.99 * count
