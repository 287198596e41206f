"""Axes of a study: their levels, how they are drawn, and what they do to a scenario."""

from __future__ import annotations

import copy
import math
import pickle
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from optdescent.air.wind import ConstantWind, PerturbedWind, ProfileWind
from optdescent.inputs import InputFault, validated, with_settings
from optdescent.scenario import ADDED_TAILWIND, Axis, ConditionsDeclaration, Level, Scenario
from optdescent.units import FOOT, KNOT, UNITS
from tests.scenario.files import DATA, STUDY

ROUNDING = 1e-7
"""Doubles in the spline of a wind [m/s]: 1e-9 was seen."""
ALTITUDES = np.array([3000.0, 10000.0, 20000.0, 34000.0]) * FOOT
STILL = with_settings(DATA, ["air.wind.kind=none"])
DISTURBED = with_settings(
    DATA,
    [
        "air.wind.kind=perturbed",
        'air.wind.of={kind="profile",sounding="norman-1999-05-04"}',
        "air.wind.scale=0.8",
        "air.wind.shear_kt_per_1000ft=0.5",
        "air.wind.shear_from_deg=20",
        "air.wind.random_kt=3",
        "air.wind.seed=4",
    ],
)


def axis(kind: str, **table: Any) -> Axis:
    """The axis of a table as a file has it; `from` is a word of Python, so `from_` here."""
    table = {key.rstrip("_"): value for key, value in table.items()}
    return Axis(validated(ConditionsDeclaration, {"axes": [{"kind": kind, **table}]}, "study.toml").axes[0])


def values(key: str, *levels: Level) -> Axis:
    return axis("values", key=key, values=list(levels))


def built(data: dict[str, Any]) -> Scenario:
    return Scenario.from_data(data, "scenario.toml", STUDY.parent)


def applied(one: Axis, level: Level, data: Mapping[str, Any] = DATA) -> Scenario:
    return built(one.applied(data, level, "study.toml"))


def wind(scenario: Scenario, course_deg: float) -> np.ndarray:
    """Wind along and across a course [m/s] at the altitudes."""
    found = [scenario.air.sample(-50000.0, altitude, math.radians(course_deg)) for altitude in ALTITUDES]
    return np.array([[float(one.wind_along) for one in found], [float(one.wind_across) for one in found]])


def only_fault(one: Axis, level: Level, data: Mapping[str, Any]) -> str:
    with pytest.raises(InputFault) as caught:
        one.applied(data, level, "study.toml")
    (fault,) = caught.value.faults
    return str(fault)


# names, keys and units


@pytest.mark.parametrize(
    ("key", "unit"),
    [
        ("start.mass_kg", "kg"),
        ("start.mach", ""),
        ("arrival.sink_limits[0].sink_ft_per_min", "ft_per_min"),
        ("air.wind.shear_kt_per_1000ft", "kt_per_1000ft"),
        ("cost.time_kg_per_min", "kg_per_min"),
        ("arrival.windows[1].altitude_at_least_ft", "ft"),
        ("air.temperature_offset_k", "k"),
        ("arrival.course_deg", "deg"),
        ("airframe", ""),
        (ADDED_TAILWIND, "kt"),
    ],
)
def test_the_unit_is_the_longest_that_ends_the_key(key: str, unit: str) -> None:
    assert values(key, 1.0).unit is UNITS[unit]


def test_an_axis_is_named_by_the_last_part_of_its_key_unless_it_has_a_name() -> None:
    assert values("arrival.windows[1].altitude_at_least_ft", 1.0).name == "altitude_at_least_ft"
    assert axis("values", key="start.mass_kg", name="heavy", values=[1]).name == "heavy"
    assert values(ADDED_TAILWIND, 0.0).name == "added_tailwind_kt"
    assert axis("soundings", soundings=["a"]).name == "sounding"
    assert axis("ensemble", members=2, random_kt=5.0).name == "member"


def test_what_is_ordered_and_what_is_apart() -> None:
    ordered = [values("start.mass_kg", 1, 2.5), axis("range", key="a", from_=0.0, to=1.0)]
    ordered.append(axis("normal", key="a", mean=0.0, standard_deviation=1.0))
    assert all(one.is_ordered and not one.is_apart for one in ordered)
    apart = [values("airframe", "a", "b"), values("a", True, False), axis("soundings", soundings=["a"])]
    assert all(one.is_apart and not one.is_ordered for one in apart)
    members = axis("ensemble", members=2, random_kt=5.0)
    assert not members.is_ordered
    assert not members.is_apart


