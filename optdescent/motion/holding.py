"""The equations under a hold: level at one speed, or on a straight gradient over the ground, at idle or at one speed.

A hold removes states from the equations instead of adding constraints to them: the load factor and, where a speed is
held, the thrust follow in closed form.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from optdescent.air.airspeed import calibrated_at
from optdescent.airframe import Configuration
from optdescent.curves.elementary import Value
from optdescent.motion.equations import (
    Motion,
    air_at,
    load_factor_on,
    motion_in,
    path_angle_on,
    thrust_fraction_for,
    thrust_needed,
)
from optdescent.motion.state import Control, State, Surroundings

_STEP_ALTITUDE = 1.0
_STEP_SPEED = 0.01


@dataclass(frozen=True)
class Held:
    """A held motion: the whole state, the control that holds it, and the motion that results."""

    state: State
    control: Control
    motion: Motion


def level(
    surroundings: Surroundings, distance: Value, state: State, configuration: Configuration, acceleration: Value
) -> Held:
    """Level flight at an acceleration [m/s2] with the thrust this needs; the state's path angle must be zero [rad]."""
    control = Control(load_factor=1.0, thrust_fraction=0.0, speed_brake=0.0)
    sample = air_at(surroundings, distance, state.pressure_altitude)
    at = motion_in(sample, surroundings, distance, state, control, configuration)
    fraction = thrust_fraction_for(at, thrust_needed(at, state, acceleration))
    control = replace(control, thrust_fraction=fraction)
    return Held(state, control, motion_in(sample, surroundings, distance, state, control, configuration))


def on_gradient_at_idle(
    surroundings: Surroundings,
    distance: Value,
    state: State,
    configuration: Configuration,
    gradient: Value,
    speed_brake: Value,
) -> Held:
    """On a straight gradient [-] over the ground at idle; the path angle [rad] of `state` is replaced.

    Notes
    -----
    The load factor depends on the acceleration and, through induced drag, the acceleration on the load factor. The
    loop gain is below 1e-3, so two passes close it to rounding.
    """
    sample = air_at(surroundings, distance, state.pressure_altitude)
    state = replace(state, path_angle=path_angle_on(gradient, sample, state.true_airspeed))
    control = Control(load_factor=1.0, thrust_fraction=0.0, speed_brake=speed_brake)
    at = motion_in(sample, surroundings, distance, state, control, configuration)
    for _ in range(2):
        control = replace(control, load_factor=load_factor_on(gradient, at, state, at.acceleration))
        at = motion_in(sample, surroundings, distance, state, control, configuration)
    return Held(state, control, at)


def on_gradient_at_speed(
    surroundings: Surroundings, distance: Value, state: State, configuration: Configuration, gradient: Value
) -> Held:
    """On a straight gradient [-] over the ground at constant calibrated airspeed, with the thrust this needs.

    The path angle [rad] of `state` is replaced.
    """
    sample = air_at(surroundings, distance, state.pressure_altitude)
    state = replace(state, path_angle=path_angle_on(gradient, sample, state.true_airspeed))
    control = Control(load_factor=1.0, thrust_fraction=0.0, speed_brake=0.0)
    at = motion_in(sample, surroundings, distance, state, control, configuration)
    acceleration = at.by_distance.pressure_altitude * at.passage.ground_speed * _speed_by_altitude(surroundings, state)
    control = replace(control, load_factor=load_factor_on(gradient, at, state, acceleration))
    at = motion_in(sample, surroundings, distance, state, control, configuration)
    fraction = thrust_fraction_for(at, thrust_needed(at, state, acceleration))
    control = replace(control, thrust_fraction=fraction)
    return Held(state, control, motion_in(sample, surroundings, distance, state, control, configuration))


def _speed_by_altitude(surroundings: Surroundings, state: State) -> Value:
    """Change of true airspeed with pressure altitude [1/s] at constant calibrated airspeed, by central differences."""
    altitude, true = state.pressure_altitude, state.true_airspeed

    def calibrated(height: Value, speed: Value) -> Value:
        return calibrated_at(speed, height, surroundings.air.speed_of_sound(height))

    by_altitude = calibrated(altitude + _STEP_ALTITUDE, true) - calibrated(altitude - _STEP_ALTITUDE, true)
    by_speed = calibrated(altitude, true + _STEP_SPEED) - calibrated(altitude, true - _STEP_SPEED)
    return -(by_altitude / _STEP_ALTITUDE) / (by_speed / _STEP_SPEED)
