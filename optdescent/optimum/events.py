"""The events that divide a descent into phases, and which of them have to come before which.

Events at a fixed distance (windows, gates, points of the floor, the ends of a hold-down) and events that the flight
itself decides (top of descent, passing the altitude of a speed limit, capture) mix in an order that depends on wind,
mass and demands: see `optimum.order`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.atmosphere import pressure
from optdescent.airframe.speeds import GEAR, Device, devices, reference_speed
from optdescent.arrival import farthest_first
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import Selection
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE


class EventKind(Enum):
    """What an event is; the value is the word for it. Of events at one place the first here comes first."""

    TOP_OF_DESCENT = "thrust to idle"
    HOLD_BEGINS = "hold-down begins"
    WINDOW = "window"
    SPEED_WITHIN = "speed limit from here"
    FLOOR = "floor point"
    HOLD_ENDS = "hold-down ends"
    RESUMED = "descent resumed after hold-down"
    SPEED_LIMIT = "speed limit"
    BELOW_PATH = "below the glide path from here"
    SELECTED = "selected"
    OUT = "out"
    CAPTURE = "glide path capture"
    GATE = "gate"
    ON_SPEED = "approach speed reached"
    THRESHOLD = "threshold"


DEVICE_EVENTS = frozenset({EventKind.SELECTED, EventKind.OUT})
"""Selection of a device, and its arrival after its travel time."""
HOLD_EVENTS = frozenset({EventKind.HOLD_BEGINS, EventKind.HOLD_ENDS, EventKind.RESUMED})
"""The two ends of a hold-down, and where the flight leaves its level: at its end, or later."""
PASSED_ANYWHERE = frozenset({EventKind.WINDOW, EventKind.SPEED_WITHIN, EventKind.FLOOR})
"""Events at a given distance that may be passed in cruise, on the way down or on the glide path."""
FIXED = (PASSED_ANYWHERE | HOLD_EVENTS | {EventKind.BELOW_PATH, EventKind.GATE, EventKind.THRESHOLD}) - {
    EventKind.RESUMED
}
"""Events whose distance is given."""
_NUMBERED = PASSED_ANYWHERE | HOLD_EVENTS | {EventKind.SPEED_LIMIT}
_SAME_LEVEL = 20.0 * FOOT
_HELD = 5.0 * KNOT
"""How much faster [m/s] than the approach speed a flight begun on the glide path may be that keeps its speed."""
_SAME_PLACE = 0.001 * NAUTICAL_MILE


@dataclass(frozen=True)
class Event:
    """One event; `index` says which window, limit, point or gate of the arrival it is, or the number of the device."""

    kind: EventKind
    index: int = 0

    @property
    def label(self) -> str:
        """Name that is unique within a scenario."""
        if self.kind in DEVICE_EVENTS:
            return f"{'gear' if self.index == GEAR else f'step {self.index}'} {self.kind.value}"
        is_numbered = self.kind in _NUMBERED or (self.kind is EventKind.GATE and self.index > 0)
        return f"{self.kind.value} {self.index + 1}" if is_numbered else self.kind.value

    @property
    def is_fixed(self) -> bool:
        """Whether its distance is given."""
        return self.kind in FIXED


Order = tuple[Event, ...]
"""Events from the start to the threshold."""


def fixed_events(scenario: Scenario) -> tuple[Event, ...]:
    """Events at given distances, those of the scenario's own demands included.

    A point of the floor is one where the floor matters, between the start and the last place of capture, and where no
    other event is: a phase of no length would say nothing.
    """
    arrival = scenario.arrival
    found = [Event(EventKind.THRESHOLD)]
    if arrival.glide_path.below_within < scenario.start.distance:
        found.append(Event(EventKind.BELOW_PATH))
    found += [Event(EventKind.GATE, index) for index in range(len(arrival.gates))]
    found += [Event(EventKind.WINDOW, index) for index in range(len(arrival.windows))]
    found += [
        Event(EventKind.SPEED_WITHIN, index)
        for index, limit in enumerate(arrival.speed_limits)
        if limit.within is not None and limit.within < scenario.start.distance
    ]
    for index in range(len(arrival.hold_downs)):
        found += [Event(EventKind.HOLD_BEGINS, index), Event(EventKind.HOLD_ENDS, index)]
    taken = [fixed_distance(scenario, event) for event in found]
    nearest = arrival.glide_path.distance(arrival.glide_path.capture_at_least)
    for index in farthest_first(arrival.floor):
        place = -arrival.floor[index].distance
        is_apart = all(abs(place - other) > _SAME_PLACE for other in taken)
        if -scenario.start.distance < place < nearest and is_apart:
            found.append(Event(EventKind.FLOOR, index))
    return tuple(found)


def behind(scenario: Scenario) -> Order:
    """Events that lie behind the start: what is out there, what holds there, and the glide path if it is on it."""
    arrival, start, midway = scenario.arrival, scenario.start, scenario.midway
    found = [Event(kind, number) for number in sorted(midway.out) for kind in (EventKind.SELECTED, EventKind.OUT)]
    for index, limit in enumerate(arrival.speed_limits):
        below = limit.below_altitude
        if below is not None and scenario.pressure_altitude(start.altitude) < scenario.pressure_altitude(below):
            found.append(Event(EventKind.SPEED_LIMIT, index))
    if arrival.glide_path.below_within >= start.distance:
        found.append(Event(EventKind.BELOW_PATH))
    if midway.on_path:
        found += [Event(EventKind.TOP_OF_DESCENT), Event(EventKind.CAPTURE)]
        if start_speed(scenario) <= approach_speed(scenario) + min(arrival.gate.speed_over, _HELD):
            found.append(Event(EventKind.ON_SPEED))
    return tuple(found)


def start_speed(scenario: Scenario) -> float:
    """Calibrated airspeed [m/s] at the start."""
    start = scenario.start
    return float(calibrated_from_mach(start.mach, pressure(scenario.pressure_altitude(start.altitude))))


def approach_speed(scenario: Scenario) -> float:
    """Calibrated airspeed [m/s] to have at the gate, at the mass of the start."""
    return float(reference_speed(scenario.airframe, scenario.start.mass)) + scenario.arrival.gate.speed_above_reference


def fixed_distance(scenario: Scenario, event: Event) -> float:
    """Coordinate along the track [m] of an event at a given distance.

    Raises
    ------
    ValueError
        The event has no given distance.
    """
    arrival = scenario.arrival
    match event.kind:
        case EventKind.WINDOW:
            return -arrival.windows[event.index].distance
        case EventKind.SPEED_WITHIN:
            return -(arrival.speed_limits[event.index].within or 0.0)
        case EventKind.FLOOR:
            return -arrival.floor[event.index].distance
        case EventKind.HOLD_BEGINS:
            return -arrival.hold_downs[event.index].from_
        case EventKind.HOLD_ENDS:
            return -arrival.hold_downs[event.index].to
        case EventKind.BELOW_PATH:
            return -arrival.glide_path.below_within
        case EventKind.GATE:
            return -arrival.gates[event.index].place(arrival.glide_path)
        case EventKind.THRESHOLD:
            return 0.0
        case _:
            raise ValueError(f"{event.label} has no given distance")


def device_of(scenario: Scenario, event: Event) -> Device:
    """The device of a selection or arrival [SI]."""
    return next(device for device in devices(scenario.airframe) if device.number == event.index)


def asks_for(scenario: Scenario, gate: Event, device: int) -> bool:
    """Whether a gate asks for a device, by its number [-], to be out."""
    asked = scenario.arrival.gates[gate.index]
    return asked.gear_down if device == GEAR else asked.landing_configuration


def cruise_meets(scenario: Scenario, event: Event) -> bool:
    """Whether the cruise keeps what an event demands, so that the event may come before the top of descent."""
    start, speed = scenario.start, start_speed(scenario)
    match event.kind:
        case EventKind.WINDOW:
            window = scenario.arrival.windows[event.index]
            return _is_within(start.altitude, window.lowest, window.highest) and _is_within(
                speed, window.slowest, window.fastest
            )
        case EventKind.SPEED_WITHIN:
            return speed <= scenario.arrival.speed_limits[event.index].speed
        case _:
            return event.kind in (EventKind.FLOOR, EventKind.BELOW_PATH)


def level_meets(scenario: Scenario, hold: Event, event: Event) -> bool:
    """Whether the level of a hold-down keeps the altitudes that an event demands."""
    if event.kind is not EventKind.WINDOW:
        return True
    window = scenario.arrival.windows[event.index]
    return _is_within(scenario.arrival.hold_downs[hold.index].altitude, window.lowest, window.highest)


def approach_meets(scenario: Scenario, gate: Event) -> bool:
    """Whether the approach speed, once reached, is one that a gate allows, so that the gate may come after it."""
    asked, held = scenario.arrival.gates[gate.index], scenario.arrival.gate.speed_above_reference
    low, high = asked.speed_above_reference - asked.speed_under, asked.speed_above_reference + asked.speed_over
    return low <= held <= high


def _is_within(value: float, low: float | None, high: float | None) -> bool:
    return (low is None or value >= low) and (high is None or value <= high)


def hold_down_at(scenario: Scenario, limit: int) -> int | None:
    """Index of a hold-down at the altitude of a speed limit, by its index: the limit then begins with it."""
    below = scenario.arrival.speed_limits[limit].below_altitude
    for index, hold in enumerate(scenario.arrival.hold_downs):
        if below is not None and abs(hold.altitude - below) < _SAME_LEVEL:
            return index
    return None


def limits_in_force(scenario: Scenario, passed: Sequence[Event]) -> tuple[int, ...]:
    """Indices of the speed limits that hold once some events are passed, the lowest speed first."""
    found: set[int] = set()
    for index, limit in enumerate(scenario.arrival.speed_limits):
        hold = hold_down_at(scenario, index)
        begins = {Event(EventKind.SPEED_LIMIT, index), Event(EventKind.SPEED_WITHIN, index)}
        begins |= set() if hold is None else {Event(EventKind.HOLD_BEGINS, hold)}
        if begins & set(passed) or (limit.within is not None and limit.within >= scenario.start.distance):
            found.add(index)
    return tuple(sorted(found, key=lambda index: scenario.arrival.speed_limits[index].speed))


def gates_in_force(passed: Sequence[Event]) -> tuple[Event, ...]:
    """Gates that lie behind."""
    return tuple(event for event in passed if event.kind is EventKind.GATE)


def floor_segment(scenario: Scenario, passed: Sequence[Event]) -> tuple[int | None, int | None]:
    """Indices of the points of the floor before and after where some events are passed; None: none on that side."""
    floor = scenario.arrival.floor
    places = [fixed_distance(scenario, event) for event in passed if event.is_fixed]
    here = max([-scenario.start.distance, *places])
    before: int | None = None
    for index in farthest_first(floor):
        if -floor[index].distance > here + _SAME_PLACE:
            return before, index
        before = index
    return before, None


def is_exchangeable(scenario: Scenario, before: Event, after: Event) -> bool:
    """Whether two neighbouring events may come in the other order."""
    kinds = {before.kind, after.kind}
    if before.is_fixed and after.is_fixed:
        return False
    if EventKind.THRESHOLD in kinds:
        return False
    if EventKind.ON_SPEED in kinds:
        is_slow_enough = before.kind is not EventKind.GATE or approach_meets(scenario, before)
        return bool(kinds & (PASSED_ANYWHERE | {EventKind.GATE})) and is_slow_enough
    if EventKind.GATE in kinds:
        device, gate = (before, after) if after.kind is EventKind.GATE else (after, before)
        return device.kind in DEVICE_EVENTS and not asks_for(scenario, gate, device.index)
    if EventKind.TOP_OF_DESCENT in kinds:
        other = before if after.kind is EventKind.TOP_OF_DESCENT else after
        is_passed = other.kind in PASSED_ANYWHERE or other.kind is EventKind.BELOW_PATH
        return is_passed and (other is before or cruise_meets(scenario, other))
    if EventKind.CAPTURE in kinds:
        return bool(kinds & (DEVICE_EVENTS | PASSED_ANYWHERE))
    if kinds & HOLD_EVENTS:
        return _may_pass_level(scenario, before, after)
    if kinds <= DEVICE_EVENTS:
        return _devices_exchangeable(before, after, scenario.handling.configuration)
    return True


def _may_pass_level(scenario: Scenario, before: Event, after: Event) -> bool:
    """A device or, if the level keeps its altitudes, a demand at a place may come before or after a hold-down's end."""
    kinds = {before.kind, after.kind}
    if not kinds & (DEVICE_EVENTS | PASSED_ANYWHERE | {EventKind.BELOW_PATH}):
        return False
    return before.kind is not EventKind.RESUMED or level_meets(scenario, before, after)


def _devices_exchangeable(before: Event, after: Event, selection: Selection) -> bool:
    """Not of one device; steps one after the other; on the schedule, selections in its order."""
    if before.index == after.index:
        return False
    if GEAR not in (before.index, after.index):
        return before.kind is not after.kind and selection is Selection.SCHEDULED
    return selection is Selection.FREE or not before.kind is after.kind is EventKind.SELECTED


COLLAPSED = 0.001 * NAUTICAL_MILE
"""Length [m] below which a phase counts as collapsed."""
