"""Forces and fuel flow at one state."""

from __future__ import annotations

import pytest
from hypothesis import given

from optdescent.air import airspeed
from optdescent.airframe import Configuration, engine, read_airframe
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import air_at, motion, thrust_fraction_for, thrust_needed
from optdescent.motion.forces import forces
from optdescent.units import GRAVITY
from tests.simulation import CLEAN, air, eastbound, level_state
from tests.strategies import between, configurations, controls, states, surroundings

AIRFRAME = read_airframe("narrow-body-twin")


@given(surroundings(), states, controls, configurations)
def test_lift_carries_the_load_and_speeds_belong_together(
    around: Surroundings, state: State, control: Control, configuration: Configuration
) -> None:
    sample = air_at(around, 0.0, state.pressure_altitude)
    found = forces(around.airframe, sample, state, control, configuration)
    dynamic = 0.5 * float(sample.density) * state.true_airspeed**2
    lift = float(found.lift_coefficient) * dynamic * AIRFRAME.wing.area
    assert lift == pytest.approx(control.load_factor * state.mass * GRAVITY)
    assert float(found.mach) == pytest.approx(state.true_airspeed / float(sample.speed_of_sound))
    assert float(found.calibrated_airspeed) == pytest.approx(
        float(airspeed.calibrated_from_true(state.true_airspeed, sample.pressure, sample.speed_of_sound))
    )


@given(surroundings(), states, configurations)
def test_the_ends_of_the_thrust_range_are_idle_and_largest(
    around: Surroundings, state: State, configuration: Configuration
) -> None:
    sample = air_at(around, 0.0, state.pressure_altitude)
    idle, full = (
        forces(around.airframe, sample, state, Control(1.0, fraction, 0.0), configuration) for fraction in (0.0, 1.0)
    )
    assert float(idle.thrust) == float(idle.idle) == float(engine.idle_thrust(AIRFRAME, sample.pressure, idle.mach))
    assert float(full.thrust) == pytest.approx(float(engine.maximum_thrust(AIRFRAME, sample.density, full.mach)))
    assert float(idle.fuel_flow) == pytest.approx(float(engine.idle_flow(AIRFRAME, sample.pressure, idle.mach)))
    assert float(full.fuel_flow) == pytest.approx(float(engine.maximum_flow(AIRFRAME, sample.density, full.mach)))


@given(surroundings(), states, controls, between(-1.0, 1.0))
def test_the_thrust_needed_gives_the_acceleration(
    around: Surroundings, state: State, control: Control, acceleration: float
) -> None:
    at = motion(around, 0.0, state, control, CLEAN)
    fraction = float(thrust_fraction_for(at, thrust_needed(at, state, acceleration)))
    again = motion(around, 0.0, state, Control(control.load_factor, fraction, control.speed_brake), CLEAN)
    assert float(again.acceleration) == pytest.approx(acceleration, abs=1e-10)


@given(surroundings(), states, controls, configurations)
def test_rates_by_distance_are_rates_by_time_over_ground_speed(
    around: Surroundings, state: State, control: Control, configuration: Configuration
) -> None:
    at = motion(around, 0.0, state, control, configuration)
    ground = float(at.passage.ground_speed)
    assert float(at.by_distance.true_airspeed) * ground == pytest.approx(float(at.acceleration))
    assert float(at.by_distance.path_angle) * ground == pytest.approx(float(at.path_angle_rate))
    assert float(at.by_distance.mass) * ground == pytest.approx(-float(at.forces.fuel_flow))
    assert float(at.by_distance.time) * ground == pytest.approx(1.0)
    climb = float(at.by_distance.pressure_altitude) * ground * float(at.air.stretch)
    assert climb == pytest.approx(float(at.passage.vertical_speed), abs=1e-12)


def test_pulling_more_than_one_g_costs_drag_and_bends_the_path_up() -> None:
    around, state = eastbound(AIRFRAME, air()), level_state(3000.0, 130.0, 60000.0)
    one, more = (motion(around, 0.0, state, Control(n, 0.0, 0.0), CLEAN) for n in (1.0, 1.2))
    assert float(one.path_angle_rate) == pytest.approx(0.0, abs=1e-15)
    assert float(more.path_angle_rate) == pytest.approx(0.2 * GRAVITY / 130.0)
    assert float(more.forces.drag) > float(one.forces.drag)
