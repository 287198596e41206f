"""What a rule asks for at a place: the height to have, the speed planned, and by how far its terms shift it."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import assert_never

from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.altitude import shifted
from optdescent.airframe import Airframe
from optdescent.airframe.speeds import holding_speed, reference_speed
from optdescent.arrival import Arrival
from optdescent.curves.elementary import Value, clip, maximum, minimum, rounded_up, tan, where
from optdescent.rules.drivers import (
    Always,
    AntiIce,
    EarlierTerm,
    GearDown,
    HeadwindOnly,
    HeightToLose,
    MassAbove,
    ShiftTerm,
    SpeedToLose,
    StepsOut,
    Tailwind,
    TailwindOnly,
    TemperatureOffset,
)
from optdescent.rules.parts import (
    AngleProfile,
    DeviceBy,
    DistanceProfile,
    HeightProfile,
    PointsProfile,
    Rule,
    SpeedBy,
    SpeedName,
)
from optdescent.units import FOOT, NAUTICAL_MILE


def named_speed(airframe: Airframe, arrival: Arrival, name: SpeedName, mass: Value) -> Value:
    """Calibrated airspeed [m/s] of a named speed at a mass [kg]."""
    match name:
        case SpeedName.MINIMUM_CLEAN:
            return holding_speed(airframe, 0, mass)
        case SpeedName.FIRST_STEP:
            return holding_speed(airframe, min(1, len(airframe.steps) - 1), mass)
        case SpeedName.SECOND_STEP:
            return holding_speed(airframe, min(2, len(airframe.steps) - 1), mass)
        case SpeedName.APPROACH:
            return reference_speed(airframe, mass) + arrival.gate.speed_above_reference


@dataclass(frozen=True)
class Place:
    """Where a rule is asked: coordinate along the track [m], height above the threshold [m], what is met there.

    `tailwind` [m/s] is the one the crew believes, `mean_tailwind` that of a band between two heights above the
    threshold [m]; without it there is one wind at every height. `temperature_offset` [K] is from the standard
    atmosphere; `anti_ice`, `gear` and `steps` say how far they are on or out [-].
    """

    distance: Value
    height: Value
    pressure_altitude: Value
    pressure: Value
    tailwind: Value
    mass: Value
    temperature_offset: Value = 0.0
    anti_ice: Value = 0.0
    gear: Value = 0.0
    steps: Value = 0.0
    mean_tailwind: Callable[[float, float], Value] | None = None


def height_excess(ask: Ask, place: Place) -> Value:
    """Height [m] above the one to have; none where a sink rate is flown whatever the height."""
    return (place.height - ask.height) * (1.0 - ask.free * (1.0 - ask.corrected))


@dataclass(frozen=True)
class Ask:
    """What a rule asks for at a place: calibrated airspeed planned [m/s], height to have [m], its slope [-].

    `floor` is a height [m] not to sink through here: far below the ground where there is none. `held` is 1 in a
    hold-down, where the planned speed is held with thrust, and 0 elsewhere. `free` is 1 where the rule alone
    decides the height; there `corrected` is 0 if its slope is flown whatever the height. `level` is 1 where the crew
    levels off.
    """

    speed: Value
    height: Value
    slope: Value
    floor: Value = -10000.0
    held: Value = 0.0
    free: Value = 0.0
    corrected: Value = 1.0
    level: Value = 0.0


def asked(rule: Rule, airframe: Airframe, arrival: Arrival, place: Place, shift: Value, cruise_mach: Value) -> Ask:
    """Height to have and speed planned by a rule at a place.

    Parameters
    ----------
    shift : Value
        Pressure altitude less QNH altitude [m].
    cruise_mach : Value
        Mach number [-] held until the descent speed is reached.
    """
    speed = planned_speed(rule, airframe, arrival, place, shift, cruise_mach)
    over = maximum(speed - named_speed(airframe, arrival, SpeedName.APPROACH, place.mass), 0.0)
    profile = rule.profile
    others = [term for term in profile.terms if not isinstance(term, HeightToLose)]
    along = -place.distance - rounded_up(earlier_by(others, place, over), profile.round_up)
    match profile:
        case DistanceProfile():
            (lose,) = (term for term in profile.terms if isinstance(term, HeightToLose))
            slope = lose.per_height / lose.distance
            return Ask(speed, along * slope, slope)
        case AngleProfile(angle=angle):
            slope = float(tan(angle))
            return Ask(speed, arrival.glide_path.threshold_crossing_height + slope * along, slope)
        case HeightProfile():
            allowance: Value = 0.0
            for part in reversed(profile.allowances):
                named = named_speed(airframe, arrival, part.above, place.mass)
                allowance = where(speed > named - 1.0, part.height, allowance)
            return Ask(speed, profile.gradient * along + allowance, profile.gradient)
        case PointsProfile():
            return Ask(speed, *_through(profile, along))
        case _:
            assert_never(profile)


def _through(profile: PointsProfile, to_go: Value) -> tuple[Value, Value]:
    """Height [m] and slope [-] of straight lines through heights at distances; the last goes on to the threshold."""
    first = profile.points[0]
    height, slope = _lines([(point.distance, point.height) for point in profile.points], to_go)
    beyond = to_go >= first.distance
    height = where(beyond, first.height + profile.gradient * (to_go - first.distance), height)
    return height, where(beyond, profile.gradient, slope)


def _lines(points: Sequence[tuple[float, float]], to_go: Value) -> tuple[Value, Value]:
    """Value and slope at a distance to go [m] of straight lines through values at distances, farthest first.

    The value of the first holds beyond it, the line through the last two goes on.
    """
    value: Value = points[0][1]
    slope: Value = 0.0
    for (far, high), (near, low) in pairwise(points):
        rise = (high - low) / (far - near)
        is_near = to_go < far
        value = where(is_near, low + rise * (to_go - near), value)
        slope = where(is_near, rise, slope)
    return value, slope


def earlier_by(terms: Sequence[ShiftTerm] | Sequence[EarlierTerm], place: Place, over: Value) -> Value:
    """Distance [m] by which terms begin a descent earlier; `over` is the planned speed above the approach's [m/s]."""
    total: Value = 0.0
    for term in terms:
        total = total + term.distance * _share(term, place, over)
    return total