# levels of a grid


def test_listed_levels_stay_as_they_were_given() -> None:
    assert values("a", 3, 1.5, 2).levels == (3, 1.5, 2)
    assert [type(level) for level in values("a", 3, 1.5).levels] == [int, float]
    assert values("airframe", "x", "y").levels == ("x", "y")
    assert values("a", True, False).levels == (True, False)
    assert axis("soundings", soundings=["b", "a"]).levels == ("b", "a")
    assert axis("ensemble", members=3, random_kt=5.0).levels == (0, 1, 2)


def test_a_range_has_equal_steps_and_both_ends() -> None:
    assert axis("range", key="a", from_=60.0, to=50.0, count=5).levels == (60.0, 57.5, 55.0, 52.5, 50.0)
    assert axis("range", key="a", from_=60.0, to=50.0).levels == ()


def test_levels_of_a_normal_grid_halve_parts_of_equal_probability() -> None:
    """Percentage points of the normal distribution: 12.5 % and 37.5 % lie below -1.15035 and -0.31864."""
    plain = axis("normal", key="a", mean=10.0, standard_deviation=2.0, count=4)
    expected = 10.0 + 2.0 * stats.norm.ppf([0.125, 0.375, 0.625, 0.875])
    assert plain.levels == pytest.approx(expected)
    assert plain.levels[0] == pytest.approx(10.0 - 2.0 * 1.15035, abs=1e-4)
    cut = axis("normal", key="a", mean=10.0, standard_deviation=2.0, lowest=10.0, count=2)
    assert cut.levels == pytest.approx(stats.halfnorm.ppf([0.25, 0.75], 10.0, 2.0))


def test_places_of_numbers_follow_their_order_and_of_others_the_list() -> None:
    assert values("a", 5, -1, 2).places == (1.0, 0.0, 0.5)
    assert values("airframe", "z", "a", "m").places == (0.0, 0.5, 1.0)
    assert axis("range", key="a", from_=1.0, to=0.0, count=3).places == (0.0, 0.5, 1.0)
    assert values("a", 5).places == (0.0,)


# draws


def test_listed_levels_are_equally_likely() -> None:
    shares = (np.arange(3000) + 0.5) / 3000
    for one in (values("a", 7, 1, 4), values("airframe", "x", "y", "z"), axis("soundings", soundings=["c", "b", "a"])):
        drawn = [one.drawn(share) for share in shares.tolist()]
        assert {level: drawn.count(level) for level in one.levels} == dict.fromkeys(one.levels, 1000)
    members = axis("ensemble", members=3, random_kt=5.0)
    assert np.bincount([int(members.drawn(share)) for share in shares.tolist()]).tolist() == [1000] * 3


def test_numbers_are_drawn_in_rising_order_whatever_their_order_in_the_list() -> None:
    assert [values("a", 5, -1, 2).drawn(share) for share in (0.0, 0.5, 0.99, 1.0)] == [-1, 2, 5, 5]


def test_a_range_is_uniform() -> None:
    one = axis("range", key="a", from_=60.0, to=50.0)
    drawn = [float(one.drawn(share)) for share in np.random.default_rng(1).random(4000).tolist()]
    assert stats.kstest(drawn, stats.uniform(50.0, 10.0).cdf).pvalue > 0.01
    assert (one.drawn(0.0), one.drawn(1.0)) == (60.0, 50.0)


@pytest.mark.parametrize(("lowest", "highest"), [(-1e9, 1e9), (56000.0, 61000.0), (63000.0, 1e9), (-1e9, 50000.0)])
def test_draws_follow_the_truncated_normal(lowest: float, highest: float) -> None:
    mean, deviation = 60000.0, 2000.0
    one = axis("normal", key="a", mean=mean, standard_deviation=deviation, lowest=lowest, highest=highest)
    drawn = np.array([float(one.drawn(share)) for share in np.random.default_rng(7).random(4000).tolist()])
    law = stats.truncnorm((lowest - mean) / deviation, (highest - mean) / deviation, mean, deviation)
    assert stats.kstest(drawn, law.cdf).pvalue > 0.01
    assert np.all((drawn >= lowest) & (drawn <= highest))


