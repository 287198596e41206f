"""Rule files in: every fault of a file, what contradicts itself included."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterator, Sequence
from importlib import resources
from itertools import pairwise
from pathlib import Path

from optdescent.inputs import Fault, InputFault, read_toml, validated
from optdescent.rules.drivers import HeightToLose
from optdescent.rules.parts import (
    DistanceProfile,
    Fast,
    FastForStep,
    HeightAt,
    HeightProfile,
    High,
    Low,
    PointsProfile,
    Rule,
    RuleFile,
    Slow,
    SpeedName,
    Use,
    When,
)
from optdescent.units import FOOT, FOOT_PER_MINUTE, NAUTICAL_MILE

LIBRARY = ("three_rules", "library")
"""Rule files that come with the package, by name."""
_NAME = re.compile(r"\w[\w .,-]*")
_Found = tuple[str, str, str]
"""A fault within a rule: key, what was given, what is allowed [file units]."""


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
    faults = [] if rules else [Fault(name, "rules", "no rule", "at least one")]
    seen: set[str] = set()
    for index, rule in enumerate(rules):
        key = f"rules[{index}]"
        if rule.name in seen:
            faults.append(Fault(name, f"{key}.name", f"got {rule.name!r} again", "names that differ"))
        seen.add(rule.name)
        if not _NAME.fullmatch(rule.name) or rule.name == "optimum":
            allowed = "letters, digits, spaces and -_., in one line; not 'optimum', which names the best descent"
            faults.append(Fault(name, f"{key}.name", f"got {rule.name!r}", allowed))
        faults += [Fault(name, f"{key}.{leaf}", given, allowed) for leaf, given, allowed in _faults(rule)]
    if faults:
        raise InputFault(faults)
    return rules


def _faults(rule: Rule) -> Iterator[_Found]:
    if not rule.source.strip():
        yield "source", "empty", 'a published source, or "common practice, no source"'
    yield from _profile_faults(rule)
    yield from _speed_faults(rule)
    for index, (before, after) in enumerate(pairwise(rule.speeds.points), 1):
        if after.distance >= before.distance:
            given = f"{after.distance / NAUTICAL_MILE:g} nm after {before.distance / NAUTICAL_MILE:g} nm"
            yield f"speeds.points[{index}].distance_nm", given, "distances that fall"
    for index, part in enumerate(rule.devices):
        given = [part.distance is not None, part.height is not None, part.at_capture]
        if sum(given) != 1:
            many = "none" if not any(given) else "more than one"
            yield f"devices[{index}]", f"{many} of distance_nm, height_ft, at_capture", "exactly one of them"
    yield from _twice(rule)
    yield from _limit_faults(rule)
    yield from _check_faults(rule)
    for index, part in enumerate(rule.when):
        for leaf, told, allowed in _when_faults(part):
            yield f"when[{index}].{leaf}", told, allowed


def _twice(rule: Rule) -> Iterator[_Found]:
    """Parts that contradict one another: a device by two places, one action with two excesses, two plans of speed."""
    devices = [part.device for part in rule.devices]
    for index, device in enumerate(devices):
        if device in devices[:index]:
            yield f"devices[{index}].device", f"got {device.value!r} again", "one place for each device"
    for index, own in enumerate(rule.when):
        for other, before in enumerate(rule.when[:index]):
            if (own.kind, own.use) == (before.kind, before.use) and _overlap(own, before):
                given = f"{own.use.value} when {own.kind} again, where when[{other}] says so already"
                yield f"when[{index}]", given, "one excess for each action, or regions that do not overlap"
                break
    if rule.speeds.points and rule.speeds.by:
        yield "speeds.by", "given beside points", "one of the two"
    if len(rule.speeds.points) == 1:
        yield "speeds.points", "1", "two or more speeds, or none"


def _overlap(one: When, other: When) -> bool:
    """Whether two parts of `when` hold at one place: the glide path may be anywhere."""

    def share(low: float | None, high: float | None, other_low: float | None, other_high: float | None) -> bool:
        ends = min(own for own in (high, other_high, math.inf) if own is not None)
        return max(own for own in (low, other_low, -math.inf) if own is not None) < ends

    by_distance = share(one.to, one.from_, other.to, other.from_)
    return by_distance and share(one.above_height, one.below_height, other.above_height, other.below_height)


def _limit_faults(rule: Rule) -> Iterator[_Found]:
    """Sink limits of which one has no effect beside another."""
    for index, own in enumerate(rule.sink_limits):
        for before in (*rule.sink_limits[:index], *rule.sink_limits[index + 1 :]):
            height, sink = before.below_height / FOOT, before.sink / FOOT_PER_MINUTE
            is_second = before in rule.sink_limits[:index]
            if own.below_height == before.below_height and is_second:
                given = f"got {height:.0f} again"
                yield f"sink_limits[{index}].below_height_ft", given, "one limit below each height"
            elif own.below_height < before.below_height and own.sink >= before.sink:
                given = f"got {own.sink / FOOT_PER_MINUTE:.0f}, with {sink:.0f} below {height:.0f} ft already"
                yield f"sink_limits[{index}].sink_ft_per_min", given, f"less than {sink:.0f} ft/min: it is the nearer"


def _check_faults(rule: Rule) -> Iterator[_Found]:
    """Checks that are judged elsewhere than said, or that say two things of one height."""
    for index, own in enumerate(rule.checks):
        if own.distance is not None:
            given = f"got {own.distance / NAUTICAL_MILE:g}"
            yield f"checks[{index}].distance_nm", given, "height_ft alone: a check is judged where its height is passed"
        elif any(own.height == before.height for before in rule.checks[:index] if before.distance is None):
            given = f"got {own.height / FOOT:.0f} again"
            yield f"checks[{index}].height_ft", given, "one check at each height"


def _profile_faults(rule: Rule) -> Iterator[_Found]:
    match rule.profile:
        case DistanceProfile(terms=terms):
            count = sum(isinstance(term, HeightToLose) for term in terms)
            if count != 1:
                yield "profile.terms", f"{count} of kind height_to_lose", "exactly one of kind height_to_lose"
        case HeightProfile(allowances=allowances):
            named = [part.above for part in allowances]
            order = list(SpeedName)
            for index, (before, after) in enumerate(pairwise(named), 1):
                if order.index(after) <= order.index(before):
                    key = f"profile.allowances[{index}].above"
                    yield key, f"got {after.value!r} after {before.value!r}", "each speed once, fastest first"
        case PointsProfile(points=points):
            yield from _point_faults(points)
        case _:
            return


def _point_faults(points: Sequence[HeightAt]) -> Iterator[_Found]:
    if len(points) < 2:
        yield "profile.points", f"{len(points)}", "two or more heights"
    for index, (before, after) in enumerate(pairwise(points), 1):
        at = f"profile.points[{index}]"
        far, near = before.distance / NAUTICAL_MILE, after.distance / NAUTICAL_MILE
        if near >= far:
            what = "a second height at one distance" if near == far else f"{near:g} nm after {far:g} nm"
            yield f"{at}.distance_nm", what, "distances that fall"
        elif after.height > before.height:
            given = f"{after.height / FOOT:.0f} ft after {before.height / FOOT:.0f} ft"
            yield f"{at}.height_ft", given, "heights that do not rise: a descent never climbs"


def _speed_faults(rule: Rule) -> Iterator[_Found]:
    order = list(SpeedName)
    for index, (before, after) in enumerate(pairwise(rule.speeds.by), 1):
        at = f"speeds.by[{index}]"
        if after.distance >= before.distance:
            given = f"{after.distance / NAUTICAL_MILE:g} nm after {before.distance / NAUTICAL_MILE:g} nm"
            yield f"{at}.distance_nm", given, "distances that fall"
        if order.index(after.speed) <= order.index(before.speed):
            yield f"{at}.speed", f"got {after.speed.value!r} after {before.speed.value!r}", "speeds that fall"


_USES: dict[type, Sequence[Use]] = {
    High: (Use.SPEED_BRAKE, Use.GEAR, Use.NEXT_STEP),
    Low: (Use.LEVEL,),
    Fast: (Use.SPEED_BRAKE, Use.GEAR, Use.NEXT_STEP, Use.LEVEL),
    FastForStep: (Use.GEAR, Use.SPEED_BRAKE, Use.LEVEL),
    Slow: (Use.THRUST,),
}


def _when_faults(part: When) -> Iterator[_Found]:
    uses = _USES[type(part)]
    if part.use not in uses:
        yield "use", f"got {part.use.value!r} when {part.kind}", f"one of {', '.join(use.value for use in uses)}"
    if isinstance(part, High | Low | Fast) and part.until >= part.by:
        unit, factor = ("kt", NAUTICAL_MILE / 3600.0) if isinstance(part, Fast) else ("ft", FOOT)
        given = f"got {part.until / factor:g}, not below by_{unit}"
        yield f"until_{unit}", given, f"less than {part.by / factor:g} {unit}, or it ends as it begins"
    if part.from_ is not None and part.to is not None and part.to >= part.from_:
        given = f"got {part.to / NAUTICAL_MILE:g}, not nearer than from_nm"
        yield "to_nm", given, f"less than {part.from_ / NAUTICAL_MILE:g} nm"
    if part.above_height is not None and part.below_height is not None and part.above_height >= part.below_height:
        given = f"got {part.above_height / FOOT:.0f}, not below below_height_ft"
        yield "above_height_ft", given, f"less than {part.below_height / FOOT:.0f} ft"
