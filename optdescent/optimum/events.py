"""The events that divide a descent into phases, and their order along the track.

Events at a fixed distance (windows, the gate) and events that the flight itself decides (top of descent, passing the
altitude of a speed limit, capture) mix in an order that depends on wind, mass and demands. The order is read off a
flown flight and mended when a solution shows that two neighbours want to change places.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np

from optdescent.results import Flight
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE


class EventKind(Enum):
    """What an event is; the value is the word for it."""

    TOP_OF_DESCENT = "top of descent"
    WINDOW = "window"
    SPEED_LIMIT = "speed limit"
    BELOW_PATH = "below the glide path from here"
    CAPTURE = "glide path capture"
    GATE = "gate"
    ON_SPEED = "approach speed reached"
    THRESHOLD = "threshold"


FIXED = frozenset({EventKind.WINDOW, EventKind.BELOW_PATH, EventKind.GATE, EventKind.THRESHOLD})
"""Events whose distance is given."""


@dataclass(frozen=True)
class Event:
    """One event; `index` says which window or speed limit of the arrival it is."""

    kind: EventKind
    index: int = 0

    @property
    def label(self) -> str:
        """Name that is unique within a scenario."""
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
            return arrival.glide_path.distance(arrival.gate.height)
        case EventKind.THRESHOLD:
            return 0.0
        case _:
            raise ValueError(f"{event.label} has no given distance")


def order_of(scenario: Scenario, flight: Flight) -> tuple[Order, dict[Event, float]]:
    """Order of the events in a flown flight, and the coordinate along the track [m] of each."""
    arrival = scenario.arrival
    x, altitude = -flight.column("distance_to_go"), flight.column("pressure_altitude")
    path = arrival.glide_path
    level = 0.5 * (path.capture_at_least + path.capture_at_most)
    gate = fixed_distance(scenario, Event(EventKind.GATE))
    places = {
        Event(EventKind.TOP_OF_DESCENT): -flight.summary.top_of_descent,
        Event(EventKind.BELOW_PATH): -path.below_within,
        Event(EventKind.CAPTURE): path.distance(level),
        Event(EventKind.GATE): gate,
        Event(EventKind.ON_SPEED): 0.7 * gate,
        Event(EventKind.THRESHOLD): 0.0,
    }
    for index, window in enumerate(arrival.windows):
        places[Event(EventKind.WINDOW, index)] = -window.distance
    for index, limit in enumerate(arrival.speed_limits):
        bound = scenario.pressure_altitude(limit.below_altitude)
        below = np.flatnonzero(altitude < bound)
        if below.size and below[0] > 0:
            first, last = _between_windows(scenario, bound)
            places[Event(EventKind.SPEED_LIMIT, index)] = float(np.clip(x[below[0]], first, last))
    ordered = sorted(places, key=lambda event: (places[event], list(EventKind).index(event.kind)))
    return _proper(tuple(ordered)), places


def _between_windows(scenario: Scenario, altitude: float) -> tuple[float, float]:
    """Coordinates [m] between which the windows let a pressure altitude [m] be passed on the way down."""
    arrival = scenario.arrival
    first, last = -scenario.start.distance, arrival.glide_path.distance(arrival.gate.height)
    for window in arrival.windows:
        low, high = window.altitude_at_least, window.altitude_at_most
        if low is not None and scenario.pressure_altitude(low) > altitude:
            first = max(first, _ASIDE - window.distance)
        if high is not None and scenario.pressure_altitude(high) < altitude:
            last = min(last, -_ASIDE - window.distance)
    return min(first, last), last


def _proper(order: Order) -> Order:
    """The order with the events of the approach at its end, in the only sequence they can have."""
    last = (EventKind.CAPTURE, EventKind.GATE, EventKind.ON_SPEED, EventKind.THRESHOLD)
    free = [event for event in order if event.kind not in last]
    first = [event for event in free if event.kind is EventKind.TOP_OF_DESCENT]
    ahead = [event for event in free[: free.index(first[0])] if event.is_fixed]
    rest = [event for event in free if event not in ahead and event not in first]
    return (*ahead, *first, *rest, *(event for kind in last for event in order if event.kind is kind))


def swapped(order: Order, lengths: Sequence[float]) -> Order | None:
    """Order with the first collapsed phase's two ends exchanged, or None when no exchange is open.

    `lengths` [m] are those of the phases that end at each event. A phase between a fixed event and a free one that has
    shrunk to nothing shows that the free event wants to lie on the other side.
    """
    for index in range(1, len(order)):
        before, after = order[index - 1], order[index]
        kinds = {before.kind, after.kind}
        exchangeable = before.is_fixed != after.is_fixed and kinds <= {
            EventKind.WINDOW,
            EventKind.SPEED_LIMIT,
            EventKind.BELOW_PATH,
            EventKind.TOP_OF_DESCENT,
        }
        if (
            exchangeable
            and lengths[index] < COLLAPSED
            and not kinds >= {EventKind.SPEED_LIMIT, EventKind.TOP_OF_DESCENT}
        ):
            return (*order[: index - 1], after, before, *order[index + 1 :])
    return None


_ASIDE = 1.0 * NAUTICAL_MILE
COLLAPSED = 0.001 * NAUTICAL_MILE
"""Length [m] below which a phase counts as collapsed."""
