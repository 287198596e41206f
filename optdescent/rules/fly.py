"""A rule flown closed loop by a crew, through the same equations of motion as the optimum.

The flight is stepped along the track by the classical Runge-Kutta method at a fixed distance. The step is compiled
once for an airframe, arrival, rule and crew, and many of them are taken in one call; wind, temperature, altimeter
setting, mass, course and cruise are parameters of it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import cast

import casadi as ca
import numpy as np
from numpy.typing import NDArray

from optdescent.air import Air
from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.altitude import setting_shift, shifted
from optdescent.air.atmosphere import pressure
from optdescent.air.warmth import WARMTH
from optdescent.air.wind import WindField
from optdescent.airframe import Airframe, Configuration
from optdescent.airframe.speeds import clean_configuration, configuration_of, selected_on_schedule
from optdescent.arrival import Arrival
from optdescent.curves.elementary import Value, clip, cos, maximum, minimum, where
from optdescent.motion import Control, State, Surroundings, Trajectory, record
from optdescent.motion.equations import Motion, motion
from optdescent.motion.state import anti_ice_on
from optdescent.results import Flight, Kind
from optdescent.rules.bounds import bounded
from optdescent.rules.crew import (
    Crew,
    Limits,
    brake_allowed,
    brake_order,
    least_asked,
    pitch_order,
    speed_limits,
    steepest_path,
    thrust_order,
)
from optdescent.rules.parts import Rule, SpeedName
from optdescent.rules.rule import Ask, Place, asked, named_speed
from optdescent.scenario import Scenario
from optdescent.scenario.declaration import Handling

STEP = 40.0
"""Distance [m] of one step; halving it moves height at the gate by less than 1 ft."""
_STEPS = 256
"""Steps taken in one call."""


@dataclass(frozen=True)
class Lane:
    """State of one flown descent.

    Five of the motion, thrust and speed brake with their lag, how far slats, flaps and gear are out, which of them have
    been selected (1), whether the descent has begun.
    """

    motion: State
    thrust_fraction: Value
    speed_brake: Value
    out: Configuration
    selected: Configuration
    descending: Value

    @classmethod
    def unpacked(cls, values: Value, steps: int) -> Lane:
        """Lane from a column (10 + 2 steps,) in the order of the fields [SI]."""
        state = State(*(values[index] for index in range(5)))
        out, selected = (
            Configuration(tuple(values[first + index] for index in range(steps)), values[first + steps])
            for first in (7, 8 + steps)
        )
        return cls(state, values[5], values[6], out, selected, values[9 + 2 * steps])


@dataclass(frozen=True)
class Pilot:
    """A crew, a rule and the fixed parts of a scenario: what one compiled step is built from."""

    airframe: Airframe
    arrival: Arrival
    rule: Rule
    crew: Crew
    field: WindField
    handling: Handling
    is_warm: bool = False

    @property
    def steps(self) -> int:
        """Number of steps of flaps after clean [-]."""
        return len(self.airframe.steps) - 1

    @cached_property
    def advance(self) -> ca.Function:
        """Compiled steps: (lane, coordinates [m], lengths [m], parameters) to (lanes, load factors, heights, speeds).

        The lane is the first one; a column each step of everything else. Heights and speeds are those asked for.
        """
        x, dx = ca.SX.sym("x"), ca.SX.sym("dx")
        lane = ca.SX.sym("lane", 10 + 2 * self.steps)
        parameters = ca.SX.sym("parameters", 5 + self.field.size + (WARMTH.size if self.is_warm else 0))
        first, load_factor, ask = self._rates(x, lane, parameters)
        second, _, _ = self._rates(x + dx / 2, lane + dx / 2 * first, parameters)
        third, _, _ = self._rates(x + dx / 2, lane + dx / 2 * second, parameters)
        fourth, _, _ = self._rates(x + dx, lane + dx * third, parameters)
        after = lane + dx / 6 * (first + 2 * second + 2 * third + fourth)
        after = self._latched(x + dx, after, parameters)
        put_in, found = [lane, x, dx, parameters], [after, load_factor, ask.height, ask.speed]
        # the four rates of a step share many expressions
        return ca.Function("advance", put_in, found, {"cse": True}).mapaccum("advances", _STEPS)

    def world(self, parameters: Value) -> tuple[Surroundings, Value, Value]:
        """Surroundings, cruise pressure altitude [m] and cruise Mach number [-] of the step's parameters [SI]."""
        offset, qnh, course, cruise_altitude, cruise_mach = (parameters[index] for index in range(5))
        winds = 5 + self.field.size
        warmth = parameters[winds:] if self.is_warm else None
        air = Air(offset, qnh, self.arrival.elevation, self.field, parameters[5:winds], warmth)
        anti_ice = anti_ice_on(self.handling.anti_ice, self.arrival.transition_altitude, setting_shift(qnh))
        track = replace(self.arrival.track, final_course=course)
        return Surroundings(self.airframe, air, track, anti_ice), cruise_altitude, cruise_mach

    def _seen(self, x: Value, lane: Lane, parameters: Value) -> tuple[Motion, Place, Ask]:
        surroundings, cruise_altitude, cruise_mach = self.world(parameters)
        state, air = lane.motion, surroundings.air
        static = pressure(state.pressure_altitude)
        control = Control(cos(state.path_angle), lane.thrust_fraction, lane.speed_brake)
        at = motion(surroundings, x, state, control, lane.out)
        height = at.air.height - self.arrival.elevation
        place = Place(x, height, state.pressure_altitude, static, at.air.wind_along, state.mass)
        shift = setting_shift(air.qnh)
        ask = asked(self.rule, self.airframe, self.arrival, place, shift, cruise_mach)

        def height_of(published: float) -> Value:
            at_shift = shifted(published, self.arrival.transition_altitude, shift)
            return air.height(at_shift) - self.arrival.elevation

        ask = bounded(self.arrival, x, ask, height_of)
        return at, place, self._cruising(lane, ask, surroundings, cruise_altitude, cruise_mach)

    def _cruising(
        self, lane: Lane, ask: Ask, surroundings: Surroundings, cruise_altitude: Value, cruise_mach: Value
    ) -> Ask:
        """Cruise height and speed before the descent has begun."""
        going = lane.descending > 0.5
        cruise_height = surroundings.air.height(cruise_altitude) - self.arrival.elevation
        cruise_speed = calibrated_from_mach(cruise_mach, pressure(cruise_altitude))
        return Ask(
            where(going, ask.speed, cruise_speed),
            where(going, ask.height, cruise_height),
            where(going, ask.slope, 0.0),
            where(going, ask.floor, -10000.0),
            where(going, ask.held, 0.0),
        )

    def _rates(self, x: Value, values: Value, parameters: Value) -> tuple[Value, Value, Ask]:
        lane = Lane.unpacked(values, self.steps)
        at, place, ask = self._seen(x, lane, parameters)
        going = lane.descending > 0.5
        shift = setting_shift(parameters[1])
        fastest = speed_limits(self.airframe, self.arrival, self.crew, place, shift, lane.out)
        steepest = steepest_path(self.arrival, place, lane.motion.true_airspeed, self.handling.steepest_path)
        fastest = where(going, fastest, fastest + 100.0)
        limits = self.airframe.limits
        order = pitch_order(self.crew, lane.motion, at, ask, Limits(fastest, steepest), place)
        load_factor = clip(order, limits.least_load_factor, limits.most_load_factor)
        approach = named_speed(self.airframe, self.arrival, SpeedName.APPROACH, lane.motion.mass)
        below = where(ask.held > 0.5, 0.0, self.crew.thrust_below)
        hold = maximum(ask.speed - below, approach + self.crew.approach_margin)
        hold = maximum(hold, least_asked(self.airframe, self.arrival, self.crew, x, lane.motion.mass))
        thrust = thrust_order(self.crew, lane.motion, at, where(going, hold, ask.speed), place, lane.speed_brake)
        speed, mass = at.forces.calibrated_airspeed, lane.motion.mass
        allowed = brake_allowed(self.airframe, lane.out, place.height, self.handling.speed_brake_above, speed, mass)
        brake = where(going, brake_order(self.crew, at, ask, place, allowed), 0.0)
        surroundings, _, _ = self.world(parameters)
        control = Control(load_factor, lane.thrust_fraction, lane.speed_brake)
        flown = motion(surroundings, x, lane.motion, control, lane.out).by_distance
        thrust_rate = (thrust - lane.thrust_fraction) / self.airframe.engines.spool_time * flown.time
        brake_rate = (brake - lane.speed_brake) / (self.airframe.speed_brake.travel_time / 2.0) * flown.time
        each = configuration_of(self.airframe, lambda device: flown.time / device.travel_time)
        moving = [
            where(out < 1.0, rate * is_on, 0.0)
            for out, rate, is_on in zip(_listed(lane.out), _listed(each), _listed(lane.selected), strict=True)
        ]
        still = [0.0] * (self.steps + 2)
        rates = [
            flown.pressure_altitude,
            flown.true_airspeed,
            flown.path_angle,
            flown.mass,
            flown.time,
            thrust_rate,
            brake_rate,
            *moving,
            *still,
        ]
        return ca.vertcat(*rates), load_factor, ask

    def _latched(self, x: Value, values: Value, parameters: Value) -> Value:
        """Devices stay selected, and stop when out; the descent has begun once the rule asks for less than the height.

        Nothing is selected before the descent.
        """
        lane = Lane.unpacked(values, self.steps)
        at, place, ask = self._seen(x, _going(lane), parameters)
        descending = maximum(lane.descending, where(ask.height < place.height, 1.0, 0.0))
        now = selected_on_schedule(self.airframe, at.forces.calibrated_airspeed, lane.motion.mass)
        out = [minimum(value, 1.0) for value in _listed(lane.out)]
        selected = [
            maximum(was, new * lane.descending) for was, new in zip(_listed(lane.selected), _listed(now), strict=True)
        ]
        return cast(Value, ca.vertcat(values[:7], *out, *selected, descending))


