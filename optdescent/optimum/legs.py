"""The phases between the events, how each is flown, and which devices are out or on their way in it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import Enum

from optdescent.airframe import Airframe
from optdescent.airframe.speeds import Device, devices
from optdescent.optimum.events import Event, EventKind, Order


class Mode(Enum):
    """How a phase is flown; the value says it in words."""

    CRUISE = "level at constant Mach number"
    DESCENT = "idle, load factor and speed brake free"
    LEVEL = "level, thrust free between idle and largest"
    SLOWING = "on the glide path at idle"
    APPROACH = "on the glide path at approach speed"


_STATES: Mapping[Mode, tuple[str, ...]] = {
    Mode.CRUISE: ("mass", "time"),
    Mode.DESCENT: ("pressure_altitude", "true_airspeed", "path_angle", "mass", "time"),
    Mode.LEVEL: ("true_airspeed", "mass", "time"),
    Mode.SLOWING: ("pressure_altitude", "true_airspeed", "mass", "time"),
    Mode.APPROACH: ("pressure_altitude", "true_airspeed", "mass", "time"),
}


@dataclass(frozen=True)
class Leg:
    """One phase before it is posed: its name, how it is flown, and the events at its two ends (None: the start).

    `out` are the devices that have arrived, `moving` those on their way, `pending` those still to be selected, in the
    order of the schedule. `brakes` says whether the speed brake may be used with what has been selected; `hold` is the
    index of the hold-down at whose level the phase lies.
    """

    name: str
    mode: Mode
    begins: Event | None
    ends: Event
    passed: tuple[Event, ...]
    out: tuple[Device, ...]
    moving: tuple[Device, ...]
    pending: tuple[Device, ...]
    brakes: bool
    hold: int | None = None

    @property
    def states(self) -> tuple[str, ...]:
        """Names of the states: those of the mode, and how far each moving device is out."""
        return (*_STATES[self.mode], *(travel(device) for device in self.moving))

    @property
    def controls(self) -> tuple[str, ...]:
        """Names of the controls."""
        brake = ("speed_brake",) if self.brakes else ()
        match self.mode:
            case Mode.DESCENT:
                return ("load_factor", *brake)
            case Mode.LEVEL:
                return ("thrust_fraction",)
            case Mode.SLOWING:
                return brake
            case _:
                return ()

    @property
    def kind(self) -> str:
        """What its motion depends on, in words: legs of one kind obey the same equations."""
        status = [f"{word} {', '.join(device.name for device in found)}" for word, found in self._status if found]
        level = [] if self.hold is None else [f"hold-down {self.hold + 1}"]
        return "; ".join([self.mode.value, "brakes" if self.brakes else "no brakes", *level, *status])

    @property
    def _status(self) -> tuple[tuple[str, tuple[Device, ...]], ...]:
        return (("out:", self.out), ("moving:", self.moving), ("next:", self.pending[:1]))

    def has_passed(self, kind: EventKind) -> bool:
        """Whether an event of a kind lies behind."""
        return any(event.kind is kind for event in self.passed)


def travel(device: Device) -> str:
    """Name of the state that says how far a device is out [-]."""
    return f"travel of {device.name}"


def legs_of(order: Order, airframe: Airframe, behind: Order) -> tuple[Leg, ...]:
    """Phases between the events of an order, and which devices are out in each after those `behind` the start."""
    legs: list[Leg] = []
    all_devices = devices(airframe)
    for index, event in enumerate(order):
        passed = (*behind, *order[:index])
        kinds = {earlier.kind for earlier in passed}
        mode = Mode.CRUISE
        if EventKind.TOP_OF_DESCENT in kinds:
            mode = Mode.DESCENT
        if EventKind.CAPTURE in kinds:
            mode = Mode.SLOWING
        if EventKind.ON_SPEED in kinds:
            mode = Mode.APPROACH
        hold = _hold_down(passed)
        if hold is not None:
            mode = Mode.LEVEL
        selected = {earlier.index for earlier in passed if earlier.kind is EventKind.SELECTED}
        arrived = {earlier.index for earlier in passed if earlier.kind is EventKind.OUT}
        legs.append(
            Leg(
                name=f"to {event.label}",
                mode=mode,
                begins=order[index - 1] if index else None,
                ends=event,
                passed=passed,
                out=tuple(device for device in all_devices if device.number in arrived),
                moving=tuple(device for device in all_devices if device.number in selected - arrived),
                pending=tuple(device for device in all_devices if device.number not in selected),
                brakes=airframe.speed_brake.last_step + 1 not in selected,
                hold=hold,
            )
        )
    return tuple(legs)


def _hold_down(passed: Order) -> int | None:
    """Index of the hold-down that has begun and whose level has not been left."""
    for event in passed:
        if event.kind is EventKind.HOLD_BEGINS and Event(EventKind.RESUMED, event.index) not in passed:
            return event.index
    return None
