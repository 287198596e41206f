"""An order followed from easier data: still air, and windows open to what a flight has there."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optdescent.ocp import Memory, Outcome
from optdescent.optimum.conflict import NotConverged
from optdescent.optimum.glide import first_flight
from optdescent.optimum.order import order_of
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.persisted import eased_values, persisted
from optdescent.optimum.trial import FLOWN, tried
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.optimum.descents import optimum, scenario

WINDOWS = (
    'arrival.windows=[{name="ALDER",distance_nm=60,altitude_at_most_ft=10000,speed_at_most_kt=240},'
    '{name="BRIAR",distance_nm=30,altitude_at_ft=10000,speed_at_least_kt=290}]'
)
"""Windows that a flight does not meet."""
TOO_HIGH = (
    'arrival.windows=[{name="ALDER",distance_nm=60,altitude_at_least_ft=14000},'
    '{name="BRIAR",distance_nm=30,altitude_at_least_ft=13000}]'
)


def test_windows_are_opened_to_a_flight_and_no_further() -> None:
    where = scenario(WINDOWS)
    flight = first_flight(scenario())
    hard, easy = parameter_values(where), eased_values(where, flight)
    moved = {name for name in hard if not np.array_equal(hard[name], easy[name])}
    x = -flight.column("distance_to_go")
    there = {
        name: np.interp(-distance * NAUTICAL_MILE, x, flight.column(column))
        for name, distance, column in (
            ("highest altitude at window 1", 60.0, "pressure_altitude"),
            ("fastest speed at window 1", 60.0, "calibrated_airspeed"),
            ("exact altitude at window 2", 30.0, "pressure_altitude"),
            ("slowest speed at window 2", 30.0, "calibrated_airspeed"),
        )
    }
    assert moved == {"wind", *there}
    assert not easy["wind"].any()
    for name, value in there.items():
        assert easy[name] == pytest.approx([value])
    assert hard["fastest speed at window 1"] == pytest.approx(240.0 * KNOT)
    wide = scenario('arrival.windows=[{name="ALDER",distance_nm=62,altitude_at_most_ft=35000}]')
    unmoved = eased_values(wide, flight)["highest altitude at window 1"]
    assert unmoved == pytest.approx([wide.pressure_altitude(35000.0 * FOOT)])


def test_an_order_is_reached_from_easier_data_and_the_log_says_how() -> None:
    where = scenario()
    flight = first_flight(where)
    order, places = order_of(where, flight)
    unsolved = tried(where, Memory(), flight, order, places, replace(FLOWN, iterations=0))
    assert unsolved.solution.outcome is Outcome.ITERATIONS
    log: list[str] = []
    found = persisted(unsolved, flight, log)
    assert found.is_orderly
    assert found.solution.cost == pytest.approx(optimum().solution.cost, abs=2.0)
    assert log == ["in still air, windows open: solved", "a neighbour's solution: solved"]


def test_a_solution_whose_phases_run_backwards_does_not_count() -> None:
    """What meets a window that is too high does so by overlaps."""
    where = scenario(TOO_HIGH)
    flight = first_flight(scenario())
    order, places = order_of(where, flight)
    unsolved = tried(where, Memory(), flight, order, places, replace(FLOWN, iterations=0))
    log: list[str] = []
    with pytest.raises(NotConverged):
        persisted(unsolved, flight, log)
    assert log[0] == "in still air, windows open: solved"
