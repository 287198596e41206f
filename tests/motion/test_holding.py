"""The equations under a hold."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given

from optdescent.airframe import Configuration, read_airframe
from optdescent.motion import State, Surroundings
from optdescent.motion.holding import level, on_gradient_at_idle, on_gradient_at_speed
from tests.simulation import CLEAN, air, eastbound, fly, level_state
from tests.strategies import between, configurations, gradients, states, surroundings

AIRFRAME = read_airframe("narrow-body-twin")


@given(surroundings(), states, configurations, between(-1.0, 1.0))
def test_level_flight_has_the_acceleration_asked_for(
    around: Surroundings, state: State, configuration: Configuration, acceleration: float
) -> None:
    flat = State(state.pressure_altitude, state.true_airspeed, 0.0, state.mass, state.time)
    held = level(around, 0.0, flat, configuration, acceleration)
    assert float(held.motion.acceleration) == pytest.approx(acceleration, abs=1e-10)
    assert float(held.motion.path_angle_rate) == pytest.approx(0.0, abs=1e-14)
    assert float(held.motion.by_distance.pressure_altitude) == 0.0


def test_level_flight_flown_keeps_height_and_speed() -> None:
    around = eastbound(AIRFRAME, air(east=30.0, north=-15.0, temperature_offset=10.0))

    def controls(distance: float, state: State):
        return level(around, distance, state, CLEAN, 0.0).control

    run = fly(around, level_state(10668.0, 230.0, 62000.0), controls, 100000.0, tolerance=1e-9)
    assert run.end.pressure_altitude == pytest.approx(10668.0, abs=1e-3)
    assert run.end.true_airspeed == pytest.approx(230.0, abs=1e-6)
    assert run.end.mass < 62000.0 - 100.0


@given(surroundings(), states, configurations, between(0.005, 0.1), between(0.0, 1.0))
def test_on_a_gradient_at_idle_it_is_idle_and_on_the_gradient(
    around: Surroundings, state: State, configuration: Configuration, gradient: float, brake: float
) -> None:
    held = on_gradient_at_idle(around, 0.0, state, configuration, gradient, brake)
    over = held.motion.passage
    assert (held.control.thrust_fraction, held.control.speed_brake) == (0.0, brake)
    assert float(over.vertical_speed / over.ground_speed) == pytest.approx(-gradient, rel=1e-9)
    assert float(held.motion.forces.thrust) == float(held.motion.forces.idle)


@given(surroundings(), states, between(0.01, 0.1))
def test_on_a_gradient_at_speed_the_calibrated_airspeed_stays(
    around: Surroundings, state: State, gradient: float
) -> None:
    held = on_gradient_at_speed(around, 0.0, state, CLEAN, gradient)
    seconds = 0.5
    after = []
    for sign in (-1.0, 1.0):
        moved = State(
            held.state.pressure_altitude
            + sign * seconds * float(held.motion.by_distance.pressure_altitude * held.motion.passage.ground_speed),
            held.state.true_airspeed + sign * seconds * float(held.motion.acceleration),
            held.state.path_angle,
            state.mass,
            0.0,
        )
        after.append(float(on_gradient_at_speed(around, 0.0, moved, CLEAN, gradient).motion.forces.calibrated_airspeed))
    assert (after[1] - after[0]) / (2.0 * seconds) == pytest.approx(0.0, abs=2e-4)


def test_a_gradient_of_zero_is_level_flight() -> None:
    around = eastbound(AIRFRAME, air(east=10.0))
    held = on_gradient_at_idle(around, 0.0, level_state(3000.0, 130.0, 60000.0), CLEAN, 0.0, 0.0)
    assert float(held.state.path_angle) == pytest.approx(0.0, abs=1e-15)
    assert float(held.control.load_factor) == pytest.approx(1.0)


@given(gradients)
def test_a_steeper_gradient_is_a_steeper_path(gradient: float) -> None:
    around, state = eastbound(AIRFRAME, air(east=-20.0)), level_state(3000.0, 130.0, 60000.0)
    flat = on_gradient_at_speed(around, 0.0, state, CLEAN, gradient + 0.001)
    steep = on_gradient_at_speed(around, 0.0, state, CLEAN, gradient + 0.011)
    assert steep.state.path_angle < flat.state.path_angle
    assert steep.control.thrust_fraction < flat.control.thrust_fraction
    assert math.isfinite(steep.control.load_factor)


def test_holds_work_for_many_points_at_once() -> None:
    around = eastbound(AIRFRAME, air(east=12.0, east_by_height=0.002))
    altitudes = np.linspace(500.0, 9000.0, 5)
    state = State(altitudes, np.full(5, 140.0), np.zeros(5), np.full(5, 60000.0), np.zeros(5))
    together = on_gradient_at_idle(around, 0.0, state, CLEAN, 0.05, 0.0)
    for index, altitude in enumerate(altitudes):
        alone = on_gradient_at_idle(around, 0.0, level_state(float(altitude), 140.0, 60000.0), CLEAN, 0.05, 0.0)
        assert together.control.load_factor[index] == pytest.approx(float(alone.control.load_factor), rel=1e-12)
