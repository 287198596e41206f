"""How a crew flies what a rule asks: pitch, speed brake, thrust and devices, closed loop.

The laws are plain functions of what the crew sees, so that one flight or thousands can be flown with the same code.
Gains and thresholds are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from optdescent.air.airspeed import calibrated_from_mach, mach_from_calibrated
from optdescent.air.altitude import shifted
from optdescent.airframe import Airframe, Configuration
from optdescent.airframe.brake import brake_allowed_at
from optdescent.airframe.speeds import GEAR, Device, devices, least_speed
from optdescent.arrival import Arrival, Capture
from optdescent.curves.elementary import Value, clip, cos, exp, maximum, minimum, rounded, where
from optdescent.curves.smooth import smooth_step
from optdescent.motion.equations import Motion, thrust_fraction_for, thrust_needed
from optdescent.motion.state import State
from optdescent.rules.lane import Lane
from optdescent.rules.rule import Ask, Place, gate_speeds, height_excess
from optdescent.scenario import Technique
from optdescent.units import FOOT, GRAVITY, KNOT


@dataclass(frozen=True)
class Least:
    """A least speed that a crew keeps: calibrated [m/s], and the time in which it is approached [s]."""

    speed: Value
    seconds: Value

    def change(self, true_airspeed: Value, at: Motion, place: Place) -> Value:
        """Least acceleration [m/s2] at a true airspeed [m/s]: the nearer the speed, the more slowly it may fall."""
        wanted = mach_from_calibrated(self.speed, place.pressure) * at.air.speed_of_sound
        return (wanted - true_airspeed) / self.seconds


@dataclass(frozen=True)
class Limits:
    """What bounds the crew at a point: calibrated airspeeds [m/s] and steepest path angle through the air [rad].

    The nose is lowered for `slowest` when high.
    """

    fastest: Value
    steepest: Value
    slowest: Least | None = None


def speed_limits(
    airframe: Airframe, arrival: Arrival, crew: Technique, place: Place, shift: Value, configuration: Configuration
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


def least_asked(airframe: Airframe, arrival: Arrival, crew: Technique, x: Value, mass: Value) -> Value:
    """Calibrated airspeed [m/s] that thrust keeps for what lies ahead and asks for a least speed; 0 without one.

    Windows, and the gates beside the one that decides.
    """
    asked = [(window.distance, window.slowest) for window in arrival.windows if window.slowest is not None]
    least: Value = 0.0
    for distance, slowest in (*asked, *gate_speeds(airframe, arrival, mass)):
        near = where(x > -distance - crew.window_speed_within, where(x < -distance, 1.0, 0.0), 0.0)
        least = maximum(least, where(near > 0.5, slowest + 0.5 * crew.window_margin, 0.0))
    return least


LEAST_MARGIN = 1.5 * KNOT
"""Speed [m/s] above the least manoeuvring speed that a crew keeps if it acts late."""
_MARGIN_FROM = 2.0
"""Delay [s] of a crew that keeps all of it: one that acts at once needs none."""
_SELECTED_WITHIN = 1.0 * KNOT
"""Speed [m/s] below that at which a device is selected to which a crew lets the speed fall to select it."""
ALL_OUT = 0.98
"""Fraction [-] from which a device counts as out."""
_HIGH = 200.0 * FOOT
"""Height [m] above the one to have from which a crew keeps a least speed by pitch, as far as that can."""
_LATER = 1.0 * KNOT
"""Speed [m/s] below the one that pitch keeps at which brake and thrust help it."""


def selected_at(airframe: Airframe, crew: Technique, device: Device, mass: Value) -> Value:
    """Calibrated airspeed [m/s] from which down this crew selects a device by its schedule, at a mass [kg]."""
    early = crew.gear_early if device.number == GEAR else crew.flaps_early
    return minimum(device.scheduled_speed(airframe, mass) + early, device.limit_speed)


def awaited_speed(airframe: Airframe, crew: Technique, lane: Lane) -> Value:
    """Calibrated airspeed [m/s] at which the next device will have been selected; beyond every speed if all are out.

    A crew that kept more would never select it. The gear, which bears no lift, is not waited for once it is due.
    """
    awaited: Value = 0.0
    for device in devices(airframe):
        is_gear = device.number == GEAR
        waits = lane.due.gear <= 0.0 if is_gear else lane.out.steps[device.number - 1] < ALL_OUT
        at = selected_at(airframe, crew, device, lane.motion.mass)
        awaited = where(waits, maximum(awaited, at), awaited)
    return where(awaited > 0.0, awaited - _SELECTED_WITHIN, 1000.0)


def least_kept(airframe: Airframe, crew: Technique, lane: Lane, seconds: Value, late: Value) -> Least:
    """What a crew keeps above all else, when it looks again after some seconds [s] and acts so late [s].

    It is the least manoeuvring speed of what is out; if the crew acts late with a margin, and the speed may fall
    towards it the more slowly. A crew that acts at once has no margin: while its engines spool up it may be half a
    knot under it, less than can be read. A crew that selects the next device slower than that lets the speed fall so
    far.
    """
    margin = LEAST_MARGIN * clip(late / _MARGIN_FROM, 0.0, 1.0)
    least = least_speed(airframe, lane.out, lane.motion.mass) + margin
    speed = minimum(least, awaited_speed(airframe, crew, lane))
    return Least(speed, seconds + minimum(late, crew.protection_time))


def highness(ask: Ask, place: Place) -> Value:
    """From 0 at the height to have to 1 well above it [-]: how far height is used for speed, and not thrust."""
    return clip(height_excess(ask, place) / _HIGH, 0.0, 1.0)


def path_wanted(
    crew: Technique, state: State, at: Motion, ask: Ask, limits: Limits, place: Place, check_every: Value
) -> Value:
    """Path angle through the air [rad] that follows the asked height, never climbs, and limits the speed.

    The vertical speed wanted is that of the asked path plus a correction, the height error over `height_time` but no
    more than `most_correction`; above a floor the sink rate fades over `level_time`. Where the rule alone decides the
    height, the error is flown off over the time between two checks [s] if that is longer, and the sink rate is set in
    steps. When high the nose is lowered to keep the least speed.
    """
    error = ask.height - place.height
    at_once = _correction(crew, error, crew.height_time)
    by_checks = _correction(crew, error, maximum(crew.height_time, check_every)) * ask.corrected
    planned = -ask.slope * at.passage.ground_speed
    wanted = where(ask.free > 0.5, rounded(planned + by_checks, crew.sink_rounding), planned + at_once)
    path_angle = where(ask.level > 0.5, 0.0, wanted / state.true_airspeed)
    if limits.slowest is not None:
        kept = _path_for(state, at, limits.slowest.change(state.true_airspeed, at, place))
        path_angle = path_angle + highness(ask, place) * minimum(kept - path_angle, 0.0)
    fastest = mach_from_calibrated(limits.fastest, place.pressure) * at.air.speed_of_sound
    protected = _path_for(state, at, (fastest - state.true_airspeed) / crew.protection_time)
    levelling = -maximum(place.height - ask.floor, 0.0) / (crew.level_time * state.true_airspeed)
    path_angle = maximum(maximum(path_angle, levelling), maximum(limits.steepest, protected))
    return minimum(path_angle, 0.0)


def _path_for(state: State, at: Motion, change: Value) -> Value:
    """Path angle [rad] that gives an acceleration [m/s2] with thrust and drag as they are."""
    push = (at.forces.thrust - at.forces.drag) / state.mass - change - at.passage.wind_heading_change
    return push / GRAVITY


def pitch_order(crew: Technique, state: State, path_angle: Value, seconds: Value) -> Value:
    """Load factor [-] held for some seconds [s] with which a path angle [rad] is followed with the lag `pitch_time`.

    It is the mean of what the lag asks for over the time that it is held.
    """
    turn = (path_angle - state.path_angle) * followed(seconds, crew.pitch_time)
    return cos(state.path_angle) + state.true_airspeed * turn / (GRAVITY * seconds)


def _correction(crew: Technique, error: Value, seconds: Value) -> Value:
    """Vertical speed [m/s] added to fly off a height error [m] in some time [s]."""
    return clip(error / seconds, -crew.most_correction, crew.most_correction)


def followed(seconds: Value, lag: Value) -> Value:
    """Part of a difference that a lag [s] has taken up after some seconds [s]: 1 - exp(-t/T) [-]."""
    return 1.0 - exp(-seconds / lag)


BRAKE_IN = 0.05
"""Speed brake fraction [-] above which a crew leaves thrust at idle: the brake comes in first."""


def thrust_order(
    crew: Technique, state: State, at: Motion, hold: Value, place: Place, brake: Value, change: Value = 0.0
) -> Value:
    """Thrust fraction [-] that keeps the speed from falling below a calibrated airspeed [m/s]; else idle.

    Never while the speed brake is out: the crew stows it first. `change` [m/s2] is the rate at which that speed itself
    is planned to change.
    """
    wanted = mach_from_calibrated(hold, place.pressure) * at.air.speed_of_sound
    acceleration = (wanted - state.true_airspeed) / crew.speed_time + change * wanted / hold
    needed = clip(thrust_fraction_for(at, thrust_needed(at, state, acceleration)), 0.0, 1.0)
    return where(brake > BRAKE_IN, 0.0, needed)


def orders_for_least(
    airframe: Airframe, ahead: State, at: Motion, least: Least, ask: Ask, place: Place, brake: Value
) -> tuple[Value, Value]:
    """Largest speed brake fraction and least thrust fraction [-] that keep a least speed where pitch does not.

    `ahead` is the state on the path that pitch goes to, `brake` how far the brake is out now [-]. Thrust gives what
    stowing the brake does not. When high they come a little later than pitch.
    """
    later = replace(least, speed=least.speed - _LATER * highness(ask, place))
    missing = thrust_needed(at, ahead, later.change(ahead.true_airspeed, at, place)) - at.forces.idle
    full = 0.5 * at.air.density * ahead.true_airspeed**2 * airframe.wing.area * airframe.speed_brake.drag
    thrust = thrust_fraction_for(at, at.forces.idle + missing - full * brake)
    return clip(brake - missing / maximum(full, 1.0), 0.0, 1.0), clip(thrust, 0.0, 1.0)


def speed_to_spare(crew: Technique, above: Value) -> Value:
    """Speed [m/s] by which a crew lets the speed fall before it adds thrust when above the height to have [m].

    Height is speed to come: it adds no thrust while it has more than enough of both.
    """
    return clip(above * crew.limit_ramp, 0.0, MOST_SPARED)


MOST_SPARED = 15.0 * KNOT
"""Largest such speed [m/s]: slower, flaps would come out before their time."""


def brake_for_height(crew: Technique, place: Place, ask: Ask) -> Value:
    """Speed brake fraction [-] a crew uses with height above the asked one, if its rule says nothing of it."""
    high = (height_excess(ask, place) - crew.brake_from_height) / (crew.brake_full_height - crew.brake_from_height)
    return clip(high, 0.0, 1.0)


def brake_for_speed(crew: Technique, over: Value) -> Value:
    """Speed brake fraction [-] a crew uses at a speed [m/s] over the planned one, if its rule says nothing of it."""
    return clip((over - crew.brake_from_speed) / (crew.brake_full_speed - crew.brake_from_speed), 0.0, 1.0)


def brake_kept(crew: Technique, over: Value) -> Value:
    """What is left of the brake [-] at a speed [m/s] over the planned one: it comes in before thrust would go on."""
    return clip(1.0 + over / crew.brake_in_below, 0.0, 1.0)


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
