"""Gaps, clocks, devices, and what stands in for what is not recorded: each is marked."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from optdescent.airframe.speeds import MOVES
from optdescent.identify.segments import MeasuredSpeed, segments_of
from optdescent.inputs import InputFault
from optdescent.recording import Recording
from optdescent.results.plain import flight_plain
from optdescent.results.reading import Source
from optdescent.units import FOOT, KNOT
from tests.recording.test_bad_input import faults, with_column
from tests.recording.written import METRIC, SCENARIO, TRADE, flown, read, truth


def gap(recording: Recording, name: str) -> np.ndarray:
    """Points at which a column is not known."""
    return np.isnan(recording.flight.column(name))


def test_a_short_gap_is_bridged_and_counted(tmp_path: Path) -> None:
    lines = METRIC.lines()
    recording = read(tmp_path, METRIC, [*lines[:500], *lines[503:]])
    assert not gap(recording, "altitude").any()
    assert ("pressure_altitude", 3) in recording.reading.filled
    assert recording.reading.gaps == ()


def test_a_long_gap_stays_a_gap_and_is_told(tmp_path: Path) -> None:
    lines = METRIC.lines()
    recording = read(tmp_path, METRIC, [*lines[:500], *lines[560:]])
    for name in ("altitude", "calibrated_airspeed", "ground_speed", "wind_along", "flaps", "load_factor"):
        assert gap(recording, name).sum() >= 60, name
    time, to_go = recording.flight.column("time"), recording.flight.column("distance_to_go")
    assert np.diff(time) == pytest.approx(1.0)
    assert np.all(np.diff(to_go) < 0.0), "distance goes on through a gap, straight"
    assert [(one.quantity, one.begins, one.ends) for one in recording.reading.gaps] == [("every column", 498.0, 559.0)]
    assert "every column: 1 gap, 61 s in all" in recording.warnings


def test_a_gap_of_one_column_is_filled_from_others_where_they_give_it(tmp_path: Path) -> None:
    both = METRIC.but(calibrated_airspeed=("cas", "m/s"))
    lines = with_column(both.lines(), "cas", lambda row, cell: "" if 700 <= row < 800 else cell)
    recording = read(tmp_path, both, lines)
    assert not gap(recording, "calibrated_airspeed").any()
    assert "100 points in gaps from Mach number" in recording.reading.origin("calibrated_airspeed").sentence
    assert any(one.quantity == "calibrated_airspeed" for one in recording.reading.gaps)


def test_a_gate_that_is_passed_in_a_gap_is_not_judged_stable(tmp_path: Path) -> None:
    height = truth()["height_above_threshold"]
    at = int(np.flatnonzero(height > 1000.0 * FOOT)[-1])
    lines = METRIC.lines()
    recording = read(tmp_path, METRIC, [*lines[: at - 20], *lines[at + 20 :]])
    gate = recording.flight.summary.gate
    assert not gate.stable
    assert gate.reasons == ("passes 1000 ft above the threshold in a gap",)


def test_what_is_not_recorded_does_not_make_an_approach_stable(tmp_path: Path) -> None:
    assert flown().summary.gate.stable
    recording = read(tmp_path, METRIC.without("flaps", "gear"))
    assert recording.flight.summary.gate.reasons == ("slats and flaps not known", "gear not known")
    assert (recording.flight.dataset["configuration"] == -1).all()
    assert recording.flight.dataset["configuration"].attrs["flag_meanings"].startswith("not_known clean")


def test_rows_at_uneven_times_are_resampled_and_it_is_said(tmp_path: Path) -> None:
    shift = np.random.default_rng(3).uniform(-0.3, 0.3, truth()["time"].size)
    at = truth()["time"] + shift
    extra = {name: np.interp(at, truth()["time"], values) for name, values in truth().items() if name != "time"}
    recording = read(tmp_path, METRIC, METRIC.lines(extra | {"time": at}))
    assert "resampled to" in recording.reading.grid
    wanted = np.interp(recording.flight.column("time") + at[0], truth()["time"], truth()["altitude"])
    error = recording.flight.column("altitude") - wanted
    assert float(np.sqrt(np.mean(error**2))) < 1.25 * recording.reading.origin("altitude").sigma


def test_a_column_that_is_recorded_less_often_is_bridged(tmp_path: Path) -> None:
    lines = with_column(METRIC.lines(), "T", lambda row, cell: cell if row % 16 == 2 else "")
    lines = with_column(lines, "m", lambda row, cell: cell if row % 64 == 2 else "")
    recording = read(tmp_path, METRIC, lines)
    last = int(np.flatnonzero(~gap(recording, "mass"))[-1])
    assert not gap(recording, "mass")[:last].any()
    error = recording.flight.column("temperature")[:last] - truth()["temperature"][:last]
    assert float(np.sqrt(np.nanmean(error**2))) < 1.25 * recording.reading.origin("temperature").sigma


def stamped(seconds: str, start: datetime) -> str:
    """An ISO timestamp so many seconds after a start."""
    return (start + timedelta(seconds=float(seconds))).isoformat().replace("+00:00", "Z")


@pytest.mark.parametrize("of_day", [False, True], ids=["dates", "times of day"])
def test_timestamps_are_read_also_past_midnight(of_day: bool, tmp_path: Path) -> None:
    start = datetime(2026, 3, 1, 23, 50, tzinfo=UTC)

    def stamp(_row: int, cell: str) -> str:
        whole = stamped(cell, start)
        return whole.split("T")[1].removesuffix("Z") if of_day else whole

    layout = METRIC.but(time=("t", "utc"))
    recording = read(tmp_path, layout, with_column(METRIC.lines(), "t", stamp))
    assert recording.flight.column("time") == pytest.approx(np.arange(recording.reading.points), abs=1e-6)
    bad = with_column(METRIC.lines(), "t", lambda row, _cell: f"row {row}")
    assert "t: is no time ('row 2')" in faults(tmp_path, layout, bad)


def test_minutes_are_seconds_too(tmp_path: Path) -> None:
    lines = with_column(METRIC.lines(), "t", lambda _, cell: f"{float(cell) / 60.0:.6f}")
    recording = read(tmp_path, METRIC.but(time=("t", "min")), lines)
    assert recording.flight.column("time")[-1] == pytest.approx(recording.reading.points - 1.0, abs=1e-3)


def test_positions_of_flaps_by_angle_and_words_for_the_gear(tmp_path: Path) -> None:
    angles = [0.0, 1.0, 10.0, 20.0, 35.0]
    layout = replace(
        METRIC, each={"flaps": {"positions": angles}, "gear": {"words": {"UP": 0.0, "TRANSIT": 0.5, "DOWN": 1.0}}}
    )
    lines = with_column(METRIC.lines(), "flaps", lambda _, cell: f"{np.interp(float(cell), range(5), angles):.4f}")

    def word(_row: int, cell: str) -> str:
        return "up" if float(cell) < 0.01 else "down" if float(cell) > 0.99 else "transit"

    recording = read(tmp_path, layout, with_column(lines, "gear", word))
    points = recording.reading.points
    flaps = truth()["flaps"][:points]
    settled = np.where(np.abs(flaps - np.rint(flaps)) <= MOVES, np.rint(flaps), flaps)
    assert recording.flight.column("flaps") == pytest.approx(settled, abs=1e-3)
    assert set(recording.flight.column("gear")) == {0.0, 0.5, 1.0}
    bad = with_column(lines, "gear", lambda row, cell: "SIDEWAYS" if row == 40 else word(row, cell))
    left = {one.reason: one.rows for one in read(tmp_path, layout, bad).left_out}
    assert left["gear: the cell cannot be read ('SIDEWAYS'); taken as blank"] == (40,)


def test_devices_from_events_move_at_the_pace_of_the_airframe(tmp_path: Path) -> None:
    events = [
        {"at_s": 900.0, "device": "flaps", "to": 1.0},
        {"at_s": 1000.0, "device": "flaps", "to": 2.0},
        {"at_s": 1100.0, "device": "gear", "to": 1.0},
    ]
    recording = read(tmp_path, replace(METRIC.without("flaps", "gear"), more={"events": events}))
    flaps, gear, airframe = recording.flight.column("flaps"), recording.flight.column("gear"), SCENARIO.airframe
    assert (flaps[899], flaps[950], flaps[1050]) == (0.0, 1.0, 2.0)
    assert flaps[903] == pytest.approx(3.0 / airframe.steps[1].travel_time)
    assert gear[1103] == pytest.approx(3.0 / airframe.gear.travel_time)
    told = recording.derived["flaps"]
    assert told.sentence == "from events, at the airframe's pace; how exact their times are is not known"
    assert np.isnan(told.sigma)
    stamped_event = [{"at_time": "2026-03-01T12:00:00", "device": "gear", "to": 1.0}]
    with pytest.raises(InputFault, match="gear event 0"):
        read(tmp_path, replace(METRIC.without("gear"), more={"events": stamped_event}))


def test_fan_speed_stands_for_thrust_as_a_proxy(tmp_path: Path) -> None:
    layout = replace(
        METRIC.without("thrust_fraction").but(fan_speed=("N", "percent")),
        each={"fan_speed": {"positions": [25.0, 95.0]}},
    )
    lines = layout.lines({"fan_speed": 0.25 + 0.7 * truth()["thrust_fraction"]})
    recording = read(tmp_path, layout, lines)
    assert recording.flight.column("thrust_fraction") == pytest.approx(
        truth()["thrust_fraction"][: recording.reading.points], abs=1e-5
    )
    assert "proxy" in recording.derived["thrust_fraction"].sentence


def test_mass_of_the_scenario_is_taken_with_a_warning(tmp_path: Path) -> None:
    recording = read(tmp_path, TRADE.without("fuel_flow"))
    assert recording.flight.column("mass") == pytest.approx(SCENARIO.start.mass)
    assert recording.derived["mass"].source is Source.ASSUMED
    assert any("mass is not recorded: the scenario's" in warning for warning in recording.warnings)
    assert np.isnan(recording.flight.summary.fuel)
    given = read(tmp_path, replace(TRADE, more={"mass": {"at_end_kg": 60000.0}}))
    assert given.flight.column("mass")[-1] == pytest.approx(60000.0)
    mass = given.derived["mass"]
    assert mass.source is Source.DERIVED
    assert mass.sigma == given.reading.origin("fuel_used").sigma > 0.0
    assert "how exact the mass given is, is not known" in mass.sentence
    assert not any("mass" in warning for warning in given.warnings)


def test_temperature_and_wind_of_the_scenario_stand_in(tmp_path: Path) -> None:
    recording = read(tmp_path, TRADE.without("temperature"))
    assert recording.derived["temperature"].source is Source.ASSUMED
    assert "temperature is not recorded: the scenario's is taken" in recording.warnings
    bare = TRADE.without("calibrated_airspeed", "temperature")
    recording = read(tmp_path, bare)
    assert recording.derived["true_airspeed"].sentence == "from ground speed and wind"
    error = recording.flight.column("true_airspeed") - truth()["true_airspeed"][: recording.reading.points]
    assert float(np.sqrt(np.mean(error**2))) < recording.derived["true_airspeed"].sigma


def test_a_setting_of_the_altimeter_goes_with_its_altitude(tmp_path: Path) -> None:
    layout = TRADE.without("pressure_altitude").but(qnh_altitude=("ALT", "ft"), altimeter_setting=("BARO", "hPa"))
    size = truth()["time"].size
    low = {"altimeter_setting": np.full(size, 100000.0), "qnh_altitude": truth()["pressure_altitude"] - 110.9}
    recording = read(tmp_path, layout, layout.lines(low))
    error = recording.flight.column("pressure_altitude") - truth()["pressure_altitude"][: recording.reading.points]
    # 1000 hPa lies 110.9 m up in the standard atmosphere (ICAO Doc 7488/3)
    assert abs(float(error.mean())) < 0.5


def test_distance_in_tenths_of_a_mile_still_falls(tmp_path: Path) -> None:
    tenths = with_column(TRADE.lines(), "DIST", lambda _, cell: f"{float(cell):.1f}")
    recording = read(tmp_path, TRADE, tenths)
    to_go = recording.flight.column("distance_to_go")
    assert np.all(np.diff(to_go) < 0.0)
    error = to_go - truth()["distance_to_go"][: to_go.size]
    assert np.abs(error).max() < 185.2, "no further off than the last digit"


def test_a_distance_that_turns_back_is_told(tmp_path: Path) -> None:
    held = with_column(
        TRADE.lines(), "DIST", lambda row, cell: f"{float(cell) + 4.0 * np.exp(-(((row - 700) / 20.0) ** 2)):.4f}"
    )
    recording = read(tmp_path, TRADE, held)
    assert any("distance to go turns back by" in warning for warning in recording.warnings)
    assert np.all(np.diff(recording.flight.column("distance_to_go")) < 0.0)


def test_a_recording_that_begins_late_is_not_judged_at_windows_before_it(tmp_path: Path) -> None:
    lines = METRIC.lines()
    late = [lines[0], *lines[1000:]]
    recording = read(tmp_path, METRIC, late)
    demands = {breach.demand for breach in recording.flight.summary.breaches}
    assert not demands & {window.name for window in SCENARIO.arrival.windows}


def test_a_speed_beyond_a_limit_is_told_beyond_what_can_be_read(tmp_path: Path) -> None:
    limit = SCENARIO.arrival.speed_limits[0]
    fast = truth() | {}
    low = fast["pressure_altitude"] < 9000.0 * FOOT
    over = np.where(low & (fast["calibrated_airspeed"] > 240.0 * KNOT), 6.0 * KNOT, 0.0)
    assert over.any()
    layout = TRADE.but(ground_speed=("GS", "kt"))
    recording = read(tmp_path, layout, layout.lines({"calibrated_airspeed": fast["calibrated_airspeed"] + over}))
    found = [one for one in recording.flight.summary.breaches if one.demand == "largest speed"]
    assert len(found) == 1
    assert found[0].amount > 4.0 * recording.reading.origin("calibrated_airspeed").sigma
    assert limit.speed == pytest.approx(250.0 * KNOT)


def test_the_reading_goes_into_json_with_units(tmp_path: Path) -> None:
    recording = read(tmp_path, TRADE.without("gear"))
    plain = json.loads(json.dumps(flight_plain(recording.flight), allow_nan=False))
    assert plain["kind"] == "recording"
    told = {one["quantity"]: one for one in plain["reading"]["origins"]}
    assert told["vertical_speed"]["unit"] == "m s-1"
    assert told["gear"]["source"] == "not known"
    assert told["gear"]["sigma"] is None
    assert plain["reading"]["rows"] == len(TRADE.lines()) - 1


def test_a_recording_is_what_identify_reads(tmp_path: Path) -> None:
    recording = read(tmp_path, METRIC)
    found = segments_of([("flight.csv", recording.flight)], SCENARIO.airframe, MeasuredSpeed.TRUE, None, 90.0)
    assert found
    assert {one.step for one in found} <= {0, 1, 2, 3, 4}


def test_a_distance_that_stands_still_falls_straight_between_its_steps(tmp_path: Path) -> None:
    lines = with_column(METRIC.lines(), "vg", lambda row, cell: "0" if 200 <= row < 260 else cell)
    layout = replace(METRIC.without("distance_to_go"), more={"distance": {"kind": "ground speed", "last_nm": 0.0}})
    recording = read(tmp_path, layout, lines)
    assert np.all(np.diff(recording.flight.column("distance_to_go")) < 0.0)
    assert any("frozen" in one.reason for one in recording.left_out)


def test_a_speed_at_which_nothing_flies_is_blank_and_told(tmp_path: Path) -> None:
    lines = with_column(METRIC.lines(), "v", lambda row, cell: "3.0" if 700 <= row < 710 else cell)
    recording = read(tmp_path, METRIC, lines)
    assert gap(recording, "true_airspeed")[698:708].all()
    assert any("10 points have a speed at which nothing flies" in warning for warning in recording.warnings)
