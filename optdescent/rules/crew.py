"""How a crew flies what a rule asks: pitch, speed brake, thrust and devices, closed loop.

The laws are plain functions of what the crew sees, so that one flight or thousands can be flown with the same code.
Gains and thresholds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.air.airspeed import calibrated_from_mach, mach_from_calibrated
from optdescent.air.altitude import shifted
from optdescent.airframe import Airframe, Configuration
from optdescent.airframe.brake import brake_allowed_at
from optdescent.arrival import Arrival, Capture
from optdescent.curves.elementary import Value, clip, cos, maximum, minimum, where
from optdescent.curves.smooth import smooth_step
from optdescent.motion.equations import Motion, thrust_fraction_for, thrust_needed
from optdescent.motion.state import State
from optdescent.rules.rule import Ask, Place, gate_speeds
from optdescent.units import FOOT, FOOT_PER_MINUTE, GRAVITY, KNOT, NAUTICAL_MILE


@dataclass(frozen=True)
class Crew:
    """A crew that looks all the time and makes no mistakes of arithmetic; times [s], heights [m], speeds [m/s]."""

    height_time: float = 20.0
    most_correction: float = 1500.0 * FOOT_PER_MINUTE
    level_time: float = 12.0
    pitch_time: float = 2.5
    speed_time: float = 12.0
    protection_time: float = 5.0
    brake_from_height: float = 150.0 * FOOT
    brake_full_height: float = 500.0 * FOOT
    brake_from_speed: float = 8.0 * KNOT
    brake_full_speed: float = 20.0 * KNOT
    brake_in_below: float = 3.0 * KNOT
    thrust_below: float = 5.0 * KNOT
    limit_margin: float = 4.0 * KNOT
    approach_margin: float = 1.5 * KNOT
    limit_ramp: float = 10.0 * KNOT / (300.0 * FOOT)
    limit_slope: float = 10.0 * KNOT / NAUTICAL_MILE
    window_margin: float = 1.5 * KNOT
    window_speed_within: float = 10.0 * NAUTICAL_MILE


@dataclass(frozen=True)
class Limits:
    """What bounds the crew at a point: calibrated airspeeds [m/s] and steepest path angle through the air [rad]."""

    fastest: Value
    steepest: Value


@dataclass(frozen=True)
class Orders:
    """What the crew commands: load factor [-], thrust fraction [-], speed brake fraction [-]."""

    load_factor: Value
    thrust_fraction: Value
    speed_brake: Value


def speed_limits(
    airframe: Airframe, arrival: Arrival, crew: Crew, place: Place, shift: Value, configuration: Configuration
) -> Value:
    """Largest calibrated airspeed [m/s] the crew lets the aircraft reach.

    A limit below an altitude, or by a distance, is approached along a ramp, so that it holds on passing the altitude
    or the distance. Near the speed that a window asks for exactly the margin is small, to leave room for thrust.
    """
    fastest = minimum(airframe.limits.maximum_speed, calibrated_from_mach(airframe.limits.maximum_mach, place.pressure))
    for limit in arrival.speed_limits:
        altitude = limit.below_altitude
        if altitude is None:
            early = maximum(-place.distance - (limit.within or 0.0), 0.0)
            fastest = minimum(fastest, limit.speed + crew.limit_slope * early)
            continue
        published = shifted(altitude, arrival.transition_altitude, shift)
        fastest = minimum(fastest, limit.speed + crew.limit_ramp * maximum(place.pressure_altitude - published, 0.0))
    for window in arrival.windows:
        if window.fastest is not None:
            early = maximum(-place.distance - window.distance, 0.0)
            room = crew.limit_margin + (crew.window_margin if window.speed_at is not None else -crew.window_margin)
            slowed = minimum(fastest, window.fastest + room + crew.limit_slope * early)
            fastest = where(place.distance < -window.distance, slowed, fastest)
    for step, out in zip(airframe.steps[1:], configuration.steps, strict=True):
        if step.limit_speed is not None:
            fastest = where(out > 0.02, minimum(fastest, step.limit_speed), fastest)
    gear = minimum(fastest, airframe.gear.limit_speed)
    return where(configuration.gear > 0.02, gear, fastest) - crew.limit_margin


def steepest_path(arrival: Arrival, place: Place, true_airspeed: Value, steepest: float) -> Value:
    """Steepest path angle through the air [rad, negative] by handling and by the sink limits at the height."""
    angle: Value = -steepest
    for limit in arrival.sink_limits:
        allowed = -0.97 * limit.sink / true_airspeed
        near = limit.below_height + 300.0 * FOOT
        angle = where(place.height < near, maximum(angle, allowed), angle)
    path = arrival.glide_path
    if path.capture is Capture.ABOVE:
        is_above = place.height > path.height(place.distance) + _ON_PATH
        near_path = where(place.distance > -path.below_within, where(is_above, 1.0, 0.0), 0.0)
        angle = where(near_path > 0.5, maximum(angle, -0.97 * path.sink_above / true_airspeed), angle)
    return angle


_ON_PATH = 30.0 * FOOT


def least_asked(airframe: Airframe, arrival: Arrival, crew: Crew, x: Value, mass: Value) -> Value:
    """Calibrated airspeed [m/s] that thrust keeps for what lies ahead and asks for a least speed; 0 without one.

    Windows, and the gates beside the one that decides.
    """
    asked = [(window.distance, window.slowest) for window in arrival.windows if window.slowest is not None]
    least: Value = 0.0
    for distance, slowest in (*asked, *gate_speeds(airframe, arrival, mass)):
        near = where(x > -distance - crew.window_speed_within, where(x < -distance, 1.0, 0.0), 0.0)
        least = maximum(least, where(near > 0.5, slowest + 0.5 * crew.window_margin, 0.0))
    return least


def pitch_order(crew: Crew, state: State, at: Motion, ask: Ask, limits: Limits, place: Place) -> Value:
    """Load factor [-] that follows the asked height, never climbs, and keeps below the largest speed.

    The vertical speed wanted is that of the asked path plus a correction, the height error over `height_time` but no
    more than `most_correction`; above a floor the sink rate fades over `level_time`. The path angle is then followed
    with the lag `pitch_time`.
    """
    correction = clip((ask.height - place.height) / crew.height_time, -crew.most_correction, crew.most_correction)
    wanted = -ask.slope * at.passage.ground_speed + correction
    path_angle = wanted / state.true_airspeed
    fastest = mach_from_calibrated(limits.fastest, place.pressure) * at.air.speed_of_sound
    slowing = (fastest - state.true_airspeed) / crew.protection_time
    push = (at.forces.thrust - at.forces.drag) / state.mass - slowing - at.passage.wind_heading_change
    protected = push / GRAVITY
    levelling = -maximum(place.height - ask.floor, 0.0) / (crew.level_time * state.true_airspeed)
    path_angle = maximum(maximum(path_angle, levelling), maximum(limits.steepest, protected))
    path_angle = minimum(path_angle, 0.0)
    return cos(state.path_angle) + state.true_airspeed * (path_angle - state.path_angle) / (GRAVITY * crew.pitch_time)


BRAKE_IN = 0.05
"""Speed brake fraction [-] above which a crew leaves thrust at idle: the brake comes in first."""


def thrust_order(crew: Crew, state: State, at: Motion, hold: Value, place: Place, brake: Value) -> Value:
    """Thrust fraction [-] that keeps the speed from falling below a calibrated airspeed [m/s]; else idle.

    Never while the speed brake is out: the crew stows it first.
    """
    wanted = mach_from_calibrated(hold, place.pressure) * at.air.speed_of_sound
    acceleration = (wanted - state.true_airspeed) / crew.speed_time
    needed = clip(thrust_fraction_for(at, thrust_needed(at, state, acceleration)), 0.0, 1.0)
    return where(brake > BRAKE_IN, 0.0, needed)


def brake_order(crew: Crew, at: Motion, ask: Ask, place: Place, allowed: Value) -> Value:
    """Speed brake fraction [-]: out with height above the asked one or speed above the planned one, where allowed.

    It comes in as the speed falls below the planned one, before thrust would go on.
    """
    high = (place.height - ask.height - crew.brake_from_height) / (crew.brake_full_height - crew.brake_from_height)
    over = at.forces.calibrated_airspeed - ask.speed
    fast = (over - crew.brake_from_speed) / (crew.brake_full_speed - crew.brake_from_speed)
    wanted = clip(maximum(high, fast), 0.0, 1.0) * clip(1.0 + over / crew.brake_in_below, 0.0, 1.0)
    return wanted * allowed


BRAKE_BAND = 100.0 * FOOT
"""Height [m] over which the speed brake is stowed above the height below which it must be."""


def brake_allowed(
    airframe: Airframe, configuration: Configuration, height: Value, lowest: Value, calibrated: Value, mass: Value
) -> Value:
    """Largest speed brake fraction [-] allowed with the devices out, at a height above the threshold [m].

    It falls to 0 as the step after the last that permits the brake comes out, on nearing the `lowest` height [m], and
    near the bounds of the brake's own speeds (calibrated airspeed [m/s], mass [kg]; see `airframe.brake`).
    """
    after = airframe.speed_brake.last_step
    by_step = 1.0 - configuration.steps[after] if after < len(configuration.steps) else 1.0
    by_speed = brake_allowed_at(airframe, configuration, calibrated, mass)
    return by_step * smooth_step((height - lowest) / BRAKE_BAND) * by_speed
