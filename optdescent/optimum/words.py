"""Demands and events of an arrival in words, with their numbers, as conflicts, orders and tables name them."""

from __future__ import annotations

from optdescent.arrival import Capture, HoldDown, SpeedLimit
from optdescent.optimum.events import DEVICE_EVENTS, Event, EventKind, device_of
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE


def limit_named(limit: SpeedLimit) -> str:
    """Where a speed limit holds [ft or nm]."""
    if limit.within is not None:
        return f"from {limit.within / NAUTICAL_MILE:.0f} nm to go on"
    return f"below {(limit.below_altitude or 0.0) / FOOT:.0f} ft"


def hold_down_named(hold: HoldDown) -> str:
    """A hold-down with its level and its ends [ft, nm]."""
    ends = f"from {hold.from_ / NAUTICAL_MILE:.0f} to {hold.to / NAUTICAL_MILE:.0f} nm"
    return f"the hold-down at {hold.altitude / FOOT:.0f} ft {ends}"


def spoken(scenario: Scenario, event: Event) -> str:
    """An event as a reader knows it: windows and devices by their names."""
    arrival = scenario.arrival
    if event.kind in DEVICE_EVENTS:
        return f"{device_of(scenario, event).name} {event.kind.value}"
    match event.kind:
        case EventKind.WINDOW:
            return f"window {arrival.windows[event.index].name}"
        case EventKind.SPEED_LIMIT:
            return f"{(arrival.speed_limits[event.index].below_altitude or 0.0) / FOOT:.0f} ft"
        case EventKind.SPEED_WITHIN:
            return f"{arrival.speed_limits[event.index].speed / KNOT:.0f} kt from here"
        case EventKind.FLOOR:
            return f"floor {arrival.floor[event.index].altitude / FOOT:.0f} ft"
        case EventKind.HOLD_BEGINS | EventKind.HOLD_ENDS | EventKind.RESUMED:
            return f"{event.kind.value} ({arrival.hold_downs[event.index].altitude / FOOT:.0f} ft)"
        case EventKind.BELOW_PATH if arrival.glide_path.capture is Capture.ABOVE:
            return "above the glide path from here"
        case EventKind.GATE if event.index:
            return f"gate at {arrival.gates[event.index].height / FOOT:.0f} ft"
        case _:
            return event.kind.value
