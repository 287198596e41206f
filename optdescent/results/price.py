"""What a flight costs above the optimum: a number only where it may go on from the gate."""

from __future__ import annotations

import math

from optdescent.results.flight import Flight

NOT_STABLE = "not stable"
"""What stands where people look for the price of a flight that has none."""
PRICES = ("fuel_above_optimum", "cost_above_optimum")
"""Columns of margins that hold prices."""


def price(flight: Flight, optimum: Flight, time_cost: float = 0.0) -> float:
    """Fuel of a flight above the optimum's, and time as fuel at `time_cost` [kg/s], together [kg].

    Not a number where the flight is not stable at the gate: what it burned is no price, since it did not arrive.
    """
    own, best = flight.summary, optimum.summary
    return own.fuel - best.fuel + time_cost * (own.time - best.time) if own.gate.stable else math.nan
