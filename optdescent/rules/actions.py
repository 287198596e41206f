"""What a crew does at a place, when high, low, fast or slow: which devices are due, and why.

A reason is a number of a step's output: 0 for none, the schedule by speed, the index of a part of the rule's `devices`,
or that of a part of its `when`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import assert_never

from optdescent.airframe import Airframe
from optdescent.airframe.speeds import Device, devices
from optdescent.arrival import Arrival
from optdescent.curves.elementary import Value, absolute, maximum, where
from optdescent.motion.equations import Motion
from optdescent.motion.excess import READABLE_HEIGHT, READABLE_SPEED
from optdescent.rules.crew import ALL_OUT, MOST_SPARED, brake_for_height, brake_for_speed, brake_kept, selected_at
from optdescent.rules.lane import Lane, listed
from optdescent.rules.parts import DeviceBy, DeviceName, Fast, FastForStep, High, Low, Rule, Slow, Use, When
from optdescent.rules.rule import Ask, Place, earlier
from optdescent.scenario import Technique
from optdescent.units import KNOT

SCHEDULE, FOR_HEIGHT, FOR_SPEED = 1, 1, 2
"""Reasons of devices by the airframe's schedule, and of the brake as a crew uses it without a rule."""
BRAKE, THRUST_FOR_LEAST, STOWED_FOR_LEAST, LEVEL = -4, -3, -2, -1
"""Places of a step's reasons after those of the devices: why the brake is out; whether (1) thrust is ordered, and the
brake kept in, for the least speed; which action levels off."""
BY_PLACE, BY_ACTION = 10, 100
"""Reasons from these numbers on are indices of `devices` and of `when`."""


FALLS_PAST = 5.0 * KNOT
"""Speed [m/s] below that of a part of `when` that says until when, which thrust keeps before: it has to be reached."""


@dataclass(frozen=True)
class Seen:
    """What a crew sees at a look: motion, place, lane, seconds to the next look, altimeter shift [m], its delay [s]."""

    at: Motion
    place: Place
    lane: Lane
    seconds: Value
    shift: Value
    late: Value

    @property
    def speed(self) -> Value:
        """Calibrated airspeed [m/s]."""
        return self.at.forces.calibrated_airspeed

    @property
    def ahead(self) -> Place:
        """The place at the next look, as the aircraft goes now: the orders are held until there."""
        sunk = self.at.passage.vertical_speed * self.seconds
        return replace(
            self.place,
            distance=self.place.distance + self.at.passage.ground_speed * self.seconds,
            height=self.place.height + sunk,
            pressure_altitude=self.place.pressure_altitude + sunk / self.at.air.stretch,
        )

    def acts(self, due: Value) -> Value:
        """Whether (1) an action that has been due for some seconds [s] is taken; 0 seconds is not due."""
        return where(due > 0.0, where(due > self.late, 1.0, 0.0), 0.0)


def actions_on(rule: Rule, airframe: Airframe, arrival: Arrival, seen: Seen, ask: Ask, lane: Lane) -> tuple[Value, ...]:
    """Which of the rule's actions are on (1) [-]: from their excess on, until it is gone, where they hold."""
    above, over = seen.place.height - ask.height, seen.speed - ask.speed
    found: list[Value] = []
    for part, was in zip(rule.when, lane.actions, strict=True):
        match part:
            case High():
                on = _between(above, part.by, part.until + READABLE_HEIGHT, was)
            case Low():
                on = _between(-above, part.by, part.until + READABLE_HEIGHT, was)
            case Fast():
                on = _between(over, part.by, part.until + READABLE_SPEED, was)
            case FastForStep():
                on = where(seen.speed > _next_limit(airframe, lane) - part.margin, 1.0, 0.0)
            case Slow():
                on = 1.0 if part.until is None else _between(-over, part.by, part.until + READABLE_SPEED, was)
            case _:
                assert_never(part)
        found.append(on * part_holds(part, arrival, seen.place))
    return tuple(found)


def _between(excess: Value, by: float, until: float, was: Value) -> Value:
    """Whether (1) an action is on: an excess that fades is gone when a crew can no longer read it [-]."""
    return where(excess > by, 1.0, where(excess <= until, 0.0, was))


def _next_limit(airframe: Airframe, lane: Lane) -> Value:
    """Limit speed [m/s] of the first step of flaps that is not due yet; beyond every speed if all are."""
    limit: Value = 1000.0
    steps = sorted((device for device in devices(airframe) if device.number), key=lambda device: -device.number)
    for device in steps:
        limit = where(lane.due.steps[device.number - 1] > 0.0, limit, device.limit_speed)
    return limit


def part_holds(part: When, arrival: Arrival, place: Place) -> Value:
    """Whether (1) a part of `when` holds at a place [-]."""
    holds: Value = 1.0
    path = arrival.glide_path
    if part.from_ is not None:
        holds = holds * where(-place.distance <= part.from_, 1.0, 0.0)
    if part.to is not None:
        holds = holds * where(-place.distance >= part.to, 1.0, 0.0)
    if part.above_height is not None:
        holds = holds * where(place.height >= part.above_height, 1.0, 0.0)
    if part.below_height is not None:
        holds = holds * where(place.height <= part.below_height, 1.0, 0.0)
    if part.on_glide_path:
        off = absolute(place.height - path.height(place.distance))
        holds = holds * where(off < arrival.gate.off_path, where(place.distance > -path.below_within, 1.0, 0.0), 0.0)
    return holds


