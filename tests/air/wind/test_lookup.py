"""Winds looked up for many flights at once: what their field gives at each place."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from numpy.typing import NDArray

from optdescent.air.wind import (
    GIVEN,
    ColumnField,
    ConstantWind,
    Disturbance,
    NoWind,
    PerturbedWind,
    ProfileWind,
    SectionField,
    Wind,
    WindField,
)
from optdescent.air.wind.field import COLUMN_HEIGHTS
from optdescent.air.wind.lookup import WindLookup
from optdescent.air.wind.section import section_of
from optdescent.air.wind.sounding import BUILT_IN, read_sounding, sounding_text
from optdescent.inputs import validated
from optdescent.units import NAUTICAL_MILE
from tests.strategies import between

Array = NDArray[np.float64]
START = 160.0 * NAUTICAL_MILE
STORM = [read_sounding(*sounding_text(name, None)) for name in BUILT_IN if name.endswith("1999-05-04")][:3]
JET = ProfileWind(read_sounding(*sounding_text("nashville-2014-02-21", None)))
SECTION = section_of(list(zip((0.0, 80.0 * NAUTICAL_MILE, START), STORM, strict=True)), START)
ROUGH = validated(Disturbance, {"scale": 1.3, "bias_from_deg": 40, "bias_kt": 25, "random_kt": 12, "seed": 3}, "x")
ALONG = ROUGH.model_copy(update={"correlation_distance": 60.0 * NAUTICAL_MILE})
WINDS: dict[str, Wind] = {
    "none": NoWind(),
    "constant": validated(ConstantWind, {"kind": "constant", "wind_from_deg": 250, "wind_speed_kt": 80}, "x"),
    "sounding": JET,
    "disturbed": PerturbedWind(JET, ROUGH, START),
    "section": SECTION,
    "disturbed section": PerturbedWind(SECTION, ROUGH, START),
    "disturbed along the track": PerturbedWind(JET, ALONG, START),
}
HEIGHTS = np.array(
    [-3000.0, -610.0, -609.6, 0.0, 12.3, 304.8, 1523.999, 1524.0, 4000.0, 10668.0, 14000.0, 14630.4, 14631.0, 20000.0]
)
"""Below and above the knots, at some of them, and between."""


def looked_up(field: WindField, coefficients: Array, distance: Array, height: Array) -> Array:
    found = np.zeros((GIVEN.size, height.size))
    WindLookup(field, coefficients).at(distance, height, found)
    return found


def sampled(field: WindField, coefficients: Array, distance: Array, height: Array) -> Array:
    """Wind and slopes (6, lanes), lane by lane."""
    found = []
    for lane in range(height.size):
        sample = field.sample(coefficients[:, lane], distance[lane], height[lane])
        found.append([float(value) for value in vars(sample).values()])
    return np.array(found).T


def assert_same(field: WindField, coefficients: Array, distance: Array, height: Array) -> None:
    """To a nanometre a second, and slopes to a thousandth of that per metre.

    Sheets are sums of products of one-sided cubes in both directions, whose order alone moves them by some ten.
    """
    room = 30e-9 if isinstance(field, SectionField) else 1e-9
    expected = sampled(field, coefficients, distance, height)
    found = looked_up(field, coefficients, distance, height)
    np.testing.assert_allclose(found[:2], expected[:2], rtol=1e-9, atol=room)
    np.testing.assert_allclose(found[2:], expected[2:], rtol=1e-9, atol=1e-3 * room)


@pytest.mark.parametrize("name", WINDS)
def test_a_wind_is_that_of_its_field_at_every_height_and_distance(name: str) -> None:
    """Each lane with its own wind: the same one so many times stronger."""
    wind = WINDS[name]
    distance = np.repeat([-START - 1000.0, -START, -70e3, -1.0, 0.0], HEIGHTS.size)
    height = np.tile(HEIGHTS, 5)
    strength = np.linspace(-0.5, 2.0, height.size)
    assert_same(wind.field, wind.coefficients()[:, None] * strength, distance, height)


def test_what_is_looked_up_is_a_wind() -> None:
    """So that the table above does not compare nothing with nothing."""
    for name, wind in WINDS.items():
        found = looked_up(wind.field, np.tile(wind.coefficients()[:, None], HEIGHTS.size), 0.0 * HEIGHTS, HEIGHTS)
        assert bool(np.max(np.hypot(found[0], found[1])) > 20.0) == (name != "none"), name
        assert bool(np.any(np.abs(found[4:]) > 1e-6)) == ("section" in name or "along" in name), name


@given(st.integers(0, 2**31 - 1), st.lists(between(-2000.0, 18000.0), min_size=1, max_size=30))
def test_any_column_of_any_numbers_is_looked_up(seed: int, heights: list[float]) -> None:
    draw = np.random.default_rng(seed)
    field = ColumnField()
    lanes = [field.from_values(*draw.uniform(-80.0, 80.0, (2, len(COLUMN_HEIGHTS)))) for _ in heights]
    assert_same(field, np.array(lanes).T, np.zeros(len(heights)), np.array(heights))


@pytest.mark.parametrize("knots", [(-2000.0, 9000.0, 20000.0), (0.0, 100.0, 1000.0, 1100.0, 9000.0)])
def test_a_column_of_other_heights_is_looked_up(knots: tuple[float, ...]) -> None:
    field = ColumnField(knots)
    draw = np.random.default_rng(2)
    height = np.concatenate([np.array(knots), np.linspace(knots[0] - 500.0, knots[-1] + 500.0, 11)])
    lanes = [field.from_values(*draw.uniform(-80.0, 80.0, (2, len(knots)))) for _ in height]
    assert_same(field, np.array(lanes).T, 0.0 * height, height)


def test_sections_of_other_places_are_looked_up() -> None:
    field = SectionField((-50e3, -20e3, 0.0, 10e3), (0.0, 3000.0, 12000.0))
    draw = np.random.default_rng(3)
    distance, height = draw.uniform(-80e3, 20e3, 25), draw.uniform(-500.0, 14000.0, 25)
    lanes = [field.from_values(*draw.uniform(-80.0, 80.0, (2, 4, 3))) for _ in height]
    assert_same(field, np.array(lanes).T, distance, height)


@pytest.mark.parametrize("name", ["sounding", "section"])
def test_a_second_look_is_at_its_own_place(name: str) -> None:
    wind = WINDS[name]
    coefficients = np.tile(wind.coefficients()[:, None], 3)
    lookup = WindLookup(wind.field, coefficients)
    found = np.zeros((GIVEN.size, 3))
    first, second = np.array([1000.0, 5000.0, 9000.0]), np.array([8000.0, 300.0, 2000.0])
    for height in (first, second, first):
        lookup.at(-height, height, found)
        np.testing.assert_allclose(found, sampled(wind.field, coefficients, -height, height), rtol=1e-9, atol=1e-9)


def test_a_descent_through_the_wind_meets_it_as_if_each_look_were_the_first() -> None:
    """Each lane leaves its interval when it comes to it; one is lost on the way, and one comes back."""
    field = ColumnField()
    draw = np.random.default_rng(6)
    coefficients = np.array(
        [field.from_values(*draw.uniform(-80.0, 80.0, (2, len(COLUMN_HEIGHTS)))) for _ in range(9)]
    ).T
    lookup, found = WindLookup(field, coefficients), np.zeros((GIVEN.size, 9))
    top = np.linspace(9000.0, 15000.0, 9)
    for look, share in enumerate(np.linspace(1.0, -0.1, 80)):
        height = np.where((np.arange(9) == 4) & (look > 30), np.nan, top * share)
        height[5] = np.nan if 20 < look < 40 else height[5]
        lookup.at(0.0, height, found)
        there = np.isfinite(height)
        assert np.all(np.isnan(found[:4, ~there]))
        expected = looked_up(field, coefficients[:, there], 0.0 * height[there], height[there])
        assert np.array_equal(found[:, there], expected)


def test_a_wind_that_was_given_is_that_wind_wherever_it_is_asked_for() -> None:
    numbers = np.array([10.0, -5.0, 1e-3, 2e-3, 3e-5, 4e-5])
    for place in ((0.0, 0.0), (-1e5, 9e3)):
        assert list(vars(GIVEN.sample(numbers, *place)).values()) == numbers.tolist()
    assert GIVEN.size == numbers.size
    along = GIVEN.sample(GIVEN.tailwind(np.pi / 6.0, 0.0, 1e4), 0.0, 5e3)
    assert (along.east, along.north) == pytest.approx((0.5, np.sqrt(0.75)))
