"""Thrust and fuel flow of all engines."""

from __future__ import annotations

import casadi as ca
import pytest
from hypothesis import given

from optdescent.air import atmosphere
from optdescent.airframe import engine, read_airframe
from tests.strategies import between, descent_altitudes, machs

AIRFRAME = read_airframe("narrow-body-twin")
RATED = AIRFRAME.engines.count * AIRFRAME.engines.rated_thrust


@given(descent_altitudes, machs)
def test_largest_thrust_is_above_idle_and_burns_more(altitude: float, mach: float) -> None:
    pressure, density = atmosphere.pressure(altitude), atmosphere.density(altitude, 0.0)
    assert engine.maximum_thrust(AIRFRAME, density, mach) > engine.idle_thrust(AIRFRAME, pressure, mach)
    assert engine.maximum_flow(AIRFRAME, density, mach) > engine.idle_flow(AIRFRAME, pressure, mach)


def test_static_thrust_at_sea_level_is_rated() -> None:
    assert engine.maximum_thrust(AIRFRAME, atmosphere.SEA_LEVEL_DENSITY, 0.0) == pytest.approx(RATED)


@given(descent_altitudes, between(0.2, 0.8))
def test_flow_at_largest_thrust_is_thrust_times_specific_flow(altitude: float, mach: float) -> None:
    density = atmosphere.density(altitude, 0.0)
    engines = AIRFRAME.engines
    specific = engines.specific_flow + engines.specific_flow_by_mach * mach
    thrust, flow = engine.maximum_thrust(AIRFRAME, density, mach), engine.maximum_flow(AIRFRAME, density, mach)
    assert float(flow) == pytest.approx(float(thrust) * specific)


def test_idle_flow_at_sea_level_is_the_sum_of_its_parts() -> None:
    assert engine.idle_flow(AIRFRAME, 101325.0, 0.3) == pytest.approx(2 * (0.045 + 0.060))


def test_idle_thrust_keeps_its_floor_aloft() -> None:
    vacuum, sea = engine.idle_thrust(AIRFRAME, 0.0, 0.3), engine.idle_thrust(AIRFRAME, 101325.0, 0.3)
    assert vacuum / sea == pytest.approx(AIRFRAME.engines.idle.thrust_floor)


def test_expressions_give_the_same_numbers() -> None:
    p, d, m = ca.SX.sym("p"), ca.SX.sym("d"), ca.SX.sym("m")

    def parts(pressure, density, mach) -> list:
        return [
            engine.idle_thrust(AIRFRAME, pressure, mach),
            engine.maximum_thrust(AIRFRAME, density, mach),
            engine.idle_flow(AIRFRAME, pressure, mach),
            engine.maximum_flow(AIRFRAME, density, mach),
        ]

    compiled = ca.Function("f", [p, d, m], parts(p, d, m))
    numbers = parts(50000.0, 0.7, 0.6)
    assert [float(v) for v in compiled(50000.0, 0.7, 0.6)] == pytest.approx(numbers, rel=1e-13)
