"""Terms of a rule: how many miles each adds at a place, worked out by hand."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Any

import casadi as ca
import pytest
from hypothesis import given

from optdescent.air import atmosphere
from optdescent.airframe import read_airframe
from optdescent.arrival import Arrival
from optdescent.inputs import validated
from optdescent.rules.believed import layers
from optdescent.rules.parts import Rule, RuleFile, SpeedName
from optdescent.rules.rule import Place, asked, earlier_by, named_speed, planned_speed
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.strategies import between, fractions, masses, winds

AIRFRAME = read_airframe("narrow-body-twin")
ARRIVAL = validated(Arrival, {"airport": "Made (invented)", "elevation_ft": 0, "course_deg": 90}, "x")
TO_LOSE = {"kind": "height_to_lose", "distance_nm": 3.0}
PROFILES: dict[str, dict[str, Any]] = {
    "height": {"kind": "height", "gradient_ft_per_nm": 300.0},
    "angle": {"kind": "angle", "angle_deg": 3.0},
    "points": {
        "kind": "points",
        "points": [{"distance_nm": 40, "height_ft": 12000}, {"distance_nm": 20, "height_ft": 5000}],
    },
}


def rule(profile: dict[str, Any], descent: float = 280.0, **parts: Any) -> Rule:
    """A rule that plans one descent speed [kt] to the threshold."""
    told = {"name": "x", "title": "x", "source": "x", "profile": profile, "speeds": {"descent_kt": descent}, **parts}
    return validated(RuleFile, {"rules": [told]}, "x").rules[0]


def place(to_go: float = 40.0, altitude: float = 9000.0, tailwind: float = 0.0, **more: Any) -> Place:
    """Place at a distance to go [nm] and altitude [ft] with a tailwind [kt]; airport at sea level, 60 t."""
    height = altitude * FOOT
    given = {"mass": 60000.0, **more}
    return Place(-to_go * NAUTICAL_MILE, height, height, float(atmosphere.pressure(height)), tailwind * KNOT, **given)


def height(made: Rule, at: Place) -> float:
    """Height [ft] asked for."""
    return float(asked(made, AIRFRAME, ARRIVAL, at, 0.0, 0.78).height) / FOOT


def miles(term: dict[str, Any], at: Place, descent: float = 280.0) -> float:
    """Miles by which one term begins the descent earlier: 1000 ft lower is 3 nm earlier."""
    alone = rule({"kind": "distance", "terms": [TO_LOSE]}, descent)
    joined = rule({"kind": "distance", "terms": [TO_LOSE, term]}, descent)
    return 3.0 * (height(alone, at) - height(joined, at)) / 1000.0


def layered(low: float, high: float) -> float:
    """Mean of a tailwind [m/s] that grows by 10 kt for each 10 000 ft."""
    return 10.0 * KNOT * 0.5 * (low + high) / (10000.0 * FOOT)


def against(low: float, high: float) -> float:
    """The same as a headwind."""
    return -layered(low, high)


def band(low: float, high: float) -> dict[str, float]:
    """A band of heights [1000 ft]."""
    return {"above_height_ft": 1000.0 * low, "below_height_ft": 1000.0 * high}


APPROACH = float(named_speed(AIRFRAME, ARRIVAL, SpeedName.APPROACH, 60000.0)) / KNOT
COUNTED: list[tuple[dict[str, Any], dict[str, Any], float]] = [
    ({"kind": "speed_to_lose", "distance_nm": 1.0, "per_speed_kt": 10.0}, {}, (280.0 - APPROACH) / 10.0),
    ({"kind": "speed_to_lose", "distance_nm": 2.0, "per_speed_kt": 25.0}, {}, (280.0 - APPROACH) * 0.08),
    ({"kind": "tailwind", "distance_nm": 1.0, "per_wind_kt": 10.0}, {"tailwind": 30.0}, 3.0),
    ({"kind": "tailwind", "distance_nm": 2.0, "per_wind_kt": 15.0}, {"tailwind": -30.0}, -4.0),
    ({"kind": "tailwind_only", "distance_nm": 1.0}, {"tailwind": 30.0}, 3.0),
    ({"kind": "tailwind_only", "distance_nm": 1.0}, {"tailwind": -30.0}, 0.0),
    ({"kind": "headwind_only", "distance_nm": -1.0}, {"tailwind": -30.0}, -3.0),
    ({"kind": "headwind_only", "distance_nm": -1.0}, {"tailwind": 30.0}, 0.0),
    ({"kind": "tailwind", "distance_nm": 1.0, **band(2, 8)}, {"tailwind": 99.0, "mean_tailwind": layered}, 0.5),
    ({"kind": "tailwind", "distance_nm": 1.0, **band(8, 10)}, {"tailwind": 99.0, "mean_tailwind": layered}, 0.45),
    ({"kind": "tailwind", "distance_nm": 1.0, **band(9, 20)}, {"tailwind": 99.0, "mean_tailwind": layered}, 0.0),
    ({"kind": "tailwind", "distance_nm": 1.0, **band(2, 8)}, {"tailwind": 20.0}, 2.0),
    ({"kind": "tailwind_only", "distance_nm": 1.0, **band(2, 8)}, {"mean_tailwind": layered}, 0.5),
    ({"kind": "headwind_only", "distance_nm": -1.0, **band(2, 8)}, {"mean_tailwind": layered}, 0.0),
    ({"kind": "headwind_only", "distance_nm": -1.0, **band(2, 8)}, {"mean_tailwind": against}, -0.5),
    ({"kind": "tailwind_only", "distance_nm": 1.0, **band(2, 8)}, {"mean_tailwind": against}, 0.0),
    ({"kind": "mass_above", "distance_nm": 1.0, "reference_t": 55.0, "per_mass_t": 2.0}, {}, 2.5),
    ({"kind": "mass_above", "distance_nm": 1.0, "reference_t": 62.0}, {}, -2.0),
    ({"kind": "temperature_offset", "distance_nm": 1.0}, {"temperature_offset": 15.0}, 1.5),
    ({"kind": "temperature_offset", "distance_nm": 2.0, "per_temperature_k": 5.0}, {"temperature_offset": -10.0}, -4.0),
    ({"kind": "anti_ice", "distance_nm": 4.0}, {}, 0.0),
    ({"kind": "anti_ice", "distance_nm": 4.0}, {"anti_ice": 1.0}, 4.0),
    ({"kind": "anti_ice", "distance_nm": 4.0}, {"anti_ice": 0.25}, 1.0),
    ({"kind": "gear_down", "distance_nm": -3.0}, {"gear": 1.0}, -3.0),
    ({"kind": "gear_down", "distance_nm": -3.0}, {}, 0.0),
    ({"kind": "steps_out", "distance_nm": -1.0}, {"steps": 2.0}, -2.0),
    ({"kind": "always", "distance_nm": 5.0}, {}, 5.0),
]


@pytest.mark.parametrize(("term", "at", "expected"), COUNTED)
def test_a_term_adds_its_share_of_miles(term: dict[str, Any], at: dict[str, Any], expected: float) -> None:
    assert miles(term, place(**at)) == pytest.approx(expected, abs=1e-9)


@pytest.mark.parametrize("kind", PROFILES)
@pytest.mark.parametrize(("term", "at", "expected"), COUNTED)
def test_a_term_moves_every_profile_by_its_miles(
    kind: str, term: dict[str, Any], at: dict[str, Any], expected: float
) -> None:
    """With the term, the profile asks at a place for what it asks without it so many miles nearer."""
    there = place(**at)
    nearer = place(**{**at, "to_go": 40.0 - expected})
    shifted = height(rule({**PROFILES[kind], "terms": [term]}), there)
    assert shifted == pytest.approx(height(rule(PROFILES[kind]), nearer), abs=1e-6)
    assert (shifted == pytest.approx(height(rule(PROFILES[kind]), there))) is (abs(expected) < 1e-9)


@pytest.mark.parametrize("by", [{"distance_nm": 20.0}, {"height_ft": 6000.0}])
def test_terms_bring_a_speed_by_a_place_earlier(by: dict[str, float]) -> None:
    """Slowing at 10 kt a mile, by a height along 300 ft a mile: each mile earlier is 10 kt less, down to the speed.

    15 kt of tailwind at a mile for each 10 kt are 1.5 miles, or 2 in whole ones, of the 6 that are left.
    """
    term = {"kind": "tailwind", "distance_nm": 1.0, "per_wind_kt": 10.0}
    profile = {"kind": "angle", "angle_deg": 3.0}

    def planned(tailwind: float, **more: Any) -> float:
        speeds = {"descent_kt": 300.0, "by": [{**by, "speed_kt": 200.0, **more}]}
        at = place(26.0, 7800.0, tailwind)
        return float(planned_speed(rule(profile, speeds=speeds), AIRFRAME, ARRIVAL, at, 0.0, 0.78)) / KNOT

    assert planned(15.0) == pytest.approx(260.0)
    assert planned(15.0, terms=[term]) == pytest.approx(245.0)
    assert planned(15.0, terms=[term], round_up_nm=1.0) == pytest.approx(240.0)
    assert planned(-15.0, terms=[term]) == pytest.approx(275.0)
    assert planned(90.0, terms=[term]) == pytest.approx(200.0)


def test_speed_to_lose_counts_the_planned_speed_and_nothing_below_the_approach_speed() -> None:
    term = {"kind": "speed_to_lose", "distance_nm": 1.0}
    assert miles(term, place(), 160.0) == pytest.approx((160.0 - APPROACH) / 10.0)
    heavy = 90000.0
    assert float(named_speed(AIRFRAME, ARRIVAL, SpeedName.APPROACH, heavy)) / KNOT > 150.0
    assert miles(term, place(mass=heavy), 150.0) == 0.0


@pytest.mark.parametrize(
    ("altitude", "share"),
    [(12000.0, 1.0), (10000.0, 1.0), (9000.0, 0.75), (7000.0, 0.25), (6000.0, 0.0), (2000.0, 0.0)],
)
def test_the_mean_wind_of_a_band_counts_for_the_part_of_it_that_is_still_below(altitude: float, share: float) -> None:
    """8 kt on the mean of 6000 to 10 000 ft."""
    term = {"kind": "tailwind", "distance_nm": 1.0, **band(6, 10)}
    assert miles(term, place(altitude=altitude, mean_tailwind=layered)) == pytest.approx(0.8 * share)


def test_the_mean_of_a_band_is_over_layers_of_at_most_2500_ft() -> None:
    middles = [height / FOOT for height in layers(10000.0 * FOOT, 16000.0 * FOOT)]
    assert middles == pytest.approx([11000.0, 13000.0, 15000.0])
    assert [len(layers(0.0, feet * FOOT)) for feet in (1.0, 2500.0, 2501.0, 50000.0)] == [1, 1, 2, 20]


@pytest.mark.parametrize(
    ("extra", "step", "counted"),
    [
        (2.1, 0.0, 2.1),
        (2.1, 1.0, 3.0),
        (2.0, 1.0, 2.0),
        (2.1, 5.0, 5.0),
        (0.0, 5.0, 0.0),
        (-2.1, 1.0, -2.0),
        (-7.0, 5.0, -5.0),
    ],
)
def test_the_other_terms_are_rounded_up_together(extra: float, step: float, counted: float) -> None:
    """Up is earlier: miles to spare, never miles short. What the height needs is not rounded."""
    terms = [TO_LOSE, {"kind": "always", "distance_nm": extra + 1.0}, {"kind": "always", "distance_nm": -1.0}]
    made = rule({"kind": "distance", "terms": terms, "round_up_nm": step})
    assert height(made, place(to_go=41.0)) == pytest.approx((41.0 - counted) / 3.0 * 1000.0, abs=1e-6)
    for profile in PROFILES.values():
        rounded = rule({**profile, "terms": terms[1:], "round_up_nm": step})
        assert height(rounded, place(to_go=41.0)) == pytest.approx(height(rule(profile), place(to_go=41.0 - counted)))


def test_terms_add_up_whatever_their_order() -> None:
    terms = [term for term, _, _ in COUNTED]
    at = place(tailwind=20.0, mean_tailwind=layered, temperature_offset=15.0, anti_ice=1.0, gear=1.0, steps=3.0)
    each = sum(miles(term, at) for term in terms)
    for order in (terms, terms[::-1]):
        together = rule({"kind": "distance", "terms": [*order[:3], TO_LOSE, *order[3:]]})
        alone = rule({"kind": "distance", "terms": [TO_LOSE]})
        assert 3.0 * (height(alone, at) - height(together, at)) / 1000.0 == pytest.approx(each)


@given(winds, masses, between(-40.0, 35.0), fractions, fractions, between(0.0, 4.0), between(0.0, 13000.0))
def test_expressions_count_the_same(
    tailwind: float, mass: float, warm: float, anti_ice: float, gear: float, steps: float, up: float
) -> None:
    shifts = rule({**PROFILES["height"], "terms": [term for term, _, _ in COUNTED]}).profile.terms
    symbols = ca.SX.sym("z", 7)

    def total(wind: Any, of: Any, warmth: Any, ice: Any, down: Any, out: Any, high: Any) -> Any:
        def there(low: float, high: float) -> Any:
            return wind + (high - low) * 1e-3

        return earlier_by(shifts, Place(-5e4, high, high, 7e4, wind, of, warmth, ice, down, out, there), 50.0)

    counted: Callable[..., Any] = ca.Function("miles", [symbols], [total(*ca.vertsplit(symbols))])
    given_values = [tailwind, mass, warm, anti_ice, gear, steps, up]
    assert float(counted(given_values)) == pytest.approx(float(total(*given_values)), rel=1e-12, abs=1e-6)


# heights at distances


THROUGH = [
    {"distance_nm": 60, "height_ft": 18000},
    {"distance_nm": 30, "height_ft": 9000},
    {"distance_nm": 20, "height_ft": 9000},
    {"distance_nm": 5, "height_ft": 1500},
]


@pytest.mark.parametrize(
    ("to_go", "feet", "per_mile"),
    [
        (100.0, 18000.0 + 40.0 * 250.0, 250.0),  # before the first: the rule's own gradient
        (60.0, 18000.0, 250.0),
        (45.0, 13500.0, 300.0),
        (30.0, 9000.0, 300.0),
        (25.0, 9000.0, 0.0),
        (20.0, 9000.0, 0.0),
        (12.5, 5250.0, 500.0),
        (5.0, 1500.0, 500.0),
        (3.0, 500.0, 500.0),  # the last line goes on
    ],
)
def test_heights_at_distances_are_joined_by_straight_lines(to_go: float, feet: float, per_mile: float) -> None:
    made = rule({"kind": "points", "points": THROUGH, "gradient_ft_per_nm": 250.0})
    ask = asked(made, AIRFRAME, ARRIVAL, place(to_go), 0.0, 0.78)
    assert float(ask.height) / FOOT == pytest.approx(feet)
    assert float(ask.slope) * NAUTICAL_MILE / FOOT == pytest.approx(per_mile)


def test_without_a_gradient_of_its_own_it_comes_down_300_ft_a_mile() -> None:
    made = rule({"kind": "points", "points": THROUGH})
    assert height(made, place(80.0)) == pytest.approx(24000.0)


@given(between(0.0, 200.0), between(-10.0, 20.0))
def test_a_profile_s_slope_is_that_of_its_heights(to_go: float, earlier: float) -> None:
    for kind, profile in PROFILES.items():
        made = rule({**profile, "terms": [{"kind": "always", "distance_nm": earlier}]})
        near, far = (place(to_go + off) for off in (0.0, 0.001))
        ask = asked(made, AIRFRAME, ARRIVAL, place(to_go + 0.0005), 0.0, 0.78)
        corners = [part["distance_nm"] + earlier for part in profile.get("points", [])]
        if all(abs(to_go - corner) > 0.01 for corner in corners):
            rise = (height(made, far) - height(made, near)) * FOOT / (0.001 * NAUTICAL_MILE)
            assert rise == pytest.approx(float(ask.slope), abs=1e-6), kind


def test_an_angle_is_three_degrees() -> None:
    made = rule(PROFILES["angle"])
    assert height(made, place(41.0)) - height(made, place(40.0)) == pytest.approx(
        math.tan(math.radians(3.0)) * NAUTICAL_MILE / FOOT
    )
