"""Where a corridor is worked out: places along the track, and what the arrival demands of height and speed at each.

Heights are pressure altitudes, as the equations of motion have them. Every demand at a distance lies on a place.
Windows and hold-downs are not among the demands: a corridor says what energy allows, and traffic may waive them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from optdescent.air.airspeed import calibrated_from_mach, true_from_calibrated
from optdescent.air.atmosphere import pressure
from optdescent.airframe.speeds import GEAR, devices, reference_speed
from optdescent.arrival import Capture, Gate, floor_at
from optdescent.motion import Surroundings
from optdescent.motion.record import surroundings
from optdescent.scenario import Scenario
from optdescent.units import FOOT, GRAVITY, NAUTICAL_MILE

Array = NDArray[np.float64]
Flags = NDArray[np.bool_]
SPACING = 0.25 * NAUTICAL_MILE
"""Largest distance [m] between two places."""
FLAPS_BELOW = 20000.0 * FOOT
"""Pressure altitude [m] above which slats and flaps stay in (common practice, no source)."""
_TABLE = np.linspace(-1000.0, 16000.0, 3401)
"""Pressure altitudes [m] between which heights are turned back into pressure altitudes."""


@dataclass(frozen=True)
class Demands:
    """Lowest and highest pressure altitudes (place,) [m] and speeds (place,) [m/s], infinite where free."""

    lowest: Array
    highest: Array
    slowest: Array
    fastest: Array

    def between_heights(self, at: Flags, low: Array | None, high: Array | None) -> None:
        """Narrow the heights at some places (place,) [m]."""
        if low is not None:
            self.lowest[at] = np.maximum(self.lowest[at], low[at])
        if high is not None:
            self.highest[at] = np.minimum(self.highest[at], high[at])

    def between_speeds(self, at: Flags, slow: float, fast: float) -> None:
        """Narrow the calibrated airspeeds [m/s] at some places (place,)."""
        self.slowest[at] = np.maximum(self.slowest[at], slow)
        self.fastest[at] = np.minimum(self.fastest[at], fast)


@dataclass(frozen=True)
class Ground:
    """Places to go (place,) [m], nearest first from the gate on, and the demands there.

    `path` (place,) [m] is the glide path's pressure altitude; it is captured at the places from `first_capture` to
    `last_capture`, and nearer than the first flown along it. `mass` [kg] is that of the start all the way.
    """

    scenario: Scenario
    around: Surroundings
    mass: float
    to_go: Array
    demands: Demands
    path: Array
    first_capture: int
    last_capture: int

    @cached_property
    def limit_speeds(self) -> Array:
        """Limit speed (device,) [m/s] of each device, the steps and then the gear."""
        numbered = {device.number: device.limit_speed for device in devices(self.scenario.airframe)}
        return np.array([*(numbered[number] for number in sorted(numbered) if number != GEAR), numbered[GEAR]])

    @cached_property
    def speed_limits(self) -> tuple[tuple[float, float], ...]:
        """Pressure altitude [m] below which each limit of the arrival by altitude holds, and its speed [m/s]."""
        return tuple(
            (self.scenario.pressure_altitude(limit.below_altitude) - _BEGINS, limit.speed)
            for limit in self.scenario.arrival.speed_limits
            if limit.below_altitude is not None
        )

    @cached_property
    def tailwind(self) -> Array:
        """Tailwind (place,) [m/s] on the glide path and its straight continuation, as far up as flaps are used."""
        altitude, course = np.minimum(self.path, FLAPS_BELOW), self.around.track.course(-self.to_go)
        return np.asarray(self.around.air.sample(-self.to_go, altitude, course).wind_along) + 0.0 * altitude

    def true_airspeed(self, calibrated: Array, altitude: Array) -> Array:
        """True airspeed [m/s] at a calibrated airspeed [m/s] and pressure altitude [m]."""
        sound = self.around.air.speed_of_sound(altitude)
        return np.asarray(true_from_calibrated(calibrated, pressure(altitude), sound))

    def energy_height(self, altitude: Array, calibrated: Array) -> Array:
        """Energy height [m] at a pressure altitude [m] and calibrated airspeed [m/s]: its height is geopotential."""
        true = self.true_airspeed(calibrated, altitude)
        return np.asarray(self.around.air.height(altitude)) + true**2 / (2.0 * GRAVITY)

    def limit_at(self, altitude: Array) -> Array:
        """Largest calibrated airspeed [m/s] by the airframe and by the speed limits at a pressure altitude [m]."""
        limits = self.scenario.airframe.limits
        by_mach = np.asarray(calibrated_from_mach(limits.maximum_mach, pressure(altitude)), dtype=float)
        most: Array = np.minimum(limits.maximum_speed, by_mach)
        for begins, speed in self.speed_limits:
            most = np.where(altitude < begins, np.minimum(most, speed), most)
        return np.asarray(most)

    def least_altitude(self, calibrated: Array) -> Array:
        """Lowest pressure altitude [m] at which a calibrated airspeed [m/s] may be flown, by the speed limits."""
        least = np.full(calibrated.shape, -np.inf)
        for begins, speed in self.speed_limits:
            least = np.where(calibrated > speed + 1e-9, np.maximum(least, begins), least)
        return least

    def most_altitude(self, calibrated: Array) -> Array:
        """Highest pressure altitude [m] at which a calibrated airspeed [m/s] may be flown, by largest Mach number."""
        by_mach = np.asarray(calibrated_from_mach(self.scenario.airframe.limits.maximum_mach, pressure(_TABLE)))
        return np.interp(calibrated, by_mach[::-1], _TABLE[::-1])

    def gate_speeds(self, gate: Gate) -> tuple[float, float]:
        """Smallest and largest calibrated airspeed [m/s] that a gate allows."""
        target = float(reference_speed(self.scenario.airframe, self.mass)) + gate.speed_above_reference
        return target - gate.speed_under, target + gate.speed_over

    @property
    def capture_speed(self) -> float:
        """Largest calibrated airspeed [m/s] at which the glide path may be captured."""
        most = self.scenario.arrival.glide_path.capture_speed_at_most
        return math.inf if most is None else most

    def steepest(self, altitude: Array, true_airspeed: Array, place: float) -> Array:
        """Steepest path through the air [rad, negative] at a pressure altitude [m], speed [m/s] and place to go [m]."""
        arrival, handling = self.scenario.arrival, self.scenario.handling
        angle = np.full(np.shape(altitude), -handling.steepest_path)
        height = np.asarray(self.around.air.height(altitude)) - arrival.elevation
        for limit in arrival.sink_limits:
            allowed = -np.arcsin(np.minimum(limit.sink / true_airspeed, 1.0))
            angle = np.where(height < limit.below_height, np.maximum(angle, allowed), angle)
        path = arrival.glide_path
        if path.capture is Capture.ABOVE and place <= path.below_within:
            angle = np.maximum(angle, -np.arcsin(np.minimum(path.sink_above / true_airspeed, 1.0)))
        return np.asarray(angle)


_BEGINS = 1.0
"""How far below its altitude [m] a speed limit begins to be kept."""


def ground_of(scenario: Scenario, farthest: float, marks: Sequence[float] = (), spacing: float = SPACING) -> Ground:
    """Places from the gate to a distance to go [m], at most `spacing` [m] apart, and the demands there.

    Distances to go of `marks` [m] are among the places.
    """
    arrival, around = scenario.arrival, surroundings(scenario)
    path = arrival.glide_path
    capture = sorted(-path.distance(height) for height in (path.capture_at_least, path.capture_at_most))
    to_go = _places(scenario, farthest, marks, spacing)
    heights = np.asarray(around.air.height(_TABLE)) - arrival.elevation
    on_path = np.interp(np.asarray(path.height(-to_go)), heights, _TABLE)
    free = Demands(*(np.full(to_go.size, bound) for bound in (-np.inf, np.inf, -np.inf, np.inf)))
    demands = _by_distance(scenario, to_go, _by_heights(scenario, to_go, free, on_path, capture[1]))
    first, last = (int(np.argmin(np.abs(to_go - place))) for place in capture)
    ground = Ground(scenario, around, scenario.start.mass, to_go, demands, on_path, first, last)
    for gate in arrival.more_gates:
        at = np.abs(to_go - gate.place(path)) < _SAME
        demands.between_speeds(at, *ground.gate_speeds(gate))
    return ground


def _by_heights(scenario: Scenario, to_go: Array, free: Demands, on_path: Array, farthest_capture: float) -> Demands:
    """Heights by the side of the glide path and the floor."""
    arrival = scenario.arrival
    is_near = to_go <= arrival.glide_path.below_within + _SAME
    if arrival.glide_path.capture is Capture.BELOW:
        free.between_heights(is_near, None, on_path)
    else:
        free.between_heights(is_near, on_path, None)
    if arrival.floor:
        distances = [point.distance for point in arrival.floor]
        altitudes = [scenario.pressure_altitude(point.altitude) for point in arrival.floor]
        free.between_heights(to_go > farthest_capture + _SAME, floor_at(distances, altitudes, to_go), None)
    return free


def _by_distance(scenario: Scenario, to_go: Array, demands: Demands) -> Demands:
    """Speeds by the limits from a distance on."""
    for limit in scenario.arrival.speed_limits:
        if limit.within is not None:
            demands.between_speeds(to_go <= limit.within + _SAME, -np.inf, limit.speed)
    return demands


_SAME = 1.0
"""Two places closer than this [m] are one."""


def _places(scenario: Scenario, farthest: float, more: Sequence[float], spacing: float) -> Array:
    """Distances to go (place,) [m] from the gate outwards: every demand's, with equal steps between them."""
    arrival = scenario.arrival
    path = arrival.glide_path
    nearest = arrival.gate.place(path)
    marks = [nearest, farthest, path.below_within, *more, *([FAR] if farthest > FAR else [])]
    marks += [-path.distance(height) for height in (path.capture_at_least, path.capture_at_most)]
    marks += [limit.within for limit in arrival.speed_limits if limit.within is not None]
    marks += [gate.place(path) for gate in arrival.more_gates]
    marks += [point.distance for point in arrival.floor]
    inside = sorted(mark for mark in marks if nearest <= mark <= farthest)
    apart = [inside[0]]
    apart += [mark for before, mark in pairwise(inside) if mark - before > _SAME]
    parts = [np.linspace(a, b, math.ceil((b - a) / _between(a, spacing)) + 1)[1:] for a, b in pairwise(apart)]
    return np.concatenate([[apart[0]], *parts])


FAR = 25.0 * NAUTICAL_MILE
"""Distance to go [m] from which on places may lie twice as far apart: no device but the brake is out there."""


def _between(nearest: float, spacing: float) -> float:
    return 2.0 * spacing if nearest >= FAR - _SAME else spacing