def _listed(configuration: Configuration) -> list[Value]:
    """Devices in the order of a lane: the steps, then the gear."""
    return [*configuration.steps, configuration.gear]


def _going(lane: Lane) -> Lane:
    return Lane(lane.motion, lane.thrust_fraction, lane.speed_brake, lane.out, lane.selected, 1.0)


def fly(scenario: Scenario, rule: Rule, crew: Crew = Crew()) -> Flight:
    """Flight of a rule from the scenario's start to the threshold [SI].

    A crew that misses the gate or breaks a limit is a result: the flight's summary says where and by how much.
    """
    return record(scenario, flown(scenario, rule, crew), Kind.RULE, rule.name)


def flown(scenario: Scenario, rule: Rule, crew: Crew = Crew()) -> Trajectory:
    """Trajectory of a rule from the scenario's start to the threshold [SI]; cut where the motion has no solution."""
    return flown_by(pilot_of(scenario, rule, crew), scenario)


def pilot_of(scenario: Scenario, rule: Rule, crew: Crew = Crew()) -> Pilot:
    """Who flies a rule in a scenario: equal for scenarios that differ only in parameters of the compiled step."""
    return Pilot(
        scenario.airframe,
        scenario.arrival,
        rule,
        crew,
        scenario.wind.field,
        scenario.handling,
        scenario.warmth is not None,
    )


