"""The order of the events of a descent: read off a flown flight, mended when a solution shows what overlaps."""

from __future__ import annotations

from collections.abc import Collection, Mapping

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import BELOW_LIMIT, GEAR, Device, devices, reference_speed
from optdescent.arrival import Capture
from optdescent.optimum.events import (
    COLLAPSED,
    Event,
    EventKind,
    Order,
    approach_meets,
    asks_for,
    behind,
    cruise_meets,
    fixed_distance,
    fixed_events,
    gates_in_force,
    hold_down_at,
    is_exchangeable,
    level_meets,
)
from optdescent.results import Flight
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import Selection
from optdescent.units import KNOT, NAUTICAL_MILE

_ON_SPEED = 0.5 * KNOT
_APART = 0.02 * NAUTICAL_MILE
_ASIDE = 1.0 * NAUTICAL_MILE
_CAPTURE = Event(EventKind.CAPTURE)


def order_of(scenario: Scenario, flight: Flight, early: bool = False) -> tuple[Order, dict[Event, float]]:
    """Order of the events in a flown flight, and the coordinate along the track [m] of each.

    With `early`, devices that are selected freely come as soon as their limit speeds allow.
    """
    arrival = scenario.arrival
    x, altitude = -flight.column("distance_to_go"), flight.column("pressure_altitude")
    path = arrival.glide_path
    places = {event: fixed_distance(scenario, event) for event in fixed_events(scenario)}
    places[Event(EventKind.TOP_OF_DESCENT)] = min(
        [-flight.summary.top_of_descent]
        + [places[event] - _APART for event in places if not cruise_meets(scenario, event)]
    )
    places[Event(EventKind.CAPTURE)] = path.distance(path.capture_middle)
    done = behind(scenario)
    found = {event: place for event, place in _device_places(scenario, flight, early).items() if event not in done}
    places |= found
    faster = [places[gate] + _APART for gate in gates_in_force(tuple(places)) if not approach_meets(scenario, gate)]
    places[Event(EventKind.ON_SPEED)] = max([_on_speed(scenario, flight), *found.values(), *faster])
    for index in range(len(arrival.hold_downs)):
        places[Event(EventKind.RESUMED, index)] = _resumed(scenario, flight, places, index)
    for index, limit in enumerate(arrival.speed_limits):
        if limit.below_altitude is None or hold_down_at(scenario, index) is not None:
            continue
        bound = scenario.pressure_altitude(limit.below_altitude)
        below = np.flatnonzero(altitude < bound)
        if below.size and below[0] > 0:
            first, last = _between_demands(scenario, bound)
            places[Event(EventKind.SPEED_LIMIT, index)] = float(np.clip(x[below[0]], first, last))
    places = {event: place for event, place in places.items() if event not in done}
    ordered = sorted(places, key=lambda event: (places[event], list(EventKind).index(event.kind)))
    return _proper(tuple(ordered)), places


def _resumed(scenario: Scenario, flight: Flight, places: Mapping[Event, float], index: int) -> float:
    """Coordinate [m] where the level of a hold-down is left: where the flight is down to it, at its end or later."""
    ends, level = (
        places[Event(EventKind.HOLD_ENDS, index)],
        scenario.pressure_altitude(scenario.arrival.hold_downs[index].altitude),
    )
    x, altitude = -flight.column("distance_to_go"), flight.column("pressure_altitude")
    later = [
        place
        for event, place in places.items()
        if place > ends
        and (
            event.kind in (EventKind.HOLD_BEGINS, EventKind.BELOW_PATH, EventKind.CAPTURE)
            or not level_meets(scenario, Event(EventKind.RESUMED, index), event)
        )
    ]
    wanted = float(np.interp(-level, -altitude, x))
    return max(ends, min([wanted, *(place - _ASIDE for place in later)]))


def _on_speed(scenario: Scenario, flight: Flight) -> float:
    """Coordinate [m] where a flight has slowed to the approach speed, at the latest on the last part of the path."""
    gate = scenario.arrival.gate
    x = -flight.column("distance_to_go")
    over = flight.column("calibrated_airspeed") - flight.column("reference_speed") - gate.speed_above_reference
    slow = x[(over < _ON_SPEED) & (x > fixed_distance(scenario, Event(EventKind.BELOW_PATH)))]
    last = 0.7 * fixed_distance(scenario, Event(EventKind.GATE))
    return min(float(slow[0]), last) if slow.size else last


