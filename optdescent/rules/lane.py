"""What is known of one flown descent from one look to the next, and how it stands in a column of numbers."""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.airframe import Configuration
from optdescent.curves.elementary import Value
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import motion

DEVICES = 11
"""Place in a column of the first device's travel; state, thrust, brake and what the crew noted stand before it."""


@dataclass(frozen=True)
class LaneShape:
    """How many numbers a lane has: steps of flaps after clean, and actions that the rule names."""

    steps: int
    actions: int

    @property
    def size(self) -> int:
        """Length of a column [-]."""
        return DEVICES + 2 * (self.steps + 1) + self.actions


@dataclass(frozen=True)
class Lane:
    """State of one flown descent.

    Five of the motion, thrust fraction and speed brake where they are [-], seconds since the descent and the brake were
    first due [s], seconds to the next check [s], height error found at the last one [m], how far slats, flaps and gear
    are out [-], seconds since each was first due [s], which of the rule's actions are on (1) [-].
    """

    motion: State
    thrust_fraction: Value
    speed_brake: Value
    descent_due: Value
    brake_due: Value
    next_check: Value
    height_error: Value
    out: Configuration
    due: Configuration
    actions: tuple[Value, ...]

    @classmethod
    def unpacked(cls, values: Value, shape: LaneShape) -> Lane:
        """Lane from a column (size, ...) in the order of the fields [SI]."""
        devices = shape.steps + 1
        first, after = DEVICES + devices, DEVICES + 2 * devices
        return cls(
            State(*(values[index] for index in range(5))),
            *(values[index] for index in range(5, DEVICES)),
            out=configuration([values[index] for index in range(DEVICES, first)]),
            due=configuration([values[index] for index in range(first, after)]),
            actions=tuple(values[index] for index in range(after, shape.size)),
        )

    def packed(self) -> list[Value]:
        """The numbers of a column, in the order of the fields [SI]."""
        motion, devices = self.motion, (*listed(self.out), *listed(self.due))
        return [
            motion.pressure_altitude,
            motion.true_airspeed,
            motion.path_angle,
            motion.mass,
            motion.time,
            self.thrust_fraction,
            self.speed_brake,
            self.descent_due,
            self.brake_due,
            self.next_check,
            self.height_error,
            *devices,
            *self.actions,
        ]


@dataclass(frozen=True)
class Half:
    """What holds half-way between two looks: state, control, devices."""

    state: State
    control: Control
    out: Configuration

    @staticmethod
    def size(steps: int) -> int:
        """Length of a column [-]."""
        return 9 + steps

    @classmethod
    def unpacked(cls, values: Value, steps: int) -> Half:
        """From a column (size, ...) in the order of the fields [SI]."""
        state, control = State(*(values[index] for index in range(5))), Control(*(values[5 + i] for i in range(3)))
        return cls(state, control, configuration([values[8 + index] for index in range(steps + 1)]))

    def packed(self) -> list[Value]:
        """The numbers of a column [SI]."""
        state, control = self.state, self.control
        return [
            state.pressure_altitude,
            state.true_airspeed,
            state.path_angle,
            state.mass,
            state.time,
            control.load_factor,
            control.thrust_fraction,
            control.speed_brake,
            *listed(self.out),
        ]

    def rates(self, surroundings: Surroundings, x: Value) -> State:
        """Rates by distance [SI] at a coordinate along the track [m]."""
        return motion(surroundings, x, self.state, self.control, self.out).by_distance


def listed(devices: Configuration) -> list[Value]:
    """Devices in the order of a lane: the steps, then the gear [-]."""
    return [*devices.steps, devices.gear]


def configuration(devices: list[Value]) -> Configuration:
    """Devices from the order of a lane [-]."""
    return Configuration(tuple(devices[:-1]), devices[-1])
