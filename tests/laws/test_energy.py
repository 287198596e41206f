"""Energy along a flight: by the air, and by the ground with the forces' own work, which no term of the code knows."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings

from optdescent.airframe import read_airframe
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import Motion, motion
from optdescent.units import GRAVITY
from tests.simulation import CLEAN, air, eastbound, fly, level_state
from tests.strategies import between, configurations, controls, states, surroundings

AIRFRAME = read_airframe("narrow-body-twin")


def weaving(_distance: float, state: State) -> Control:
    """Controls that change all the time, so that no term stays constant."""
    slow = math.sin(state.time / 20.0)
    wanted = math.radians(-3.0 + 1.5 * slow)
    load_factor = math.cos(state.path_angle) + state.true_airspeed * (wanted - state.path_angle) / (GRAVITY * 4.0)
    return Control(load_factor, 0.05 * (1.0 + slow), 0.3 * (1.0 - slow))


AIRS = [
    air(),
    air(east=25.0, north=-10.0),
    air(east=-15.0, east_by_height=0.006, north_by_height=-0.004),
    air(east=10.0, east_by_height=-0.005, temperature_offset=25.0, qnh=99000.0, elevation=300.0),
]


@pytest.mark.parametrize("around", AIRS, ids=["still", "uniform", "shear", "warm shear"])
def test_energy_through_the_air_changes_by_thrust_less_drag_and_the_wind_met(around) -> None:
    """d(V²/2 + gH)/dt = V (T − D)/m − V cos γ W', with H the geopotential height."""
    where = eastbound(AIRFRAME, around)

    def work(state: State, _control: Control, at: Motion) -> tuple[float, float]:
        excess = at.forces.thrust - at.forces.drag
        change = at.passage.wind_heading_change
        return (
            float(excess * state.true_airspeed / state.mass),
            float(-state.true_airspeed * math.cos(state.path_angle) * change),
        )

    run = fly(where, level_state(9000.0, 190.0, 60000.0), weaving, 80000.0, integrals=work, tolerance=1e-10)
    height = np.asarray(around.height(run.state.pressure_altitude))
    energy = run.state.true_airspeed**2 / 2.0 + GRAVITY * height
    np.testing.assert_allclose(energy - energy[0], run.integrals.sum(axis=0), atol=1e-3)
    assert abs(run.integrals[0, -1]) > 1e4
    sheared = float(around.sample(0.0, 5000.0, math.pi / 2.0).wind_along_by_height) != pytest.approx(0.0, abs=1e-9)
    assert (abs(run.integrals[1, -1]) > 100.0) == sheared


@settings(max_examples=200)
@given(surroundings(), states, controls, configurations)
def test_energy_over_the_ground_changes_by_the_work_of_the_forces(
    around: Surroundings, state: State, control: Control, configuration
) -> None:
    """In the frame of the ground there is no wind term: d(|u|²/2 + gH)/dt is the work of lift, thrust and drag on u.

    The wind across the track is taken out: the equations neglect the side force that a changing drift angle needs.
    """
    course = math.atan2(0.0, 1.0)
    around = Surroundings(around.airframe, _without_east(around.air), type(around.track)(course))
    at = motion(around, 0.0, state, control, configuration)
    angle, speed = state.path_angle, state.true_airspeed
    sample, over = at.air, at.passage
    assert float(sample.wind_across) == pytest.approx(0.0, abs=1e-9)
    horizontal = speed * math.cos(angle) + float(sample.wind_along)
    vertical = speed * math.sin(angle)
    along = float(at.forces.thrust - at.forces.drag) / state.mass
    lift = control.load_factor * GRAVITY
    work = (along * math.cos(angle) - lift * math.sin(angle)) * horizontal
    work += (along * math.sin(angle) + lift * math.cos(angle)) * vertical
    rate, turn = float(at.acceleration), float(at.path_angle_rate)
    wind_change = float(sample.wind_along_by_height) * vertical
    horizontal_rate = rate * math.cos(angle) - speed * math.sin(angle) * turn + wind_change
    vertical_rate = rate * math.sin(angle) + speed * math.cos(angle) * turn
    kinetic = horizontal * horizontal_rate + vertical * vertical_rate
    assert kinetic + GRAVITY * float(over.vertical_speed) == pytest.approx(work, abs=1e-8 * max(1.0, abs(work)) + 1e-9)


@given(surroundings(), states, controls, configurations)
def test_forces_are_newton_s_in_the_vertical_plane(
    around: Surroundings, state: State, control: Control, configuration
) -> None:
    """Acceleration of the ground velocity, component by component: horizontal, and vertical with weight."""
    around = Surroundings(around.airframe, _without_east(around.air), type(around.track)(0.0))
    at = motion(around, 0.0, state, control, configuration)
    angle, speed = state.path_angle, state.true_airspeed
    rate, turn = float(at.acceleration), float(at.path_angle_rate)
    wind_change = float(at.air.wind_along_by_height) * speed * math.sin(angle)
    along, lift = float(at.forces.thrust - at.forces.drag) / state.mass, control.load_factor * GRAVITY
    horizontal = rate * math.cos(angle) - speed * math.sin(angle) * turn + wind_change
    vertical = rate * math.sin(angle) + speed * math.cos(angle) * turn
    assert horizontal == pytest.approx(along * math.cos(angle) - lift * math.sin(angle), abs=1e-11)
    assert vertical == pytest.approx(along * math.sin(angle) + lift * math.cos(angle) - GRAVITY, abs=1e-11)


def _without_east(around):
    coefficients = np.array(around.wind)
    coefficients[: around.field.table.size] = 0.0
    return type(around)(around.temperature_offset, around.qnh, around.datum_elevation, around.field, coefficients)


@given(between(0.0, 11000.0), between(100.0, 230.0), between(-0.1, 0.05))
def test_at_idle_in_still_air_energy_only_falls(altitude: float, true: float, angle: float) -> None:
    state = level_state(altitude, true, 60000.0, angle)
    at = motion(eastbound(AIRFRAME, air()), 0.0, state, Control(1.0, 0.0, 0.0), CLEAN)
    rate = state.true_airspeed * float(at.acceleration) + GRAVITY * float(at.passage.vertical_speed)
    assert rate < 0.0
    assert float(at.by_distance.mass) < 0.0
    assert float(at.by_distance.time) > 0.0
