"""Speeds and configurations between which a corridor is worked out, and which of them may follow each other."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, fields
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe import Configuration
from optdescent.airframe.speeds import GEAR, Device, devices
from optdescent.corridor.devices import DeviceSet
from optdescent.corridor.ground import Ground
from optdescent.units import KNOT

Array = NDArray[np.float64]
Indices = NDArray[np.int64]
Flags = NDArray[np.bool_]
STEP = 2.0 * KNOT
"""Between two speeds [m/s]."""
_MOST_DROP, _MOST_DROP_TRAVELLING = 8, 16
"""Largest fall of speed along a leg, and along one on which a device travels [steps]."""


@dataclass(frozen=True)
class Moves:
    """Moves between states, backwards: speed and configuration at the far and the near end (move,) [-].

    `device` (move,) is the number of the device that travels, -1 if none.
    """

    far_speed: Indices
    near_speed: Indices
    far: Indices
    near: Indices
    device: Indices


def together(some: Sequence[Moves]) -> Moves:
    """Moves one after the other [-]."""
    names = [field.name for field in fields(Moves)]
    return Moves(*(np.concatenate([getattr(moves, name) for moves in some]) for name in names))


@dataclass(frozen=True)
class States:
    """Calibrated airspeeds (speed,) [m/s] and configurations: steps out and gear (configuration, 2) [-]."""

    ground: Ground
    devices: DeviceSet
    speeds: Array
    configurations: Indices

    @property
    def full(self) -> int:
        """Index of the configuration with everything out."""
        return len(self.configurations) - 1

    @cached_property
    def most(self) -> Array:
        """Largest speed (configuration,) [m/s] with what is out."""
        return np.array([self._most(int(step), int(gear)) for step, gear in self.configurations])

    @cached_property
    def least(self) -> Array:
        """Speed (configuration,) [m/s] by which the schedule has selected the next device, or the gate's slowest."""
        return np.array([self._least(int(step), int(gear)) for step, gear in self.configurations])

    @cached_property
    def latest(self) -> Array:
        """Largest speed (device number,) [m/s] at which each device may be selected."""
        numbered = sorted(self._all, key=lambda device: device.number)
        airframe, mass = self.ground.scenario.airframe, self.ground.mass
        return np.array([self.devices.latest_selection(airframe, device, mass) for device in numbered])

    @cached_property
    def travel(self) -> Array:
        """Travel time (device number,) [s]."""
        return np.array([device.travel_time for device in sorted(self._all, key=lambda device: device.number)])

    @property
    def _all(self) -> tuple[Device, ...]:
        return devices(self.ground.scenario.airframe)

    @cached_property
    def are_open(self) -> Flags:
        """Whether a speed may be flown in a configuration (speed, configuration) [-]."""
        speeds = self.speeds[:, None]
        return np.asarray((speeds >= self.least - STEP) & (speeds <= self.most + _EXACT))

    @cached_property
    def scheduled(self) -> Indices:
        """Index of the configuration (speed,) that the schedule has selected at each speed, on slowing to it [-]."""
        found = np.full(self.speeds.size, -1, dtype=np.int64)
        for index in self._by_schedule:
            found[(found < 0) & (self.speeds >= self.least[index] - _EXACT)] = index
        return np.where(found < 0, self.full, found)

    @cached_property
    def _by_schedule(self) -> list[int]:
        """Configurations that the schedule passes through, in its order."""
        steps, gear = 0, 0
        passed = [self.index(0, 0)]
        for device in self._all:
            steps, gear = (steps, 1) if device.number == GEAR else (device.number, gear)
            passed.append(self.index(steps, gear))
        return passed

    def index(self, steps: int, gear: int) -> int:
        """Index of a configuration by its steps out and gear [-]."""
        found = np.flatnonzero((self.configurations[:, 0] == steps) & (self.configurations[:, 1] == gear))
        return int(found[0])

    def after(self, configuration: int) -> list[tuple[int, int]]:
        """What may be selected next: number of the device, and the configuration with it out [-]."""
        steps, gear = (int(number) for number in self.configurations[configuration])
        found: list[tuple[int, int]] = []
        if steps < self.configurations[-1, 0]:
            found.append((steps + 1, self.index(steps + 1, gear)))
        if not gear:
            found.append((GEAR, self.index(steps, 1)))
        return found

    @cached_property
    def changes(self) -> tuple[Indices, Indices, Indices]:
        """Configurations (change,) far and near, and the number of the device that travels, -1 if none does [-]."""
        count = range(len(self.configurations))
        same = [(index, index, -1) for index in count]
        more = [(index, after, device) for index in count for device, after in self.after(index)]
        table = np.array([*same, *more], dtype=np.int64)
        return table[:, 0], table[:, 1], table[:, 2]

    @cached_property
    def staying(self) -> Moves:
        """Moves within a configuration."""
        return self._moves(self._staying, range(_MOST_DROP + 1))

    @cached_property
    def halves(self) -> Moves:
        """Moves within a configuration by odd numbers of steps: half steps of shorter ones."""
        return self._moves(self._staying, range(1, _MOST_DROP, 2))

    @cached_property
    def rising_halves(self) -> Moves:
        """Moves within a configuration on which the speed rises by odd numbers of steps."""
        return self._moves(self._staying, range(1 - _MOST_DROP, 0, 2))

    @cached_property
    def selecting(self) -> Moves:
        """Moves on which a device travels: as soon as its speed allows."""
        return self._moves(np.array(self.changes)[:, self.changes[2] >= 0], range(_MOST_DROP_TRAVELLING + 1))

    @cached_property
    def rising(self) -> Moves:
        """Moves within a configuration on which the speed does not fall."""
        return self._moves(self._staying, range(-_MOST_DROP, 1))

    @property
    def _staying(self) -> Indices:
        return np.array(self.changes)[:, self.changes[2] < 0]

    def _moves(self, changes: Indices, fall: Iterable[int]) -> Moves:
        """Moves of some changes (3, change) from every speed to those so many steps below it (above it if negative)."""
        steps: Indices = np.arange(self.speeds.size, dtype=np.int64)
        drops: Indices = np.array(list(fall), dtype=np.int64)
        kinds: Indices = np.arange(changes.shape[1], dtype=np.int64)
        far_speed = np.repeat(steps, drops.size * kinds.size)
        near_speed = far_speed - np.tile(np.repeat(drops, kinds.size), steps.size)
        far, near, device = changes[:, np.tile(kinds, steps.size * drops.size)]
        nearest = np.clip(near_speed, 0, self.speeds.size - 1)
        keep: Flags = (nearest == near_speed) & self.are_open[far_speed, far] & self.are_open[nearest, near]
        # the schedule's own speed may lie between two of the grid; a limit speed is never passed
        late = self.latest[np.maximum(device, 0)] + 0.5 * STEP
        limit = np.array([one.limit_speed for one in sorted(self._all, key=lambda one: one.number)])
        allowed = np.minimum(late, limit[np.maximum(device, 0)] + _EXACT)
        keep &= (device < 0) | (self.speeds[far_speed] <= allowed)
        return Moves(far_speed[keep], near_speed[keep], far[keep], near[keep], device[keep])

    def out(self, far: Indices, near: Indices) -> Configuration:
        """Devices (move,) [-] half-way from one configuration to another."""
        steps, gear = 0.5 * (self.configurations[far] + self.configurations[near]).T
        count = int(self.configurations[-1, 0])
        return Configuration.at_position(steps, gear, count)

    def _most(self, steps: int, gear: int) -> float:
        out = [device for device in self._all if 0 < device.number <= steps or (device.number == GEAR and gear)]
        return min([self.ground.scenario.airframe.limits.maximum_speed, *(device.limit_speed for device in out)])

    def _least(self, steps: int, gear: int) -> float:
        pending = [d for d in self._all if (d.number == steps + 1) or (d.number == GEAR and not gear)]
        airframe, mass = self.ground.scenario.airframe, self.ground.mass
        gate = self.ground.gate_speeds(self.ground.scenario.arrival.gate)[0]
        return max([gate, *(float(device.scheduled_speed(airframe, mass)) for device in pending)])


_EXACT = 1e-6


def states_of(ground: Ground, devices_allowed: DeviceSet, marks: Sequence[float]) -> States:
    """States from the slowest speed of the gate to the fastest of `marks` [m/s], which are among the speeds."""
    slowest = ground.gate_speeds(ground.scenario.arrival.gate)[0]
    first = math.ceil(slowest / STEP)
    even = STEP * np.arange(first, math.ceil(max(marks) / STEP) + 1)
    apart = [speed for speed in even if min(abs(speed - mark) for mark in marks) > 0.1 * STEP]
    speeds = np.unique(np.array([*apart, *marks]))
    count = len(ground.scenario.airframe.steps)
    pairs = [(steps, gear) for steps in range(count) for gear in (0, 1)]
    return States(ground, devices_allowed, speeds, np.array(pairs, dtype=np.int64))
