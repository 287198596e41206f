"""Geometry and procedure: published gradients, legends, rules of distance.

Sources are named beside each check; "exact" is trigonometry with the exact units.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import pytest

from optdescent.airframe import read_airframe
from optdescent.arrival import Arrival, Gate, GlidePath
from optdescent.inputs import validated
from optdescent.motion.equations import air_at, passage, path_angle_on
from optdescent.rules import read_rules
from optdescent.rules.parts import HeightProfile, RuleFile
from optdescent.rules.rule import Place, asked
from optdescent.scenario import Scenario
from optdescent.units import FOOT, FOOT_PER_MINUTE, FOOT_PER_NAUTICAL_MILE, KNOT, NAUTICAL_MILE
from tests.simulation import air, eastbound

PATH = GlidePath()
AIRFRAME = read_airframe("narrow-body-twin")
ARRIVAL = validated(Arrival, {"airport": "Made (invented)", "elevation_ft": 0, "course_deg": 90}, "x")
STUDY = Path(__file__).resolve().parents[2] / "studies" / "first_descent" / "scenario.toml"


def height_asked(profile: dict[str, Any], to_go: float, tailwind: float = 0.0, descent: float = 160.0) -> float:
    """Height [ft] a profile asks for at a distance to go [nm] while the planned speed is `descent` [kt]."""
    speeds = {"descent_kt": descent, "by": []}
    rule = {"name": "x", "title": "x", "source": "x", "profile": profile, "speeds": speeds}
    made = validated(RuleFile, {"rules": [rule]}, "x").rules[0]
    place = Place(-to_go * NAUTICAL_MILE, 3000.0, 3000.0, 70000.0, tailwind * KNOT, 60000.0)
    return float(asked(made, AIRFRAME, ARRIVAL, place, 0.0, 0.78).height) / FOOT


def test_three_degrees() -> None:
    """Exact: 318.44 ft/nm, 5.2408 %, 5.3073 ft/min for each knot of ground speed."""
    assert PATH.gradient / FOOT_PER_NAUTICAL_MILE == pytest.approx(318.44, abs=5.1e-3)
    assert PATH.gradient * 100.0 == pytest.approx(5.2408, abs=5.1e-5)
    assert PATH.gradient * KNOT / FOOT_PER_MINUTE == pytest.approx(5.3073, abs=5.1e-5)


@pytest.mark.parametrize("tailwind", [-30.0, 0.0, 20.0])
@pytest.mark.parametrize(("ground_speed", "sink"), [(90, 480), (120, 635), (150, 795), (180, 955)])
def test_rate_of_descent_legend(ground_speed: float, sink: float, tailwind: float) -> None:
    """Rate-of-descent legend of the US terminal procedures charts, ± 5 ft/min; the equations fly it in any wind."""
    around = eastbound(AIRFRAME, air(east=tailwind * KNOT))
    sample = air_at(around, 0.0, 500.0)
    true = (ground_speed - tailwind) * KNOT
    for _ in range(3):  # the true airspeed that gives the ground speed on the path
        angle = path_angle_on(PATH.gradient, sample, true)
        true = (ground_speed - tailwind) * KNOT / math.cos(angle)
    over = passage(sample, true, path_angle_on(PATH.gradient, sample, true))
    assert float(over.ground_speed) / KNOT == pytest.approx(ground_speed, abs=1e-3)
    assert -float(over.vertical_speed) / FOOT_PER_MINUTE == pytest.approx(sink, abs=5.0)


def test_five_times_ground_speed_is_not_three_degrees() -> None:
    """5 ft/min for each knot is 300 ft/nm, 2.83°, 5.8 % below the 3.00° rate of 5.307 (exact)."""
    five = 5.0 * FOOT_PER_MINUTE / KNOT
    assert five / FOOT_PER_NAUTICAL_MILE == pytest.approx(300.0)
    assert math.degrees(math.atan(five)) == pytest.approx(2.83, abs=5.1e-3)
    assert (1.0 - five / PATH.gradient) * 100.0 == pytest.approx(5.8, abs=0.051)
    height = height_asked({"kind": "height", "gradient_ft_per_nm": 300.0}, 10.0)
    assert height == pytest.approx(3000.0)
    assert height / (float(PATH.height(-10.0 * NAUTICAL_MILE) - PATH.height(0.0)) / FOOT) == pytest.approx(
        1.0 - 0.058, abs=5.1e-4
    )


def test_three_to_one() -> None:
    """FAA-H-8083-16, arrivals (from memory): 25 000 ft to lose take 75 nm; exactly 3° they take 78.5 nm."""
    three_to_one = {"kind": "distance", "terms": [{"kind": "height_to_lose", "distance_nm": 3.0}]}
    assert height_asked(three_to_one, 75.0) == pytest.approx(25000.0)
    assert -PATH.distance(25000.0 * FOOT + PATH.threshold_crossing_height) / NAUTICAL_MILE == pytest.approx(
        78.5, abs=0.051
    )
    assert height_asked({"kind": "angle", "angle_deg": 3.0}, 78.51) - 50.0 == pytest.approx(25000.0, abs=1.6)


def test_three_to_one_is_a_path_of_its_own() -> None:
    """3 nm for 1000 ft is a 3.14° path (exact)."""
    per_mile = height_asked({"kind": "distance", "terms": [{"kind": "height_to_lose", "distance_nm": 3.0}]}, 1.0)
    assert math.degrees(math.atan(per_mile * FOOT_PER_NAUTICAL_MILE)) == pytest.approx(3.14, abs=5.1e-3)


def test_one_mile_for_ten_knots() -> None:
    """Common practice, no source: 300 to 210 kt adds 9 nm, and each 10 kt of tailwind 1 nm.

    The speed to lose is above the approach speed, so the difference between two planned speeds is looked at.
    """
    terms = [
        {"kind": "height_to_lose", "distance_nm": 3.0},
        {"kind": "speed_to_lose", "distance_nm": 1.0},
        {"kind": "tailwind", "distance_nm": 1.0},
    ]
    profile = {"kind": "distance", "terms": terms}
    lower = height_asked(profile, 60.0, descent=210.0) - height_asked(profile, 60.0, descent=300.0)
    assert lower * 3.0 / 1000.0 == pytest.approx(9.0)
    lower = height_asked(profile, 60.0) - height_asked(profile, 60.0, tailwind=40.0)
    assert lower * 3.0 / 1000.0 == pytest.approx(4.0)


@pytest.mark.parametrize("gradient", [250.0, 350.0])
def test_preferred_descent_gradients(gradient: float) -> None:
    """FAA AIM, arrival procedures (from memory): 250-350 ft/nm; our 3° path and the library's rule lie inside."""
    rule = next(rule for rule in read_rules("library") if rule.name == "300-with-allowances")
    assert isinstance(rule.profile, HeightProfile)
    for inside in (PATH.gradient, rule.profile.gradient):
        assert (inside / FOOT_PER_NAUTICAL_MILE > gradient) == (gradient == 250.0)


