"""The phases between the events, and how each is flown."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from optdescent.optimum.events import Event, EventKind, Order


class Mode(Enum):
    """How a phase is flown; the value says it in words."""

    CRUISE = "level at constant Mach number"
    DESCENT = "idle, load factor and speed brake free"
    SLOWING = "on the glide path at idle"
    APPROACH = "on the glide path at approach speed"


@dataclass(frozen=True)
class Leg:
    """One phase before it is posed: its name, how it is flown, and the events at its two ends (None: the start)."""

    name: str
    mode: Mode
    begins: Event | None
    ends: Event
    passed: tuple[Event, ...]


STATES: Mapping[Mode, tuple[str, ...]] = {
    Mode.CRUISE: ("mass", "time"),
    Mode.DESCENT: ("pressure_altitude", "true_airspeed", "path_angle", "mass", "time"),
    Mode.SLOWING: ("pressure_altitude", "true_airspeed", "mass", "time"),
    Mode.APPROACH: ("pressure_altitude", "true_airspeed", "mass", "time"),
}
CONTROLS: Mapping[Mode, tuple[str, ...]] = {
    Mode.CRUISE: (),
    Mode.DESCENT: ("load_factor", "speed_brake"),
    Mode.SLOWING: ("speed_brake",),
    Mode.APPROACH: (),
}


def legs_of(order: Order) -> tuple[Leg, ...]:
    """Phases between the events of an order."""
    legs: list[Leg] = []
    for index, event in enumerate(order):
        passed = order[:index]
        kinds = {earlier.kind for earlier in passed}
        mode = Mode.CRUISE
        if EventKind.TOP_OF_DESCENT in kinds:
            mode = Mode.DESCENT
        if EventKind.CAPTURE in kinds:
            mode = Mode.SLOWING
        if EventKind.ON_SPEED in kinds:
            mode = Mode.APPROACH
        legs.append(Leg(f"to {event.label}", mode, passed[-1] if passed else None, event, passed))
    return tuple(legs)