def earlier(part: SpeedBy | DeviceBy, place: Place) -> Value:
    """Distance [m] by which a speed or a device by a place is earlier than that place."""
    return rounded_up(earlier_by(part.terms, place, 0.0), part.round_up)


def _share(term: ShiftTerm, place: Place, over: Value) -> Value:
    """How often a term counts [-]."""
    match term:
        case SpeedToLose():
            return over / term.per_speed
        case Tailwind() | TailwindOnly() | HeadwindOnly():
            return _tailwind(term, place) / term.per_wind
        case MassAbove():
            return (place.mass - term.reference) / term.per_mass
        case TemperatureOffset():
            return place.temperature_offset / term.per_temperature
        case AntiIce():
            return place.anti_ice
        case GearDown():
            return place.gear
        case StepsOut():
            return place.steps
        case Always():
            return 1.0
        case _:
            assert_never(term)


def _tailwind(term: Tailwind | TailwindOnly | HeadwindOnly, place: Place) -> Value:
    """Wind [m/s] that a term counts; of a band of heights, as much as the part of it that is still below."""
    if term.band is None:
        return _counted(term, place.tailwind)
    low, high = term.band
    mean = place.tailwind if place.mean_tailwind is None else place.mean_tailwind(low, high)
    return _counted(term, mean) * clip((place.height - low) / (high - low), 0.0, 1.0)


def _counted(term: Tailwind | TailwindOnly | HeadwindOnly, tailwind: Value) -> Value:
    """What a term counts of a tailwind [m/s]."""
    match term:
        case Tailwind():
            return tailwind
        case TailwindOnly():
            return maximum(tailwind, 0.0)
        case HeadwindOnly():
            return maximum(-tailwind, 0.0)


