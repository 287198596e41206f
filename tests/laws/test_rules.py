"""Laws of flown rules: what moves a start down, and what cannot matter."""

from __future__ import annotations

import numpy as np
import pytest

from optdescent.results import Flight
from optdescent.units import NAUTICAL_MILE
from tests.rules.made import Part, first_where, flown, miles, rule

PROFILES: dict[str, Part] = {
    "distance": {"kind": "distance", "terms": [{"kind": "height_to_lose", "distance_nm": 3.0}]},
    "height": {"kind": "height", "gradient_ft_per_nm": 300.0},
    "angle": {"kind": "angle", "angle_deg": 3.0},
    "points": {
        "kind": "points",
        "points": [{"distance_nm": 60.0, "height_ft": 17000.0}, {"distance_nm": 10.0, "height_ft": 3000.0}],
    },
}


def top(flight: Flight) -> float:
    """Distance to go [nm] at which the cruise height is left."""
    return float(miles(flight)[first_where(flight.column("vertical_speed") < -1.0)])


def earlier(kind: str, by: float) -> Flight:
    profile = PROFILES[kind]
    return flown(rule({**profile, "terms": [*profile.get("terms", []), {"kind": "always", "distance_nm": by}]}))


@pytest.mark.parametrize("kind", PROFILES)
def test_miles_more_begin_the_descent_so_many_miles_earlier(kind: str) -> None:
    """To the nearest look."""
    tops = {by: top(earlier(kind, by)) for by in (-7.0, 0.0, 4.5, 12.0)}
    look = 1000.0 / NAUTICAL_MILE
    for by, found in tops.items():
        assert found - tops[0.0] == pytest.approx(by, abs=look + 1e-6)


@pytest.mark.parametrize("kind", PROFILES)
def test_until_it_starts_down_a_flight_is_the_same_whatever_the_rule(kind: str) -> None:
    one, other = earlier(kind, -7.0), earlier("height", 4.5)
    level = min(first_where(flight.column("vertical_speed") < -1.0) for flight in (one, other))
    assert level > 50
    for column in ("time", "mass", "altitude", "true_airspeed", "thrust_fraction"):
        assert np.array_equal(one.column(column)[:level], other.column(column)[:level])


def test_a_steeper_rule_starts_down_nearer_and_burns_more_in_cruise() -> None:
    flights = [flown(rule({"kind": "height", "gradient_ft_per_nm": gradient})) for gradient in (250.0, 300.0, 350.0)]
    tops = [top(flight) for flight in flights]
    assert tops == sorted(tops, reverse=True)
    burned = [flight.column("fuel_used")[first_where(flight.column("vertical_speed") < -1.0)] for flight in flights]
    assert burned == sorted(burned)