def due_devices(
    rule: Rule, airframe: Airframe, arrival: Arrival, crew: Technique, seen: Seen, actions: Sequence[Value]
) -> tuple[list[Value], list[Value]]:
    """Seconds since each device was first due [s], and why it is if it became so now, in the order of a lane.

    A limit speed is obeyed: no device is due above its own less the crew's margin, whatever asks for it. A step asked
    for by a place or an excess waits for those before it.
    """
    lane, going = seen.lane, seen.acts(seen.lane.descent_due)
    numbered = {device.number: device for device in devices(airframe)}
    order = [numbered[number] for number in (*range(1, len(airframe.steps)), 0)]
    due: list[Value] = []
    reasons: list[Value] = []
    for index, (device, was) in enumerate(zip(order, listed(lane.due), strict=True)):
        before = due[index - 1] if device.number > 1 else 1.0
        reason = _reason(rule, airframe, arrival, crew, seen, device, actions, before)
        reason = where(was > 0.0, 0.0, reason * going)
        due.append(where(was > 0.0, was + seen.seconds, where(reason > 0.0, seen.seconds, 0.0)))
        reasons.append(reason)
    return due, reasons


def _reason(
    rule: Rule,
    airframe: Airframe,
    arrival: Arrival,
    crew: Technique,
    seen: Seen,
    device: Device,
    actions: Sequence[Value],
    before: Value,
) -> Value:
    slow_enough = where(seen.speed < device.limit_speed - crew.limit_margin, where(before > 0.0, 1.0, 0.0), 0.0)
    reason: Value = 0.0
    for index, (part, on) in reversed(list(enumerate(zip(rule.when, actions, strict=True)))):
        asks = slow_enough * on * _asks_for(part, device, seen.lane)
        reason = where(asks > 0.5, BY_ACTION + index, reason)
    for index, part in reversed(list(enumerate(rule.devices))):
        if _includes(part.device, device.number, len(airframe.steps) - 1):
            asks = slow_enough * _is_reached(part, arrival, seen.place)
            reason = where(asks > 0.5, BY_PLACE + index, reason)
    return where(seen.speed <= selected_at(airframe, crew, device, seen.place.mass), SCHEDULE, reason)


def _asks_for(part: When, device: Device, lane: Lane) -> Value:
    """Whether (1) an action uses a device now [-]: the gear, or a step of flaps once the one before is out."""
    match part.use:
        case Use.GEAR:
            return 0.0 if device.number else 1.0
        case Use.NEXT_STEP if device.number:
            out = 1.0 if device.number == 1 else lane.out.steps[device.number - 2]
            return where(out > ALL_OUT, 1.0, 0.0)
        case _:
            return 0.0


def _includes(name: DeviceName, number: int, last: int) -> bool:
    """Whether a device asked for by name brings one of a number with it: a step brings those before it."""
    match name:
        case DeviceName.GEAR:
            return number == 0
        case DeviceName.FIRST_STEP:
            return 0 < number <= 1
        case DeviceName.SECOND_STEP:
            return 0 < number <= 2
        case DeviceName.THIRD_STEP:
            return 0 < number <= 3
        case DeviceName.LAST_STEP:
            return 0 < number <= last
        case _:
            assert_never(name)


def _is_reached(part: DeviceBy, arrival: Arrival, place: Place) -> Value:
    """Whether (1) the place by which a device is asked for is reached [-]."""
    path = arrival.glide_path
    sooner = earlier(part, place)
    if part.height is not None:
        return where(place.height <= part.height + path.gradient * sooner, 1.0, 0.0)
    by = -path.distance(path.capture_middle) if part.distance is None else part.distance
    return where(-place.distance <= by + sooner, 1.0, 0.0)


def brake_wanted(
    rule: Rule, crew: Technique, place: Place, ask: Ask, over: Value, actions: Sequence[Value]
) -> tuple[Value, Value]:
    """Speed brake fraction wanted [-] and the reason, at a speed [m/s] over the one the crew means to fly.

    As the rule says where it says anything of it, else as the crew uses it with height and speed.
    """
    named = [(index, part) for index, part in enumerate(rule.when) if part.use is Use.SPEED_BRAKE]
    high: Value = 0.0 if any(isinstance(part, High) for _, part in named) else brake_for_height(crew, place, ask)
    fast: Value = 0.0 if any(not isinstance(part, High) for _, part in named) else brake_for_speed(crew, over)
    wanted, reason = maximum(high, fast) * brake_kept(crew, over), where(high > fast, FOR_HEIGHT, FOR_SPEED)
    for index, _ in named:
        # what the rule says to keep is kept while the nose brings the speed back, down to the speed there is to spare
        wanted = maximum(wanted, actions[index] * brake_kept(crew, over + MOST_SPARED))
        reason = where(actions[index] > 0.5, BY_ACTION + index, reason)
    return wanted, reason


def levels_off(rule: Rule, actions: Sequence[Value]) -> Value:
    """Reason [-] why the rule has the crew level off; 0 where it does not."""
    reason: Value = 0.0
    for index, (part, on) in reversed(list(enumerate(zip(rule.when, actions, strict=True)))):
        if part.use is Use.LEVEL:
            reason = where(on > 0.5, BY_ACTION + index, reason)
    return reason


def thrust_below(rule: Rule, crew: Technique, holds: Sequence[Value], actions: Sequence[Value]) -> Value:
    """Speed [m/s] below the planned one at which thrust is used, where parts hold (1) and actions are on (1).

    Where a part says until when, the speed falls so far before that, and thrust then brings it back.
    """
    below: Value = crew.thrust_below
    for part, here, on in zip(rule.when, holds, actions, strict=True):
        if isinstance(part, Slow):
            kept = part.by if part.until is None else where(on > 0.5, part.until, part.by + FALLS_PAST)
            below = where(here > 0.5, kept, below)
    return below
