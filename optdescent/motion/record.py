"""Trajectory to Flight, once, for optimum, rule and recording alike."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.air import AirSample
from optdescent.airframe import Configuration
from optdescent.airframe.speeds import reference_speed
from optdescent.curves.elementary import Value
from optdescent.motion.equations import Motion, motion, motion_in
from optdescent.motion.largest_speed import Surrounded, largest_speed
from optdescent.motion.state import Control, State, Surroundings, anti_ice_of
from optdescent.motion.verdict import breaches, gate_report
from optdescent.results import Flight, Kind, Marks, Provenance, SolverRecord, SpeedMark, Summary, WindowMark
from optdescent.results.flight import flight_dataset
from optdescent.results.marks import FloorMark, HoldMark
from optdescent.results.reading import Reading
from optdescent.scenario import Scenario
from optdescent.units import FOOT, GRAVITY

LEAST_THRUST, LEAST_BRAKE = 0.005, 0.02
"""Fractions [-] from which thrust counts as above idle and the speed brake as out."""
LEFT_CRUISE = 30.0 * FOOT
"""Height [m] below the cruise from which a descent counts as begun."""


@dataclass(frozen=True)
class Measured:
    """What a recording knows better than a scenario: the air it met, columns (point,) by name [SI], how it was read.

    The descent begins at the point `descends_from`. A column that is not known is not a number.
    """

    air: AirSample
    columns: Mapping[str, NDArray[np.float64]]
    descends_from: int
    reading: Reading


@dataclass(frozen=True)
class Trajectory:
    """A flight as arrays (point,): coordinate along the track [m, rising to 0], state, control, configuration.

    A flight that follows a rule carries the height above the threshold [m] and the speed [m/s] that the rule asks for;
    an optimum its costates and the error of its mesh, by the names of `results.schema.SOLVED_COLUMNS`; a recording what
    was measured, which goes before what the equations give.
    """

    distance: NDArray[np.float64]
    state: State
    control: Control
    configuration: Configuration
    rule_height: NDArray[np.float64] | None = None
    rule_speed: NDArray[np.float64] | None = None
    solved: Mapping[str, NDArray[np.float64]] = field(default_factory=dict[str, NDArray[np.float64]])
    measured: Measured | None = None

    def sorted_by_distance(self) -> Trajectory:
        """The same points (point,) in the order of the track [m]."""
        order, count = np.argsort(self.distance, kind="stable"), self.distance.size

        def moved(values: Value) -> NDArray[np.float64]:
            return np.broadcast_to(np.asarray(values, dtype=float), (count,))[order]

        return Trajectory(
            self.distance[order],
            State(*(moved(value) for value in vars(self.state).values())),
            Control(*(moved(value) for value in vars(self.control).values())),
            Configuration(tuple(moved(step) for step in self.configuration.steps), moved(self.configuration.gear)),
        )


def surroundings(scenario: Scenario) -> Surroundings:
    """Aircraft, air and track [SI] of a scenario, as numbers."""
    return Surroundings(scenario.airframe, scenario.air, scenario.arrival.track, anti_ice_of(scenario))


def record(
    scenario: Scenario, trajectory: Trajectory, kind: Kind, name: str, solver: SolverRecord | None = None
) -> Flight:
    """Flight of a trajectory [SI]: every column of the schema, the summary, the verdict."""
    at, measured = _motion(scenario, trajectory), trajectory.measured
    columns = _columns(scenario, trajectory, at) | dict(trajectory.solved) | dict(measured.columns if measured else {})
    count = trajectory.distance.size
    arrays = {key: np.broadcast_to(np.asarray(value, dtype=float), (count,)).copy() for key, value in columns.items()}
    dataset = flight_dataset(arrays, tuple(step.name for step in scenario.airframe.steps))
    reading = measured.reading if measured else None
    if reading is not None:
        _mark(dataset, reading)
    summary = _summary(scenario, trajectory, at, arrays)
    gate = gate_report(scenario, dataset, scenario.arrival.gate.height)
    found = breaches(scenario, dataset)
    provenance = Provenance(scenario.title, scenario.text, scenario.digest)
    more = tuple(gate_report(scenario, dataset, other.height, other) for other in scenario.arrival.more_gates)
    full = Summary(*summary, gate=gate, breaches=found, more_gates=more)
    return Flight(dataset, full, kind, name, provenance, marks_of(scenario), solver, reading=reading)


def _motion(scenario: Scenario, trajectory: Trajectory) -> Motion:
    """Motion along a trajectory, through the air as it was met where that was measured."""
    around, at = surroundings(scenario), (trajectory.state, trajectory.control, trajectory.configuration)
    if trajectory.measured is None:
        return motion(around, trajectory.distance, *at)
    return motion_in(trajectory.measured.air, around, trajectory.distance, *at)


def _mark(dataset: xr.Dataset, reading: Reading) -> None:
    """Write at each column where it is from, how it was had, and its one sigma."""
    for origin in reading.origins:
        if origin.quantity in dataset.variables:
            attributes = dataset[origin.quantity].attrs
            attributes["origin"], attributes["remark"] = origin.source.value, origin.sentence
            if np.isfinite(origin.sigma):
                attributes["sigma"] = origin.sigma


def marks_of(scenario: Scenario) -> Marks:
    """The arrival's demands as charts draw them [SI]; altitudes above mean sea level in the scenario's own air."""
    arrival, air = scenario.arrival, scenario.air

    def above_sea(published: float | None) -> float | None:
        return None if published is None else float(air.height(scenario.pressure_altitude(published)))

    windows = tuple(
        WindowMark(
            window.name,
            window.distance,
            above_sea(window.lowest),
            above_sea(window.highest),
            window.slowest,
            window.fastest,
        )
        for window in arrival.windows
    )
    limits = tuple(
        SpeedMark(
            float(air.height(scenario.pressure_altitude(limit.below_altitude))), limit.speed, limit.below_altitude
        )
        for limit in arrival.speed_limits
        if limit.below_altitude is not None
    )
    floor = tuple(
        FloorMark(point.distance, float(air.height(scenario.pressure_altitude(point.altitude))))
        for point in sorted(arrival.floor, key=lambda point: -point.distance)
    )
    holds = tuple(
        HoldMark(float(air.height(scenario.pressure_altitude(hold.altitude))), hold.from_, hold.to)
        for hold in arrival.hold_downs
    )
    path = arrival.glide_path
    return Marks(
        airport=arrival.airport,
        elevation=arrival.elevation,
        windows=windows,
        speed_limits=limits,
        gradient=path.gradient,
        crossing_height=path.threshold_crossing_height,
        gate_height=arrival.gate.height,
        steps=tuple(step.name for step in scenario.airframe.steps),
        floor=floor,
        hold_downs=holds,
    )


def _columns(scenario: Scenario, trajectory: Trajectory, at: Motion) -> dict[str, NDArray[np.float64] | float]:
    state, control, flaps = trajectory.state, trajectory.control, trajectory.configuration.position
    height = at.air.height
    return {
        "distance_to_go": -trajectory.distance,
        "time": state.time,
        "altitude": height,
        "pressure_altitude": state.pressure_altitude,
        "height_above_threshold": height - scenario.arrival.elevation,
        "true_airspeed": state.true_airspeed,
        "calibrated_airspeed": at.forces.calibrated_airspeed,
        "mach": at.forces.mach,
        "ground_speed": at.passage.ground_speed,
        "flight_path_angle": state.path_angle,
        "vertical_speed": at.passage.vertical_speed,
        "mass": state.mass,
        "fuel_used": scenario.start.mass - state.mass,
        "fuel_flow": at.forces.fuel_flow,
        "thrust": at.forces.thrust,
        "drag": at.forces.drag,
        "lift_coefficient": at.forces.lift_coefficient,
        "load_factor": control.load_factor,
        "thrust_fraction": control.thrust_fraction,
        "speed_brake": control.speed_brake,
        "configuration": flaps,
        "flaps": flaps,
        "gear": trajectory.configuration.gear,
        "wind_along": at.air.wind_along,
        "wind_across": at.air.wind_across,
        "bank": at.bank,
        "temperature": at.air.temperature,
        "specific_energy_height": height + state.true_airspeed**2 / (2.0 * GRAVITY),
        "reference_speed": reference_speed(scenario.airframe, state.mass),
        "rule_height": np.nan if trajectory.rule_height is None else trajectory.rule_height,
        "rule_speed": np.nan if trajectory.rule_speed is None else trajectory.rule_speed,
        "limit_speed": limit_speed(scenario, trajectory, at),
    }


def limit_speed(scenario: Scenario, trajectory: Trajectory, at: Motion) -> NDArray[np.float64]:
    """Largest calibrated airspeed allowed (point,) [m/s]: airframe, devices and brake out, arrival's speed limits."""
    found = largest_speed(
        scenario.airframe,
        scenario.arrival,
        Surrounded(trajectory.distance, at.air.pressure, trajectory.state.pressure_altitude),
        trajectory.configuration,
        trajectory.control.speed_brake,
        scenario.pressure_altitude,
    )
    return np.asarray(found, dtype=float)


