"""Recorded flights cut into short segments at idle, in one settled configuration each.

Columns used, with their units in memory (`results.schema`):

| column | unit | taken as |
|---|---|---|
| time, distance_to_go | s, m | known; time rises, distance falls |
| calibrated_airspeed or true_airspeed | m/s | measured, with white noise of one size |
| pressure_altitude | m | measured, with white noise of one size |
| load_factor | - | input, known up to one constant offset in each segment |
| mass | kg | known |
| thrust_fraction | - | known; a point above `IDLE` is left out |
| speed_brake | - | known |
| flaps, gear | - | known; a point where either is travelling is left out |
| bank, if there | rad | known; a point in a turn is left out |
| temperature, wind_along, wind_across | K, m/s, m/s | known, unless a scenario gives the air instead |

Winds between points are straight lines along the track; so are load factor, mass and speed brake in time.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from enum import Enum

import numpy as np
from numpy.typing import NDArray

from optdescent.air.airspeed import true_from_calibrated
from optdescent.air.atmosphere import pressure, speed_of_sound, standard_temperature
from optdescent.airframe import Airframe
from optdescent.inputs import Fault, InputFault
from optdescent.motion import surroundings
from optdescent.motion.equations import air_at
from optdescent.recording.rows import FROM_ZERO, not_onward, rows_said
from optdescent.results import Flight
from optdescent.scenario import Scenario
from optdescent.units import GRAVITY

Array = NDArray[np.float64]


class MeasuredSpeed(Enum):
    """Which speed was measured; the value is its column."""

    CALIBRATED = "calibrated_airspeed"
    TRUE = "true_airspeed"


IDLE = 0.005
"""Largest thrust fraction [-] that counts as idle: what a lag of the engines leaves a few seconds after the lever."""
WINGS_LEVEL = np.radians(1.0)
"""Bank [rad] up to which lift is taken to be upright."""
SETTLED = 0.02
"""Largest distance [-] of flaps and gear from a step, from up and from down, that counts as settled."""
LONGEST_GAP = 2.5
"""Longest time [s] between points that are joined: longer ones end a segment."""
LEAST_POINTS = 8
"""Fewest points of a segment: it has four unknowns of its own."""
LEAST_TIME = 8.0
"""Shortest segment [s]."""

AIR_COLUMNS = ("temperature", "wind_along", "wind_across")
KNOWN = ("load_factor", "mass", "thrust_fraction", "speed_brake")


@dataclass(frozen=True)
class Segment:
    """Points (n,) of one flight at idle in one configuration [SI].

    `known` holds, in columns (n, 7), load factor, mass, thrust fraction, speed brake, temperature offset, wind along
    and across the track; `first` is the first row of the flight it is cut from.
    """

    flight: int
    first: int
    step: int
    gear: float
    time: Array
    distance: Array
    speed: Array
    altitude: Array
    known: Array

    @property
    def size(self) -> int:
        """Number of points [-]."""
        return self.time.size


def segments_of(
    flights: Sequence[tuple[str, Flight]],
    airframe: Airframe,
    speed: MeasuredSpeed,
    scenario: Scenario | None,
    longest: float,
) -> tuple[Segment, ...]:
    """Segments no longer than `longest` [s] of named flights, shorter ones than `LEAST_TIME` left out [SI].

    Raises
    ------
    InputFault
        A column that is missing, a row that is not a number, time that does not rise or distance that does not fall,
        a step that the airframe does not have, or no segment at all; each with its file and rows.
    """
    faults = [fault for name, flight in flights for fault in _faults(name, flight, airframe, speed, scenario)]
    if faults:
        raise InputFault(faults)
    found = [
        segment
        for number, (_, flight) in enumerate(flights)
        for segment in _segments(number, flight, speed, scenario, longest)
    ]
    if not found:
        names = ", ".join(name for name, _ in flights)
        at_idle = sum(int(_is_used(flight, scenario).sum()) for _, flight in flights)
        given = (
            f"too few points at idle: no run of {LEAST_TIME:.0f} s and {LEAST_POINTS} points ({at_idle} points in all)"
        )
        allowed = f"thrust fraction at most {IDLE:g}, flaps and gear settled, points at most {LONGEST_GAP:g} s apart"
        raise InputFault([Fault(names, "thrust_fraction", given, allowed)])
    return tuple(found)


def columns_used(speed: MeasuredSpeed, scenario: Scenario | None) -> tuple[str, ...]:
    """Names of the columns that are read [see the module]."""
    air = AIR_COLUMNS if scenario is None else ()
    return ("time", "distance_to_go", speed.value, "pressure_altitude", *KNOWN, "flaps", "gear", *air)


def _faults(
    name: str, flight: Flight, airframe: Airframe, speed: MeasuredSpeed, scenario: Scenario | None
) -> list[Fault]:
    wanted = columns_used(speed, scenario)
    missing = [column for column in wanted if column not in flight.dataset.variables]
    if missing:
        return [Fault(name, column, "column is missing", "a number in every row") for column in missing]
    faults: list[Fault] = []
    for column in wanted:
        rows = np.flatnonzero(~np.isfinite(flight.column(column)))
        if rows.size:
            given = f"is not a number in {rows_said(rows, FROM_ZERO)}"
            faults.append(Fault(name, column, given, "a number in every row"))
    if faults:
        return faults
    for column, sign, allowed in (("time", 1.0, "time that rises"), ("distance_to_go", -1.0, "distance that falls")):
        rows = not_onward(sign * flight.column(column))
        if rows.size:
            faults.append(Fault(name, column, f"stands still or turns back in {rows_said(rows, FROM_ZERO)}", allowed))
    last = len(airframe.steps) - 1
    beyond = np.flatnonzero((flight.column("flaps") > last + SETTLED) | (flight.column("flaps") < -SETTLED))
    if beyond.size:
        given = f"no step of the airframe in {rows_said(beyond, FROM_ZERO)}"
        faults.append(Fault(name, "flaps", given, f"0 to {last}"))
    return faults


def _is_used(flight: Flight, scenario: Scenario | None) -> NDArray[np.bool_]:
    """Points at idle, settled, with wings level, and on a straight part of a scenario's track."""
    flaps, gear = flight.column("flaps"), flight.column("gear")
    settled = (np.abs(flaps - np.rint(flaps)) <= SETTLED) & (np.abs(gear - np.rint(gear)) <= SETTLED)
    straight = np.ones(flaps.size, dtype=bool)
    if "bank" in flight.dataset:
        straight = np.abs(np.nan_to_num(flight.column("bank"))) <= WINGS_LEVEL
    if scenario is not None:
        curvature = surroundings(scenario).track.curvature(-flight.column("distance_to_go"))
        straight = straight & (np.asarray(curvature, dtype=float) == 0.0)
    return settled & straight & (flight.column("thrust_fraction") <= IDLE)


