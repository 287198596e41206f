"""Closed forms of flight mechanics, flown by the equations of motion with an adaptive integrator.

Where a value has printed digits they are the tolerance; where a closed form neglects the square of the path angle, the
tolerance is that square and says so.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.optimize import brentq, minimize_scalar

from optdescent.air import airspeed, atmosphere
from optdescent.airframe import read_airframe
from optdescent.airframe.polar import best_glide, drag_coefficient
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import motion, thrust_needed
from optdescent.motion.holding import on_gradient_at_speed
from optdescent.units import FOOT, GRAVITY, KNOT, NAUTICAL_MILE
from tests.simulation import CLEAN, Controls, Run, air, eastbound, fixed, fly, glider, level_state

AIRFRAME = read_airframe("narrow-body-twin")
TEXTBOOK = glider(122.0, 0.020, 0.045)
POUND, SQUARE_FOOT = 0.45359237, FOOT**2
LIGHT = glider(174.0 * SQUARE_FOOT, 0.037, 1.0 / (math.pi * 0.72 * 7.38))
LIGHT_MASS = 2400.0 * POUND


def steady_angle(around: Surroundings, altitude: float, true: float, mass: float) -> float:
    """Path angle [rad] of the steady glide at a true airspeed [m/s]: no acceleration, straight path."""

    def acceleration(angle: float) -> float:
        state = level_state(altitude, true, mass, angle)
        return float(motion(around, 0.0, state, Control(math.cos(angle), 0.0, 0.0), CLEAN).acceleration)

    return float(brentq(acceleration, -0.5, 0.1, xtol=1e-14))


def test_best_lift_over_drag() -> None:
    """Exact, 1/(2√(CD0 K)): 16.667 at CL 0.6667, 3.4336°, 2.743 nm per 1000 ft."""
    ratio, lift = best_glide(TEXTBOOK, CLEAN)
    assert ratio == pytest.approx(16.667, abs=5.1e-4)
    assert lift == pytest.approx(0.6667, abs=5.1e-5)
    assert math.degrees(math.atan(1.0 / ratio)) == pytest.approx(3.4336, abs=5.1e-5)
    assert ratio * 1000.0 * FOOT / NAUTICAL_MILE == pytest.approx(2.743, abs=5.1e-4)


def test_worked_glide_of_a_light_aircraft() -> None:
    """Lowry, Performance of Light Aircraft (1999), example 9.1: −5.379°, lift/drag 10.62, 76.23 kt TAS at 4000 ft.

    2400 lb, 174 ft², aspect ratio 7.38, CD0 0.037, e 0.72. The best speed is looked for on the equations of motion.
    """
    around, altitude = eastbound(LIGHT, air()), 4000.0 * FOOT
    best = minimize_scalar(
        lambda true: -steady_angle(around, altitude, true, LIGHT_MASS),
        bracket=(35.0, 40.0, 45.0),
        options={"xtol": 1e-10},
    )
    angle = -float(best.fun)
    assert math.degrees(angle) == pytest.approx(-5.379, abs=5.1e-4)
    assert 1.0 / math.tan(-angle) == pytest.approx(10.62, abs=5.1e-3)
    assert float(best.x) / KNOT == pytest.approx(76.23, abs=5.1e-3)


def test_a_light_aircraft_glides_height_times_lift_over_drag() -> None:
    """To first order: no thrust, still air, best speed. What is missing is the speed lost with height, 1 % here."""
    around = eastbound(LIGHT, air())
    ratio, lift = best_glide(LIGHT, CLEAN)
    altitude = 4000.0 * FOOT
    run = glide_at_lift(around, altitude, lift, LIGHT_MASS)
    assert float(run.distance[-1]) == pytest.approx(altitude * ratio, rel=0.01)


def test_a_jet_glides_energy_height_times_lift_over_drag() -> None:
    """Fast, the kinetic energy counts: distance = (height + (V₁² − V₂²)/2g) × L/D, to the square of the path angle."""
    around = eastbound(TEXTBOOK, air())
    ratio, lift = best_glide(TEXTBOOK, CLEAN)
    altitude = 9000.0
    run = glide_at_lift(around, altitude, lift, 60000.0)
    speeds = run.state.true_airspeed
    height = altitude + (speeds[0] ** 2 - speeds[-1] ** 2) / (2.0 * GRAVITY)
    assert float(run.distance[-1]) == pytest.approx(height * ratio, rel=0.0036)
    assert float(run.distance[-1]) > 1.04 * altitude * ratio


def at_lift(around: Surroundings, altitude: float, lift: float, mass: float) -> tuple[State, Controls]:
    """Steady glide at an altitude and one lift coefficient, and the controls that keep the coefficient."""
    area = around.airframe.wing.area

    def controls(_distance: float, state: State) -> Control:
        pressure_area = 0.5 * float(atmosphere.density(state.pressure_altitude, 0.0)) * state.true_airspeed**2 * area
        return Control(lift * pressure_area / (mass * GRAVITY), 0.0, 0.0)

    drag = float(drag_coefficient(around.airframe, CLEAN, lift, 0.0, 0.0))
    angle = -math.atan(drag / lift)
    true = math.sqrt(2.0 * mass * GRAVITY * math.cos(angle) / (float(atmosphere.density(altitude, 0.0)) * area * lift))
    return level_state(altitude, true, mass, angle), controls


def glide_at_lift(around: Surroundings, altitude: float, lift: float, mass: float) -> Run:
    """Glide to sea level at one lift coefficient, from the steady glide it belongs to."""
    start, controls = at_lift(around, altitude, lift, mass)
    return fly(around, start, controls, 30.0 * altitude, until=lambda s: s.pressure_altitude, tolerance=1e-8)


def test_level_deceleration() -> None:
    """Parabolic polar, no thrust: s = ln[(aV₁⁴+b)/(aV₂⁴+b)]/(4ga), a = ρSCD0/2W, b = 2KW/(ρS).

    60 t, 122 m², sea level, 0.020/0.045, 250 to 210 kt: 4057.9 m in 34.324 s.
    """
    run = fly(
        eastbound(TEXTBOOK, air()),
        level_state(0.0, 250.0 * KNOT, 60000.0),
        fixed(),
        10000.0,
        until=lambda state: state.true_airspeed - 210.0 * KNOT,
    )
    assert float(run.distance[-1]) == pytest.approx(4057.9, abs=0.051)
    assert run.end.time == pytest.approx(34.324, abs=5.1e-4)
    assert run.end.pressure_altitude == pytest.approx(0.0, abs=1e-6)


@pytest.mark.parametrize(("mach", "factor"), [(0.5, 1.1315), (0.6, 1.1836), (0.7, 1.2412), (0.78, 1.2902)])
@pytest.mark.parametrize("altitude", [3000.0, 9000.0])
def test_acceleration_factor_at_constant_calibrated_airspeed(mach: float, factor: float, altitude: float) -> None:
    """Troposphere: (T − D)/(W sin γ) = 1 + (V/g) dV/dh at constant calibrated airspeed, a function of Mach alone."""
    true = mach * float(atmosphere.speed_of_sound(altitude, 0.0))
    state = level_state(altitude, true, 60000.0)
    held = on_gradient_at_speed(eastbound(AIRFRAME, air()), 0.0, state, CLEAN, 0.04)
    forces, weight = held.motion.forces, 60000.0 * GRAVITY
    found = float(forces.thrust - forces.drag) / (weight * math.sin(held.state.path_angle))
    assert found == pytest.approx(factor, abs=5.1e-5)


@pytest.mark.parametrize(("mach", "factor"), [(0.5, 0.9667), (0.6, 0.9521), (0.7, 0.9347), (0.78, 0.9190)])
def test_acceleration_factor_at_constant_mach(mach: float, factor: float) -> None:
    """Troposphere: 1 + (V/g) dV/dh at constant Mach number; the thrust is what the equations ask for it."""
    around, altitude, angle = eastbound(AIRFRAME, air()), 8000.0, -0.04
    sound = [float(atmosphere.speed_of_sound(altitude + step, 0.0)) for step in (-5.0, 0.0, 5.0)]
    state = level_state(altitude, mach * sound[1], 60000.0, angle)
    acceleration = mach * (sound[2] - sound[0]) / 10.0 * state.true_airspeed * math.sin(angle)
    at = motion(around, 0.0, state, Control(math.cos(angle), 0.0, 0.0), CLEAN)
    thrust = float(thrust_needed(at, state, acceleration))
    found = (thrust - float(at.forces.drag)) / (60000.0 * GRAVITY * math.sin(angle))
    assert found == pytest.approx(factor, abs=5.1e-5)


def test_a_flight_at_that_thrust_keeps_its_calibrated_airspeed() -> None:
    """The hold flown: thrust and load factor of each moment, 60 km, no feedback on the speed held."""
    around = eastbound(AIRFRAME, air(temperature_offset=10.0, east=-20.0, east_by_height=0.003))
    gradient = 0.045

    def controls(distance: float, state: State) -> Control:
        return on_gradient_at_speed(around, distance, state, CLEAN, gradient).control

    altitude = 6000.0
    sound = float(atmosphere.speed_of_sound(altitude, 10.0))
    true = float(airspeed.true_from_calibrated(250.0 * KNOT, atmosphere.pressure(altitude), sound))
    first = on_gradient_at_speed(around, 0.0, level_state(altitude, true, 60000.0), CLEAN, gradient).state
    run = fly(around, first, controls, 60000.0, tolerance=1e-9)
    last_sound = atmosphere.speed_of_sound(run.state.pressure_altitude, 10.0)
    calibrated = airspeed.calibrated_at(run.state.true_airspeed, run.state.pressure_altitude, last_sound)
    np.testing.assert_allclose(np.asarray(calibrated) / KNOT, 250.0, atol=1e-4)


@pytest.mark.parametrize(("wind", "speed"), [(-0.3, 1.0996), (0.3, 0.9411)])
def test_best_glide_in_a_steady_wind(wind: float, speed: float) -> None:
    """2u⁵ + 3wu⁴ − 2u − w = 0, w the tailwind and u the speed over those of best glide in still air.

    The closed form takes the path angle as small: an aircraft of lift/drag 500 makes it so.
    """
    slippery = glider(100.0, 0.001, 0.001)
    mass, altitude = 10000.0, 0.0
    best = math.sqrt(2.0 * mass * GRAVITY / (atmosphere.SEA_LEVEL_DENSITY * 100.0 * 1.0))
    around = eastbound(slippery, air(east=wind * best))

    def over_ground(true: float) -> float:
        angle = steady_angle(around, altitude, true, mass)
        state = level_state(altitude, true, mass, angle)
        over = motion(around, 0.0, state, Control(math.cos(angle), 0.0, 0.0), CLEAN).passage
        return float(over.vertical_speed / over.ground_speed)

    found = minimize_scalar(
        lambda true: -over_ground(true), bracket=(0.8 * best, best, 1.25 * best), options={"xtol": 1e-9}
    )
    assert float(found.x) / best == pytest.approx(speed, abs=1.5e-4)


def test_wind_moves_an_idle_descent_by_its_integral() -> None:
    """∫W dt: 3.33 nm for 10 kt over 20 minutes; the same glide through the air, flown twice."""

    def minutes_of(wind: float) -> Run:
        around = eastbound(TEXTBOOK, air(east=wind * KNOT))
        start, controls = at_lift(around, 11000.0, 0.6, 60000.0)
        return fly(around, start, controls, 600e3, until=lambda state: state.time - 1200.0, tolerance=1e-10)

    still, windy = minutes_of(0.0), minutes_of(10.0)
    shift = float(windy.distance[-1] - still.distance[-1]) / NAUTICAL_MILE
    assert shift == pytest.approx(3.33, abs=5.1e-3)
    assert windy.end.pressure_altitude == pytest.approx(still.end.pressure_altitude, abs=1e-3)
    assert windy.end.true_airspeed == pytest.approx(still.end.true_airspeed, abs=1e-6)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_shear_enters_the_acceleration_factor(sign: float) -> None:
    """10 kt per 1000 ft at 130 m/s: 0.224 = (V/g) dW/dh, from memory of textbooks on wind shear; exact arithmetic.

    Descending through a tailwind that falls with height, or a headwind that grows, adds to the speed: the factor's
    numerator, (T − D)/W over sin γ at zero acceleration, is 1 + 0.224 for a tailwind that grows with height.
    """
    shear = sign * 10.0 * KNOT / (1000.0 * FOOT)
    state = level_state(3000.0, 130.0, 60000.0, -0.002)
    factors = []
    for slope in (0.0, shear):
        around = eastbound(AIRFRAME, air(east_by_height=slope))
        at = motion(around, 0.0, state, Control(1.0, 0.0, 0.0), CLEAN)
        thrust = float(thrust_needed(at, state, 0.0))
        factors.append((thrust - float(at.forces.drag)) / (60000.0 * GRAVITY * math.sin(state.path_angle)))
    assert factors[0] == pytest.approx(1.0, abs=1e-12)
    assert factors[1] - factors[0] == pytest.approx(sign * 0.224, abs=5.1e-4)
