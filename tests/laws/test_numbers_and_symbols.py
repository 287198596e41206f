"""The equations are written once: numbers, arrays and CasADi expressions agree to rounding."""

from __future__ import annotations

import math
from dataclasses import fields, is_dataclass
from typing import Any

import casadi as ca
import numpy as np
import pytest
from hypothesis import given, settings

from optdescent.air import Air
from optdescent.airframe import Configuration, read_airframe
from optdescent.airframe.speeds import selected_on_schedule
from optdescent.arrival import Track
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import load_factor_on, motion
from optdescent.motion.holding import level, on_gradient_at_idle, on_gradient_at_speed
from tests.simulation import COLUMN
from tests.strategies import between, configurations, controls, states, surroundings

AIRFRAME = read_airframe("narrow-body-twin")
GRADIENT = 0.0524


def leaves(value: Any) -> list[Any]:
    """Every number of nested records, in order."""
    if is_dataclass(value):
        return [leaf for field in fields(value) for leaf in leaves(getattr(value, field.name))]
    if isinstance(value, tuple):
        return [leaf for item in value for leaf in leaves(item)]
    return [value]


def everything(around: Surroundings, state: State, control: Control, configuration: Configuration) -> list[Any]:
    """Motion, holds and schedule at one state."""
    at = motion(around, -1000.0, state, control, configuration)
    flat = State(state.pressure_altitude, state.true_airspeed, 0.0 * state.path_angle, state.mass, state.time)
    return leaves(
        (
            at,
            load_factor_on(GRADIENT, at, state, -0.3),
            level(around, -1000.0, flat, configuration, -0.2),
            on_gradient_at_idle(around, -1000.0, state, configuration, GRADIENT, control.speed_brake),
            selected_on_schedule(around.airframe, at.forces.calibrated_airspeed, state.mass),
            on_gradient_at_speed(around, -1000.0, state, configuration, GRADIENT),
        )
    )


HELD = 41
"""Numbers in one held motion; the last of `everything` is the one that a difference enters."""


def _compiled() -> ca.Function:
    names = ("offset", "qnh", "elevation", "course")
    offset, qnh, elevation, course = (ca.SX.sym(name) for name in names)
    wind = ca.SX.sym("wind", COLUMN.size)
    state, control = ca.SX.sym("state", 5), ca.SX.sym("control", 3)
    configuration = ca.SX.sym("configuration", 5)
    around = Surroundings(AIRFRAME, Air(offset, qnh, elevation, COLUMN, wind), Track(course))
    parts = everything(
        around,
        State(*ca.vertsplit(state)),
        Control(*ca.vertsplit(control)),
        Configuration(tuple(ca.vertsplit(configuration[:4])), configuration[4]),
    )
    inputs = [offset, qnh, elevation, course, wind, state, control, configuration]
    return ca.Function("everything", inputs, [ca.vertcat(*parts)])


COMPILED = _compiled()
BY_DIFFERENCE = np.arange(COMPILED.numel_out()) >= COMPILED.numel_out() - HELD


@settings(max_examples=150)
@given(surroundings(), states, controls, configurations)
def test_numbers_and_expressions_agree(
    around: Surroundings, state: State, control: Control, configuration: Configuration
) -> None:
    numbers = np.array([float(value) for value in everything(around, state, control, configuration)])
    column = around.air
    symbols = COMPILED(
        column.temperature_offset,
        column.qnh,
        column.datum_elevation,
        around.track.final_course,
        column.wind,
        leaves(state),
        leaves(control),
        leaves(configuration),
    )
    found, by_difference = np.asarray(symbols).ravel(), BY_DIFFERENCE
    np.testing.assert_allclose(found[~by_difference], numbers[~by_difference], rtol=1e-12, atol=1e-12)
    # the rate of true airspeed at one calibrated airspeed is a central difference, which magnifies rounding
    np.testing.assert_allclose(found[by_difference], numbers[by_difference], rtol=1e-8, atol=1e-9)


def test_arrays_and_numbers_agree() -> None:
    draw = np.random.default_rng(3)
    count = 9
    state = State(
        draw.uniform(0, 12000, count),
        draw.uniform(100, 230, count),
        draw.uniform(-0.1, 0, count),
        draw.uniform(45e3, 65e3, count),
        draw.uniform(0, 900, count),
    )
    control = Control(draw.uniform(0.9, 1.1, count), draw.uniform(0, 1, count), draw.uniform(0, 1, count))
    configuration = Configuration(tuple(draw.uniform(0, 1, (4, count))), draw.uniform(0, 1, count))
    coefficients = COLUMN.from_values([10.0, 20.0, -30.0], [5.0, -20.0, 40.0])
    around = Surroundings(AIRFRAME, Air(7.0, 100000.0, 120.0, COLUMN, coefficients), Track(0.4))
    together = [np.broadcast_to(value, count) for value in everything(around, state, control, configuration)]
    for index in range(count):
        alone = everything(
            around,
            State(*(float(values[index]) for values in leaves(state))),
            Control(*(float(values[index]) for values in leaves(control))),
            Configuration(tuple(float(v[index]) for v in configuration.steps), float(configuration.gear[index])),
        )
        found = np.array([values[index] for values in together])
        np.testing.assert_allclose(found[:-HELD], alone[:-HELD], rtol=1e-12, atol=1e-12)
        np.testing.assert_allclose(found[-HELD:], alone[-HELD:], rtol=1e-8, atol=1e-9)


@given(between(0.0, 12000.0), between(100.0, 230.0))
def test_derivatives_of_the_expressions_are_those_of_the_numbers(altitude: float, true: float) -> None:
    """Exact derivatives against central differences of the plain numbers."""
    z = ca.SX.sym("z", 2)
    around = Surroundings(AIRFRAME, Air(0.0, 101325.0, 0.0, COLUMN, np.zeros(COLUMN.size)), Track(0.0))

    def acceleration(height: Any, speed: Any) -> Any:
        state = State(height, speed, -0.05, 60000.0, 0.0)
        return motion(around, 0.0, state, Control(1.0, 0.1, 0.2), Configuration((0.0,) * 4, 0.0)).acceleration

    gradient = ca.Function("g", [z], [ca.gradient(acceleration(z[0], z[1]), z)])
    exact = [float(v) for v in np.asarray(gradient([altitude, true])).ravel()]
    if abs(altitude - 11000.0) > 2.0:
        by_height = (acceleration(altitude + 1.0, true) - acceleration(altitude - 1.0, true)) / 2.0
        assert exact[0] == pytest.approx(float(by_height), rel=1e-5, abs=1e-9)
    by_speed = (acceleration(altitude, true + 0.01) - acceleration(altitude, true - 0.01)) / 0.02
    assert exact[1] == pytest.approx(float(by_speed), rel=1e-5, abs=1e-8)
    assert math.isfinite(exact[0])
