"""Equations of motion of a point mass in the vertical plane along a track, by distance; written once for every user.

With V the true airspeed, g the path angle through the air, n the load factor, W the wind component on the heading
(tailwind positive) and a dot the rate of change met by the aircraft:

    V' = (T - D)/m - G sin g - W' cos g
    V g' = G (n - cos g) + W' sin g
    H' = V sin g,   H_p' = H' T_standard/T,   m' = -fuel flow,   x' = √((V cos g)² - w²) + W_along

where w is the wind across the track. The wind met on the heading is the wind along the track turned by the drift
angle, so W' = W_along' cos δ - w' sin δ with sin δ = w / (V cos g). The lateral acceleration that a changing drift
angle needs is neglected. In a turn of the track the wind's components change with the course, the wind does not: W'
holds the changes of the wind itself, resolved on the course of the moment.

Sources: Etkin, Dynamics of Atmospheric Flight (1972), sections 5.4-5.8 (moving air); Hull, Fundamentals of Airplane
Flight Mechanics (2007), chapter 2 (vertical plane).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from optdescent.air import AirSample
from optdescent.airframe import Configuration
from optdescent.curves.elementary import Value, arcsin, arctan2, cos, sin, sqrt
from optdescent.motion.forces import Forces, forces
from optdescent.motion.state import Control, State, Surroundings
from optdescent.units import GRAVITY


@dataclass(frozen=True)
class Passage:
    """How the aircraft passes over the ground: ground speed [m/s], vertical speed [m/s], wind changes met [m/s2]."""

    ground_speed: Value
    vertical_speed: Value
    drift_sine: Value
    wind_along_change: Value
    wind_across_change: Value
    wind_heading_change: Value


@dataclass(frozen=True)
class Motion:
    """All that the equations give at one point: rates by time, rates by distance, forces, air, bank [rad]."""

    acceleration: Value
    path_angle_rate: Value
    by_distance: State
    passage: Passage
    forces: Forces
    air: AirSample
    bank: Value


def passage(sample: AirSample, true_airspeed: Value, path_angle: Value) -> Passage:
    """Motion over the ground [m/s] at a true airspeed [m/s] and path angle through the air [rad]."""
    horizontal = true_airspeed * cos(path_angle)
    forward = sqrt(horizontal**2 - sample.wind_across**2)
    ground_speed = forward + sample.wind_along
    vertical_speed = true_airspeed * sin(path_angle)
    along = sample.wind_along_by_height * vertical_speed + sample.wind_along_by_distance * ground_speed
    across = sample.wind_across_by_height * vertical_speed + sample.wind_across_by_distance * ground_speed
    drift_sine = sample.wind_across / horizontal
    heading = along * forward / horizontal - across * drift_sine
    return Passage(ground_speed, vertical_speed, drift_sine, along, across, heading)


def air_at(surroundings: Surroundings, distance: Value, pressure_altitude: Value) -> AirSample:
    """Air [SI] at a coordinate along the track [m] and pressure altitude [m], wind resolved on the track's course."""
    return surroundings.air.sample(distance, pressure_altitude, surroundings.track.course(distance))


def motion(
    surroundings: Surroundings, distance: Value, state: State, control: Control, configuration: Configuration
) -> Motion:
    """Rates of a state [SI] at a coordinate along the track [m]: the equations of this module."""
    sample = air_at(surroundings, distance, state.pressure_altitude)
    return motion_in(sample, surroundings, distance, state, control, configuration)


def motion_in(
    sample: AirSample,
    surroundings: Surroundings,
    distance: Value,
    state: State,
    control: Control,
    configuration: Configuration,
) -> Motion:
    """Rates of a state [SI] in air that has been looked up at its place along the track [m]."""
    anti_ice = surroundings.anti_ice_share(state.pressure_altitude)
    over = passage(sample, state.true_airspeed, state.path_angle)
    lateral = lateral_load(surroundings, distance, over.ground_speed)
    force = forces(surroundings.airframe, sample, state, control, configuration, anti_ice, lateral)
    sine, cosine = sin(state.path_angle), cos(state.path_angle)
    change = over.wind_heading_change
    acceleration = (force.thrust - force.drag) / state.mass - GRAVITY * sine - change * cosine
    turn = (GRAVITY * (control.load_factor - cosine) + change * sine) / state.true_airspeed
    ground_speed = over.ground_speed
    by_distance = State(
        pressure_altitude=over.vertical_speed / sample.stretch / ground_speed,
        true_airspeed=acceleration / ground_speed,
        path_angle=turn / ground_speed,
        mass=-force.fuel_flow / ground_speed,
        time=1.0 / ground_speed,
    )
    bank = 0.0 * distance if lateral is None else arctan2(lateral, control.load_factor)
    return Motion(acceleration, turn, by_distance, over, force, sample, bank)