def _device_places(scenario: Scenario, flight: Flight, early: bool) -> dict[Event, float]:
    """Where a flight passes the speeds at which devices are selected, and where each is out [m].

    A device is out before every gate that asks for it, and all are before the last gate; it is selected after a gate
    that asks for more speed than its own, and before the next of the schedule, also where the flight passes the speeds
    of both between two points. A step selected freely is out before the next is selected.
    """
    x, time = -flight.column("distance_to_go"), flight.column("time")
    speed, mass = flight.column("calibrated_airspeed"), flight.column("mass")
    descending = x > -flight.summary.top_of_descent
    gates = {event: fixed_distance(scenario, event) for event in fixed_events(scenario) if event.kind is EventKind.GATE}
    places: dict[Event, float] = {}
    selected = {device: speed_selected_at(scenario, device, mass, early) for device in devices(scenario.airframe)}
    order = sorted(selected, key=lambda device: -float(selected[device][0])) if early else list(selected)
    latest, following, next_step = max(gates.values()), np.inf, np.inf
    is_free = scenario.handling.configuration is Selection.FREE
    for number, device in reversed(list(enumerate(order))):
        latest = min([latest, *(place for gate, place in gates.items() if asks_for(scenario, gate, device.number))])
        slow = np.flatnonzero(descending & (speed <= selected[device]))
        faster = [place for gate, place in gates.items() if _is_faster(scenario, gate, device)]
        late = (number - len(order)) * _APART
        first = float(x[slow[0]]) if slow.size else latest
        first = min(max([first, *faster]), latest + late)
        first = following = first if first < following else following - _APART
        arrived = float(np.interp(np.interp(first, x, time) + device.travel_time, time, x))
        if device.number != GEAR and is_free and arrived >= next_step:
            arrived = next_step - _APART
            first = following = min(first, arrived - _APART)
        next_step = next_step if device.number == GEAR else first
        places[Event(EventKind.SELECTED, device.number)] = first
        places[Event(EventKind.OUT, device.number)] = min(arrived, latest + late + 0.5 * _APART)
    return places


def speed_selected_at(
    scenario: Scenario, device: Device, mass: NDArray[np.float64], early: bool
) -> NDArray[np.float64]:
    """Speed (point,) [m/s] at which a device is selected at masses [kg]: on the schedule, or early where it is free."""
    scheduled = np.asarray(device.scheduled_speed(scenario.airframe, mass), dtype=float)
    if not early or scenario.handling.configuration is Selection.SCHEDULED:
        return scheduled
    return np.maximum(scheduled, device.limit_speed - BELOW_LIMIT)


def _is_faster(scenario: Scenario, gate: Event, device: Device) -> bool:
    """Whether a gate that does not ask for a device asks for more speed than the one at which it is selected."""
    airframe, mass, asked = scenario.airframe, scenario.start.mass, scenario.arrival.gates[gate.index]
    least = float(reference_speed(airframe, mass)) + asked.speed_above_reference - asked.speed_under
    return not asks_for(scenario, gate, device.number) and least > float(device.scheduled_speed(airframe, mass))


def _between_demands(scenario: Scenario, altitude: float) -> tuple[float, float]:
    """Coordinates [m] between which windows and hold-downs let a pressure altitude [m] be passed on the way down."""
    arrival = scenario.arrival
    first, last = -scenario.start.distance, fixed_distance(scenario, Event(EventKind.GATE))
    ends = [(window.distance, window.distance, window.lowest, window.highest) for window in arrival.windows]
    ends += [(hold.from_, hold.to, hold.altitude, hold.altitude) for hold in arrival.hold_downs]
    for begins, stops, low, high in ends:
        if low is not None and scenario.pressure_altitude(low) > altitude:
            first = max(first, _ASIDE - stops)
        if high is not None and scenario.pressure_altitude(high) < altitude:
            last = min(last, -_ASIDE - begins)
    return min(first, last), last


