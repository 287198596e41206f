"""Shares of variance against functions whose shares are known."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.inputs import validated
from optdescent.margins.attribution import variance_shares
from optdescent.scenario import Conditions, ConditionsDeclaration


def made(count: int = 4096) -> Conditions:
    axes = [
        {"kind": "range", "key": "start.mass_kg", "from": 0.0, "to": 1.0},
        {"kind": "range", "key": "start.mach", "from": 0.0, "to": 1.0},
        {"kind": "values", "key": "handling.anti_ice.kind", "values": ["off", "on"]},
        {"kind": "ensemble", "members": 50000, "random_kt": 5.0},
    ]
    data = {"sampling": {"kind": "sobol", "count": count, "seed": 3}, "axes": axes}
    return Conditions.of(validated(ConditionsDeclaration, data, "x"), "x", key="")


def shares_of(values: np.ndarray, conditions: Conditions) -> np.ndarray:
    levels = [conditions.levels(number) for number in range(conditions.size)]
    return variance_shares(values, conditions.axes, levels)


def test_a_sum_of_drivers_is_shared_as_their_variances() -> None:
    """2 a + b with both uniform on 0 to 1: variances 4/12 and 1/12, shares 0.8 and 0.2."""
    conditions = made()
    levels = [conditions.levels(number) for number in range(conditions.size)]
    values = np.array([2.0 * float(a) + float(b) for a, b, *_ in levels])
    found = shares_of(values, conditions)
    assert found[:2] == pytest.approx([0.8, 0.2], abs=0.01)
    assert found[2] == pytest.approx(0.0, abs=0.005)


def test_a_class_of_words_counts_by_its_levels() -> None:
    conditions = made()
    levels = [conditions.levels(number) for number in range(conditions.size)]
    values = np.array([1.0 if own[2] == "on" else 0.0 for own in levels])
    found = shares_of(values, conditions)
    assert found[2] == pytest.approx(1.0)
    assert found[0] == pytest.approx(0.0, abs=0.005)


def test_members_of_an_ensemble_have_no_classes() -> None:
    conditions = made(256)
    assert np.isnan(shares_of(np.arange(256.0), conditions)[3])


def test_noise_is_explained_by_nobody() -> None:
    """The uncorrected ratio of 15 degrees of freedom over 511 would be 0.03."""
    conditions = made(512)
    found = [shares_of(np.random.default_rng(seed).standard_normal(512), conditions)[0] for seed in range(20)]
    assert np.mean(found) < 0.015


def test_what_does_not_vary_has_no_shares() -> None:
    conditions = made(256)
    assert np.all(np.isnan(shares_of(np.ones(256), conditions)))


def test_cases_without_a_value_do_not_count() -> None:
    conditions = made()
    levels = [conditions.levels(number) for number in range(conditions.size)]
    values = np.array([float(own[0]) for own in levels])
    values[::3] = np.nan
    assert shares_of(values, conditions)[0] > 0.99
