"""The events that divide a descent into phases, and their order along the track.

Events at a fixed distance (windows, the gate) and events that the flight itself decides (top of descent, passing the
altitude of a speed limit, capture) mix in an order that depends on wind, mass and demands. The order is read off a
flown flight and mended when a solution shows that two neighbours want to change places.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from enum import Enum

import numpy as np

from optdescent.airframe.speeds import GEAR, Device, devices
from optdescent.results import Flight
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import Selection
from optdescent.units import KNOT, NAUTICAL_MILE


class EventKind(Enum):
    """What an event is; the value is the word for it."""

    TOP_OF_DESCENT = "thrust to idle"
    WINDOW = "window"
    SPEED_LIMIT = "speed limit"
    BELOW_PATH = "below the glide path from here"
    SELECTED = "selected"
    OUT = "out"
    CAPTURE = "glide path capture"
    GATE = "gate"
    ON_SPEED = "approach speed reached"
    THRESHOLD = "threshold"


FIXED = frozenset({EventKind.WINDOW, EventKind.BELOW_PATH, EventKind.GATE, EventKind.THRESHOLD})
"""Events whose distance is given."""
DEVICE_EVENTS = frozenset({EventKind.SELECTED, EventKind.OUT})
"""Selection of a device, and its arrival after its travel time."""


@dataclass(frozen=True)
class Event:
    """One event; `index` says which window or speed limit of the arrival it is, or the number of the device."""

    kind: EventKind
    index: int = 0

    @property
    def label(self) -> str:
        """Name that is unique within a scenario."""
        if self.kind in DEVICE_EVENTS:
            return f"{'gear' if self.index == GEAR else f'step {self.index}'} {self.kind.value}"
        numbered = self.kind in (EventKind.WINDOW, EventKind.SPEED_LIMIT)
        return f"{self.kind.value} {self.index + 1}" if numbered else self.kind.value

    @property
    def is_fixed(self) -> bool:
        """Whether its distance is given."""
        return self.kind in FIXED


Order = tuple[Event, ...]
"""Events from the start to the threshold."""


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
        case EventKind.BELOW_PATH:
            return -arrival.glide_path.below_within
        case EventKind.GATE:
            given = arrival.gate.distance
            return arrival.glide_path.distance(arrival.gate.height) if given is None else -given
        case EventKind.THRESHOLD:
            return 0.0
        case _:
            raise ValueError(f"{event.label} has no given distance")


def device_of(scenario: Scenario, event: Event) -> Device:
    """The device of a selection or arrival [SI]."""
    return next(device for device in devices(scenario.airframe) if device.number == event.index)


def order_of(scenario: Scenario, flight: Flight) -> tuple[Order, dict[Event, float]]:
    """Order of the events in a flown flight, and the coordinate along the track [m] of each."""
    arrival = scenario.arrival
    x, altitude = -flight.column("distance_to_go"), flight.column("pressure_altitude")
    path = arrival.glide_path
    fixed = [Event(kind) for kind in (EventKind.BELOW_PATH, EventKind.GATE, EventKind.THRESHOLD)]
    fixed += [Event(EventKind.WINDOW, index) for index in range(len(arrival.windows))]
    places = {event: fixed_distance(scenario, event) for event in fixed} | {
        Event(EventKind.TOP_OF_DESCENT): -flight.summary.top_of_descent,
        Event(EventKind.CAPTURE): path.distance(path.capture_middle),
        Event(EventKind.ON_SPEED): _on_speed(scenario, flight),
    }
    places |= _device_places(scenario, flight, places[Event(EventKind.GATE)])
    for index, limit in enumerate(arrival.speed_limits):
        bound = scenario.pressure_altitude(limit.below_altitude)
        below = np.flatnonzero(altitude < bound)
        if below.size and below[0] > 0:
            first, last = _between_windows(scenario, bound)
            places[Event(EventKind.SPEED_LIMIT, index)] = float(np.clip(x[below[0]], first, last))
    ordered = sorted(places, key=lambda event: (places[event], list(EventKind).index(event.kind)))
    return _proper(tuple(ordered)), places


def _on_speed(scenario: Scenario, flight: Flight) -> float:
    """Coordinate [m] where a flight has slowed to the approach speed, at the latest on the last part of the path."""
    gate = scenario.arrival.gate
    x = -flight.column("distance_to_go")
    over = flight.column("calibrated_airspeed") - flight.column("reference_speed") - gate.speed_above_reference
    slow = x[(over < _ON_SPEED) & (x > fixed_distance(scenario, Event(EventKind.BELOW_PATH)))]
    last = 0.7 * fixed_distance(scenario, Event(EventKind.GATE))
    return min(float(slow[0]), last) if slow.size else last


def _device_places(scenario: Scenario, flight: Flight, gate: float) -> dict[Event, float]:
    """Where a flight passes the speeds at which devices are selected, and where each is out, before the gate [m]."""
    x, time = -flight.column("distance_to_go"), flight.column("time")
    speed, mass = flight.column("calibrated_airspeed"), flight.column("mass")
    descending = x > -flight.summary.top_of_descent
    places: dict[Event, float] = {}
    order = devices(scenario.airframe)
    for number, device in enumerate(order):
        slow = np.flatnonzero(descending & (speed <= np.asarray(device.scheduled_speed(scenario.airframe, mass))))
        late = (number - len(order)) * _APART
        first = min(float(x[slow[0]]) if slow.size else gate, gate + late)
        arrived = float(np.interp(np.interp(first, x, time) + device.travel_time, time, x))
        places[Event(EventKind.SELECTED, device.number)] = first
        places[Event(EventKind.OUT, device.number)] = min(arrived, gate + late + 0.5 * _APART)
    return places


def _between_windows(scenario: Scenario, altitude: float) -> tuple[float, float]:
    """Coordinates [m] between which the windows let a pressure altitude [m] be passed on the way down."""
    arrival = scenario.arrival
    first, last = -scenario.start.distance, fixed_distance(scenario, Event(EventKind.GATE))
    for window in arrival.windows:
        low, high = window.altitude_at_least, window.altitude_at_most
        if low is not None and scenario.pressure_altitude(low) > altitude:
            first = max(first, _ASIDE - window.distance)
        if high is not None and scenario.pressure_altitude(high) < altitude:
            last = min(last, -_ASIDE - window.distance)
    return min(first, last), last


def _proper(order: Order) -> Order:
    """The order with its last events in the only sequence they can have, and no device before the descent."""
    last = tuple(event for event in order if event.kind in _LAST)
    free = [event for event in order if event not in last]
    first = [event for event in free if event.kind is EventKind.TOP_OF_DESCENT]
    ahead = [event for event in free[: free.index(first[0])] if event.is_fixed]
    rest = [event for event in free if event not in ahead and event not in first]
    below, capture = Event(EventKind.BELOW_PATH), Event(EventKind.CAPTURE)
    if below in rest and rest.index(below) > rest.index(capture):
        rest.remove(capture)
        rest.insert(rest.index(below) + 1, capture)
    return (*ahead, *first, *rest, *last)


def reordered(order: Order, places: Mapping[Event, float], asking: Collection[Event], selection: Selection) -> Order:
    """Order after neighbours that overlap have changed places where that is open.

    `places` [m] are those that a solution gives the events; `asking` those that would rather lie ahead of the event
    before them although they do not overlap it.
    """
    events = list(order)
    for index in range(1, len(events)):
        before, after = events[index - 1 : index + 1]
        if after in asking and is_exchangeable(before, after, selection):
            events[index - 1 : index + 1] = [after, before]
    for _ in events:
        for index in range(1, len(events)):
            before, after = events[index - 1 : index + 1]
            if places[before] > places[after] + COLLAPSED and is_exchangeable(before, after, selection):
                events[index - 1 : index + 1] = [after, before]
    return tuple(events)


def is_exchangeable(before: Event, after: Event, selection: Selection) -> bool:
    """Whether two neighbouring events may come in the other order."""
    kinds = {before.kind, after.kind}
    if kinds == {EventKind.GATE, EventKind.ON_SPEED}:
        return True
    if kinds & _LAST or (before.is_fixed and after.is_fixed):
        return False
    if EventKind.TOP_OF_DESCENT in kinds:
        return bool(kinds & {EventKind.WINDOW, EventKind.BELOW_PATH})
    if EventKind.CAPTURE in kinds:
        return bool(kinds & DEVICE_EVENTS)
    if kinds <= DEVICE_EVENTS:
        return _devices_exchangeable(before, after, selection)
    return True


def _devices_exchangeable(before: Event, after: Event, selection: Selection) -> bool:
    """Not of one device; steps one after the other; on the schedule, selections in its order."""
    if before.index == after.index:
        return False
    if GEAR not in (before.index, after.index):
        return before.kind is not after.kind and selection is Selection.SCHEDULED
    return selection is Selection.FREE or not before.kind is after.kind is EventKind.SELECTED


_LAST = frozenset({EventKind.GATE, EventKind.ON_SPEED, EventKind.THRESHOLD})
_ON_SPEED = 0.5 * KNOT
_APART = 0.02 * NAUTICAL_MILE
_ASIDE = 1.0 * NAUTICAL_MILE
COLLAPSED = 0.001 * NAUTICAL_MILE
"""Length [m] below which a phase counts as collapsed."""