def lateral_load(surroundings: Surroundings, distance: Value, ground_speed: Value) -> Value | None:
    """Horizontal part of lift over weight [-], right positive, that the track's turn needs; None on a straight track.

    Notes
    -----
    V_ground² / (R G), so that tan(bank) = V_ground² / (R G) at a load factor of 1 (Hull 2007, section 2.7).
    """
    if not surroundings.track.turns:
        return None
    return ground_speed**2 * surroundings.track.curvature(distance) / GRAVITY


def thrust_needed(at: Motion, state: State, acceleration: Value) -> Value:
    """Thrust [N] for an acceleration along the air path [m/s2], in the place of the thrust of `at`."""
    wind = at.passage.wind_heading_change * cos(state.path_angle)
    return at.forces.drag + state.mass * (acceleration + GRAVITY * sin(state.path_angle) + wind)


def thrust_fraction_for(at: Motion, thrust: Value) -> Value:
    """Thrust fraction [-] that gives a thrust [N]; outside 0 to 1 when the engines cannot."""
    return (thrust - at.forces.idle) / (at.forces.largest - at.forces.idle)


def flown_thrust(
    sample: AirSample,
    surroundings: Surroundings,
    distance: Value,
    state: State,
    control: Control,
    configuration: Configuration,
    acceleration: Value,
) -> tuple[Value, Motion]:
    """Thrust fraction [-] with which a flight has an acceleration along its path [m/s2]; and its motion at idle.

    `sample` is the air at its place along the track [m]; the thrust fraction of `control` does not matter. Outside 0 to
    1 the engines cannot have given it.
    """
    idle = replace(control, thrust_fraction=0.0)
    at = motion_in(sample, surroundings, distance, state, idle, configuration)
    return thrust_fraction_for(at, thrust_needed(at, state, acceleration)), at


def path_angle_on(gradient: Value, sample: AirSample, true_airspeed: Value) -> Value:
    """Path angle through the air [rad] that loses `gradient` [-] of height per distance over the ground.

    Notes
    -----
    With z = V sin g, the condition z = -gradient (√(V² - z² - w²) + W_along) is a quadratic in z; the lower root
    descends.
    """
    z, _ = _sink_on(gradient, sample, true_airspeed)
    return arcsin(z / true_airspeed)


def _sink_on(gradient: Value, sample: AirSample, true_airspeed: Value) -> tuple[Value, Value]:
    """Vertical speed [m/s] on a gradient, and the root of the discriminant over the gradient [m/s]."""
    along, across, slope = sample.wind_along, sample.wind_across, gradient
    lead = 1.0 + slope**2
    root = sqrt(along**2 - lead * (along**2 + across**2 - true_airspeed**2))
    return -slope * (along + root) / lead, root


def load_factor_on(gradient: Value, at: Motion, state: State, acceleration: Value) -> Value:
    """Load factor [-] that keeps the aircraft on a straight gradient [-] over the ground.

    Parameters
    ----------
    gradient : Value
        Height lost per distance over the ground [-].
    at : Motion
        Motion at the state; its load factor does not matter here, its winds do.
    state : State
        State on the gradient [SI].
    acceleration : Value
        Rate of change of true airspeed [m/s2].

    Notes
    -----
    The quadratic of `path_angle_on`, differentiated by time, gives the rate of the path angle.
    """
    over, sample, slope = at.passage, at.air, gradient
    z, root = _sink_on(slope, sample, state.true_airspeed)
    gain = (
        slope * state.true_airspeed * acceleration
        - (z + slope * sample.wind_along) * over.wind_along_change
        - slope * sample.wind_across * over.wind_across_change
    )
    z_rate = -gain / root
    cosine, sine = cos(state.path_angle), sin(state.path_angle)
    angle_rate = (z_rate - acceleration * sine) / (state.true_airspeed * cosine)
    return cosine + (state.true_airspeed * angle_rate - over.wind_heading_change * sine) / GRAVITY
