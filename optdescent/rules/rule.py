"""Rule files in, and what a rule asks for at a point: the height to have and the speed planned."""

from __future__ import annotations

import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.altitude import shifted
from optdescent.airframe import Airframe
from optdescent.airframe.speeds import holding_speed, reference_speed
from optdescent.arrival import Arrival
from optdescent.curves.elementary import Value, maximum, minimum, tan, where
from optdescent.inputs import Fault, InputFault, read_toml, validated
from optdescent.rules.parts import (
    AngleProfile,
    DistanceProfile,
    HeightProfile,
    HeightToLose,
    Rule,
    RuleFile,
    SpeedName,
    SpeedToLose,
    Tailwind,
)
from optdescent.units import FOOT, NAUTICAL_MILE

LIBRARY = ("three_rules",)
"""Rule files that come with the package, by name."""


def read_rules(source: str | Path = LIBRARY[0]) -> tuple[Rule, ...]:
    """Rules of a library name or of a file [SI in memory].

    Raises
    ------
    InputFault
        Every fault of the file.
    """
    if str(source) in LIBRARY:
        file = resources.files("optdescent.rules").joinpath("library", f"{source}.toml")
        data, name = tomllib.loads(file.read_text(encoding="utf-8")), str(source)
    else:
        data, name = read_toml(Path(source)), str(source)
    rules = validated(RuleFile, data, name).rules
    faults = _rule_faults(rules, name)
    if faults:
        raise InputFault(faults)
    return rules


def _rule_faults(rules: Sequence[Rule], name: str) -> list[Fault]:
    faults: list[Fault] = [] if rules else [Fault(name, "rules", "no rule", "at least one")]
    seen: set[str] = set()
    for index, rule in enumerate(rules):
        key = f"rules[{index}]"
        if rule.name in seen:
            faults.append(Fault(name, f"{key}.name", f"got {rule.name!r} again", "names that differ"))
        seen.add(rule.name)
        if not rule.source.strip():
            faults.append(Fault(name, f"{key}.source", "empty", 'a published source, or "common practice, no source"'))
        if isinstance(rule.profile, DistanceProfile):
            count = sum(isinstance(term, HeightToLose) for term in rule.profile.terms)
            if count != 1:
                allowed = "exactly one of kind height_to_lose"
                faults.append(Fault(name, f"{key}.profile.terms", f"{count} of kind height_to_lose", allowed))
        for before, after in zip(rule.speeds.by, rule.speeds.by[1:], strict=False):
            if after.distance >= before.distance:
                given = f"{after.distance / NAUTICAL_MILE:g} nm after {before.distance / NAUTICAL_MILE:g} nm"
                faults.append(Fault(name, f"{key}.speeds.by", given, "distances that fall"))
    return faults


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
    """Where a rule is asked: coordinate along the track [m], height above the threshold [m], what is met there."""

    distance: Value
    height: Value
    pressure_altitude: Value
    pressure: Value
    tailwind: Value
    mass: Value


@dataclass(frozen=True)
class Ask:
    """What a rule asks for at a place: calibrated airspeed planned [m/s], height to have [m], its slope [-].

    `floor` is a height [m] not to sink through here: far below the ground where there is none. `held` is 1 in a
    hold-down, where the planned speed is held with thrust, and 0 elsewhere.
    """

    speed: Value
    height: Value
    slope: Value
    floor: Value = -10000.0
    held: Value = 0.0


def asked(rule: Rule, airframe: Airframe, arrival: Arrival, place: Place, shift: Value, cruise_mach: float) -> Ask:
    """Height to have and speed planned by a rule at a place.

    Parameters
    ----------
    shift : Value
        Pressure altitude less QNH altitude [m].
    cruise_mach : float
        Mach number [-] held until the descent speed is reached.
    """
    speed = planned_speed(rule, airframe, arrival, place, shift, cruise_mach)
    to_go = -place.distance
    approach = named_speed(airframe, arrival, SpeedName.APPROACH, place.mass)
    match rule.profile:
        case AngleProfile(angle=angle):
            slope: Value = float(tan(angle))
            return Ask(speed, arrival.glide_path.threshold_crossing_height + slope * to_go, slope)
        case HeightProfile() as profile:
            height: Value = profile.gradient * to_go
            allowance: Value = 0.0
            for part in reversed(profile.allowances):
                allowance = where(
                    speed > named_speed(airframe, arrival, part.above, place.mass) - 1.0, part.height, allowance
                )
            return Ask(speed, height + allowance, profile.gradient)
        case DistanceProfile() as profile:
            return _by_distance(profile, speed, approach, to_go, place.tailwind)


def _by_distance(profile: DistanceProfile, speed: Value, approach: Value, to_go: Value, tailwind: Value) -> Ask:
    other: Value = 0.0
    per_height = 1.0
    for term in profile.terms:
        match term:
            case HeightToLose():
                per_height = term.distance / term.per_height
            case SpeedToLose():
                other = other + term.distance / term.per_speed * maximum(speed - approach, 0.0)
            case Tailwind():
                other = other + term.distance / term.per_wind * tailwind
    return Ask(speed, (to_go - other) / per_height, 1.0 / per_height)


def planned_speed(
    rule: Rule, airframe: Airframe, arrival: Arrival, place: Place, shift: Value, cruise_mach: float
) -> Value:
    """Calibrated airspeed [m/s] a rule plans at a place: the lowest of all that apply.

    Slowing towards a speed by a distance is planned at the rule's own rate, towards one that a window or a limit asks
    for to be done a mile before it; towards a limit below an altitude, along 300 ft per nm. A window that asks for more
    speed than the rule plans is given it.
    """
    plan = rule.speeds
    speed: Value = plan.descent
    for by in plan.by:
        wanted = named_speed(airframe, arrival, by.speed, place.mass)
        early = maximum(-place.distance - by.distance, 0.0)
        speed = minimum(speed, wanted + plan.slow_down * early)
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
        rate = plan.slow_down / (300.0 * FOOT / NAUTICAL_MILE)
        speed = minimum(speed, limit.speed + rate * above)
    for distance, limit_speed, is_at_a_point in speeds_by_distance(airframe, arrival, place.mass):
        early = maximum(-place.distance - distance - _SLOW_BEFORE, 0.0)
        slowed = minimum(speed, limit_speed + plan.slow_down * early)
        speed = where(place.distance < -distance, slowed, speed) if is_at_a_point else slowed
    return speed


_SLOW_BEFORE = 1.0 * NAUTICAL_MILE


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