@given(
    share=st.floats(1e-6, 1.0 - 1e-6),
    ends=st.tuples(st.floats(-20.0, 20.0), st.floats(-20.0, 20.0)).filter(lambda pair: abs(pair[0] - pair[1]) > 0.01),
)
def test_each_draw_is_the_quantile_of_an_independent_library(share: float, ends: tuple[float, float]) -> None:
    low, high = sorted(ends)
    one = axis("normal", key="a", mean=3.0, standard_deviation=2.0, lowest=3.0 + 2.0 * low, highest=3.0 + 2.0 * high)
    assert one.drawn(share) == pytest.approx(float(stats.truncnorm.ppf(share, low, high, 3.0, 2.0)), abs=1e-7)


def test_no_share_is_drawn_at_infinity() -> None:
    """2**-31 of the distribution lies 6.12 standard deviations from its mean (scipy's normal distribution)."""
    one = axis("normal", key="a", mean=60000.0, standard_deviation=1000.0)
    far = -float(stats.norm.ppf(2.0**-31))
    assert far == pytest.approx(6.12, abs=0.005)
    assert one.drawn(0.0) == pytest.approx(60000.0 - 1000.0 * far)
    assert one.drawn(1.0) == pytest.approx(60000.0 + 1000.0 * far)


@given(st.floats(0.0, 1.0), st.floats(0.0, 1.0))
def test_a_larger_share_is_never_a_lower_level(one: float, other: float) -> None:
    low, high = sorted((one, other))
    for rising in (
        values("a", 5, -1, 2),
        axis("range", key="a", from_=-3.0, to=8.0),
        axis("normal", key="a", mean=0.0, standard_deviation=3.0, lowest=-1.0, highest=9.0),
    ):
        assert float(rising.drawn(low)) <= float(rising.drawn(high))


def test_an_axis_that_was_drawn_from_can_be_sent_to_another_process() -> None:
    one = axis("normal", key="a", mean=0.0, standard_deviation=1.0, count=3)
    again = pickle.loads(pickle.dumps(one)) if one.levels and one.drawn(0.3) else None
    assert again == one
    assert again.drawn(0.3) == one.drawn(0.3)


# what an axis does to a scenario


def test_a_level_takes_its_key_place_and_the_base_stays() -> None:
    before = copy.deepcopy(DATA)
    assert applied(values("start.mass_kg", 58000), 58000).start.mass == 58000.0
    windows = applied(values("arrival.windows[1].altitude_at_least_ft", 7500.0), 7500.0).arrival.windows
    assert windows[1].altitude_at_least == pytest.approx(7500.0 * FOOT)
    assert "wide" in applied(values("airframe", "wide-body-twin"), "wide-body-twin", _heavy()).airframe.title
    axes = [axis("ensemble", members=2, random_kt=5.0), values(ADDED_TAILWIND, 20)]
    for one in (*axes, axis("soundings", soundings=["norman-1999-05-04"], temperature=True)):
        one.applied(DATA, one.levels[0], "study.toml")
    assert before == DATA


def _heavy() -> dict[str, Any]:
    return with_settings(DATA, ["start.mass_kg=180000"])


@pytest.mark.parametrize(
    ("key", "words"),
    [
        ("arrival.windows[9].x_ft", "study.toml: arrival.windows[9].x_ft: does not lead to a table"),
        ("title.mass_kg", "study.toml: title.mass_kg: does not lead to a table"),
    ],
)
def test_a_key_that_leads_nowhere_is_a_fault(key: str, words: str) -> None:
    assert only_fault(values(key, 1.0), 1.0, DATA).startswith(words)


def test_a_level_where_a_table_belongs_is_a_fault_of_the_scenario() -> None:
    with pytest.raises(InputFault, match=r"scenario.toml: start: got 1\.0"):
        applied(values("start", 1.0), 1.0)


@pytest.mark.parametrize("data", [STILL, DATA, DISTURBED], ids=["none", "profile", "perturbed"])
@pytest.mark.parametrize("course_deg", [0.0, 125.0, 310.0])
@pytest.mark.parametrize("speed", [30.0, 0.0, -25.0])
def test_the_added_tailwind_blows_along_the_final_course_at_every_height(
    data: dict[str, Any], course_deg: float, speed: float
) -> None:
    base = with_settings(data, [f"arrival.course_deg={course_deg}"])
    change = wind(applied(values(ADDED_TAILWIND, speed), speed, base), course_deg) - wind(built(base), course_deg)
    assert change[0] == pytest.approx(np.full(4, speed * KNOT), abs=ROUNDING)
    assert change[1] == pytest.approx(np.zeros(4), abs=ROUNDING)


