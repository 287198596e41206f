"""A flight has a price only where it may go on from the gate."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from optdescent.results import Flight, Kind
from optdescent.results.price import price
from tests.figures.flights import flight


def flown(name: str, kind: Kind, fuel: float, time: float, *reasons: str) -> Flight:
    one = flight(name, kind)
    gate = replace(one.summary.gate, reasons=reasons)
    return replace(one, summary=replace(one.summary, fuel=fuel, time=time, gate=gate))


OPTIMUM = flown("optimum", Kind.OPTIMUM, 420.0, 1700.0)


def test_the_price_of_a_stable_flight_is_fuel_and_time_as_fuel() -> None:
    rule = flown("rule", Kind.RULE, 500.0, 1600.0)
    assert price(rule, OPTIMUM) == pytest.approx(80.0)
    assert price(rule, OPTIMUM, 0.5) == pytest.approx(30.0)
    assert price(OPTIMUM, OPTIMUM, 0.5) == 0.0


def test_a_flight_that_is_not_stable_has_none() -> None:
    assert math.isnan(price(flown("rule", Kind.RULE, 400.0, 1600.0, "gear not down"), OPTIMUM, 0.5))


def test_a_flight_that_does_not_reach_the_gate_has_none() -> None:
    rule = flown("rule", Kind.RULE, 400.0, 1600.0)
    summary = replace(rule.summary, gate=replace(rule.summary.gate, reached=False))
    assert math.isnan(price(replace(rule, summary=summary), OPTIMUM))
