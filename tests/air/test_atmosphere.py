"""The atmosphere's own laws: inverse, hydrostatics, one code for numbers and symbols."""

from __future__ import annotations

from itertools import pairwise

import casadi as ca
import numpy as np
import pytest
from hypothesis import given
from scipy.integrate import solve_ivp

from optdescent.air import atmosphere
from optdescent.units import GRAVITY
from tests.strategies import pressure_altitudes, temperature_offsets


@given(pressure_altitudes)
def test_pressure_altitude_undoes_pressure(height: float) -> None:
    assert float(atmosphere.pressure_altitude(atmosphere.pressure(height))) == pytest.approx(height, abs=1e-7)


def test_the_layers_join() -> None:
    edge = atmosphere.TROPOPAUSE
    for function in (atmosphere.pressure, atmosphere.standard_temperature):
        assert float(function(edge - 1e-6)) == pytest.approx(float(function(edge + 1e-6)), rel=1e-9)
    at_edge = atmosphere.TROPOPAUSE_PRESSURE
    below, above = (float(atmosphere.pressure_altitude(at_edge * factor)) for factor in (1 + 1e-12, 1 - 1e-12))
    assert below == pytest.approx(edge, abs=1e-6)
    assert above == pytest.approx(edge, abs=1e-6)


@pytest.mark.parametrize("offset", [-40.0, 0.0, 15.0, 35.0])
@pytest.mark.parametrize(("low", "high"), [(-500.0, 3000.0), (0.0, 11000.0), (9000.0, 15000.0), (12000.0, 20000.0)])
def test_geopotential_rise_is_the_hydrostatic_integral(offset: float, low: float, high: float) -> None:
    """dp/dH = -g p / (R T) with the ACTUAL temperature, integrated from the pressure at one altitude to the other."""

    def rate(log_pressure: float, _height: np.ndarray) -> list[float]:
        altitude = float(atmosphere.pressure_altitude(np.exp(log_pressure)))
        actual = float(atmosphere.temperature(altitude, offset))
        return [-atmosphere.GAS_CONSTANT * actual / GRAVITY]

    ends = [float(np.log(atmosphere.pressure(height))) for height in (low, high)]
    stops = sorted({*ends, float(np.clip(np.log(atmosphere.TROPOPAUSE_PRESSURE), ends[1], ends[0]))}, reverse=True)
    height = 0.0
    for begin, end in pairwise(stops):  # the slope has a corner at the tropopause
        height = float(solve_ivp(rate, (begin, end), [height], method="DOP853", rtol=1e-11, atol=1e-9).y[0, -1])
    assert float(atmosphere.geopotential_rise(low, high, offset)) == pytest.approx(height, abs=1e-4)


@given(pressure_altitudes, pressure_altitudes)
def test_in_standard_air_the_rise_is_the_difference(low: float, high: float) -> None:
    assert float(atmosphere.geopotential_rise(low, high, 0.0)) == pytest.approx(high - low, abs=1e-9)


@given(pressure_altitudes, temperature_offsets)
def test_warm_air_is_thin_and_its_layers_are_thick(height: float, offset: float) -> None:
    assert (float(atmosphere.density(height, offset)) < float(atmosphere.density(height, 0.0))) == (offset > 1e-9) or (
        abs(offset) <= 1e-9
    )
    rise = float(atmosphere.geopotential_rise(height - 100.0, height, offset))
    middle = height - 50.0
    stretch = float(atmosphere.temperature(middle, offset) / atmosphere.standard_temperature(middle))
    assert rise == pytest.approx(100.0 * stretch, rel=1e-4)


@given(pressure_altitudes, temperature_offsets)
def test_the_gas_law_holds(height: float, offset: float) -> None:
    density, temperature = atmosphere.density(height, offset), atmosphere.temperature(height, offset)
    assert float(density * atmosphere.GAS_CONSTANT * temperature) == pytest.approx(
        float(atmosphere.pressure(height)), rel=1e-13
    )


def test_expressions_give_the_same_numbers() -> None:
    h, dt = ca.SX.sym("h"), ca.SX.sym("dt")
    parts = [
        atmosphere.pressure(h),
        atmosphere.pressure_altitude(atmosphere.pressure(h)),
        atmosphere.temperature(h, dt),
        atmosphere.density(h, dt),
        atmosphere.speed_of_sound(h, dt),
        atmosphere.geopotential_rise(300.0, h, dt),
    ]
    compiled = ca.Function("f", [h, dt], parts)
    for height in (-300.0, 0.0, 8000.0, 11000.0, 17000.0):
        numbers = [
            atmosphere.pressure(height),
            atmosphere.pressure_altitude(atmosphere.pressure(height)),
            atmosphere.temperature(height, 7.0),
            atmosphere.density(height, 7.0),
            atmosphere.speed_of_sound(height, 7.0),
            atmosphere.geopotential_rise(300.0, height, 7.0),
        ]
        assert [float(v) for v in compiled(height, 7.0)] == pytest.approx([float(v) for v in numbers], rel=1e-12)
