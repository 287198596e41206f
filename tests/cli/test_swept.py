"""What `optdescent sweep` says of the rules of a sweep: shares with intervals, and fuel of the flights that count."""

from __future__ import annotations

import numpy as np
import pytest
import xarray as xr

from optdescent.cli.swept import rules_plain


def rules(*, with_optimum: bool) -> xr.Dataset:
    """Three rules in two by five cases: 8 of 10 stable, none of 9, and never flown."""
    ends = np.array([[1] * 8 + [0, 0], [0] * 9 + [-1], [-1] * 10], dtype=np.int8)
    fuel = np.where(ends == 1, 500.0 + np.arange(10.0), np.where(ends == 0, 900.0, np.nan))
    shape, dims = (3, 2, 5), ("rule", "wind", "mass")
    found = xr.Dataset(
        {"rule_stable": (dims, ends.reshape(shape)), "rule_fuel": (dims, fuel.reshape(shape))},
        coords={"rule": ["good", "bad", "absent"]},
    ).transpose("wind", "mass", "rule")
    optimum = np.full((2, 5), 450.0)
    optimum[0, 0] = np.nan
    return found.assign(fuel=(("wind", "mass"), optimum)) if with_optimum else found


def test_fuel_of_flights_that_missed_the_gate_does_not_count() -> None:
    good, bad, absent = rules_plain(rules(with_optimum=False))
    assert good["median_fuel_kg"] == pytest.approx(503.5)
    assert bad["median_fuel_kg"] is None
    assert absent["median_fuel_kg"] is None
    above = rules_plain(rules(with_optimum=True))[0]
    assert above["median_fuel_above_optimum_kg"] == pytest.approx(54.0), "without the case that has no optimum"


def test_a_share_has_its_interval_where_a_rule_was_flown() -> None:
    """Wilson's interval of 8 of 10 worked by hand: (p + z2/2n -+ z sqrt(p(1-p)/n + z2/4n2)) / (1 + z2/n)."""
    good, bad, absent = rules_plain(rules(with_optimum=False))
    assert (good["flown"], good["stable"], good["stable_share"]) == (10, 8, 0.8)
    z, n, p = 1.959964, 10.0, 0.8
    middle, half = p + z * z / (2.0 * n), z * np.sqrt(p * (1.0 - p) / n + z * z / (4.0 * n * n))
    ends = [(middle - half) / (1.0 + z * z / n), (middle + half) / (1.0 + z * z / n)]
    assert [good["stable_share_low"], good["stable_share_high"]] == pytest.approx(ends, abs=1e-4)
    assert (bad["flown"], bad["stable_share"], bad["stable_share_low"]) == (9, 0.0, 0.0)
    assert (absent["flown"], absent["stable_share"], absent["stable_share_low"]) == (0, None, None)
