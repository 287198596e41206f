"""A first flight for the optimum: idle, quasi-steady, at plausible speeds, integrated backwards from the glide path.

It meets the ground end of the descent and finds its own top of descent; windows are left to the optimum. From a start
too near or too high for it there is another one, which slows down first: devices come out early there.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.air.airspeed import calibrated_at, mach_from_calibrated
from optdescent.air.atmosphere import pressure
from optdescent.airframe import Configuration
from optdescent.airframe.speeds import Device, configuration_of
from optdescent.motion import Control, State, Surroundings, Trajectory, record, surroundings
from optdescent.motion.equations import motion
from optdescent.motion.holding import level, on_gradient_at_idle, on_gradient_at_speed
from optdescent.optimum.events import Event, EventKind, approach_speed, fixed_distance, start_speed
from optdescent.optimum.order import speed_selected_at
from optdescent.results import Flight, Kind
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, FOOT, GRAVITY, KNOT, NAUTICAL_MILE

_STEP = 0.25 * NAUTICAL_MILE
_DESCENT_SPEED = 260.0 * KNOT
_SLOW_DOWN = 10.0 * KNOT / NAUTICAL_MILE
_TRAVEL_RATE = 1.0 * KNOT
_FALL = 1.0 * KNOT
_FASTEST_CAPTURE = 220.0 * KNOT
_LAST_SLOWING = 0.3 * NAUTICAL_MILE
_STEP_DOWN = 10.0 * DEGREE
"""Path [rad] that no first flight has."""
_SHALLOWEST, _STEEPEST = -0.3 * DEGREE, -5.0 * DEGREE


Row = tuple[float, State, Control, Configuration]


@dataclass(frozen=True)
class _Glide:
    """The parts of a first flight; `world` are its surroundings as numbers. One may slow down first [-]."""

    scenario: Scenario
    world: Surroundings
    slows_first: bool = False

    def calibrated(self, state: State) -> float:
        sound = self.world.air.speed_of_sound(state.pressure_altitude)
        return float(calibrated_at(state.true_airspeed, state.pressure_altitude, sound))

    def true(self, calibrated: float, altitude: float) -> float:
        sound = self.world.air.speed_of_sound(altitude)
        return float(sound * mach_from_calibrated(calibrated, pressure(altitude)))

    def configuration(self, calibrated: float) -> Configuration:
        """Devices selected by a speed [m/s]; each is taken to jump out half-way through its travel."""
        mass = np.array(self.scenario.start.mass)

        def out(device: Device) -> float:
            selected = float(speed_selected_at(self.scenario, device, mass, self.slows_first))
            is_out = calibrated < selected - 0.5 * _TRAVEL_RATE * device.travel_time
            return 1.0 if is_out or device.number in self.scenario.midway.out else 0.0

        return configuration_of(self.scenario.airframe, out)

    def planned(self, x: float, altitude: float, capture: float, speed: float) -> float:
        """True airspeed [m/s] to have at a coordinate [m] and pressure altitude [m] before capture."""
        if self.slows_first:
            flown = x + self.scenario.start.distance
            calibrated = max(speed, start_speed(self.scenario) - _SLOW_DOWN * flown)
        else:
            calibrated = min(_DESCENT_SPEED, speed + _SLOW_DOWN * (capture - x))
        for limit in self.scenario.arrival.speed_limits:
            if limit.within is not None and -x < limit.within + _STEP:
                calibrated = min(calibrated, limit.speed - 1.0)
            below = limit.below_altitude
            if below is not None and altitude < self.scenario.pressure_altitude(below) + 50.0 * FOOT:
                calibrated = min(calibrated, limit.speed - 1.0)
        sound = float(self.world.air.speed_of_sound(altitude))
        return min(self.true(calibrated, altitude), self.scenario.start.mach * sound)

    def on_path(self, x: float) -> State:
        """State on the glide path at a coordinate [m], at the approach speed."""
        arrival, mass = self.scenario.arrival, self.scenario.start.mass
        height = float(arrival.glide_path.height(x)) + arrival.elevation
        altitude = height - float(self.world.air.height(0.0))
        return State(altitude, self.true(approach_speed(self.scenario), altitude), 0.0, mass, 0.0)

    def approach(self, capture: float, on_speed: float) -> tuple[list[Row], bool]:
        """Rows from capture to the threshold that slow to the approach speed at a coordinate [m].

        The part before it is found backwards, at idle; a device that has come in stays in. Whether it can be flown: the
        speed never rises on the path, and is low enough at capture.
        """
        gradient = self.scenario.arrival.glide_path.gradient
        state, rows = self.on_path(on_speed), list[Row]()
        flyable, fastest = True, 0.0
        for x in np.arange(on_speed, capture - _STEP / 2.0, -_STEP / 2.0):
            configuration = self.configuration(max(fastest, self.calibrated(state)))
            held = on_gradient_at_idle(self.world, x, state, configuration, gradient, 0.0)
            rows.insert(0, (float(x), held.state, held.control, configuration))
            calibrated = self.calibrated(held.state)
            flyable = flyable and calibrated > fastest - _FALL
            fastest = max(fastest, calibrated)
            state = _moved(held.state, held.motion.by_distance, -_STEP / 2.0)
        state = self.on_path(on_speed)
        for x in np.linspace(on_speed, 0.0, 10):
            configuration = self.configuration(self.calibrated(state))
            held = on_gradient_at_speed(self.world, x, state, configuration, gradient)
            rows.append((float(x) + 1e-6, held.state, held.control, configuration))
            state = _moved(held.state, held.motion.by_distance, -on_speed / 9.0)
        most = self.scenario.arrival.glide_path.capture_speed_at_most or _FASTEST_CAPTURE
        if self.scenario.midway.on_path:
            most = start_speed(self.scenario) + _FALL
        return rows, flyable and self.calibrated(rows[0][1]) < most - _FALL

    def descent(self, capture: float, first: State) -> list[Row]:
        """Rows from the top of descent to just before capture, found backwards."""
        scenario = self.scenario
        cruise = scenario.pressure_altitude(scenario.start.altitude)
        speed, state, x = self.calibrated(first), first, capture
        rows: list[Row] = []
        while state.pressure_altitude < cruise and x - _STEP > -scenario.start.distance:
            configuration = self.configuration(self.calibrated(state))
            control = Control(1.0, 0.0, 0.0)
            trial = motion(self.world, x, State(*_vertical(state, -2.5 * DEGREE)), control, configuration)
            duration = _STEP / float(trial.passage.ground_speed)
            above = float(state.pressure_altitude) - float(trial.by_distance.pressure_altitude) * _STEP
            wanted = (float(state.true_airspeed) - self.planned(x - _STEP, above, capture, speed)) / duration
            push = float(trial.forces.thrust - trial.forces.drag) / scenario.start.mass
            sine = (push - wanted - float(trial.passage.wind_heading_change)) / GRAVITY
            angle = float(np.clip(np.arcsin(np.clip(sine, -0.2, 0.2)), _STEEPEST, _SHALLOWEST))
            state = State(*_vertical(state, angle))
            at = motion(self.world, x, state, control, configuration)
            state = _moved(state, at.by_distance, -_STEP)
            fastest = self.planned(x - _STEP, float(state.pressure_altitude), capture, speed) * 1.1
            state = State(state.pressure_altitude, min(float(state.true_airspeed), fastest), *_rest(state))
            x -= _STEP
            rows.append((x, state, control, self.configuration(self.calibrated(state))))
        return rows[::-1]


def _vertical(state: State, angle: float) -> tuple[float, float, float, float, float]:
    return (state.pressure_altitude, state.true_airspeed, angle, state.mass, state.time)


def _rest(state: State) -> tuple[float, float, float]:
    return (state.path_angle, state.mass, state.time)


def _moved(state: State, rate: State, step: float) -> State:
    return State(
        float(state.pressure_altitude + rate.pressure_altitude * step),
        float(state.true_airspeed + rate.true_airspeed * step),
        float(state.path_angle),
        float(state.mass),
        float(state.time),
    )


def first_flight(scenario: Scenario, slows_first: bool = False) -> Flight:
    """Idle flight [SI] from the scenario's start to the threshold, a first guess and no more.

    One that slows first does so from the start on and flies the rest at the approach speed.
    """
    glide = _Glide(scenario, surroundings(scenario), slows_first)
    path, is_captured = scenario.arrival.glide_path, scenario.midway.on_path
    capture = -scenario.start.distance if is_captured else path.distance(path.capture_middle)
    early = capture + _STEP
    late = early if slows_first else -_LAST_SLOWING if is_captured else fixed_distance(scenario, Event(EventKind.GATE))
    approach, flyable = glide.approach(capture, late)
    if not flyable:
        for _ in range(8):
            middle = 0.5 * (early + late)
            _, flyable = glide.approach(capture, middle)
            early, late = (middle, late) if flyable else (early, middle)
        approach, _ = glide.approach(capture, early)
    rows = approach if is_captured else [*glide.descent(approach[0][0], approach[0][1]), *approach]
    return record(scenario, _whole(scenario, glide, rows), Kind.OPTIMUM, "first flight")


def begins_with_a_step(flight: Flight) -> bool:
    """Whether a first flight begins with a step down: the scenario starts too near, or too high, for it [-]."""
    fall = -np.diff(flight.column("pressure_altitude"))
    return bool(np.any(fall > np.tan(_STEP_DOWN) * -np.diff(flight.column("distance_to_go"))))


def _whole(scenario: Scenario, glide: _Glide, rows: list[Row]) -> Trajectory:
    """Trajectory with the cruise before the rows, and mass and time along all of it."""
    start, begin = scenario.start, rows[0][0]
    last = max(begin - _STEP, -start.distance)
    altitude = scenario.pressure_altitude(start.altitude)
    speed = start.mach * float(scenario.air.speed_of_sound(altitude))
    out = configuration_of(scenario.airframe, lambda device: float(device.number in scenario.midway.out))
    cruise: list[Row] = []
    places = np.linspace(-start.distance, last, 20 if last > -start.distance else 1)
    for x in places[:0] if scenario.midway.on_path else places:
        held = level(glide.world, x, State(altitude, speed, 0.0, start.mass, 0.0), out, 0.0)
        cruise.append((float(x), held.state, held.control, out))
    table = [*cruise, *rows]
    x = np.array([row[0] for row in table])

    def states(name: str) -> NDArray[np.float64]:
        return np.array([float(getattr(row[1], name)) for row in table])

    def controls(name: str) -> NDArray[np.float64]:
        return np.array([float(getattr(row[2], name)) for row in table])

    steps = tuple(np.array([float(row[3].steps[k]) for row in table]) for k in range(len(out.steps)))
    configuration = Configuration(steps, np.array([float(row[3].gear) for row in table]))
    control = Control(controls("load_factor"), controls("thrust_fraction"), controls("speed_brake"))
    state = State(states("pressure_altitude"), states("true_airspeed"), states("path_angle"), start.mass, 0.0)
    rate = motion(glide.world, x, state, control, configuration).by_distance
    time, burnt = (np.concatenate([[0.0], np.cumsum(_means(value) * np.diff(x))]) for value in (rate.time, rate.mass))
    state = State(state.pressure_altitude, state.true_airspeed, state.path_angle, start.mass + burnt, time)
    return Trajectory(x, state, control, configuration)


def _means(values: NDArray[np.float64]) -> NDArray[np.float64]:
    return 0.5 * (values[1:] + values[:-1])