def _segments(
    number: int, flight: Flight, speed: MeasuredSpeed, scenario: Scenario | None, longest: float
) -> list[Segment]:
    time, used = flight.column("time"), _is_used(flight, scenario)
    flaps, gear = np.rint(flight.column("flaps")), np.rint(flight.column("gear"))
    joined = used[1:] & used[:-1] & (np.diff(flaps) == 0.0) & (np.diff(gear) == 0.0) & (np.diff(time) <= LONGEST_GAP)
    offset, along, across = _air(flight, scenario)
    known = np.column_stack([*(flight.column(name) for name in KNOWN), offset, along, across])
    found: list[Segment] = []
    for run in np.split(np.arange(time.size), np.flatnonzero(~joined) + 1):
        parts = max(1, int(np.ceil((time[run[-1]] - time[run[0]]) / longest)))
        for rows in np.array_split(run, parts):
            if rows.size < LEAST_POINTS or time[rows[-1]] - time[rows[0]] < LEAST_TIME:
                continue
            found.append(
                Segment(
                    flight=number,
                    first=int(rows[0]),
                    step=int(flaps[rows[0]]),
                    gear=float(gear[rows[0]]),
                    time=time[rows],
                    distance=-flight.column("distance_to_go")[rows],
                    speed=flight.column(speed.value)[rows],
                    altitude=flight.column("pressure_altitude")[rows],
                    known=known[rows],
                )
            )
    return found


def _air(flight: Flight, scenario: Scenario | None) -> tuple[Array, Array, Array]:
    """Temperature offset [K] and wind along and across [m/s] at each point: the flight's own, or a scenario's."""
    altitude = flight.column("pressure_altitude")
    if scenario is None:
        offset = flight.column("temperature") - np.asarray(standard_temperature(altitude))
        return offset, flight.column("wind_along"), flight.column("wind_across")
    sample = air_at(surroundings(scenario), -flight.column("distance_to_go"), altitude)
    offset = sample.temperature - np.asarray(standard_temperature(altitude))
    winds = (sample.wind_along, sample.wind_across)
    along, across = (np.asarray(wind + np.zeros(altitude.size), dtype=float) for wind in winds)
    return np.asarray(offset, dtype=float), along, across


def first_state(segment: Segment, speed: MeasuredSpeed) -> Array:
    """Pressure altitude [m], true airspeed [m/s], path angle [rad] and load factor offset [-] to start a fit from.

    The path angle is that of a straight line through the recorded altitudes.
    """
    offset = segment.known[:, 4]
    sound = np.asarray(speed_of_sound(segment.altitude, offset))
    true = segment.speed
    if speed is MeasuredSpeed.CALIBRATED:
        true = np.asarray(true_from_calibrated(segment.speed, np.asarray(pressure(segment.altitude)), sound))
    since = segment.time - segment.time[0]
    climb, altitude = _line(since, segment.altitude)
    slope, start = _line(since, true)
    stretch = 1.0 + offset[0] / float(standard_temperature(altitude))
    sine = climb * stretch / (start + 0.5 * slope * float(since[-1]))
    angle = math.asin(min(max(sine, -0.5), 0.5))
    # the load factor of the whole segment turns the path; half of that lies before its middle
    excess = segment.known[:, 0] - math.cos(angle)
    turn = 0.5 * float(np.sum((excess[1:] + excess[:-1]) * np.diff(since))) * GRAVITY / start
    return np.array([segment.altitude[0], start, angle - 0.5 * turn, 0.0])


def _line(x: Array, y: Array) -> tuple[float, float]:
    """Slope and value at zero of the straight line of least squares through x, y (n,)."""
    middle = float(x.mean())
    slope = float(np.sum((x - middle) * y) / np.sum((x - middle) ** 2))
    return slope, float(y.mean()) - slope * middle
