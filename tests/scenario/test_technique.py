"""Techniques as a scenario file declares them, and what a crew's seed decides."""

from __future__ import annotations

import json
import pickle

import numpy as np
import pytest

from optdescent.inputs import InputFault
from optdescent.scenario import BelievedWind, Scenario, Technique
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE
from tests.scenario.files import scenario


def faults(*settings: str) -> dict[str, str]:
    with pytest.raises(InputFault) as caught:
        scenario(*settings)
    return {fault.key: f"{fault.given}; {fault.allowed}" for fault in caught.value.faults}


def crew(**keys: str | float) -> Technique:
    """Technique of a scenario with keys of that table."""
    return scenario(*(f"technique.{key}={value}" for key, value in keys.items())).technique


def test_without_the_table_the_crew_is_perfect() -> None:
    perfect = scenario().technique
    assert perfect == Technique()
    assert perfect.check_every == perfect.height_error == perfect.late == perfect.wind_error == 0.0
    assert perfect.wind is BelievedWind.MET
    assert perfect.drawn.late == perfect.drawn.wind_error == 0.0


def test_values_are_si_in_memory() -> None:
    found = crew(
        check_every_s=60, height_error_ft=300, sink_rounding_ft_per_min=100, wind_error_kt=10, window_speed_within_nm=8
    )
    assert found.check_every == 60.0
    assert found.height_error == pytest.approx(300.0 * FOOT)
    assert found.sink_rounding == pytest.approx(100.0 * FOOT_PER_MINUTE)
    assert found.wind_error == pytest.approx(10.0 * KNOT)
    assert found.window_speed_within == pytest.approx(8.0 * NAUTICAL_MILE)
    assert crew(limit_ramp_kt_per_1000ft=30).limit_ramp == pytest.approx(30.0 * KNOT / (1000.0 * FOOT))


@pytest.mark.parametrize(
    ("setting", "key", "words"),
    [
        ("late_s=-1", "late_s", "got -1; 0 to 120 s"),
        ("late_s=121", "late_s", "got 121; 0 to 120 s"),
        ("late=10", "late", "nearest known key is 'late_s'"),
        ("check_every_min=1", "check_every_min", "nearest known key is 'check_every_s'"),
        ("wind=guessed", "wind", "'met', 'forecast' or 'none'"),
        ("seed=1.5", "seed", "a whole number"),
        ("seed=-1", "seed", "got -1"),
        ('height_error_ft="300"', "height_error_ft", "a number"),
        ("sink_rounding_ft_per_min=nan", "sink_rounding_ft_per_min", "a finite number"),
    ],
)
def test_a_fault_is_named(setting: str, key: str, words: str) -> None:
    found = faults(f"technique.{setting}")
    assert set(found) == {f"technique.{key}"}
    assert words in found[f"technique.{key}"]


def test_all_faults_of_a_technique_are_told_in_one_pass() -> None:
    found = faults("technique.late_s=-1", "technique.wind=guessed", "technique.pitch_time_s=0", "start.mach=2")
    assert set(found) == {"technique.late_s", "technique.wind", "technique.pitch_time_s", "start.mach"}


@pytest.mark.parametrize(("kind", "unit"), [("height", "ft"), ("speed", "kt")])
@pytest.mark.parametrize("full", [60, 50])
def test_full_brake_comes_after_the_first_of_it(kind: str, unit: str, full: int) -> None:
    found = faults(f"technique.brake_from_{kind}_{unit}=60", f"technique.brake_full_{kind}_{unit}={full}")
    told = f"got {full}, not above brake_from_{kind}_{unit}; more than 60 {unit}"
    assert found == {f"technique.brake_full_{kind}_{unit}": told}


def test_errors_are_made_at_checks() -> None:
    found = faults("technique.height_error_ft=300")
    told = "got 300 without checks; 0, or check_every_s above 0: errors are made at checks"
    assert found == {"technique.height_error_ft": told}
    assert crew(height_error_ft=300, check_every_s=60).height_error == pytest.approx(300.0 * FOOT)


def test_a_perfect_crew_is_not_part_of_what_a_scenario_s_fingerprint_is_taken_of() -> None:
    """What was asked before crews could differ keeps its fingerprint, with the table or without."""
    plain, told, late = scenario(), scenario("technique.late_s=0"), scenario("technique.late_s=5")
    assert "technique" not in json.loads(plain.text)["scenario"]
    assert plain.text == told.text
    assert plain.digest == told.digest
    assert json.loads(late.text)["scenario"]["technique"]["late"] == 5.0
    assert late.digest != plain.digest
    assert scenario("technique.late_s=5", "technique.seed=1").digest != late.digest


def test_a_scenario_with_a_technique_can_be_sent_to_another_process() -> None:
    made = scenario("technique.late_s=5", "technique.wind=forecast")
    again: Scenario = pickle.loads(pickle.dumps(made))
    assert again.technique == made.technique
    assert again.technique.wind is BelievedWind.FORECAST


# what the seed decides


def drawn(count: int = 400, **keys: str | float) -> np.ndarray:
    """Delay [s] and error of the believed wind [kt] of many crews (crew, 2)."""
    base = crew(**keys)
    crews = [base.model_copy(update={"seed": seed}).drawn for seed in range(count)]
    return np.array([[one.late, one.wind_error / KNOT] for one in crews])


def test_the_same_seed_draws_the_same() -> None:
    same = [crew(late_s=10, late_spread_s=5, wind_error_kt=10, seed=7).drawn for _ in range(2)]
    assert same[0] == same[1]
    assert crew(late_s=10, late_spread_s=5, wind_error_kt=10, seed=8).drawn != same[0]


def test_delays_and_errors_have_the_size_they_are_said_to_have() -> None:
    late, wind = drawn(late_s=30, late_spread_s=5, wind_error_kt=12).T
    assert late.mean() == pytest.approx(30.0, abs=3.0 * 5.0 / 20.0)
    assert late.std() == pytest.approx(5.0, rel=0.15)
    assert wind.mean() == pytest.approx(0.0, abs=3.0 * 12.0 / 20.0)
    assert wind.std() == pytest.approx(12.0, rel=0.15)
    assert abs(float(np.corrcoef(late, wind)[0, 1])) < 0.15


def test_nobody_acts_before_it_is_due() -> None:
    late = drawn(late_s=2, late_spread_s=10)[:, 0]
    assert late.min() == 0.0
    assert 0.25 < np.mean(late == 0.0) < 0.6
    assert late.max() > 10.0


def test_without_a_spread_all_crews_are_equally_late() -> None:
    found = drawn(count=20, late_s=8)
    assert np.array_equal(found, np.tile([8.0, 0.0], (20, 1)))
