"""Conversion factors and the suffixes that name them."""

from __future__ import annotations

import math

import pytest

from optdescent.units import GRAVITY, KNOT, NAUTICAL_MILE, UNITS


@pytest.mark.parametrize(
    ("suffix", "si"),
    [
        ("ft", 0.3048),  # international yard and pound agreement 1959
        ("nm", 1852.0),  # ISO 80000-3
        ("kt", 1852.0 / 3600.0),  # ISO 80000-3
        ("min", 60.0),
        ("deg", math.pi / 180.0),
        ("hpa", 100.0),
        ("kn", 1000.0),
        ("ft_per_min", 0.00508),
        ("ft_per_nm", 0.3048 / 1852.0),
        ("kt_per_nm", 1.0 / 3600.0),
        ("kt_per_1000ft", 1852.0 / 3600.0 / 304.8),
        ("kg_per_min", 1.0 / 60.0),
        ("m", 1.0),
        ("kg", 1.0),
        ("t", 1000.0),  # SI brochure, non-SI units accepted for use
        ("s", 1.0),
        ("k", 1.0),
        ("m2", 1.0),
        ("kg_per_s", 1.0),
        ("kg_per_n_s", 1.0),
        ("", 1.0),
    ],
)
def test_one_of_each_unit_is_this_much_in_si(suffix: str, si: float) -> None:
    assert UNITS[suffix].factor == pytest.approx(si, rel=1e-15)


def test_every_unit_is_checked_above() -> None:
    assert len(UNITS) == 21


def test_standard_gravity() -> None:
    assert GRAVITY == 9.80665  # ISO 80000-3


def test_a_knot_is_a_nautical_mile_per_hour() -> None:
    hour = 3600.0
    assert KNOT * hour == pytest.approx(NAUTICAL_MILE, rel=1e-15)


def test_a_suffix_stands_under_its_own_name() -> None:
    assert all(unit.suffix == suffix for suffix, unit in UNITS.items())


def test_no_suffix_is_the_end_of_a_longer_one_with_another_name() -> None:
    """`altitude_ft` must not be readable with two units: after a name, one suffix fits a key, its whole end."""
    ends = [suffix for suffix in UNITS if suffix]
    clashes = [(a, b) for a in ends for b in ends if a != b and b.endswith(f"_{a}") and a not in b.split("_per_")[1:]]
    # 's' at the end of 'kg_per_n_s' is a newton second, one word of that unit
    assert clashes == [("s", "kg_per_n_s")]


def test_si_names_are_what_cf_reads() -> None:
    """UDUNITS powers are digits after the symbol, with spaces between (CF conventions 1.11, section 3.1)."""
    allowed = {"m", "m2", "s", "kg", "rad", "Pa", "N", "K", "1", "s-1", "N-1"}
    assert all(set(unit.si.split()) <= allowed for unit in UNITS.values())