def test_an_added_headwind_lowers_the_ground_speed_of_a_flight_on_the_final_course() -> None:
    scenario = applied(values(ADDED_TAILWIND, -25.0), -25.0, STILL)
    assert float(scenario.air.sample(0.0, 1000.0, scenario.arrival.course).wind_along) < -12.0
    assert isinstance(scenario.wind, PerturbedWind)


def test_a_wind_that_is_missing_is_still_air() -> None:
    base = copy.deepcopy(DATA)
    del base["air"]["wind"]
    assert wind(applied(values(ADDED_TAILWIND, 10.0), 10.0, base), 125.0)[0] == pytest.approx(np.full(4, 10.0 * KNOT))
    del base["air"]
    assert wind(applied(values(ADDED_TAILWIND, 10.0), 10.0, base), 125.0)[0] == pytest.approx(np.full(4, 10.0 * KNOT))


def test_a_bias_or_a_random_wind_already_there_is_a_fault() -> None:
    biased = with_settings(DISTURBED, ["air.wind.bias_kt=12"])
    told = "study.toml: air.wind.bias_kt: got 12; allowed: 0, where an axis moves it"
    assert only_fault(values(ADDED_TAILWIND, 20.0), 20.0, biased) == told
    assert only_fault(values(ADDED_TAILWIND, 0.0), 0.0, biased) == told
    members = axis("ensemble", members=2, random_kt=5.0)
    told = "study.toml: air.wind.random_kt: got 3; allowed: 0, where an axis moves it"
    assert only_fault(members, 0, DISTURBED) == told


@pytest.mark.parametrize(
    ("settings", "level", "told"),
    [
        ([], "strong", "added_tailwind_kt: got 'strong'; allowed: a number"),
        ([], True, "added_tailwind_kt: got True; allowed: a number"),
        (["arrival.course_deg=north"], 10.0, "arrival.course_deg: got 'north'; allowed: a number"),
        (["arrival=7"], 10.0, "arrival: got 7; allowed: a table"),
        (["air=7"], 10.0, "air: got 7; allowed: a table"),
        (["air.wind=calm"], 10.0, "air.wind: got 'calm'; allowed: a table"),
    ],
)
def test_a_scenario_that_no_tailwind_can_be_added_to_is_a_fault(settings: list[str], level: Level, told: str) -> None:
    fault = only_fault(values(ADDED_TAILWIND, 10.0), level, with_settings(DATA, settings))
    assert fault == f"study.toml: {told}"


def test_more_added_wind_than_a_disturbance_may_have_is_a_fault() -> None:
    with pytest.raises(InputFault, match=r"air\.wind\.bias_kt: got 200\.0; allowed: 0 to 150 kt"):
        applied(values(ADDED_TAILWIND, -200), -200)


def test_keys_left_over_from_a_disturbed_wind_do_not_stand_in_the_way() -> None:
    left_over = copy.deepcopy(DISTURBED)
    left_over["air"]["wind"] |= {"kind": "none", "bias_kt": 40.0}
    assert wind(built(left_over), 0.0) == pytest.approx(np.zeros((2, 4)))
    scenario = applied(values(ADDED_TAILWIND, 10.0), 10.0, left_over)
    assert wind(scenario, 125.0) == pytest.approx(np.array([[10.0 * KNOT] * 4, [0.0] * 4]), abs=ROUNDING)


def test_a_key_of_a_disturbed_wind_needs_one() -> None:
    scale = values("air.wind.scale", 0.5)
    told = "study.toml: air.wind.scale: got a wind of kind 'profile'; allowed: 'perturbed', or an axis that disturbs it"
    assert only_fault(scale, 0.5, DATA) == told
    weaker = applied(scale, 0.5, with_settings(DISTURBED, ["air.wind.random_kt=0", "air.wind.shear_kt_per_1000ft=0"]))
    full = applied(axis("soundings", soundings=["norman-1999-05-04"]), "norman-1999-05-04")
    assert wind(weaker, 0.0) == pytest.approx(0.5 * wind(full, 0.0))


