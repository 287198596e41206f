"""A flight as a debrief looks at it: its columns, what its air and mass ask for, spells in which something holds."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe.speeds import GEAR, MOVES, Device, devices
from optdescent.corridor import ONE_BY_ONE, LastFound
from optdescent.results import Flight
from optdescent.results.debrief import Finding, Severity, Subject
from optdescent.scenario import Scenario
from optdescent.units import NAUTICAL_MILE

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
_CAPTURED_FOR = 20.0
"""Time [s] for which a flight on the glide path counts as having captured it: it does not just fly through."""
_CAPTURED_WITHIN = 3.0 * NAUTICAL_MILE
"""How far [m] beyond the farthest place of capture that may be."""
_LONGEST_GAP = 6.0
"""Time [s] across which nothing is told of a device that came out meanwhile."""
SINGLY = frozenset(own.name for own in ONE_BY_ONE)
"""Sets of devices that findings tell of: what two of them do together stands in tables."""


@dataclass(frozen=True)
class Track:
    """A flight in a scenario, with the energy to spare (set, point) [m] inside each set's reach.

    `above_rule` (point,) is the height above what the rule called `rule` asks for [m]; `last` are the last useful
    points of each set.
    `farthest` is the distance to go [m] up to which the reach is known, `speeds` the slowest and fastest [m/s].
    """

    flight: Flight
    scenario: Scenario
    margins: Array
    sets: tuple[str, ...]
    rule: str
    above_rule: Array
    last: LastFound
    farthest: float
    speeds: tuple[float, float]

    def column(self, name: str) -> Array:
        """Values (point,) of a column [SI]."""
        return self.flight.column(name)

    @cached_property
    def time(self) -> Array:
        """Time (point,) [s]."""
        return self.column("time")

    @cached_property
    def to_go(self) -> Array:
        """Distance to go (point,) [m]."""
        return self.column("distance_to_go")

    @cached_property
    def height(self) -> Array:
        """Height above the threshold (point,) [m]."""
        return self.column("height_above_threshold")

    @cached_property
    def speed(self) -> Array:
        """Calibrated airspeed (point,) [m/s]."""
        return self.column("calibrated_airspeed")

    @cached_property
    def above_path(self) -> Array:
        """Height above the glide path and its straight continuation (point,) [m]."""
        return self.height - np.asarray(self.scenario.arrival.glide_path.height(-self.to_go))

    @cached_property
    def captured(self) -> int | None:
        """Index of the point from which the flight is on the glide path for a while; None if it never is."""
        path = self.scenario.arrival.glide_path
        is_near = self.to_go < max(path.below_within, _CAPTURED_WITHIN - path.distance(path.capture_at_most))
        on_path = np.abs(self.above_path) < self.scenario.arrival.gate.off_path
        return next((first for first, _ in self.spells(on_path & is_near, _CAPTURED_FOR)), None)

    def to_spare(self, devices_named: str) -> Array:
        """Energy height (point,) [m] inside the reach of a set of devices."""
        return self.margins[self.sets.index(devices_named)]

    def out(self, device: Device) -> Array:
        """How far a device is out (point,) [-]."""
        if device.number == GEAR:
            return self.column("gear")
        return np.clip(self.column("flaps") - (device.number - 1.0), 0.0, 1.0)

    def selected(self, device: Device) -> int | None:
        """Index of the last point before a device begins to move out for good; None if it never does."""
        return selected_at(self.out(device))

    @cached_property
    def captured_before(self) -> bool:
        """Whether the flight is on the glide path already at the first point of which its height is known."""
        known = np.flatnonzero(np.isfinite(self.above_path))
        return self.captured is not None and bool(known.size) and self.captured <= int(known[0])

    def is_told(self, device: Device) -> bool:
        """Whether the flight shows a device come out, or stay in: known, in at first, and not out across a gap."""
        known = np.flatnonzero(np.isfinite(self.out(device)))
        if not known.size or self.out(device)[known[0]] > MOVES:
            return False
        at = self.selected(device)
        after = known[known > at] if at is not None else known[:0]
        return not after.size or bool(self.time[after[0]] - self.time[at] < _LONGEST_GAP)

    @property
    def devices(self) -> tuple[Device, ...]:
        """Steps of flaps and the gear in the order of the schedule."""
        return devices(self.scenario.airframe)

    def spells(self, on: Flags, shortest: float) -> Iterator[tuple[int, int]]:
        """First and last index of each run of true values that lasts some time [s]."""
        edges = np.flatnonzero(np.diff(np.concatenate([[False], on, [False]]).astype(int)))
        for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
            if self.time[end - 1] - self.time[first] >= shortest:
                yield first, end - 1

    def finding(self, at: int, subject: Subject, severity: Severity, evidence: str) -> Finding:
        """A finding at a point."""
        return Finding(
            subject,
            severity,
            float(self.time[at]),
            float(self.to_go[at]),
            float(self.height[at]),
            float(self.speed[at]),
            evidence,
        )


def selected_at(out: Array) -> int | None:
    """Index [-] of the last point before a device, out by so much (point,) [-], begins to move out for good."""
    known = np.flatnonzero(np.isfinite(out))
    moving = known[out[known] > MOVES]
    if not moving.size or moving[0] == known[0]:
        return None
    inside = known[(known < moving[-1]) & (out[known] <= MOVES)]
    return int(inside[-1]) if inside.size else None
