"""What a wind can and cannot do to a flight."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given, settings

from optdescent.airframe import Configuration, read_airframe
from optdescent.airframe.polar import maximum_lift_coefficient
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import air_at, load_factor_on, motion, passage, path_angle_on
from optdescent.motion.holding import on_gradient_at_idle
from optdescent.units import GRAVITY, KNOT
from tests.simulation import CLEAN, COLUMN, air, eastbound, fixed, fly, level_state
from tests.strategies import between, configurations, gradients, states, surroundings, winds

AIRFRAME = read_airframe("narrow-body-twin")


def gliding(_distance: float, state: State) -> Control:
    """Idle at a path angle that depends on speed: settles at a glide; knows nothing of the ground."""
    wanted = -0.055 + 0.002 * (130.0 - state.true_airspeed) / 10.0
    load_factor = math.cos(state.path_angle) + state.true_airspeed * (wanted - state.path_angle) / (GRAVITY * 3.0)
    return Control(load_factor, 0.0, 0.0)


def minutes(east: float, north: float, seconds: float = 600.0):
    around = eastbound(AIRFRAME, air(east=east, north=north))
    start = level_state(8000.0, 170.0, 60000.0, -0.05)
    return fly(around, start, gliding, 400e3, until=lambda state: state.time - seconds, tolerance=1e-9)


STILL = minutes(0.0, 0.0)


@settings(max_examples=8)
@given(winds)
def test_a_steady_uniform_wind_moves_the_ground_and_nothing_else(east: float) -> None:
    windy = minutes(east, 0.0)
    assert float(windy.distance[-1] - STILL.distance[-1]) == pytest.approx(600.0 * east, abs=0.01)
    _same_through_the_air(windy)


@settings(max_examples=8)
@given(winds, winds)
def test_nor_does_one_across_the_track(east: float, north: float) -> None:
    windy = minutes(east, north)
    _same_through_the_air(windy)
    assert float(windy.distance[-1]) <= float(STILL.distance[-1]) + 600.0 * east + 0.01


def _same_through_the_air(windy) -> None:
    assert windy.end.pressure_altitude == pytest.approx(STILL.end.pressure_altitude, abs=1e-3)
    assert windy.end.true_airspeed == pytest.approx(STILL.end.true_airspeed, abs=1e-6)
    assert windy.end.path_angle == pytest.approx(STILL.end.path_angle, abs=1e-8)
    assert windy.end.mass == pytest.approx(STILL.end.mass, abs=1e-5)


def test_a_tailwind_that_falls_with_height_speeds_the_aircraft_up() -> None:
    """Descending through it the tailwind drops away, the airspeed rises: what a pilot feels, and by m V' = −m W'."""
    shear = 10.0 * KNOT / 304.8
    rates = []
    for slope in (0.0, shear):
        around = eastbound(AIRFRAME, air(east_by_height=slope))
        at = motion(around, 0.0, level_state(3000.0, 130.0, 60000.0, -0.05), Control(1.0, 0.0, 0.0), CLEAN)
        rates.append(float(at.acceleration))
    assert rates[1] - rates[0] == pytest.approx(shear * 130.0 * math.sin(0.05) * math.cos(0.05), rel=1e-9)


@given(surroundings(), states, gradients)
def test_the_angle_on_a_gradient_loses_it_over_the_ground_in_any_wind(
    around: Surroundings, state: State, gradient: float
) -> None:
    sample = air_at(around, 0.0, state.pressure_altitude)
    true = state.true_airspeed + math.hypot(sample.wind_along, sample.wind_across)  # forward over the ground
    angle = float(path_angle_on(gradient, sample, true))
    over = passage(sample, true, angle)
    assert float(over.ground_speed) > 0.0
    assert float(over.vertical_speed) == pytest.approx(-gradient * float(over.ground_speed), abs=1e-9 * true)
    assert -math.pi / 4.0 < angle <= 1e-12


@given(surroundings(), states)
def test_ground_speed_is_the_sum_of_air_and_wind_vectors(around: Surroundings, state: State) -> None:
    sample = air_at(around, 0.0, state.pressure_altitude)
    over = passage(sample, state.true_airspeed, state.path_angle)
    horizontal = state.true_airspeed * math.cos(state.path_angle)
    drift = math.asin(float(over.drift_sine))
    assert float(over.ground_speed) == pytest.approx(horizontal * math.cos(drift) + float(sample.wind_along))
    assert horizontal * math.sin(drift) == pytest.approx(float(sample.wind_across), abs=1e-9)


@given(surroundings(), states)
def test_the_wind_change_met_is_that_of_the_vector_on_the_heading(around: Surroundings, state: State) -> None:
    """East and north of the field itself: air velocity is ground velocity less wind, its direction is the heading."""
    sample = air_at(around, 0.0, state.pressure_altitude)
    over = passage(sample, state.true_airspeed, state.path_angle)
    field = around.air.field.sample(around.air.wind, 0.0, sample.height)
    course = around.track.final_course
    ground = float(over.ground_speed) * np.array([math.sin(course), math.cos(course)])
    through_air = ground - np.array([float(field.east), float(field.north)])
    horizontal = state.true_airspeed * math.cos(state.path_angle)
    assert float(np.hypot(*through_air)) == pytest.approx(horizontal)
    met = np.array([float(field.east_by_height), float(field.north_by_height)]) * float(over.vertical_speed)
    expected = float(met @ through_air) / horizontal
    assert float(over.wind_heading_change) == pytest.approx(expected, abs=1e-12)


def bent_wind() -> Surroundings:
    """A wind whose shear changes with height, along and across the track, on a warm day."""
    around = air(temperature_offset=12.0, qnh=100200.0, elevation=200.0)
    heights = COLUMN.heights
    coefficients = COLUMN.from_values([10.0 + 0.002 * h for h in heights], [-5.0, 20.0, 10.0])
    return eastbound(AIRFRAME, type(around)(12.0, 100200.0, 200.0, around.field, coefficients))


@pytest.mark.parametrize("gradient", [0.0524, 0.07])
def test_the_load_factor_on_a_gradient_keeps_the_aircraft_on_it(gradient: float) -> None:
    """The whole state is integrated with that load factor alone: after 50 km it is still on the line, at its angle."""
    around = bent_wind()

    def controls(distance: float, state: State) -> Control:
        return on_gradient_at_idle(around, distance, state, CLEAN, gradient, 0.0).control

    start = on_gradient_at_idle(around, 0.0, level_state(7000.0, 150.0, 60000.0), CLEAN, gradient, 0.0).state
    run = fly(around, start, controls, 50000.0, tolerance=1e-10)
    height = np.asarray(around.air.height(run.state.pressure_altitude))
    np.testing.assert_allclose(height[0] - height, gradient * run.distance, atol=1e-3)
    for index in range(run.distance.size):
        sample = air_at(around, float(run.distance[index]), float(run.state.pressure_altitude[index]))
        asked = float(path_angle_on(gradient, sample, float(run.state.true_airspeed[index])))
        assert float(run.state.path_angle[index]) == pytest.approx(asked, abs=1e-8)


@given(surroundings(), states, between(0.01, 0.1), configurations, between(0.0, 1.0))
def test_two_passes_close_the_load_factor_at_idle(
    around: Surroundings, state: State, gradient: float, configuration: Configuration, brake: float
) -> None:
    """Once more round the loop changes nothing that can be flown: a millionth of a g, short of the stall."""
    held = on_gradient_at_idle(around, 0.0, state, configuration, gradient, brake)
    largest = maximum_lift_coefficient(around.airframe, configuration, brake)
    assume(float(held.motion.forces.lift_coefficient) < largest)
    again = float(load_factor_on(gradient, held.motion, held.state, held.motion.acceleration))
    assert float(held.control.load_factor) == pytest.approx(again, abs=1e-6)


@settings(max_examples=40)
@given(surroundings(), states, between(0.01, 0.1))
def test_the_path_angle_turns_as_the_gradient_asks(around: Surroundings, state: State, gradient: float) -> None:
    """The rate of the gradient's own angle along the held motion, by differences, is the rate the hold flies."""
    held = on_gradient_at_idle(around, 0.0, state, CLEAN, gradient, 0.0)
    rates = held.motion
    step = 0.05

    def angle_after(seconds: float) -> float:
        climb = float(rates.by_distance.pressure_altitude * rates.passage.ground_speed) * seconds
        sample = air_at(around, 0.0, held.state.pressure_altitude + climb)
        return float(path_angle_on(gradient, sample, held.state.true_airspeed + float(rates.acceleration) * seconds))

    by_difference = (angle_after(step) - angle_after(-step)) / (2.0 * step)
    assert float(rates.path_angle_rate) == pytest.approx(by_difference, rel=1e-5, abs=2e-7)


def test_a_level_aircraft_needs_one_g_in_any_uniform_wind() -> None:
    run = fly(eastbound(AIRFRAME, air(east=30.0, north=20.0)), level_state(5000.0, 150.0, 60000.0), fixed(), 5000.0)
    assert run.end.pressure_altitude == pytest.approx(5000.0, abs=1e-6)
