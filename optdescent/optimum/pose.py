"""Scenario and order of events to an optimal-control problem.

Between two events lies one phase. Before the top of descent the aircraft cruises level at constant Mach number; from
there to the capture of the glide path it descends at idle with load factor and speed brake as controls; on the glide
path it slows at idle until the approach speed is reached, after the gate; from there thrust holds that speed. Slats,
flaps and gear follow the airframe's speed schedule throughout.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from itertools import pairwise
from typing import Protocol

import casadi as ca

from optdescent.air.airspeed import calibrated_at
from optdescent.air.atmosphere import speed_of_sound
from optdescent.airframe import Configuration
from optdescent.airframe.speeds import reference_speed, scheduled_configuration
from optdescent.curves.elementary import Value, cos
from optdescent.curves.smooth import smooth_step
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import Motion, air_at, motion, path_angle_on
from optdescent.motion.holding import Held, level, on_gradient_at_idle, on_gradient_at_speed
from optdescent.ocp import BoundaryConstraint, Ends, Link, PathConstraint, Phase, Point, Problem, Span, Variable
from optdescent.optimum.events import Event, EventKind, Order
from optdescent.optimum.legs import CONTROLS, STATES, Leg, Mode, legs_of
from optdescent.optimum.parameters import Named, declared_parameters, parameter_values, surroundings_of
from optdescent.rules.crew import brake_allowed
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, FOOT, FOOT_PER_MINUTE, KNOT

STEEPEST_SINK = 8000.0 * FOOT_PER_MINUTE
"""Sink rate [m/s] that stands for no limit."""
SINK_BAND = 300.0 * FOOT
"""Height [m] above a sink limit over which it comes in, so that it holds in full at and below its height."""


@dataclass(frozen=True)
class Pose:
    """A scenario's structure, posed: builds the problem of an order of events."""

    scenario: Scenario
    order: Order

    @property
    def legs(self) -> tuple[Leg, ...]:
        """Phases in order."""
        return legs_of(self.order)

    def problem(self) -> Problem:
        """The optimal-control problem; every number of the scenario is a parameter of it [SI]."""
        legs = self.legs
        links = tuple(
            Link(before.name, after.name, _shared(before.mode, after.mode)) for before, after in pairwise(legs)
        )
        boundaries = tuple(item for leg in legs for item in (*self._begin(leg), *self._end(leg)))
        return Problem(
            name=self.scenario.title,
            phases=tuple(self._phase(leg) for leg in legs),
            cost=self._cost,
            links=links,
            boundaries=boundaries,
            parameters=declared_parameters(parameter_values(self.scenario)),
        )

    def _cost(self, ends: Ends) -> ca.SX:
        legs = self.legs
        last = ends[legs[-1].name].end
        charged = sum((ends[leg.name].integral for leg in legs if CONTROLS[leg.mode]), ca.SX(0))
        burnt = ends.parameters["start mass"] - last["mass"]
        return burnt + ends.parameters["cost of time"] * last["time"] + charged

    def surroundings(self, named: Named) -> Surroundings:
        """Surroundings at a point or at the ends [SI]."""
        return surroundings_of(self.scenario, named)

    def calibrated(self, named: Named, at: Named) -> ca.SX:
        """Calibrated airspeed [m/s] of a state."""
        altitude = at["pressure_altitude"]
        sound = speed_of_sound(altitude, named["temperature offset"])
        return calibrated_at(at["true_airspeed"], altitude, sound)

    def flown(self, mode: Mode, point: At) -> tuple[State, Control, Configuration, Motion]:
        """State, control, configuration and motion [SI] at a point of a phase."""
        world, x = self.surroundings(point), point.independent
        if mode is Mode.CRUISE:
            altitude = point["start altitude"]
            speed = point["start mach"] * speed_of_sound(altitude, point["temperature offset"])
            state = State(altitude, speed, 0.0, point["mass"], point["time"])
            clean = Configuration((0.0,) * (len(world.airframe.steps) - 1), 0.0)
            return _held(level(world, x, state, clean, 0.0), clean)
        angle = point["path_angle"] if mode is Mode.DESCENT else 0.0
        state = State(point["pressure_altitude"], point["true_airspeed"], angle, point["mass"], point["time"])
        configuration = scheduled_configuration(world.airframe, self.calibrated(point, point), point["mass"])
        gradient = point["gradient"]
        if mode is Mode.APPROACH:
            return _held(on_gradient_at_speed(world, x, state, configuration, gradient), configuration)
        height = self._height(point, point)
        brake = point["speed_brake"] * brake_allowed(
            world.airframe, configuration, height, point["lowest brake height"]
        )
        if mode is Mode.SLOWING:
            return _held(on_gradient_at_idle(world, x, state, configuration, gradient, brake), configuration)
        control = Control(point["load_factor"], 0.0, brake)
        return state, control, configuration, motion(world, x, state, control, configuration)

    def _phase(self, leg: Leg) -> Phase:
        def rates(point: Point) -> Mapping[str, ca.SX]:
            by_distance = self.flown(leg.mode, point)[3].by_distance
            return {name: getattr(by_distance, name) for name in STATES[leg.mode]}

        def integrand(point: Point) -> ca.SX:
            charge = point["brake weight"] * point["speed_brake"] ** 2
            if leg.mode is Mode.DESCENT:
                charge = charge + point["load weight"] * (point["load_factor"] - cos(point["path_angle"])) ** 2
            return charge

        limits = self.scenario.airframe.limits
        controls = {
            "load_factor": Variable("load_factor", limits.least_load_factor, limits.most_load_factor, 0.1),
            "speed_brake": Variable("speed_brake", 0.0, 1.0, 1.0),
        }
        return Phase(
            name=leg.name,
            states=tuple(_state_variable(name) for name in STATES[leg.mode]),
            controls=tuple(controls[name] for name in CONTROLS[leg.mode]),
            rates=rates,
            start=self._span(leg.begins),
            end=self._span(leg.ends),
            path=self._path(leg),
            integrand=integrand if CONTROLS[leg.mode] else None,
        )

    def _span(self, event: Event | None) -> Span:
        if event is None:
            return Span(lambda named: -named["start distance"], lambda named: -named["start distance"])
        if event.kind is EventKind.THRESHOLD:
            return Span(0.0, 0.0)
        if event.is_fixed:
            name = f"distance of {event.label}"
            return Span(lambda named: named[name], lambda named: named[name])
        return Span(lambda named: -named["start distance"], 0.0)

    def _path(self, leg: Leg) -> tuple[PathConstraint, ...]:
        airframe, mode = self.scenario.airframe, leg.mode
        if mode in (Mode.CRUISE, Mode.APPROACH):
            thrust = PathConstraint("thrust", lambda p: self.flown(mode, p)[1].thrust_fraction, 0.0, 1.0)
            sink = PathConstraint(
                "sink rate at the gate", lambda p: self._gate_sink_room(mode, p), lower=0.0, scale=10.0
            )
            return (thrust,) if mode is Mode.CRUISE else (thrust, sink)
        fastest = [
            PathConstraint(
                "largest speed", lambda p: self.calibrated(p, p), upper=airframe.limits.maximum_speed, scale=100.0
            )
        ]
        for event in leg.passed:
            if event.kind is EventKind.SPEED_LIMIT:
                name = f"speed of {event.label}"
                fastest[0] = PathConstraint(
                    event.label,
                    lambda p: self.calibrated(p, p),
                    upper=lambda named, name=name: named[name],
                    scale=100.0,
                )
        found = [
            *fastest,
            PathConstraint(
                "least speed",
                lambda p: self._above_reference(p, p),
                lower=lambda n: n["gate target"] - n["gate under"],
                scale=100.0,
            ),
        ]
        if mode is Mode.DESCENT:
            found.append(PathConstraint("path angle", lambda p: p["path_angle"] / p["steepest path"], -1.0, 0.0))
            found.append(PathConstraint("largest Mach number", self._mach, upper=airframe.limits.maximum_mach))
            found.append(PathConstraint("sink rate", self._sink_room, lower=0.0, scale=10.0))
        if EventKind.BELOW_PATH in {event.kind for event in leg.passed} and mode is Mode.DESCENT:
            found.append(
                PathConstraint(
                    "capture from below", lambda p: self._above_path(p, p, p.independent), upper=0.0, scale=100.0
                )
            )
        if EventKind.GATE in {event.kind for event in leg.passed}:
            found.append(
                PathConstraint("sink rate at the gate", lambda p: self._gate_sink_room(mode, p), lower=0.0, scale=10.0)
            )
        return tuple(found)

    def _above_reference(self, named: Named, at: Named) -> ca.SX:
        return self.calibrated(named, at) - reference_speed(self.scenario.airframe, at["mass"])

    def _mach(self, point: Point) -> ca.SX:
        return point["true_airspeed"] / speed_of_sound(point["pressure_altitude"], point["temperature offset"])

    def _sink_room(self, point: Point) -> ca.SX:
        """Sink rate still allowed [m/s] by the limits at the height."""
        height = self._height(point, point)
        allowed = ca.SX(STEEPEST_SINK)
        for index in reversed(range(len(self.scenario.arrival.sink_limits))):
            name = f"sink limit {index + 1}"
            share = smooth_step((height - point[f"height of {name}"]) / SINK_BAND)
            allowed = point[f"sink of {name}"] + (allowed - point[f"sink of {name}"]) * share
        return allowed + point["true_airspeed"] * ca.sin(point["path_angle"])

    def _gate_sink_room(self, mode: Mode, point: Point) -> ca.SX:
        passage = self.flown(mode, point)[3].passage
        return point["gate sink"] + passage.vertical_speed

    def _height(self, named: Named, at: Named) -> ca.SX:
        """Height above the threshold [m]."""
        return self.surroundings(named).air.height(at["pressure_altitude"]) - named["elevation"]

    def _above_path(self, named: Named, at: Named, x: ca.SX) -> ca.SX:
        """Height above the glide path [m]."""
        return self._height(named, at) - (named["threshold crossing height"] - named["gradient"] * x)

    def _begin(self, leg: Leg) -> list[BoundaryConstraint]:
        name = leg.name
        if leg.begins is None:
            return [
                _equal("mass at the start", lambda e: e[name].start["mass"] - e.parameters["start mass"], 1000.0),
                _equal("time at the start", lambda e: e[name].start["time"], 1000.0),
            ]
        if leg.begins.kind is not EventKind.TOP_OF_DESCENT:
            return []
        return [
            _equal(
                "altitude at the top",
                lambda e: e[name].start["pressure_altitude"] - e.parameters["start altitude"],
                1000.0,
            ),
            _equal("speed at the top", lambda e: e[name].start["true_airspeed"] - _cruise_speed(e), 100.0),
            _equal("level at the top", lambda e: e[name].start["path_angle"], 0.1),
        ]

    def _end(self, leg: Leg) -> list[BoundaryConstraint]:
        match leg.ends.kind:
            case EventKind.WINDOW if leg.mode is not Mode.CRUISE:
                return self._window(leg)
            case EventKind.SPEED_LIMIT:
                name, label = leg.name, leg.ends.label
                return [
                    _equal(
                        f"altitude of {label}",
                        lambda e: e[name].end["pressure_altitude"] - e.parameters[f"altitude of {label}"],
                        1000.0,
                    ),
                ]
            case EventKind.CAPTURE:
                return self._capture(leg)
            case EventKind.GATE:
                return self._gate(leg)
            case EventKind.ON_SPEED:
                name = leg.name
                return [
                    _equal(
                        "approach speed",
                        lambda e: self._above_reference(e.parameters, e[name].end) - e.parameters["gate target"],
                        100.0,
                    )
                ]
            case _:
                return []

    def _window(self, leg: Leg) -> list[BoundaryConstraint]:
        name, label = leg.name, leg.ends.label
        window = self.scenario.arrival.windows[leg.ends.index]
        found: list[BoundaryConstraint] = []

        def bound(key: str, is_floor: bool) -> None:
            parameter = f"{key} at {label}"
            if key.endswith("altitude"):
                found.append(
                    _bounded(
                        parameter,
                        lambda e: e[name].end["pressure_altitude"] - e.parameters[parameter],
                        is_floor,
                        1000.0,
                    )
                )
            else:
                found.append(
                    _bounded(
                        parameter,
                        lambda e: self.calibrated(e.parameters, e[name].end) - e.parameters[parameter],
                        is_floor,
                        100.0,
                    )
                )

        for key, value, is_floor in (
            ("lowest altitude", window.altitude_at_least, True),
            ("highest altitude", window.altitude_at_most, False),
            ("slowest speed", window.speed_at_least, True),
            ("fastest speed", window.speed_at_most, False),
        ):
            if value is not None:
                bound(key, is_floor)
        return found

    def _capture(self, leg: Leg) -> list[BoundaryConstraint]:
        name = leg.name

        def angle(ends: Ends) -> ca.SX:
            end = ends[name].end
            sample = air_at(self.surroundings(ends.parameters), end.independent, end["pressure_altitude"])
            return end["path_angle"] - path_angle_on(ends.parameters["gradient"], sample, end["true_airspeed"])

        found: list[BoundaryConstraint] = []
        if self.scenario.arrival.glide_path.capture_speed_at_most is not None:
            found.append(
                _bounded(
                    "speed at capture",
                    lambda e: self.calibrated(e.parameters, e[name].end) - e.parameters["capture speed"],
                    False,
                    100.0,
                )
            )
        return [
            *found,
            _equal(
                "on the glide path",
                lambda e: self._above_path(e.parameters, e[name].end, e[name].end.independent),
                100.0,
            ),
            _equal("along the glide path", angle, 0.1),
            BoundaryConstraint(
                "capture height",
                lambda e: self._height(e.parameters, e[name].end),
                lambda named: named["capture at least"],
                lambda named: named["capture at most"],
                1000.0,
            ),
        ]

    def _gate(self, leg: Leg) -> list[BoundaryConstraint]:
        name = leg.name
        return [
            BoundaryConstraint(
                "speed at the gate",
                lambda e: self._above_reference(e.parameters, e[name].end),
                lambda named: named["gate target"] - named["gate under"],
                lambda named: named["gate target"] + named["gate over"],
                100.0,
            )
        ]