def _summary(
    scenario: Scenario, trajectory: Trajectory, at: Motion, columns: Mapping[str, NDArray[np.float64]]
) -> tuple[float, float, float, float, float, float]:
    """Fuel, time, top of descent, thrust above idle over distance and fuel, brake over distance [SI]."""
    distance = trajectory.distance
    first = _descends_from(scenario, trajectory)
    descending = np.arange(distance.size) >= first
    step = np.gradient(distance)
    thrust, brake = columns["thrust_fraction"], columns["speed_brake"]
    pushed = descending & (thrust > LEAST_THRUST)
    above = columns["fuel_flow"] - np.asarray(at.forces.idle_flow)
    pushed_fuel = (above / columns["ground_speed"] * step)[pushed]
    return (
        float(columns["fuel_used"][-1]),
        float(columns["time"][-1]),
        float(-distance[first]),
        _summed(step[pushed], thrust[descending]),
        _summed(pushed_fuel, (thrust + columns["thrust"])[descending]),
        _summed(step[descending & (brake > LEAST_BRAKE)], brake[descending]),
    )


def _summed(parts: NDArray[np.float64], known: NDArray[np.float64]) -> float:
    """Sum [SI] of what is known of the parts; not a number where nothing is known."""
    return float(np.nansum(parts)) if bool(np.isfinite(known).any()) else float("nan")


def _descends_from(scenario: Scenario, trajectory: Trajectory) -> int:
    """Point at which the descent begins [-]: first below the cruise, or as measured."""
    if trajectory.measured is not None:
        return trajectory.measured.descends_from
    cruise = scenario.pressure_altitude(scenario.start.altitude)
    left = np.flatnonzero(np.asarray(trajectory.state.pressure_altitude) < cruise - LEFT_CRUISE)
    return int(left[0]) if left.size else trajectory.distance.size - 1