@pytest.mark.parametrize(("height", "distance"), [(1000.0, 2.983), (500.0, 1.413)])
def test_path_origin(height: float, distance: float) -> None:
    """ICAO Doc 8168 vol. II: 50 ft above the threshold; the distances are trigonometry."""
    assert -PATH.distance(height * FOOT) / NAUTICAL_MILE == pytest.approx(distance, abs=5.1e-4)
    assert float(PATH.height(0.0)) / FOOT == pytest.approx(50.0)


def test_the_gate_is_inside_the_elements_of_a_stabilised_approach() -> None:
    """FSF ALAR briefing note 7.1 (from memory): by 1000 ft, VREF to VREF + 20 kt, sink at most 1000 ft/min, landing
    configuration.

    ICAO Doc 8168 vol. II: a final above 3.5° or above 1000 ft/min is steep.
    """
    gate = Gate()
    assert gate.height / FOOT == pytest.approx(1000.0)
    assert (gate.speed_above_reference + gate.speed_over) / KNOT <= 20.0
    assert gate.speed_above_reference - gate.speed_under >= 0.0
    assert gate.sink / FOOT_PER_MINUTE <= 1000.0 + 1e-9
    assert gate.gear_down
    assert gate.landing_configuration
    assert math.degrees(PATH.angle) <= 3.5


def test_the_study_keeps_the_speed_limit_of_the_regulation() -> None:
    """14 CFR 91.117(a): 250 kt IAS below 10 000 ft MSL."""
    limits = Scenario.from_toml(STUDY).arrival.speed_limits
    assert any(limit.below_altitude / FOOT >= 10000.0 - 1e-6 and limit.speed / KNOT <= 250.0 + 1e-9 for limit in limits)