def test_soundings_change_the_wind_and_where_wanted_the_temperature() -> None:
    names = ["norman-1999-05-04", "amarillo-1999-05-04"]
    windy, warm = (axis("soundings", soundings=names, temperature=flag) for flag in (False, True))
    standard = built(DATA)
    for name in names:
        asked = with_settings(DATA, [f"air.wind.sounding={name}", f"air.temperature_sounding={name}"])
        found = {one: applied(one, name) for one in (windy, warm)}
        for scenario in found.values():
            assert isinstance(scenario.wind, ProfileWind)
            assert np.array_equal(scenario.wind.coefficients(), built(asked).wind.coefficients())
            assert np.max(np.abs(wind(scenario, 125.0) - wind(standard, 125.0))) > 5.0
        at = ALTITUDES[2]
        assert found[windy].air.temperature(at) == standard.air.temperature(at)
        assert found[warm].air.temperature(at) == built(asked).air.temperature(at)
        assert abs(float(found[warm].air.temperature(at)) - float(standard.air.temperature(at))) > 1.0
    assert applied(windy, names[0]).digest != applied(windy, names[1]).digest


def test_soundings_take_the_place_of_what_is_disturbed_and_the_disturbance_stays() -> None:
    name = "topeka-1999-05-04"
    new = applied(axis("soundings", soundings=[name]), name, DISTURBED)
    asked = with_settings(DISTURBED, [f"air.wind.of.sounding={name}"])
    assert wind(new, 0.0) == pytest.approx(wind(built(asked), 0.0), abs=0.0)
    assert np.max(np.abs(wind(new, 0.0) - wind(built(DISTURBED), 0.0))) > 5.0


def test_a_sounding_that_does_not_exist_is_a_fault() -> None:
    with pytest.raises(InputFault, match=r"scenario\.toml: air\.wind\.sounding: got 'nowhere'"):
        applied(axis("soundings", soundings=["nowhere"]), "nowhere")


def test_members_of_an_ensemble_differ_and_are_repeatable() -> None:
    one = axis("ensemble", members=5, random_kt=6.0, seed=11)
    winds = [wind(applied(one, member), 0.0) for member in one.levels]
    apart = [np.max(np.abs(a - b)) for i, a in enumerate(winds) for b in winds[:i]]
    assert min(apart) > 0.5
    again = axis("ensemble", members=5, random_kt=6.0, seed=11)
    assert all(np.array_equal(wind(applied(again, m), 0.0), winds[int(m)]) for m in again.levels)
    later = axis("ensemble", members=5, random_kt=6.0, seed=12)
    assert np.array_equal(wind(applied(later, 0), 0.0), winds[1])


def test_members_spread_about_the_scenario_wind_as_declared() -> None:
    one = axis("ensemble", members=150, random_kt=6.0)
    spread = np.array([wind(applied(one, member), 0.0) for member in one.levels]) - wind(built(DATA), 0.0)
    # 150 members of 2 components: the standard error of each height's deviation is 6/sqrt(600), a quarter of a knot
    assert np.sqrt(np.mean(spread**2, axis=(0, 1))) / KNOT == pytest.approx(np.full(4, 6.0), abs=0.75)
    assert np.mean(spread, axis=(0, 1)) / KNOT == pytest.approx(np.zeros(4), abs=1.1)


def test_correlation_lengths_are_the_ensembles_own() -> None:
    base = with_settings(DISTURBED, ["air.wind.random_kt=0", "air.wind.correlation_distance_nm=50"])
    same = applied(axis("ensemble", members=2, random_kt=5.0, correlation_height_ft=9000.0), 0, base).wind
    assert isinstance(same, PerturbedWind)
    assert same.change.correlation_height == pytest.approx(9000.0 * FOOT)
    assert same.change.correlation_distance is None
    varied = applied(axis("ensemble", members=2, random_kt=5.0, correlation_distance_nm=80.0), 0, base).wind
    assert isinstance(varied, PerturbedWind)
    assert varied.change.correlation_distance == pytest.approx(80.0 * 1852.0)


def test_the_ensemble_disturbs_any_wind() -> None:
    constant = with_settings(
        DATA, ["air.wind.kind=constant", "air.wind.wind_from_deg=270", "air.wind.wind_speed_kt=40"]
    )
    found = applied(axis("ensemble", members=2, random_kt=5.0), 1, constant).wind
    assert isinstance(found, PerturbedWind)
    assert isinstance(found.base, ConstantWind)
    assert found.change.seed == 1


@pytest.mark.parametrize("random", [0.0, 51.0])
def test_an_ensemble_without_a_random_wind_is_a_fault(random: float) -> None:
    with pytest.raises(InputFault, match=rf"axes\[0\]\.random_kt: got {random}; allowed: 0\.1 to 50 kt"):
        axis("ensemble", members=2, random_kt=random)
