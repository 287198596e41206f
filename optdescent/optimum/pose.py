"""Scenario and order of events to an optimal-control problem.

Between two events lies one phase. Before the top of descent the aircraft cruises level at constant Mach number; from
there to the capture of the glide path it descends at idle with load factor and speed brake as controls. In a hold-down
it is level with thrust free between idle and largest: it may slow at idle, hold a speed, or both, as costs least. It
may stay at the level after the hold-down until idle takes it the rest of the way. On the glide path it slows at idle
until the approach speed is reached; from there thrust holds that speed. Slats, flaps and gear are selected at events of
their own and travel from there at a constant rate.
"""

from __future__ import annotations

import math
from collections.abc import Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from itertools import pairwise

import casadi as ca

from optdescent.airframe import Configuration
from optdescent.airframe.speeds import Device, configuration_of
from optdescent.curves.elementary import Value, cos
from optdescent.motion import Control, State
from optdescent.motion.equations import Motion, motion
from optdescent.motion.holding import Held, level, on_gradient_at_idle, on_gradient_at_speed
from optdescent.ocp import (
    BoundaryConstraint,
    Ends,
    Limit,
    Link,
    Memory,
    Phase,
    Point,
    Problem,
    Span,
    Template,
    Variable,
)
from optdescent.optimum.boundaries import demands_at
from optdescent.optimum.events import Event, EventKind, Order, behind
from optdescent.optimum.legs import Leg, Mode, legs_of, travel
from optdescent.optimum.limits import limits_along
from optdescent.optimum.parameters import declared_parameters, parameter_values
from optdescent.optimum.quantities import At, Quantities, altitude_of_hold
from optdescent.optimum.structure import structure
from optdescent.rules.crew import brake_allowed
from optdescent.scenario import Scenario
from optdescent.units import KNOT