def planned_speed(
    rule: Rule, airframe: Airframe, arrival: Arrival, place: Place, shift: Value, cruise_mach: Value
) -> Value:
    """Calibrated airspeed [m/s] a rule plans at a place: the lowest of all that apply.

    Slowing towards a speed by a distance is planned at the rule's own rate, towards one that a window or a limit asks
    for to be done a mile before it; towards a speed by a height, or a limit below an altitude, along 300 ft per nm. A
    window that asks for more speed than the rule plans is given it.
    """
    plan = rule.speeds
    speed: Value = plan.descent
    if plan.points:
        speed, _ = _lines([(point.distance, point.speed) for point in plan.points], -place.distance)
    for by in plan.by:
        wanted = speed_by(airframe, arrival, by, place.mass)
        speed = minimum(speed, wanted + plan.slow_down * _early(by, place))
    for window in arrival.windows:
        if window.slowest is not None:
            speed = where(place.distance < -window.distance, maximum(speed, window.slowest), speed)
    for distance, least in gate_speeds(airframe, arrival, place.mass):
        speed = where(place.distance < -distance, maximum(speed, least), speed)
    speed = minimum(speed, calibrated_from_mach(cruise_mach, place.pressure))
    for limit in arrival.speed_limits:
        if limit.below_altitude is None:
            continue
        above = maximum(
            place.pressure_altitude - (shifted(limit.below_altitude, arrival.transition_altitude, shift)), 0.0
        )
        speed = minimum(speed, limit.speed + plan.slow_down / _DOWN * above)
    for distance, limit_speed, is_at_a_point in speeds_by_distance(airframe, arrival, place.mass):
        early = maximum(-place.distance - distance - _SLOW_BEFORE, 0.0)
        slowed = minimum(speed, limit_speed + plan.slow_down * early)
        speed = where(place.distance < -distance, slowed, speed) if is_at_a_point else slowed
    return speed


def speed_by(airframe: Airframe, arrival: Arrival, by: SpeedBy, mass: Value) -> Value:
    """Calibrated airspeed [m/s] to have reached by a place, at a mass [kg]."""
    if by.speed is not None:
        return named_speed(airframe, arrival, by.speed, mass)
    return 0.0 if by.speed_ is None else by.speed_


def _early(by: SpeedBy, place: Place) -> Value:
    """Distance [m] before the place by which a speed is to have been reached; 0 from there on."""
    along = -place.distance - (by.distance or 0.0) if by.height is None else (place.height - by.height) / _DOWN
    return maximum(along - earlier(by, place), 0.0)


def planned_change(rule: Rule, place: Place) -> Value:
    """Change of the speed planned by distance flown [m/s per m], where the rule gives it as points; else 0."""
    if not rule.speeds.points:
        return 0.0
    return -_lines([(point.distance, point.speed) for point in rule.speeds.points], -place.distance)[1]


_SLOW_BEFORE = 1.0 * NAUTICAL_MILE
_DOWN = 300.0 * FOOT / NAUTICAL_MILE
"""Slope [-] along which slowing towards a height is planned."""


def speeds_by_distance(airframe: Airframe, arrival: Arrival, mass: Value) -> list[tuple[float, Value, bool]]:
    """Largest speeds by distance: distance to go [m], calibrated airspeed [m/s], whether it holds at that point alone.

    Of windows, of limits from a distance on, and of the gates beside the one that decides; for the latter in the middle
    of what they allow.
    """
    found: list[tuple[float, Value, bool]] = []
    for window in arrival.windows:
        if window.fastest is not None:
            found.append((window.distance, window.fastest, True))
    for limit in arrival.speed_limits:
        if limit.within is not None:
            found.append((limit.within, limit.speed, False))
    for gate in arrival.more_gates:
        allowed = gate.speed_above_reference + 0.5 * gate.speed_over
        found.append((gate.place(arrival.glide_path), reference_speed(airframe, mass) + allowed, False))
    return found


def gate_speeds(airframe: Airframe, arrival: Arrival, mass: Value) -> list[tuple[float, Value]]:
    """Distance to go [m] and least calibrated airspeed [m/s] of the gates beside the one that decides."""
    return [
        (
            gate.place(arrival.glide_path),
            reference_speed(airframe, mass) + gate.speed_above_reference - gate.speed_under,
        )
        for gate in arrival.more_gates
    ]
