"""Demands that contradict each other, with the amount."""

from __future__ import annotations

from typing import Any

import pytest

from optdescent.arrival import Arrival, arrival_faults
from optdescent.inputs import validated, with_settings

BASE: dict[str, Any] = {
    "airport": "Made (invented)",
    "elevation_ft": 100.0,
    "course_deg": 90.0,
    "windows": [
        {"name": "FAR", "distance_nm": 60.0, "altitude_at_least_ft": 16000, "altitude_at_most_ft": 22000},
        {"name": "NEAR", "distance_nm": 30.0, "altitude_at_least_ft": 7000, "altitude_at_most_ft": 10000},
    ],
}


def faults(*settings: str, data: dict[str, Any] = BASE) -> dict[str, str]:
    found = arrival_faults(validated(Arrival, with_settings(data, settings), "x"))
    return {key: f"{given}; {allowed}" for key, given, allowed in found}


def test_a_consistent_arrival_has_none() -> None:
    assert faults() == {}


def test_defaults_are_consistent() -> None:
    assert faults(data={"airport": "Made (invented)", "elevation_ft": 0, "course_deg": 0}) == {}


@pytest.mark.parametrize(
    ("what", "low", "high", "unit", "amount"),
    [
        ("altitude", 23000, 22000, "ft", "1000 ft"),
        ("altitude", 22001, 22000, "ft", "1 ft"),
        ("speed", 280, 250, "kt", "30 kt"),
    ],
)
def test_a_window_that_contradicts_itself_is_named_with_the_amount(
    what: str, low: int, high: int, unit: str, amount: str
) -> None:
    found = faults(f"windows[0].{what}_at_least_{unit}={low}", f"windows[0].{what}_at_most_{unit}={high}")
    message = found[f"arrival.windows[0].{what}_at_least_{unit}"]
    assert "'FAR'" in message
    assert str(low) in message
    assert str(high) in message
    assert f"cross by {amount}" in message


def test_a_window_may_be_a_point() -> None:
    assert faults("windows[0].altitude_at_least_ft=18000", "windows[0].altitude_at_most_ft=18000") == {}


@pytest.mark.parametrize("order", [1, -1])
def test_two_windows_that_need_a_climb_are_named_with_the_amount_in_any_order(order: int) -> None:
    data = {**BASE, "windows": BASE["windows"][::order]}
    far = 0 if order == 1 else 1
    found = faults(f"windows[{far}].altitude_at_least_ft=5000", f"windows[{far}].altitude_at_most_ft=6500", data=data)
    message = found["arrival.windows"]
    assert "'NEAR' at least 7000 ft" in message
    assert "'FAR' at most 6500 ft" in message
    assert "500 ft" in message.partition("these need")[2]


def test_two_windows_at_one_distance_that_contradict_are_named() -> None:
    """At the same place one asks for at most 10 000 ft and the other for at least 16 000 ft: 6000 ft apart."""
    assert "6000 ft" in faults("windows[0].distance_nm=30")["arrival.windows"]


def test_every_pair_of_windows_is_looked_at() -> None:
    data = {**BASE, "windows": [*BASE["windows"], {"name": "LAST", "distance_nm": 20.0, "altitude_at_least_ft": 23000}]}
    found = arrival_faults(validated(Arrival, data, "x"))
    assert len(found) == 2
    assert any("FAR" in given for _, given, _ in found)
    assert any("NEAR" in given for _, given, _ in found)


def test_capture_heights_must_be_in_order() -> None:
    found = faults("glide_path.capture_at_least_ft=3300", "glide_path.capture_at_most_ft=3000")
    assert "at least 3300 ft, at most 3000 ft" in found["arrival.glide_path"]


def test_the_gate_lies_below_the_capture() -> None:
    found = faults("glide_path.capture_at_least_ft=1000", "gate.height_ft=1500")
    assert "gate at 1500 ft, capture from 1000 ft" in found["arrival.gate.height_ft"]


def test_the_stretch_below_the_path_reaches_the_highest_capture() -> None:
    """3200 ft on a 3° path is (3200 − 50)/318.4 = 9.9 nm out."""
    found = faults("glide_path.below_within_nm=9")
    assert "got 9.0 nm" in found["arrival.glide_path.below_within_nm"]
    assert "9.9 nm" in found["arrival.glide_path.below_within_nm"]


def test_every_contradiction_is_found_in_one_pass() -> None:
    found = faults(
        "windows[0].altitude_at_least_ft=23000",
        "windows[1].speed_at_least_kt=250",
        "windows[1].speed_at_most_kt=240",
        "glide_path.capture_at_least_ft=3300",
        "glide_path.capture_at_most_ft=3000",
        "glide_path.below_within_nm=5",
    )
    assert set(found) == {
        "arrival.windows[0].altitude_at_least_ft",
        "arrival.windows[1].speed_at_least_kt",
        "arrival.glide_path",
        "arrival.glide_path.below_within_nm",
    }


def test_the_track_follows_the_course() -> None:
    arrival = validated(Arrival, BASE, "x")
    assert float(arrival.track.course(-1000.0)) == pytest.approx(1.5707963267948966)