def _held(held: Held, configuration: Configuration) -> tuple[State, Control, Configuration, Motion]:
    return held.state, held.control, configuration, held.motion


def _shared(before: Mode, after: Mode) -> tuple[str, ...]:
    return tuple(name for name in STATES[after] if name in STATES[before])


def _cruise_speed(ends: Ends) -> ca.SX:
    named = ends.parameters
    return named["start mach"] * speed_of_sound(named["start altitude"], named["temperature offset"])


class At(Named, Protocol):
    """A point of a phase, symbolic or numeric: names looked up, and the coordinate along the track [m]."""

    independent: Value


BoundaryFunction = Callable[[Ends], ca.SX]


def _equal(name: str, function: BoundaryFunction, scale: float) -> BoundaryConstraint:
    return BoundaryConstraint(name, function, 0.0, 0.0, scale)


def _bounded(name: str, function: BoundaryFunction, is_floor: bool, scale: float) -> BoundaryConstraint:
    if is_floor:
        return BoundaryConstraint(name, function, lower=0.0, scale=scale)
    return BoundaryConstraint(name, function, upper=0.0, scale=scale)


def _state_variable(name: str) -> Variable:
    bounds = {
        "pressure_altitude": (-600.0, 20000.0, 5000.0),
        "true_airspeed": (100.0 * KNOT, 600.0 * KNOT, 100.0),
        "path_angle": (-20.0 * DEGREE, 5.0 * DEGREE, 0.1),
        "mass": (1000.0, 700000.0, 1000.0),
        "time": (-1.0, 40000.0, 1000.0),
    }
    return Variable(name, *bounds[name])
