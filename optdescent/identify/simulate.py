"""Segments flown again with unknown coefficients, by the project's own equations of motion.

State of a segment: pressure altitude, true airspeed and path angle through the air. Its rates by time are those of
`motion.equations`; between recorded points they are integrated by the midpoint rule (second order), with the inputs on
straight lines. At a point a second that moves no coefficient by a hundredth of its standard error. Unknown in each
segment: the state at its first point and a constant offset of the load factor; shared by all: the coefficients.
Derivatives are exact, by CasADi, step by step along the segment.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property
from typing import Any, cast

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.air import Air, AirSample
from optdescent.air.atmosphere import SEA_LEVEL_PRESSURE
from optdescent.air.wind import NoWind
from optdescent.airframe import Airframe, Configuration
from optdescent.arrival import Track
from optdescent.curves.elementary import Value
from optdescent.identify.coefficients import ROLES, flown_as_clean
from optdescent.identify.segments import MeasuredSpeed, Segment
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import Motion, motion

Array = NDArray[np.float64]

OWN = 4
"""Unknowns of a segment itself: pressure altitude, true airspeed, path angle, load factor offset."""
KNOWN_SIZE = 7
"""Inputs at a point: those of `Segment.known`."""


@dataclass(frozen=True, kw_only=True)
class MetAir(Air):
    """Air whose wind is given as it was met: along and across the track [m/s], and their slopes along it [1/s]."""

    along: Value
    across: Value
    along_by_distance: Value
    across_by_distance: Value

    def sample(self, distance: Value, pressure_altitude: Value, course: Value) -> AirSample:
        """Air at a pressure altitude [m], with the wind [m/s] as met; distance [m] and course [rad] do not matter."""
        return replace(
            super().sample(distance, pressure_altitude, course),
            wind_along=self.along,
            wind_across=self.across,
            wind_along_by_height=0.0,
            wind_across_by_height=0.0,
            wind_along_by_distance=self.along_by_distance,
            wind_across_by_distance=self.across_by_distance,
        )


def motion_met(airframe: Airframe, state: State, known: Value, slopes: Value, offset: Value, gear: Value) -> Motion:
    """Motion [SI] of a state in the clean configuration of `airframe` with inputs as a `Segment` has them.

    `known` (7,) in the order of `Segment.known`, `slopes` (2,) of the winds along the track [1/s], offset of the load
    factor [-].
    """
    still = NoWind()
    air = MetAir(
        temperature_offset=known[4],
        qnh=SEA_LEVEL_PRESSURE,
        datum_elevation=0.0,
        field=still.field,
        wind=still.coefficients(),
        along=known[5],
        across=known[6],
        along_by_distance=slopes[0],
        across_by_distance=slopes[1],
    )
    control = Control(known[0] + offset, known[2], known[3])
    configuration = Configuration((0.0,) * (len(airframe.steps) - 1), gear)
    return motion(Surroundings(airframe, air, Track(0.0)), 0.0, state, control, configuration)


@cache
def _compiled(airframe: Airframe, speed: MeasuredSpeed) -> tuple[ca.Function, ca.Function]:
    """Step of one segment with its derivatives, and the speed that is measured in a state with its own.

    The step goes from a state (3,) with unknowns (8,) and inputs (17,) to the state after it; the second from a state
    and inputs (7,). Compiled once for an airframe: fitted coefficients are arguments.
    """
    state, unknown = ca.SX.sym("state", 3), ca.SX.sym("unknown", 1 + len(ROLES))
    before, after = ca.SX.sym("before", KNOWN_SIZE), ca.SX.sym("after", KNOWN_SIZE)
    slopes, gear, duration = ca.SX.sym("slopes", 2), ca.SX.sym("gear"), ca.SX.sym("duration")
    fitted = flown_as_clean(airframe, unknown[1:])

    def at(values: Value, known: Value) -> Motion:
        place = State(values[0], values[1], values[2], known[1], 0.0)
        return motion_met(fitted, place, known, slopes, unknown[0], gear)

    def rates(values: Value, known: Value) -> Value:
        there = at(values, known)
        climb = there.passage.vertical_speed / there.air.stretch
        return cast(Value, ca.vertcat(climb, there.acceleration, there.path_angle_rate))

    middle = 0.5 * (before + after)
    first = rates(state, before)
    reached = state + duration * rates(state + 0.5 * duration * first, middle)
    slope = ca.jacobian(reached, ca.vertcat(state, unknown))
    inputs = ca.vertcat(before, after, slopes, gear, duration)
    step = ca.Function("step", [state, unknown, inputs], [reached, ca.densify(slope)], {"cse": True})
    shown = at(state, before).forces.calibrated_airspeed if speed is MeasuredSpeed.CALIBRATED else state[1]
    seen = ca.Function("seen", [state, before], [shown, ca.densify(ca.jacobian(shown, state))])
    return step, seen


@dataclass(frozen=True)
class Predicted:
    """What segments would have shown, with derivatives; padded to the longest segment.

    `values` (segment, point, 2): speed [m/s] and pressure altitude [m]; `by_own` (segment, point, 2, 4) by the
    unknowns of each segment; `by_local` (segment, point, 2, role) by the coefficients that act in it.
    """

    values: Array
    by_own: Array
    by_local: Array


@dataclass(frozen=True)
class Simulation:
    """Segments of one airframe, ready to be flown again with any coefficients."""

    airframe: Airframe
    speed: MeasuredSpeed
    segments: tuple[Segment, ...]

    @cached_property
    def recorded(self) -> Array:
        """Speed [m/s] and pressure altitude [m] as recorded (segment, point, 2)."""
        return self._padded([np.column_stack([one.speed, one.altitude]) for one in self.segments])

    @cached_property
    def is_point(self) -> NDArray[np.bool_]:
        """Which of the padded points (segment, point) there are [-]."""
        count = np.array([[one.size] for one in self.segments])
        return np.asarray(np.arange(self.recorded.shape[1])[None, :] < count, dtype=np.bool_)

    @cached_property
    def _known(self) -> Array:
        return self._padded([one.known for one in self.segments])

    @cached_property
    def _inputs(self) -> Array:
        """Inputs of each step (segment, point - 1, 17); those beyond the end of a segment last no time."""
        rows: list[Array] = []
        for one in self.segments:
            along = np.diff(one.known[:, 5:7], axis=0) / np.diff(one.distance)[:, None]
            gear = np.full(one.size - 1, one.gear)
            rows.append(np.column_stack([one.known[:-1], one.known[1:], along, gear, np.diff(one.time)]))
        padded = self._padded(rows)
        padded[~self.is_point[:, 1:], -1] = 0.0
        return padded

    def _padded(self, rows: Sequence[Array]) -> Array:
        """Arrays (n, k) of the segments as one (segment, most, k), the last row repeated."""
        most = max(len(one) for one in rows)
        return np.stack([one[np.minimum(np.arange(most), len(one) - 1)] for one in rows])

    def run(self, own: Array, local: Array) -> Predicted:
        """Fly every segment from its own unknowns (segment, 4) with its local coefficients (segment, role) [SI]."""
        count, points = self.is_point.shape
        # frozen, so it can be hashed, though its base class does not say so
        step, seen = _compiled(cast(Any, self.airframe), self.speed)
        mapped, unknown = step.map(count), np.column_stack([own[:, 3:], local])
        states = np.empty((points, count, 3))
        slopes = np.zeros((points, count, 3, OWN + len(ROLES)))
        states[0], slopes[0, :, range(3), range(3)] = own[:, :3], 1.0
        for point in range(points - 1):
            reached, slope = mapped.call([states[point].T, unknown.T, self._inputs[:, point].T])
            states[point + 1] = np.asarray(reached).T
            by = np.asarray(slope).reshape(3, count, 3 + 1 + len(ROLES)).transpose(1, 0, 2)
            slopes[point + 1] = by[:, :, :3] @ slopes[point]
            slopes[point + 1, :, :, 3:] += by[:, :, 3:]
        flat = states.transpose(1, 0, 2).reshape(-1, 3)
        known = self._known.reshape(-1, KNOWN_SIZE)
        shown, by_state = seen.map(flat.shape[0]).call([flat.T, known.T])
        values = np.stack([np.asarray(shown).reshape(count, points), states[:, :, 0].T], axis=2)
        by_state = np.asarray(by_state).reshape(count, points, 1, 3)
        along = slopes.transpose(1, 0, 2, 3)
        both = np.concatenate([by_state @ along, along[:, :, :1]], axis=2)
        return Predicted(values, both[..., :OWN], both[..., OWN:])