@dataclass(frozen=True)
class Pose:
    """A scenario's structure, posed: builds the problem of an order of events.

    `memory` keeps what the phases of several orders have in common. `is_firm` : speeds of selections are kept without
    room (`limits_along`), for scenarios in which an optimum lives by that room.
    """

    scenario: Scenario
    order: Order
    memory: Memory = field(default_factory=Memory, repr=False, compare=False)
    is_firm: bool = False

    @cached_property
    def legs(self) -> tuple[Leg, ...]:
        """Phases in order."""
        return legs_of(self.order, self.scenario.airframe, behind(self.scenario))

    @cached_property
    def structure(self) -> Hashable:
        """Everything of it that is not a number of its problem [-]: see `optimum.structure`."""
        return structure(self.scenario, self.order, self.legs)

    @property
    def quantities(self) -> Quantities:
        """What the demands are stated in."""
        return Quantities(self.scenario)

    def problem(self) -> Problem:
        """The optimal-control problem; every number of the scenario is a parameter of it [SI]."""
        legs = self.legs
        links = tuple(
            Link(before.name, after.name, tuple(name for name in after.states if name in before.states))
            for before, after in pairwise(legs)
        )
        return Problem(
            name=self.scenario.title,
            phases=tuple(self._phase(leg) for leg in legs),
            cost=self.cost,
            links=links,
            boundaries=(
                *(item for leg in legs for item in demands_at(self.quantities, leg)),
                *(_kept_in_order(leg) for leg in legs),
            ),
            statics=tuple(Variable(overlap(leg), 0.0, scale=1000.0) for leg in legs),
            parameters=declared_parameters(parameter_values(self.scenario)),
            memory=self.memory,
            is_tidy=True,
        )

    def cost(self, ends: Ends) -> ca.SX:
        """Fuel, cost of time, what is charged for making controls unique and for phases that run backwards [kg]."""
        last = ends[self.legs[-1].name].end
        charged = sum((ends[leg.name].integral for leg in self.legs if leg.controls), ca.SX(0))
        burnt = ends.parameters["start mass"] - last["mass"]
        disorder = ends.parameters["overlap charge"] * self.overlap(ends)
        return burnt + ends.parameters["cost of time"] * last["time"] + charged + disorder

    def overlap(self, ends: Ends) -> ca.SX:
        """Sum of the distances [m] by which phases run backwards: nothing in the right order of events."""
        return sum((ends.static[overlap(leg)] for leg in self.legs), ca.SX(0))

    def configuration(self, leg: Leg, point: At) -> Configuration:
        """How far each device is out [-] at a point of a phase."""

        def out(device: Device) -> Value:
            if device in leg.out:
                return 1.0
            return point[travel(device)] if device in leg.moving else 0.0

        return configuration_of(self.scenario.airframe, out)

    def flown(self, leg: Leg, point: At) -> tuple[State, Control, Configuration, Motion]:
        """State, control, configuration and motion [SI] at a point of a phase."""
        configuration = self.configuration(leg, point)
        state, control, moves = self._moves(leg, _with_brake(leg, point), configuration)
        return state, control, configuration, moves

    def _written(self, leg: Leg, point: Point) -> tuple[State, Control, Configuration, Motion]:
        """The same for symbols, from what is formed once for all legs that are flown alike, whatever is out."""
        known, name = self.memory.templates, f"{leg.mode.value}; {leg.hold}"
        configuration = self.configuration(leg, point)
        seen, out = _with_brake(leg, point), (*configuration.steps, configuration.gear)
        if name not in known:

            def form(at: At, more: Sequence[ca.SX]) -> tuple[State, Control, Motion]:
                return self._moves(leg, at, Configuration(tuple(more[:-1]), more[-1]))

            known[name] = Template.of(form, seen, len(out))
        state, control, moves = known[name].at(seen, out)
        return state, control, configuration, moves

    def _moves(self, leg: Leg, point: At, configuration: Configuration) -> tuple[State, Control, Motion]:
        world, x, mode = self.quantities.surroundings(point), point.independent, leg.mode
        if mode is Mode.CRUISE:
            altitude = point["start altitude"]
            speed = point["start mach"] * world.air.speed_of_sound(altitude)
            state = State(altitude, speed, 0.0, point["mass"], point["time"])
            return _held(level(world, x, state, configuration, 0.0))
        if leg.hold is not None:
            altitude = point[altitude_of_hold(leg.hold)]
            state = State(altitude, point["true_airspeed"], 0.0, point["mass"], point["time"])
            control = Control(1.0, point["thrust_fraction"], 0.0)
            return state, control, motion(world, x, state, control, configuration)
        angle = point["path_angle"] if mode is Mode.DESCENT else 0.0
        state = State(point["pressure_altitude"], point["true_airspeed"], angle, point["mass"], point["time"])
        gradient = point["gradient"]
        if mode is Mode.APPROACH:
            return _held(on_gradient_at_speed(world, x, state, configuration, gradient))
        height, lowest = self.quantities.height(point, point), point["lowest brake height"]
        speed = self.quantities.calibrated(point, point)
        brake = point["speed_brake"] * brake_allowed(
            world.airframe, configuration, height, lowest, speed, point["mass"]
        )
        if mode is Mode.SLOWING:
            return _held(on_gradient_at_idle(world, x, state, configuration, gradient, brake))
        control = Control(point["load_factor"], 0.0, brake)
        return state, control, motion(world, x, state, control, configuration)

    def _phase(self, leg: Leg) -> Phase:
        flown: dict[int, tuple[Point, tuple[State, Control, Configuration, Motion]]] = {}

        def once(point: Point) -> tuple[State, Control, Configuration, Motion]:
            if id(point) not in flown:
                flown[id(point)] = (point, self._written(leg, point))
            return flown[id(point)][1]

        def rates(point: Point) -> Mapping[str, ca.SX]:
            by_distance = once(point)[3].by_distance
            moved = {travel(device): by_distance.time / device.travel_time for device in leg.moving}
            return {name: moved[name] if name in moved else getattr(by_distance, name) for name in leg.states}

        def integrand(point: Point) -> ca.SX:
            charge = ca.SX(0)
            if "speed_brake" in leg.controls:
                charge = charge + point["brake weight"] * point["speed_brake"] ** 2
            if leg.mode is Mode.DESCENT:
                charge = charge + point["load weight"] * (point["load_factor"] - cos(point["path_angle"])) ** 2
            if leg.mode is Mode.LEVEL:
                charge = charge + point["thrust weight"] * point["thrust_fraction"] ** 2
            return charge

        def seen(point: Point) -> tuple[Control, Configuration, Motion]:
            return once(point)[1:]

        limits = self.scenario.airframe.limits
        controls = {
            "load_factor": Variable("load_factor", limits.least_load_factor, limits.most_load_factor, 0.1),
            "speed_brake": Variable("speed_brake", 0.0, 1.0, 1.0),
            "thrust_fraction": Variable("thrust_fraction", 0.0, 1.0, 0.1),
        }
        path = limits_along(self.quantities, leg, seen, self.is_firm)
        return Phase(
            name=leg.name,
            states=tuple(_state_variable(name) for name in leg.states),
            controls=tuple(controls[name] for name in leg.controls),
            rates=rates,
            start=self._span(leg.begins),
            end=self._span(leg.ends),
            path=path,
            integrand=integrand if leg.controls else None,
            least_length=-math.inf,
            kind="; ".join((leg.kind, *(limit.name for limit in path))),
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


def _with_brake(leg: Leg, point: At) -> At:
    """The point with a speed brake, which is in where the leg may not use it."""
    return point if leg.brakes else _Stowed(point)


@dataclass(frozen=True)
class _Stowed:
    """A point of a phase in which the speed brake may not be used: it is in."""

    point: At

    @property
    def independent(self) -> Value:
        return self.point.independent

    def __getitem__(self, name: str) -> Value:
        return 0.0 if name == "speed_brake" else self.point[name]


def overlap(leg: Leg) -> str:
    """Name of the static that says how far a phase runs backwards [m]."""
    return f"overlap on the way {leg.name}"


def in_order(leg: Leg) -> str:
    """Name of the constraint that keeps the ends of a phase in order."""
    return f"order on the way {leg.name}"


def _kept_in_order(leg: Leg) -> BoundaryConstraint:
    """A phase must not end before it begins, but for its charged overlap: so a wrong order shows which events overlap.

    The penalty is exact: in the right order every overlap is zero.
    """
    return BoundaryConstraint(
        in_order(leg),
        lambda e: e[leg.name].end.independent - e[leg.name].start.independent + e.static[overlap(leg)],
        lower=0.0,
        scale=1000.0,
    )


def _held(held: Held) -> tuple[State, Control, Motion]:
    return held.state, held.control, held.motion


def _state_variable(name: str) -> Variable:
    bounds: dict[str, tuple[Limit, float, float]] = {
        "pressure_altitude": (-600.0, 20000.0, 5000.0),
        "true_airspeed": (100.0 * KNOT, 600.0 * KNOT, 100.0),
        "path_angle": (lambda named: -named["steepest path"], 0.0, 0.1),
        "mass": (1000.0, 700000.0, 1000.0),
        "time": (-1.0, 40000.0, 1000.0),
    }
    return Variable(name, *bounds.get(name, (-math.inf, math.inf, 1.0)))
