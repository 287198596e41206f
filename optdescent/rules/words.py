"""Each part of a rule as a sentence a pilot reads.

Lengths, heights and speeds in words are those of the trade [nm, ft, kt], whatever they are in memory.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import assert_never

from optdescent.arrival import Gate, SinkLimit
from optdescent.motion.excess import READABLE_HEIGHT
from optdescent.rules.drivers import (
    Always,
    AntiIce,
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
    DeviceName,
    DistanceProfile,
    Fast,
    FastForStep,
    HeightProfile,
    High,
    Low,
    PointsProfile,
    Profile,
    Rule,
    Sink,
    Slow,
    SpeedBy,
    SpeedName,
    SpeedPlan,
    Use,
    When,
)
from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, FOOT_PER_NAUTICAL_MILE, KNOT, NAUTICAL_MILE

_TONNE = 1000.0
MOST_LISTED = 8
"""Points of a line that are named one by one."""
_SPEEDS = {
    SpeedName.MINIMUM_CLEAN: "minimum clean speed",
    SpeedName.FIRST_STEP: "the first step's speed",
    SpeedName.SECOND_STEP: "the second step's speed",
    SpeedName.APPROACH: "approach speed",
}
_STEPS = "of slats and flaps"
_DEVICES = {
    DeviceName.FIRST_STEP: f"first step {_STEPS}",
    DeviceName.SECOND_STEP: f"second step {_STEPS}",
    DeviceName.THIRD_STEP: f"third step {_STEPS}",
    DeviceName.LAST_STEP: f"last step {_STEPS}",
    DeviceName.GEAR: "gear down",
}
_USES = {
    Use.SPEED_BRAKE: "speed brake",
    Use.GEAR: "gear down",
    Use.NEXT_STEP: f"next step {_STEPS}",
    Use.LEVEL: "level off",
    Use.THRUST: "thrust",
}


def rule_words(rule: Rule) -> tuple[str, ...]:
    """A sentence for each part of a rule, in the order in which they are needed on the way down."""
    return (
        *_profile(rule.profile),
        *(() if rule.sink is None else (_sink(rule.sink),)),
        *_speeds(rule.speeds),
        *(device_words(part) for part in rule.devices),
        *(when_words(part) for part in rule.when),
        *(_sink_limit(part) for part in rule.sink_limits),
        *(_check(part) for part in rule.checks),
    )


def _number(value: float, unit: float) -> str:
    """A number in a unit, without the digits that nobody reads."""
    return f"{round(value / unit, 2):g}"


def _feet(value: float) -> str:
    return f"{_number(value, FOOT)} ft"


def _miles(value: float) -> str:
    return f"{_number(value, NAUTICAL_MILE)} nm"


def _knots(value: float) -> str:
    return f"{_number(value, KNOT)} kt"


def _profile(profile: Profile) -> Iterator[str]:
    match profile:
        case DistanceProfile():
            yield from _distance(profile)
        case HeightProfile(gradient=gradient, allowances=allowances, terms=terms):
            yield f"{_number(gradient, FOOT_PER_NAUTICAL_MILE)} ft for each nm to go"
            for part in allowances:
                side = "lower" if part.height < 0.0 else "higher"
                yield f"{_feet(abs(part.height))} {side} at {_SPEEDS[part.above]} and above"
            yield from _begun(terms, profile.round_up)
        case AngleProfile(angle=angle, terms=terms):
            yield f"one straight path of {_number(angle, DEGREE)}° to where the glide path crosses the threshold"
            yield from _begun(terms, profile.round_up)
        case PointsProfile(points=points, gradient=gradient, terms=terms):
            yield f"{_number(gradient, FOOT_PER_NAUTICAL_MILE)} ft for each nm before {_miles(points[0].distance)}"
            yield from _listed([f"{_feet(point.height)} at {_miles(point.distance)}" for point in points])
            yield from _begun(terms, profile.round_up)
        case _:
            assert_never(profile)


def _distance(profile: DistanceProfile) -> Iterator[str]:
    """The height to lose, then what is added to it."""
    for term in profile.terms:
        if isinstance(term, HeightToLose):
            yield f"{_miles(term.distance)} per {_feet(term.per_height)} to lose"
    for term in profile.terms:
        if not isinstance(term, HeightToLose):
            yield f"{'minus' if term.distance < 0.0 else 'plus'} {_miles(abs(term.distance))} {_driver(term)}"
    if profile.round_up > 0.0:
        yield f"what is added is rounded up to {_miles(profile.round_up)}"


def _listed(points: Sequence[str]) -> Iterator[str]:
    """Points of a line, each by itself if they are few."""
    if len(points) <= MOST_LISTED:
        yield from points
    else:
        yield f"on straight lines through {len(points)} points, from {points[0]} to {points[-1]}"


def _begun(terms: Sequence[ShiftTerm], round_up: float) -> Iterator[str]:
    yield from (f"begun {_shift(term)}" for term in terms)
    if round_up > 0.0:
        yield f"what it is begun earlier is rounded up to {_miles(round_up)}"


def _sooner(part: SpeedBy | DeviceBy) -> Iterator[str]:
    yield from (_shift(term) for term in part.terms)
    if part.round_up > 0.0:
        yield f"rounded up to {_miles(part.round_up)}"


def _shift(term: ShiftTerm) -> str:
    return f"{_miles(abs(term.distance))} {'later' if term.distance < 0.0 else 'earlier'} {_driver(term)}"


def _driver(term: ShiftTerm) -> str:
    """What a term counts, after the distance."""
    match term:
        case Tailwind() | TailwindOnly() | HeadwindOnly():
            return _wind(term)
        case SpeedToLose():
            return f"for each {_knots(term.per_speed)} to lose from the planned speed to approach speed"
        case MassAbove():
            above, reference = _number(term.per_mass, _TONNE), _number(term.reference, _TONNE)
            return f"for each {above} t above {reference} t (the other way below)"
        case TemperatureOffset():
            return f"for each {_number(term.per_temperature, 1.0)} K above the standard (the other way below)"
        case AntiIce():
            return "while engine anti-ice is on"
        case GearDown():
            return "while the gear is down"
        case StepsOut():
            return f"for each step {_STEPS} that is out"
        case Always():
            return "in any case"
        case _:
            assert_never(term)


def _wind(term: Tailwind | TailwindOnly | HeadwindOnly) -> str:
    each, band = f"for each {_knots(term.per_wind)} of", ""
    if term.band is not None:
        low, high = term.band
        each, band = f"{each} mean", f" between {_number(low, FOOT)} and {_feet(high)}, less as they are passed"
    match term:
        case Tailwind():
            return f"{each} tailwind{band} (the other way for headwind)"
        case TailwindOnly():
            return f"{each} tailwind{band} (nothing for headwind)"
        case HeadwindOnly():
            return f"{each} headwind{band} (nothing for tailwind)"


def _sink(sink: Sink) -> str:
    times = _number(sink.gradient, FOOT_PER_MINUTE / KNOT)
    rounding = f", rounded to {_number(sink.rounding, FOOT_PER_MINUTE)} ft/min" if sink.rounding > 0.0 else ""
    return f"then a sink rate of {times} times the ground speed, in ft/min and kt{rounding}"


def _speeds(plan: SpeedPlan) -> Iterator[str]:
    if plan.points:
        planned = [f"{_knots(point.speed)} at {_miles(point.distance)}" for point in plan.points]
        yield from (f"planned speed {sentence}" for sentence in _listed(planned))
    else:
        rate = _number(plan.slow_down, KNOT / NAUTICAL_MILE)
        yield f"{_knots(plan.descent)} in the descent, slowing by {rate} kt for each nm"
    yield from (speed_words(by) for by in plan.by)


def speed_words(by: SpeedBy) -> str:
    """A speed by a place, as a sentence."""
    speed = _knots(by.speed_ or 0.0) if by.speed is None else _SPEEDS[by.speed]
    place = _miles(by.distance or 0.0) if by.height is None else _feet(by.height)
    return ", ".join([f"{speed} by {place}", *_sooner(by)])


def device_words(part: DeviceBy) -> str:
    """A device to select by a place, as a sentence."""
    if part.at_capture:
        place = "the capture of the glide path"
    elif part.height is not None:
        place = _feet(part.height)
    else:
        place = _miles(part.distance or 0.0)
    return ", ".join([f"{_DEVICES[part.device]} by {place}", *_sooner(part)])


def when_words(part: When) -> str:
    """What to do when high, low, fast or slow, as a sentence that begins with where it holds."""
    region = ", ".join(_region(part))
    return f"{region}: {_action(part)}" if region else _action(part)


def _region(part: When) -> Iterator[str]:
    if part.on_glide_path:
        yield "on the glide path"
    yield from _between(part.from_, part.to, NAUTICAL_MILE, "nm", ("from {} on", "until {}"))
    yield from _between(part.below_height, part.above_height, FOOT, "ft", ("below {}", "above {}"))


def _between(
    first: float | None, last: float | None, factor: float, unit: str, alone: tuple[str, str]
) -> Iterator[str]:
    """Where something begins and ends to hold, or `alone` one of the two."""
    if first is not None and last is not None:
        yield f"between {_number(first, factor)} and {_number(last, factor)} {unit}"
    elif first is not None:
        yield alone[0].format(f"{_number(first, factor)} {unit}")
    elif last is not None:
        yield alone[1].format(f"{_number(last, factor)} {unit}")


def _action(part: When) -> str:
    use = _USES[part.use]
    match part:
        case High():
            return f"{use} when {_feet(part.by)} high{_kept(part.use, _left_of_height(part.until, 'low'))}"
        case Low():
            return f"{use} when {_feet(part.by)} low{_kept(part.use, _left_of_height(part.until, 'high'))}"
        case Fast():
            return f"{use} when {_knots(part.by)} fast{_kept(part.use, _left_of_speed(part.until, 'slow'))}"
        case FastForStep():
            margin = f" (its limit speed less {_knots(part.margin)})" if part.margin > 0.0 else ""
            return f"{use} when too fast for the next step {_STEPS}{margin}"
        case Slow():
            until = "" if part.until is None else _kept(part.use, _left_of_speed(part.until, "fast"))
            return f"{use} when {_knots(part.by)} slow{until}"
        case _:
            assert_never(part)


def _left_of_height(until: float, beyond: str) -> str:
    """What is left when it ends: nothing, where an altimeter shows nothing."""
    if until < 0.0:
        return f"{_feet(-until)} {beyond}"
    return "nothing is left" if until <= READABLE_HEIGHT else f"{_feet(until)} are left"


def _left_of_speed(until: float, beyond: str) -> str:
    if until < 0.0:
        return f"{_knots(-until)} {beyond}"
    return "nothing is left" if until == 0.0 else f"{_knots(until)} are left"


def _kept(use: Use, until: str) -> str:
    """How long something is used: the gear stays down, and so does a step."""
    match use:
        case Use.GEAR:
            return ""
        case Use.NEXT_STEP:
            return f", then those after it until {until}"
        case Use.LEVEL | Use.THRUST:
            return f", until {until}"
        case Use.SPEED_BRAKE:
            return f", kept until {until}"


def _sink_limit(limit: SinkLimit) -> str:
    return f"sink at most {_number(limit.sink, FOOT_PER_MINUTE)} ft/min below {_feet(limit.below_height)}"


def _check(gate: Gate) -> str:
    place = _feet(gate.height) if gate.distance is None else _miles(gate.distance)
    over, under = _number(gate.speed_over, KNOT), _number(gate.speed_under, KNOT)
    asked = [
        *(["gear down"] if gate.gear_down else []),
        *(["landing flaps"] if gate.landing_configuration else []),
        f"reference speed + {_knots(gate.speed_above_reference)} (+{over}/−{under} kt)",
        f"sink at most {_number(gate.sink, FOOT_PER_MINUTE)} ft/min",
        f"at most {_feet(gate.off_path)} off the glide path",
    ]
    return f"check at {place}: {', '.join(asked)}"
