"""Polars and idle as tables: twice continuously differentiable, and the same as the coefficients they are made from."""

from __future__ import annotations

import casadi as ca
import numpy as np
import pytest
from hypothesis import given

from optdescent.air import atmosphere
from optdescent.airframe import Airframe, engine, read_airframe
from optdescent.airframe.declaration import IdleTable, TabulatedPolar
from optdescent.airframe.polar import best_glide, drag_coefficient
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import motion
from optdescent.units import FOOT
from tests.airframe.tables import tabulated
from tests.simulation import CLEAN, air, eastbound
from tests.strategies import between, configurations, controls, descent_altitudes, states, surroundings

AIRFRAME = read_airframe("narrow-body-twin")
TABLES: Airframe = tabulated(AIRFRAME)


def test_the_tables_are_tables() -> None:
    assert all(isinstance(step.polar, TabulatedPolar) for step in TABLES.steps)
    assert isinstance(TABLES.engines.idle, IdleTable)
    assert isinstance(TABLES.engines.anti_ice_idle, IdleTable)


@given(surroundings(), states, controls, configurations)
def test_forces_are_those_of_the_coefficients(
    around: Surroundings, state: State, control: Control, configuration: object
) -> None:
    """A natural spline through a parabola is off by some per cent of its curvature at the ends, less inside."""
    other = Surroundings(TABLES, around.air, around.track)
    one, two = (motion(place, -1000.0, state, control, configuration).forces for place in (around, other))
    if float(one.lift_coefficient) < 2.5:
        assert float(two.drag) == pytest.approx(float(one.drag), rel=2e-3)
    assert float(two.idle) == pytest.approx(float(one.idle), rel=5e-3, abs=20.0)
    assert float(two.idle_flow) == pytest.approx(float(one.idle_flow), rel=2e-3)


@given(descent_altitudes, between(0.2, 0.85), between(0.0, 1.0))
def test_numbers_and_expressions_agree(altitude: float, mach: float, anti_ice: float) -> None:
    p, m, a, lift = (ca.SX.sym(name) for name in "pmal")
    parts = [
        engine.idle_thrust(TABLES, p, m, a),
        engine.idle_flow(TABLES, p, m, a),
        drag_coefficient(TABLES, CLEAN, lift, m, 0.3),
    ]
    compiled = ca.Function("f", [p, m, a, lift], parts)
    pressure = float(atmosphere.pressure(altitude))
    numbers = [
        engine.idle_thrust(TABLES, pressure, mach, anti_ice),
        engine.idle_flow(TABLES, pressure, mach, anti_ice),
        drag_coefficient(TABLES, CLEAN, 0.7, mach, 0.3),
    ]
    found = [float(value) for value in compiled(pressure, mach, anti_ice, 0.7)]
    assert found == pytest.approx([float(value) for value in numbers], rel=1e-9)


def test_second_derivatives_have_no_steps_at_the_knots() -> None:
    """Second derivatives by altitude of idle thrust and flow, by lift of drag, just before and after each knot."""
    h, lift = ca.SX.sym("h"), ca.SX.sym("lift")
    idle = TABLES.engines.idle
    polar = TABLES.steps[0].polar
    assert isinstance(idle, IdleTable)
    assert isinstance(polar, TabulatedPolar)
    by_height = engine.idle_thrust(TABLES, atmosphere.pressure(h), 0.5) + engine.idle_flow(
        TABLES, atmosphere.pressure(h), 0.5
    )
    by_lift = drag_coefficient(TABLES, CLEAN, lift, 0.5, 0.0)
    for value, at, knots, step in (
        (by_height, h, idle.pressure_altitude, 0.01),
        (by_lift, lift, polar.lift_coefficient, 1e-6),
    ):
        second = ca.Function("f", [at], [ca.hessian(value, at)[0]])
        sizes = [abs(float(second(knot + 0.3 * (knots[1] - knots[0])))) for knot in knots]
        for knot in knots[1:-1]:
            jump = float(second(knot + step)) - float(second(knot - step))
            assert abs(jump) < 1e-3 * max(sizes)


def test_a_table_is_a_straight_line_beyond_its_ends() -> None:
    polar = TABLES.steps[0].polar
    assert isinstance(polar, TabulatedPolar)
    end = polar.lift_coefficient[-1]
    drag = [float(drag_coefficient(TABLES, CLEAN, end + out, 0.2, 0.0)) for out in (0.1, 0.2, 0.3)]
    assert drag[2] - drag[1] == pytest.approx(drag[1] - drag[0])


def test_best_glide_of_a_table_is_found() -> None:
    ratio, lift = best_glide(AIRFRAME, CLEAN)
    assert best_glide(TABLES, CLEAN)[0] == pytest.approx(ratio, rel=1e-3)
    assert best_glide(TABLES, CLEAN)[1] == pytest.approx(lift, abs=0.02)


def test_anti_ice_raises_idle_by_its_share() -> None:
    pressure = float(atmosphere.pressure(10000.0 * FOOT))
    for airframe in (AIRFRAME, TABLES):
        for of in (engine.idle_thrust, engine.idle_flow):
            off, half, on = (float(of(airframe, pressure, 0.5, share)) for share in (0.0, 0.5, 1.0))
            assert off == pytest.approx(float(of(airframe, pressure, 0.5)))
            assert on > 1.1 * off
            assert half == pytest.approx(0.5 * (off + on))


def test_an_airframe_without_raised_idle_keeps_its_idle() -> None:
    engines = AIRFRAME.engines.model_copy(update={"anti_ice_idle": None})
    plain = AIRFRAME.model_copy(update={"engines": engines})
    pressure = float(atmosphere.pressure(3000.0))
    assert engine.idle_thrust(plain, pressure, 0.4, 1.0) == engine.idle_thrust(plain, pressure, 0.4)


def test_arrays_go_through_tables() -> None:
    altitude = np.linspace(0.0, 12000.0, 7)
    state = State(altitude, np.linspace(110.0, 220.0, 7), np.zeros(7), np.full(7, 60000.0), np.zeros(7))
    found = motion(eastbound(TABLES, air()), 0.0, state, Control(1.0, 0.0, 0.0), CLEAN).forces
    for index in range(7):
        one = State(*(float(values[index]) for values in vars(state).values()))
        alone = motion(eastbound(TABLES, air()), 0.0, one, Control(1.0, 0.0, 0.0), CLEAN).forces
        assert float(found.idle[index]) == pytest.approx(float(alone.idle))
        assert float(found.drag[index]) == pytest.approx(float(alone.drag))
