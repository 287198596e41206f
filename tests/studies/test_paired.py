"""Rules in pairs: differences over the conditions that both meet, with intervals that hold the truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import ttest_rel

from studies.paired import Outcomes, paired

NAN = float("nan")


def outcomes(drawn: str, rules: tuple[str, ...], stable: list[list[float]], fuel: list[list[float]]) -> Outcomes:
    return Outcomes(drawn, rules, np.array(stable), {"fuel_kg": np.array(fuel)})


def test_fuel_is_compared_where_both_are_stable_and_the_share_where_both_were_flown() -> None:
    own = outcomes(
        "x",
        ("a", "b"),
        [[1, 1, 1, 0, NAN], [1, 1, 0, 0, 1]],
        [[500, 520, 900, 900, NAN], [490, 516, 100, 100, 480]],
    )
    first, second = paired(own)
    found = first["against"]["b"]
    assert found["both_stable"] == 2
    assert found["fuel_kg"] == 7.0
    assert found["stable_share"] == 0.25
    assert second["against"]["a"]["fuel_kg"] == -7.0
    assert second["first"] == second["against"]["a"]


def test_the_interval_is_that_of_a_paired_t_test() -> None:
    drawn = np.random.default_rng(3)
    one, other = drawn.normal(500.0, 20.0, 40), drawn.normal(495.0, 20.0, 40)
    own = outcomes("x", ("a", "b"), [[1.0] * 40] * 2, [one.tolist(), other.tolist()])
    found = paired(own)[0]["against"]["b"]
    low, high = ttest_rel(one, other).confidence_interval(0.95)
    assert (found["fuel_kg_low"], found["fuel_kg_high"]) == pytest.approx((low, high), rel=1e-5)


def test_rules_flown_earlier_are_compared_if_the_conditions_are_the_same() -> None:
    earlier = outcomes("x", ("old",), [[1, 1]], [[500, 510]])
    elsewhere = outcomes("y", ("far",), [[1, 1]], [[500, 510]])
    own = outcomes("x", ("new",), [[1, 1]], [[498, 506]])
    against = paired(own, (earlier, elsewhere))[0]["against"]
    assert list(against) == ["old"]
    assert against["old"]["fuel_kg"] == -3.0


def test_one_condition_tells_no_interval() -> None:
    own = outcomes("x", ("a", "b"), [[1, 0], [1, 1]], [[500, 510], [498, 506]])
    found = paired(own)[0]["against"]["b"]
    assert (found["both_stable"], found["fuel_kg"], found["fuel_kg_low"]) == (1, None, None)


def test_the_interval_of_shares_has_a_width_even_where_no_pair_differs() -> None:
    """Agresti and Min: 20 pairs alike: 0 +- 1.96 / 22."""
    own = outcomes("x", ("a", "b"), [[1.0] * 20] * 2, [[500.0] * 20] * 2)
    found = paired(own)[0]["against"]["b"]
    assert found["stable_share"] == 0.0
    assert (found["stable_share_low"], found["stable_share_high"]) == pytest.approx(
        (-1.96 / 22.0, 1.96 / 22.0), rel=1e-3
    )
