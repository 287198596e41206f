"""A flight flown in stretches: from anywhere on, by another rule or another crew from each place on.

What a crew does wrong on a part of the way, and what would have happened with another action from a moment on, are both
a change of rule or technique at a place. Devices stay where they are at the seams, and what was selected goes on.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from optdescent.airframe import Configuration
from optdescent.airframe.speeds import GEAR, MOVES
from optdescent.inputs import Fault, InputFault
from optdescent.motion import Control, State, Trajectory, record
from optdescent.results import Flight, Kind
from optdescent.rules.fly import looks, noise_of, pilot_of, ruled, starts_of
from optdescent.rules.lane import DEVICES, Lane, configuration
from optdescent.rules.parts import Rule
from optdescent.rules.pilot import Pilot
from optdescent.scenario import Scenario, Technique

Array = NDArray[np.float64]
_LONG_AGO = 1000.0
"""Seconds since which what is out at the start has been due: longer than any crew is late."""
_NEAREST = 50.0
"""Smallest distance [m] between the start and the first look after it."""


@dataclass(frozen=True)
class Stretch:
    """From a distance to go [m] on: the rule and the crew, and the numbers of devices not selected whatever asks."""

    begins: float
    rule: Rule
    technique: Technique
    not_selected: frozenset[int] = field(default_factory=frozenset[int])


@dataclass(frozen=True)
class Moment:
    """A flight at a point: distance to go [m], state, thrust fraction and speed brake [-], devices out [-]."""

    distance_to_go: float
    state: State
    thrust_fraction: float
    speed_brake: float
    out: Configuration


def moment_of(flight: Flight, time: float) -> Moment:
    """A flight at a time [s] after its start, straight between its points; thrust and brake not known are at rest.

    Raises
    ------
    ValueError
        The time is not within the flight.
    InputFault
        Something that a flight goes on with is not known then.
    """
    times = flight.column("time")
    if not times[0] <= time <= times[-1]:
        raise ValueError(f"{time:.0f} s is not within the flight")
    lacking = unknown_at(flight, time)
    if lacking:
        raise InputFault([Fault(flight.name, "time", f"at {time:.0f} s {lacking}", "a moment at which all is known")])

    def at(name: str) -> float:
        values = flight.column(name)
        known = np.isfinite(values)
        return float(np.interp(time, times[known], values[known])) if known.any() else 0.0

    state = State(*(at(name) for name in ("pressure_altitude", "true_airspeed", "flight_path_angle", "mass", "time")))
    out = Configuration.at_position(at("flaps"), at("gear"), len(flight.marks.steps) - 1)
    brake, thrust = (float(np.clip(at(name), 0.0, 1.0)) for name in ("speed_brake", "thrust_fraction"))
    return Moment(at("distance_to_go"), state, thrust, brake, out)


def unknown_at(flight: Flight, time: float) -> str:
    """What a flight goes on with and is not known at a time [s] within it, in words; empty if all is.

    Between two points it is known if it is at both: nothing is read across a gap.
    """
    times = flight.column("time")
    after = int(np.searchsorted(times, time))
    beside = [after] if times[after] == time else [after - 1, after]
    lacking = [word for name, word in _NEEDED.items() if np.isnan(flight.column(name)[beside]).any()]
    return f"{', '.join(lacking)} not known" if lacking else ""


_NEEDED = {
    "distance_to_go": "distance to go",
    "pressure_altitude": "altitude",
    "true_airspeed": "airspeed",
    "flight_path_angle": "path angle",
    "mass": "mass",
    "flaps": "slats and flaps",
    "gear": "gear",
}
"""Columns that a flight goes on with, and their words."""


def flown_in_stretches(
    scenario: Scenario, stretches: Sequence[Stretch], name: str, start: Moment | None = None
) -> Flight:
    """Flight by stretches, the farthest first, from the scenario's start or from a moment on [SI].

    Raises
    ------
    ValueError
        No stretch, the first begins nearer than the flight, or nothing is left to fly.
    """
    begins = scenario.start.distance if start is None else start.distance_to_go
    if not stretches or stretches[0].begins < begins - 1.0:
        raise ValueError("the first stretch begins nearer than the flight")
    x = looks(scenario.start.distance)
    if start is not None:
        x = np.concatenate([[-begins], x[x > -begins + _NEAREST]])
        if x.size < 2:
            raise ValueError(f"nothing is left to fly from {begins:.0f} m to go")
    found: list[Array] = []
    seen: list[Array] = []
    lane: Array | None = None
    for stretch, after in zip(stretches, [*stretches[1:], None], strict=True):
        own = np.flatnonzero((-x <= stretch.begins + 1e-6) & (True if after is None else -x > after.begins))
        if not own.size:
            continue
        pilot = pilot_of(replace(scenario, technique=stretch.technique), stretch.rule)
        lane = _first_lane(pilot, scenario, start) if lane is None else _carried(lane, pilot)
        lanes, orders, lane = _flown(pilot, scenario, stretch, x, own, lane)
        found.append(lanes[:, : DEVICES + 2 * (pilot.shape.steps + 1)])
        seen.append(orders)
        if not np.all(np.isfinite(lane)):
            break
    return _recorded(scenario, stretches, name, x, np.vstack(found), np.vstack(seen))


def _first_lane(pilot: Pilot, scenario: Scenario, start: Moment | None) -> Array:
    if start is None:
        return starts_of(pilot, [scenario])[1][:, 0]
    out = [*start.out.steps, start.out.gear]
    due = configuration([_LONG_AGO if one > MOVES else 0.0 for one in out])
    braking = _LONG_AGO if start.speed_brake > MOVES else 0.0
    none = (0.0,) * pilot.shape.actions
    lane = Lane(
        start.state, start.thrust_fraction, start.speed_brake, _LONG_AGO, braking, 0.0, 0.0, start.out, due, none
    )
    return np.array(lane.packed(), dtype=float)


def _carried(lane: Array, pilot: Pilot) -> Array:
    """A lane for the next stretch: its rule has actions of its own, none of them on yet."""
    kept = DEVICES + 2 * (pilot.shape.steps + 1)
    return np.concatenate([lane[:kept], np.zeros(pilot.shape.actions)])


def _flown(
    pilot: Pilot, scenario: Scenario, stretch: Stretch, x: Array, own: NDArray[np.intp], lane: Array
) -> tuple[Array, Array, Array]:
    """Lanes (look, size) at some looks, orders there (look, 3), and the lane at the look after them."""
    crew = replace(scenario, technique=stretch.technique)
    parameters, noise = starts_of(pilot, [crew])[0][:, 0], noise_of(crew, x)
    lanes: list[Array] = []
    seen: list[Array] = []
    for index in own.tolist():
        length = x[index + 1] - x[index] if index + 1 < x.size else x[-1] - x[-2]
        lanes.append(lane)
        after, *orders, _ = pilot.step.call([lane, x[index], length, noise[index], parameters])
        seen.append(np.concatenate([np.asarray(order).ravel() for order in orders]))
        lane = _held_back(np.asarray(after).ravel(), lane, pilot.shape.steps, stretch.not_selected)
        if not np.all(np.isfinite(lane)):
            break
    return np.array(lanes), np.array(seen), lane


def _held_back(after: Array, before: Array, steps: int, numbers: frozenset[int]) -> Array:
    """A lane in which devices of some numbers are not due that were not before."""
    for number in numbers:
        place = DEVICES + steps + 1 + (steps if number == GEAR else number - 1)
        if before[place] == 0.0:
            after[place] = 0.0
            after[place - steps - 1] = before[place - steps - 1]
    return after


def _recorded(
    scenario: Scenario, stretches: Sequence[Stretch], name: str, x: Array, lanes: Array, seen: Array
) -> Flight:
    steps = len(scenario.airframe.steps) - 1
    columns = lanes.T
    out = configuration([columns[DEVICES + index] for index in range(steps + 1)])
    control = Control(seen[:, 0], np.clip(columns[5], 0.0, 1.0), np.clip(columns[6], 0.0, 1.0))
    state = State(*(columns[index] for index in range(5)))
    trajectory = Trajectory(x[: lanes.shape[0]], state, control, out, rule_height=seen[:, 1], rule_speed=seen[:, 2])
    return record(ruled(scenario, stretches[-1].rule), trajectory, Kind.RULE, name)
