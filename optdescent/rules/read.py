"""Rule files in: every fault of a file, what contradicts itself included."""

from __future__ import annotations

import math
import re
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from importlib import resources
from itertools import pairwise
from pathlib import Path

from optdescent.inputs import Fault, InputFault, read_text, read_toml, validated
from optdescent.rules.drivers import DistanceTerm, HeightToLose, WindTerm
from optdescent.rules.parts import (
    DeviceBy,
    DeviceName,
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
    SpeedBy,
    SpeedName,
    Use,
    When,
)
from optdescent.units import FOOT, FOOT_PER_MINUTE, KNOT, NAUTICAL_MILE

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
    name = str(source)
    data = tomllib.loads(rules_text(name)) if name in LIBRARY else read_toml(Path(source))
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


def rules_text(source: str | Path) -> str:
    """Text of the file of a library name, or of a file that `read_rules` took [-]."""
    if str(source) in LIBRARY:
        return resources.files("optdescent.rules").joinpath("library", f"{source}.toml").read_text(encoding="utf-8")
    return read_text(Path(source))


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
        places = {"distance_nm": part.distance is not None, "height_ft": part.height is not None}
        yield from _one_of(f"devices[{index}]", {**places, "at_capture": part.at_capture})
        yield from _term_faults(f"devices[{index}].terms", part.terms)
    yield from _twice(rule)
    yield from _step_faults(rule.devices)
    yield from _limit_faults(rule)
    yield from _check_faults(rule)
    for index, part in enumerate(rule.when):
        for leaf, told, allowed in _when_faults(part):
            yield f"when[{index}].{leaf}", told, allowed


def _one_of(key: str, given: Mapping[str, bool]) -> Iterator[_Found]:
    """The fault of a part that has none or several of some keys; `given` says which it has."""
    if sum(given.values()) != 1:
        many = "more than one" if any(given.values()) else "none"
        yield key, f"{many} of {', '.join(given)}", "exactly one of them"


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


def _step_faults(devices: Sequence[DeviceBy]) -> Iterator[_Found]:
    """Steps asked for later than a higher one, which brings them with it."""
    order = list(DeviceName)
    for index, own in enumerate(devices):
        for other in devices:
            if DeviceName.GEAR in (own.device, other.device) or order.index(own.device) >= order.index(other.device):
                continue
            if own.terms == other.terms and (late := _later(own, other)) is not None:
                leaf, given, least = late
                told = f"got {given}, with {other.device.value!r} by {least} already"
                yield f"devices[{index}].{leaf}", told, f"{least} or more: a step brings those before it"
                break


def _later(one: DeviceBy, other: DeviceBy) -> tuple[str, str, str] | None:
    """Key and both places of a device that is asked for nearer or lower than another; None where it is not."""
    if one.distance is not None and other.distance is not None and one.distance < other.distance:
        return "distance_nm", f"{one.distance / NAUTICAL_MILE:g} nm", f"{other.distance / NAUTICAL_MILE:g} nm"
    if one.height is not None and other.height is not None and one.height < other.height:
        return "height_ft", f"{one.height / FOOT:.0f} ft", f"{other.height / FOOT:.0f} ft"
    return None


def _term_faults(key: str, terms: Sequence[DistanceTerm]) -> Iterator[_Found]:
    """A driver given twice: two of its terms are one that says something else."""
    drivers = [(term.kind, term.band if isinstance(term, WindTerm) else None) for term in terms]
    for index, (term, driver) in enumerate(zip(terms, drivers, strict=True)):
        if driver in drivers[:index] and term.kind != "height_to_lose":
            yield f"{key}[{index}].kind", f"got {term.kind!r} again", "one term for each driver"
        if isinstance(term, WindTerm):
            yield from _band_faults(f"{key}[{index}]", term)


def _band_faults(key: str, term: WindTerm) -> Iterator[_Found]:
    """A band of heights without one of its ends, or without heights between them."""
    low, high = term.above_height, term.below_height
    if (low is None) != (high is None):
        yield key, "one of above_height_ft, below_height_ft", "both, or none: the wind on the nose"
    if low is not None and high is not None and low >= high:
        given = f"got {low / FOOT:.0f}, not below below_height_ft"
        yield f"{key}.above_height_ft", given, f"less than {high / FOOT:.0f} ft"


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
    yield from _term_faults("profile.terms", rule.profile.terms)
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
    for index, own in enumerate(rule.speeds.by):
        at = f"speeds.by[{index}]"
        yield from _one_of(at, {"distance_nm": own.distance is not None, "height_ft": own.height is not None})
        yield from _one_of(at, {"speed": own.speed is not None, "speed_kt": own.speed_ is not None})
        yield from _term_faults(f"{at}.terms", own.terms)
        so_far = [one for one in rule.speeds.by[:index] if _sort_of_place(one) == _sort_of_place(own)]
        if so_far:
            yield from _place_faults(at, so_far[-1], own)
        yield from _order_faults(at, so_far, own)


def _sort_of_place(by: SpeedBy) -> tuple[bool, bool]:
    return by.distance is None, by.height is None


def _place_faults(at: str, before: SpeedBy, own: SpeedBy) -> Iterator[_Found]:
    """A speed by a place that is not after the one before it of the same sort."""
    if before.distance is not None and own.distance is not None and own.distance >= before.distance:
        given = f"{own.distance / NAUTICAL_MILE:g} nm after {before.distance / NAUTICAL_MILE:g} nm"
        yield f"{at}.distance_nm", given, "distances that fall"
    if before.height is not None and own.height is not None and own.height >= before.height:
        yield f"{at}.height_ft", f"{own.height / FOOT:.0f} ft after {before.height / FOOT:.0f} ft", "heights that fall"


def _order_faults(at: str, so_far: Sequence[SpeedBy], own: SpeedBy) -> Iterator[_Found]:
    """A speed that does not fall: named after named, number after number; the others need an airframe and a mass."""
    order = list(SpeedName)
    names = [one.speed for one in so_far if one.speed is not None]
    numbers = [one.speed_ for one in so_far if one.speed_ is not None]
    if own.speed is not None and names and order.index(own.speed) <= order.index(names[-1]):
        yield f"{at}.speed", f"got {own.speed.value!r} after {names[-1].value!r}", "speeds that fall"
    if own.speed_ is not None and numbers and own.speed_ >= numbers[-1]:
        yield f"{at}.speed_kt", f"got {own.speed_ / KNOT:g} after {numbers[-1] / KNOT:g}", "speeds that fall"


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
    if not isinstance(part, FastForStep) and part.until is not None and part.until >= part.by:
        unit, factor = ("kt", KNOT) if isinstance(part, Fast | Slow) else ("ft", FOOT)
        given = f"got {part.until / factor:g}, not below by_{unit}"
        yield f"until_{unit}", given, f"less than {part.by / factor:g} {unit}, or it ends as it begins"
    if part.from_ is not None and part.to is not None and part.to >= part.from_:
        given = f"got {part.to / NAUTICAL_MILE:g}, not nearer than from_nm"
        yield "to_nm", given, f"less than {part.from_ / NAUTICAL_MILE:g} nm"
    if part.above_height is not None and part.below_height is not None and part.above_height >= part.below_height:
        given = f"got {part.above_height / FOOT:.0f}, not below below_height_ft"
        yield "above_height_ft", given, f"less than {part.below_height / FOOT:.0f} ft"
