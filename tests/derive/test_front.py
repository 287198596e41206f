"""The front, the recommended rule, and how often a predicted interval holds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optdescent.derive.front import (
    CONFIDENCE,
    non_dominated,
    predicted_share,
    recommended,
    share_needed,
)
from optdescent.rules.compared import share_interval
from tests.figures.fronts import EFFORT

POINTS = st.lists(
    st.tuples(st.integers(3, 6), st.integers(0, 5), st.integers(0, 5)), min_size=1, max_size=30
).map(lambda points: np.array(points, dtype=float))  # fmt: skip


@given(POINTS)
def test_the_front_is_what_comparing_all_pairs_gives(points: np.ndarray) -> None:
    simplicity, fuel, share = points.T
    found = non_dominated(simplicity, fuel, share)
    for at, (things, burned, stable) in enumerate(points):
        is_bettered = any(
            other[0] <= things and other[1] <= burned and other[2] >= stable and tuple(other) != tuple(points[at])
            for other in points
        )
        assert found[at] == (not is_bettered)


def columns(*rules: tuple[float, float, float, float]) -> dict[str, np.ndarray]:
    """Columns of rules: derived, simplicity, fuel, share."""
    names = ("is_derived", "simplicity", "fuel_mean", "held_share")
    found = dict(zip(names, np.array(rules, dtype=float).T, strict=True))
    return {**found, "held_share_low": found["held_share"] - 0.005}


def test_of_rules_of_alike_fuel_the_simplest_is_recommended() -> None:
    rules = columns((1, 3, 530, 0.99), (1, 4, 501.5, 0.96), (1, 6, 500, 0.97), (0, 3, 400, 1.0), (1, 3, 450, 0.90))
    assert recommended(rules, EFFORT).tolist() == [0, 1, 0, 0, 0]
    assert recommended(rules, replace(EFFORT, alike=0.0)).tolist() == [0, 0, 1, 0, 0]
    assert recommended(rules, replace(EFFORT, alike=50.0)).tolist() == [1, 0, 0, 0, 0]
    assert recommended(rules, replace(EFFORT, wanted=0.995)).tolist() == [0, 0, 0, 0, 0]


def test_a_share_that_may_have_been_lucky_is_not_enough() -> None:
    """Of 512 conditions 487 are 95.1 %, and as few as 92.9 % elsewhere: the dearer rule with 499 is recommended."""
    rules = columns((1, 4, 518, 487 / 512), (1, 4, 530, 499 / 512))
    rules["held_share_low"] = np.array([share_interval(count, 512)[0] for count in (487, 499)])
    assert recommended(rules, EFFORT).tolist() == [0, 1]
    assert recommended({name: values[:1] for name, values in rules.items()}, EFFORT).tolist() == [0]


@pytest.mark.parametrize(("wanted", "count"), [(0.95, 512), (0.8, 32), (0.5, 64), (0.999, 16)])
def test_the_share_needed_is_the_least_whose_interval_is_not_below_what_is_wanted(wanted: float, count: int) -> None:
    needed = round(share_needed(wanted, count) * count)
    assert share_interval(needed, count)[0] >= wanted or needed == count
    assert share_interval(needed - 1, count)[0] < wanted < needed / count or needed == count


def covered(shares: np.ndarray, count: int, further: int) -> float:
    """How often the share of further conditions is in the predicted interval, each condition a toss by its own."""
    random = np.random.default_rng(7)
    stable, later = random.binomial(count, shares), random.binomial(further, shares)
    intervals = {int(k): predicted_share(int(k), count, further) for k in np.unique(stable)}
    inside = [
        intervals[int(k)][0] - 1e-12 <= y / further <= intervals[int(k)][1] + 1e-12
        for k, y in zip(stable, later, strict=True)
    ]
    return float(np.mean(inside))


def test_the_predicted_interval_holds_as_often_as_it_says_over_its_prior() -> None:
    """Over shares drawn from the prior it holds exactly so often, and a little oftener because counts are whole."""
    shares = np.random.default_rng(3).beta(0.5, 0.5, 6000)
    scatter = 3.0 * np.sqrt(CONFIDENCE * (1.0 - CONFIDENCE) / shares.size)
    assert CONFIDENCE - scatter <= covered(shares, 128, 256) <= 0.98


@pytest.mark.parametrize("share", [0.8, 0.95, 0.99])
def test_the_predicted_interval_holds_for_a_share_that_may_be_met(share: float) -> None:
    assert covered(np.full(3000, share), 512, 1024) >= CONFIDENCE - 0.02


def test_more_conditions_make_the_interval_narrower_and_it_is_no_wider_than_two_samples_scatter() -> None:
    low, high = predicted_share(480, 512, 1024)
    scatter = np.sqrt(0.9375 * 0.0625 * (1.0 / 512 + 1.0 / 1024))
    assert high - low == pytest.approx(2.0 * 1.96 * scatter, rel=0.1)
    nearer = predicted_share(960, 1024, 1024)
    assert nearer[1] - nearer[0] < high - low
    assert predicted_share(512, 512, 1024)[1] == 1.0
    assert share_interval(480, 512)[0] < 480 / 512 < share_interval(480, 512)[1]