def flown_by(pilot: Pilot, scenario: Scenario) -> Trajectory:
    """Trajectory of a pilot of the scenario [SI]; cut where the motion has no solution."""
    length = scenario.start.distance
    count = int(np.ceil(length / STEP))
    dx = length / count
    parameters, lane = _start(scenario, pilot)
    distance = np.linspace(-length, 0.0, count + 1)
    # whole calls: what lies beyond the threshold is thrown away
    places = np.concatenate([distance, dx * np.arange(1, -(count + 1) % _STEPS + 1)]).reshape(-1, _STEPS)
    lengths, repeated = np.full((1, _STEPS), dx), np.tile(parameters[:, None], (1, _STEPS))
    lanes, seen = [lane[None]], list[NDArray[np.float64]]()
    for some in places:
        after, *orders = pilot.advance.call([lanes[-1][-1], some[None], lengths, repeated])
        lanes.append(np.asarray(after).T)
        seen.append(np.vstack([np.asarray(order) for order in orders]).T)
        if not np.all(np.isfinite(lanes[-1][-1])):
            break
    found = np.vstack(lanes)[: count + 1]
    lost = np.flatnonzero(~np.all(np.isfinite(found), axis=1))
    reached = int(lost[0]) if lost.size else found.shape[0]
    return _trajectory(distance[:reached], found[:reached], np.vstack(seen)[:reached], pilot.steps)


def _start(scenario: Scenario, pilot: Pilot) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Parameters of the compiled step and the lane at the start, in level flight at the cruise Mach number [SI]."""
    altitude = scenario.pressure_altitude(scenario.start.altitude)
    speed = scenario.start.mach * float(scenario.air.speed_of_sound(altitude))
    fixed = [scenario.temperature_offset, scenario.qnh, scenario.arrival.course, altitude, scenario.start.mach]
    parameters = np.concatenate([fixed, scenario.wind.coefficients(), scenario.warmth or ()])
    state = State(altitude, speed, 0.0, scenario.start.mass, 0.0)
    surroundings, _, _ = pilot.world(parameters)
    clean = clean_configuration(scenario.airframe)
    at = motion(surroundings, -scenario.start.distance, state, Control(1.0, 0.0, 0.0), clean)
    fraction = float((at.forces.drag - at.forces.idle) / (at.forces.largest - at.forces.idle))
    lane = [altitude, speed, 0.0, scenario.start.mass, 0.0, fraction, 0.0, *([0.0] * (2 * pilot.steps + 3))]
    return parameters, np.array(lane)


def _trajectory(
    distance: NDArray[np.float64], lanes: NDArray[np.float64], seen: NDArray[np.float64], steps: int
) -> Trajectory:
    lane = Lane.unpacked(lanes.T, steps)
    control = Control(seen[:, 0], np.clip(lane.thrust_fraction, 0.0, 1.0), np.clip(lane.speed_brake, 0.0, 1.0))
    return Trajectory(distance, lane.motion, control, lane.out, rule_height=seen[:, 1], rule_speed=seen[:, 2])


def rule_heights(scenario: Scenario, rule: Rule, flight: Flight) -> NDArray[np.float64]:
    """Height above the threshold (point,) [m] that a rule asks for along any flight, in the wind the flight meets."""
    altitude = flight.column("pressure_altitude")
    place = Place(
        distance=-flight.column("distance_to_go"),
        height=flight.column("height_above_threshold"),
        pressure_altitude=altitude,
        pressure=pressure(altitude),
        tailwind=flight.column("wind_along"),
        mass=flight.column("mass"),
    )
    shift = setting_shift(scenario.qnh)
    return np.asarray(asked(rule, scenario.airframe, scenario.arrival, place, shift, scenario.start.mach).height)
