"""Fuel of rules over the same conditions, against numbers worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.rules.compared import fuel_compared

BY_CONDITION = np.array([500.0, 480.0, 460.0, 440.0])
"""Fuel [kg] of the rule that holds everywhere: the farther on, the more tailwind."""
EVERYWHERE, FIRST_TWO, NOWHERE = np.array([[1, 1, 1, 1], [1, 1, 0, 0], [0, 0, 0, 0]], dtype=bool)


def test_a_rule_that_misses_is_not_cheaper_for_its_missed_approaches_nor_dearer_for_the_wind_it_holds_in() -> None:
    """10 kg more wherever both hold; its misses burn 100 kg less, and where it holds every rule burns more."""
    other = np.where(FIRST_TWO, BY_CONDITION + 10.0, BY_CONDITION - 100.0)
    assert other.mean() < BY_CONDITION.mean() - 40.0, "the mean of all would call it cheaper by far"
    assert other[FIRST_TWO].mean() > BY_CONDITION.mean() + 25.0, "that of its own stable flights dearer by far"
    found = fuel_compared([other, BY_CONDITION], [FIRST_TWO, EVERYWHERE])
    assert found.beside == 1
    assert found.fuel == pytest.approx([480.0, 470.0])
    assert found.conditions.tolist() == [2, 4]


def test_a_rule_that_holds_nowhere_has_no_fuel_to_compare() -> None:
    found = fuel_compared([BY_CONDITION, BY_CONDITION - 50.0], [EVERYWHERE, NOWHERE])
    assert np.isnan(found.fuel[1])
    assert found.conditions.tolist() == [4, 0]


def test_the_rule_compared_with_can_be_named() -> None:
    found = fuel_compared([BY_CONDITION + 10.0, BY_CONDITION], [FIRST_TWO, EVERYWHERE], beside=0)
    assert found.beside == 0
    assert found.fuel == pytest.approx([500.0, 490.0])