def _proper(order: Order) -> Order:
    """The order without a device before the descent, and with the capture after it must come from below."""
    top = Event(EventKind.TOP_OF_DESCENT)
    if top not in order:
        return order
    ahead = [event for event in order[: order.index(top)] if event.is_fixed]
    rest = [event for event in order if event not in ahead and event != top]
    below, capture = Event(EventKind.BELOW_PATH), Event(EventKind.CAPTURE)
    if below in rest and rest.index(below) > rest.index(capture):
        rest.remove(capture)
        rest.insert(rest.index(below) + 1, capture)
    return (*ahead, top, *rest)


def with_other_choices(scenario: Scenario, order: Order) -> list[Order]:
    """Orders that make another choice which no solution asks for by itself, the likeliest first.

    Each is its own best: no event of the one gives a sign that the other is better. The approach speed is reached
    ahead of a gate or after it, and the glide path is met before a device is selected or after it.
    """
    swapped = _beyond_the_gate(scenario, order)
    captures = with_other_captures(scenario, order)
    return [*swapped, *captures, *(other for new in captures for other in _beyond_the_gate(scenario, new))]


def on_the_other_side(scenario: Scenario, order: Order) -> list[Order]:
    """Orders with the approach speed reached on the other side of the gate beside it, the likeliest first.

    Behind the gate it costs least, but perhaps no descent that meets the path where this order does has the time for
    it: then one that meets it a device earlier.
    """
    swapped, slow = _beyond_the_gate(scenario, order), Event(EventKind.ON_SPEED)
    if not swapped or swapped[0].index(slow) < order.index(slow):
        return swapped
    earlier = [new for new in with_other_captures(scenario, order) if new.index(_CAPTURE) == order.index(_CAPTURE) - 1]
    return [*swapped, *(other for new in earlier for other in _beyond_the_gate(scenario, new))]


def _beyond_the_gate(scenario: Scenario, order: Order) -> list[Order]:
    """The order with the approach speed reached on the other side of the gate beside it."""
    if Event(EventKind.ON_SPEED) not in order:
        return []
    at = order.index(Event(EventKind.ON_SPEED))
    for before, after in ((at - 1, at), (at, at + 1)):
        is_gate = EventKind.GATE in (order[before].kind, order[after].kind)
        if is_gate and is_exchangeable(scenario, order[before], order[after]):
            return [(*order[:before], order[after], order[before], *order[after + 1 :])]
    return []


def with_other_captures(scenario: Scenario, order: Order) -> list[Order]:
    """Orders whose capture comes after more or fewer of the devices, the nearest first.

    Whether the gear helps before the path is met or after it is not seen from an order in which it does the other.
    """
    most = _MOST_PASSED if scenario.arrival.glide_path.capture is Capture.ABOVE else 1
    found = list[Order]()
    if _CAPTURE not in order:
        return found
    for step in (-1, 1):
        events, at = list(order), order.index(_CAPTURE)
        for _ in range(most):
            other = at + step
            before, after = (events[at], events[other]) if step > 0 else (events[other], events[at])
            if not is_exchangeable(scenario, before, after):
                break
            events[at], events[other] = events[other], events[at]
            at = other
            found.append(tuple(events))
    return found


_MOST_PASSED = 4


def reordered(scenario: Scenario, order: Order, places: Mapping[Event, float], asking: Collection[Event]) -> Order:
    """Order after neighbours that overlap have changed places where that is open.

    `places` [m] are those that a solution gives the events; `asking` those that would rather lie ahead of the event
    before them although they do not overlap it.
    """
    events = list(order)
    for index in range(1, len(events)):
        before, after = events[index - 1 : index + 1]
        if after in asking and is_exchangeable(scenario, before, after):
            events[index - 1 : index + 1] = [after, before]
    for _ in events:
        for index in range(1, len(events)):
            before, after = events[index - 1 : index + 1]
            if places[before] > places[after] + COLLAPSED and is_exchangeable(scenario, before, after):
                events[index - 1 : index + 1] = [after, before]
    return tuple(events)
