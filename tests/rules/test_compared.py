"""Fuel of rules over the same conditions, against numbers worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import ttest_1samp

from optdescent.rules.compared import means_compared

BY_CONDITION = np.array([500.0, 480.0, 460.0, 440.0])
"""Fuel [kg] of the rule that holds everywhere: the farther on, the more tailwind."""
EVERYWHERE, FIRST_TWO, NOWHERE = np.array([[1, 1, 1, 1], [1, 1, 0, 0], [0, 0, 0, 0]], dtype=bool)


def test_a_rule_that_misses_is_not_cheaper_for_its_missed_approaches_nor_dearer_for_the_wind_it_holds_in() -> None:
    """10 kg more wherever both hold; its misses burn 100 kg less, and where it holds every rule burns more."""
    other = np.where(FIRST_TWO, BY_CONDITION + 10.0, BY_CONDITION - 100.0)
    assert other.mean() < BY_CONDITION.mean() - 40.0, "the mean of all would call it cheaper by far"
    assert other[FIRST_TWO].mean() > BY_CONDITION.mean() + 25.0, "that of its own stable flights dearer by far"
    found = means_compared([other, BY_CONDITION], [FIRST_TWO, EVERYWHERE])
    assert found.beside == 1
    assert found.mean == pytest.approx([480.0, 470.0])
    assert found.conditions.tolist() == [2, 4]


def test_a_rule_that_holds_nowhere_has_no_fuel_to_compare() -> None:
    found = means_compared([BY_CONDITION, BY_CONDITION - 50.0], [EVERYWHERE, NOWHERE])
    assert np.isnan(found.mean[1])
    assert found.conditions.tolist() == [4, 0]


def test_the_rule_compared_with_can_be_named() -> None:
    found = means_compared([BY_CONDITION + 10.0, BY_CONDITION], [FIRST_TWO, EVERYWHERE], beside=0)
    assert found.beside == 0
    assert found.mean == pytest.approx([500.0, 490.0])


# how sure a mean is


def test_the_interval_of_a_mean_is_students() -> None:
    """Of the rule beside which others are set, and of one that holds in the same conditions; one value has none."""
    dearer = BY_CONDITION + np.array([3.0, 9.0, 4.0, 12.0])
    found = means_compared([dearer, BY_CONDITION, dearer], [EVERYWHERE, EVERYWHERE, np.arange(4) == 2], beside=1)
    for values, mean, error in zip((dearer, BY_CONDITION), found.mean, found.error, strict=False):
        interval = ttest_1samp(values, 0.0).confidence_interval(0.95)
        assert (mean - error, mean + error) == pytest.approx((interval.low, interval.high))
    assert np.isnan(found.error[2])


def test_the_interval_holds_the_mean_as_often_as_it_says_where_conditions_are_only_partly_the_same() -> None:
    """A rule 20 kg dearer, 6 kg of noise, that holds in half of the conditions: 2000 draws of 24."""
    random = np.random.default_rng(8)
    hits = 0
    for _ in range(2000):
        own = random.normal(100.0, 15.0, 24)
        other = own + random.normal(20.0, 6.0, 24)
        found = means_compared([own, other], [np.full(24, True), np.arange(24) % 2 == 0])
        hits += abs(found.mean[1] - 120.0) < found.error[1]
    assert 0.93 < hits / 2000 < 0.975
