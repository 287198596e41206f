"""One look of a crew and the motion until the next: what one compiled step is built from.

At each look the crew sees where it is, orders load factor, thrust, speed brake and devices, and holds the orders until
the next look. Between two looks the motion is that of the optimum (`motion.equations`), by the midpoint method; what
lags (thrust, brake, devices) moves at the rate that takes it where its lag would.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

import casadi as ca
import numpy as np

from optdescent.air import Air
from optdescent.air.airspeed import calibrated_from_mach
from optdescent.air.altitude import setting_shift, shifted
from optdescent.air.atmosphere import pressure
from optdescent.air.warmth import WARMTH
from optdescent.air.wind import GIVEN, WindField
from optdescent.airframe import Airframe
from optdescent.airframe.speeds import least_speed
from optdescent.arrival import Arrival
from optdescent.curves.elementary import Value, absolute, clip, cos, maximum, minimum, rounded, stacked, where
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import Motion, motion, motion_in
from optdescent.motion.largest_speed import Surrounded, largest_speed
from optdescent.motion.state import anti_ice_on
from optdescent.rules.actions import Seen, actions_on, brake_wanted, due_devices, levels_off, part_holds, thrust_below
from optdescent.rules.believed import layers, tailwind_along
from optdescent.rules.bounds import bounded
from optdescent.rules.crew import (
    Least,
    Limits,
    awaited_speed,
    brake_allowed,
    followed,
    least_asked,
    least_kept,
    orders_for_least,
    path_wanted,
    pitch_order,
    speed_limits,
    speed_to_spare,
    steepest_path,
    thrust_order,
)
from optdescent.rules.lane import Half, Lane, LaneShape, configuration, listed
from optdescent.rules.parts import PointsProfile, Rule, SpeedName
from optdescent.rules.rule import Ask, Place, asked, height_excess, named_speed, planned_change
from optdescent.scenario import BelievedWind, Technique
from optdescent.scenario.declaration import Handling
from optdescent.units import KNOT

FIXED = 8
"""Parameters before the wind's: temperature offset [K], QNH [Pa], course [rad], cruise pressure altitude [m] and Mach
number [-], delay of actions [s], error of the tailwind believed [m/s], time between checks [s]."""

FADE = 1.0 * KNOT
"""Speed [m/s] over which thrust fades above the speed that is meant."""
_STOWED = 0.02
"""Speed brake fraction [-] up to which it counts as in."""
LEAST_GROUND_SPEED = 20.0 * KNOT
"""Ground speed [m/s] below which a flight is lost."""
STEPS = 128
"""Steps taken in one call."""


@dataclass(frozen=True)
class Orders:
    """What the crew orders at a look: load factor, thrust, brake [-]; the lane with what it noted; what it asked."""

    load_factor: Value
    thrust_fraction: Value
    speed_brake: Value
    noted: Lane
    ask: Ask
    seen: Seen
    reasons: tuple[Value, ...]


@dataclass(frozen=True)
class Pilot:
    """A technique, a rule and the fixed parts of a scenario: what one compiled step is built from."""

    airframe: Airframe
    arrival: Arrival
    rule: Rule
    technique: Technique
    field: WindField
    handling: Handling
    is_warm: bool = False

    def __post_init__(self) -> None:
        """Leave the course, which is a parameter, out of what is compiled; legs turn onto it, position curves it."""
        if not self.arrival.legs and self.arrival.position is None:
            object.__setattr__(self, "arrival", self.arrival.model_copy(update={"course": 0.0}))

    @property
    def shape(self) -> LaneShape:
        """How long a lane is."""
        return LaneShape(len(self.airframe.steps) - 1, len(self.rule.when))

    @property
    def _knows_forecast(self) -> bool:
        return self.technique.wind is BelievedWind.FORECAST

    @property
    def parameters(self) -> int:
        """Number of parameters of a step [-]."""
        winds = self.field.size * (2 if self._knows_forecast else 1)
        return FIXED + winds + (WARMTH.size if self.is_warm else 0)

    @cached_property
    def step(self) -> ca.Function:
        """One step: (lane, coordinate [m], length [m], noise [m], parameters) to (lane, load factor, asked, reasons).

        `asked` is height [m] and speed [m/s]; `reasons` say why devices, brake, thrust and level flight are ordered
        (`rules.actions`).
        """
        x, dx, noise = ca.SX.sym("x"), ca.SX.sym("dx"), ca.SX.sym("noise")
        values, parameters = ca.SX.sym("lane", self.shape.size), ca.SX.sym("parameters", self.parameters)
        surroundings = self.world(parameters)
        orders = self._orders(surroundings, x, dx, noise, Lane.unpacked(values, self.shape), parameters)
        half, after = self._ordered(surroundings, x, dx, orders)
        rates = half.rates(surroundings, x + 0.5 * dx)
        moved = replace(after, motion=_moved(after.motion, rates, dx))
        seen = stacked([orders.ask.height, orders.ask.speed])
        found = [stacked(moved.packed()), orders.load_factor, seen, stacked(orders.reasons)]
        return ca.Function("step", [values, x, dx, noise, parameters], found, {"cse": True})

    @cached_property
    def steps(self) -> ca.Function:
        """`STEPS` steps in one call: a column of every input and output but the first lane for each step."""
        return self.step.mapaccum("steps", STEPS)

    @cached_property
    def look(self) -> ca.Function:
        """The first half of a step where the wind is looked up outside.

        (lane, coordinate [m], length [m], noise [m], parameters, wind met) to (lane whose motion is still that of the
        look, what holds half-way, what is watched of many flights): see `Half` and
        `rules.many.Flights`.
        """
        x, dx, noise = ca.SX.sym("x"), ca.SX.sym("dx"), ca.SX.sym("noise")
        values, parameters = ca.SX.sym("lane", self.shape.size), ca.SX.sym("parameters", self.parameters)
        wind = ca.SX.sym("wind", GIVEN.size)
        surroundings = self.world(parameters, wind)
        orders = self._orders(surroundings, x, dx, noise, Lane.unpacked(values, self.shape), parameters)
        half, after = self._ordered(surroundings, x, dx, orders)
        found = [stacked(after.packed()), stacked(half.packed()), stacked(self._watched(orders))]
        return ca.Function("look", [values, x, dx, noise, parameters, wind], found, {"cse": True})

    @cached_property
    def passage(self) -> ca.Function:
        """The second half: (what holds half-way, coordinate [m], parameters, wind met) to rates by distance [SI]."""
        x, values = ca.SX.sym("x"), ca.SX.sym("half", Half.size(self.shape.steps))
        parameters, wind = ca.SX.sym("parameters", self.parameters), ca.SX.sym("wind", GIVEN.size)
        half = Half.unpacked(values, self.shape.steps)
        rates = half.rates(self.world(parameters, wind), x)
        found = stacked(list(vars(rates).values()))
        return ca.Function("passage", [values, x, parameters, wind], [found], {"cse": True})

    def world(self, parameters: Value, wind: Value | None = None) -> Surroundings:
        """Aircraft, air and track of a step's parameters [SI]; in a wind that was looked up already if it is given."""
        offset, qnh, course = (parameters[index] for index in range(3))
        warmth = parameters[-WARMTH.size :] if self.is_warm else None
        field, met = (self.field, parameters[FIXED : FIXED + self.field.size]) if wind is None else (GIVEN, wind)
        air = Air(offset, qnh, self.arrival.elevation, field, met, warmth)
        anti_ice = anti_ice_on(self.handling.anti_ice, self.arrival.transition_altitude, setting_shift(qnh))
        return Surroundings(self.airframe, air, replace(self.arrival.track, final_course=course), anti_ice)

    def _watched(self, orders: Orders) -> list[Value]:
        at, place, lane = orders.seen.at, orders.seen.place, orders.seen.lane
        limit = largest_speed(
            self.airframe,
            self.arrival,
            Surrounded(place.distance, place.pressure, place.pressure_altitude),
            lane.out,
            lane.speed_brake,
            lambda published: shifted(published, self.arrival.transition_altitude, orders.seen.shift),
        )
        return [
            place.height,
            at.forces.calibrated_airspeed,
            orders.seen.lane.motion.true_airspeed,
            at.passage.vertical_speed,
            at.passage.ground_speed,
            at.forces.calibrated_airspeed - limit,
            least_speed(self.airframe, lane.out, place.mass) - at.forces.calibrated_airspeed,
            at.forces.fuel_flow - at.forces.idle_flow,
            orders.ask.height,
            orders.ask.speed,
        ]

    def _orders(
        self, surroundings: Surroundings, x: Value, dx: Value, noise: Value, lane: Lane, parameters: Value
    ) -> Orders:
        seen = self._seen(surroundings, x, dx, lane, parameters)
        free, noted = self._free(seen, noise, lane, parameters)
        ask = self._asked(surroundings, seen, free)
        noted = replace(noted, descent_due=self._due(seen, ask))
        going = seen.acts(noted.descent_due)
        actions = actions_on(self.rule, self.airframe, self.arrival, seen, ask, lane)
        due, reasons = due_devices(self.rule, self.airframe, self.arrival, self.technique, seen, actions)
        noted = replace(noted, due=configuration(due), actions=actions)
        levels = levels_off(self.rule, actions)
        ask = self._cruising(surroundings, going, replace(ask, level=where(levels > 0.0, 1.0, 0.0)), parameters)
        least = least_kept(self.airframe, self.technique, lane, seen.seconds, seen.late)
        path = self._path(seen, ask, going, least, parameters[7])
        load_factor = self._pitch(seen, path)
        ahead, is_out = replace(lane.motion, path_angle=path), lane.speed_brake
        most_brake, least_thrust = orders_for_least(self.airframe, ahead, seen.at, least, ask, seen.place, is_out)
        planned, kept = self._thrust(seen, ask, going, actions), going * least_thrust
        for_least, thrust = where(kept > planned, 1.0, 0.0), maximum(planned, kept)
        brake, brake_reason = self._brake(seen, ask, actions)
        stowed = where(most_brake < minimum(brake, _STOWED), 1.0, 0.0)
        brake = minimum(brake, most_brake)
        brake_due = where(brake > 0.0, lane.brake_due + seen.seconds, 0.0)
        acts = where(lane.speed_brake > 0.01, 1.0, seen.acts(brake_due))
        brake = where(acts * going > 0.5, brake, 0.0)
        noted = replace(noted, brake_due=brake_due)
        why = (where(brake > 0.0, brake_reason, 0.0), for_least, stowed, levels * going)
        return Orders(load_factor, thrust, brake, noted, ask, seen, (*reasons, *why))

    def _seen(self, surroundings: Surroundings, x: Value, dx: Value, lane: Lane, parameters: Value) -> Seen:
        state, air = lane.motion, surroundings.air
        control = Control(cos(state.path_angle), lane.thrust_fraction, lane.speed_brake)
        at = motion(surroundings, x, state, control, lane.out)
        height = at.air.height - self.arrival.elevation
        course = surroundings.track.course(x)
        place = Place(
            x,
            height,
            state.pressure_altitude,
            pressure(state.pressure_altitude),
            self._believed(at, x, course, None, parameters),
            state.mass,
            parameters[0],
            0.0 if surroundings.anti_ice is None else surroundings.anti_ice.share(state.pressure_altitude),
            lane.out.gear,
            lane.out.position,
            lambda low, high: self._believed(at, x, course, layers(low, high), parameters),
        )
        # against a wind that leaves no way over the ground there is no next look
        seconds = where(at.passage.ground_speed > LEAST_GROUND_SPEED, dx / at.passage.ground_speed, np.nan)
        return Seen(at, place, lane, seconds, setting_shift(air.qnh), parameters[5])

    def _believed(self, at: Motion, x: Value, course: Value, there: list[float] | None, parameters: Value) -> Value:
        """Mean tailwind [m/s] a crew believes to be at heights above the threshold [m]; None: where it flies."""
        technique, winds = self.technique, FIXED + self.field.size
        match technique.wind:
            case BelievedWind.NONE:
                return 0.0
            case BelievedWind.MET if there is None:
                return rounded(at.air.wind_along + parameters[6], technique.wind_rounding)
            case BelievedWind.MET:
                coefficients = parameters[FIXED:winds]
            case BelievedWind.FORECAST:
                coefficients = parameters[winds : winds + self.field.size]
        heights = [at.air.height] if there is None else [self.arrival.elevation + height for height in there]
        along = tailwind_along(self.field, coefficients, x, heights, course)
        return rounded(along + parameters[6], technique.wind_rounding)

    def _free(self, seen: Seen, noise: Value, lane: Lane, parameters: Value) -> tuple[Ask, Lane]:
        """What the rule alone asks for, as the crew worked it out at its last check, and what it noted.

        Whether it is time to start down is worked out at every look.
        """
        crew, place, check_every = self.technique, seen.place, parameters[7]
        ask = asked(self.rule, self.airframe, self.arrival, place, seen.shift, parameters[4])
        worked_out = rounded(ask.height + noise, crew.height_rounding) - place.height
        is_check = where(lane.descent_due > 0.0, where(lane.next_check <= 0.0, 1.0, 0.0), 1.0)
        error = where(is_check > 0.5, worked_out, lane.height_error)
        next_check = where(is_check > 0.5, check_every, lane.next_check) - seen.seconds
        noted = replace(lane, next_check=next_check, height_error=error)
        return replace(ask, height=place.height + error), noted

    def _due(self, seen: Seen, ask: Ask) -> Value:
        """Seconds since the descent was first due: from the look nearest to where the height asked for is passed."""
        half_a_look = 0.5 * ask.slope * seen.seconds * seen.at.passage.ground_speed
        starts = where(ask.height - seen.place.height < half_a_look, 1.0, 0.0)
        return seen.lane.descent_due + where(seen.lane.descent_due > 0.0, 1.0, starts) * seen.seconds

    def _asked(self, surroundings: Surroundings, seen: Seen, free: Ask) -> Ask:
        """What the arrival leaves of it; where that is the rule's own, the sink rate that the rule sets."""
        place, air = seen.place, surroundings.air

        def height_of(published: float) -> Value:
            at_shift = shifted(published, self.arrival.transition_altitude, seen.shift)
            return air.height(at_shift) - self.arrival.elevation

        is_a_flight = bool(self.rule.speeds.points) and isinstance(self.rule.profile, PointsProfile)
        ask = bounded(self.arrival, place.distance, free, height_of, is_a_flight=is_a_flight)
        before_path = where(place.distance < -self.arrival.glide_path.below_within, 1.0, 0.0)
        is_free = before_path * where(absolute(ask.height - free.height) < 0.01, 1.0, 0.0)
        if self.rule.sink is None:
            return replace(ask, free=is_free)
        rate = rounded(self.rule.sink.gradient * seen.at.passage.ground_speed, self.rule.sink.rounding)
        slope = where(is_free > 0.5, rate / seen.at.passage.ground_speed, ask.slope)
        return replace(ask, slope=slope, free=is_free, corrected=0.0)

    def _cruising(self, surroundings: Surroundings, going: Value, ask: Ask, parameters: Value) -> Ask:
        """Cruise height and speed before the descent has begun."""
        cruise_height = surroundings.air.height(parameters[3]) - self.arrival.elevation
        cruise_speed = calibrated_from_mach(parameters[4], pressure(parameters[3]))
        if self.rule.speeds.points:
            cruise_speed = minimum(cruise_speed, ask.speed)
        return Ask(
            where(going > 0.5, ask.speed, cruise_speed),
            where(going > 0.5, ask.height, cruise_height),
            where(going > 0.5, ask.slope, 0.0),
            where(going > 0.5, ask.floor, -10000.0),
            ask.held * going,
            ask.free * going,
            ask.corrected,
            ask.level * going,
        )

    def _fastest(self, seen: Seen) -> Value:
        """Largest calibrated airspeed [m/s] that the crew lets the aircraft reach by the next look."""
        return speed_limits(self.airframe, self.arrival, self.technique, seen.ahead, seen.shift, seen.lane.out)

    def _path(self, seen: Seen, ask: Ask, going: Value, least: Least, check_every: Value) -> Value:
        """Path angle through the air [rad] that the crew goes to."""
        fastest = self._fastest(seen)
        steepest = steepest_path(self.arrival, seen.place, seen.lane.motion.true_airspeed, self.handling.steepest_path)
        limits = Limits(where(going > 0.5, fastest, fastest + 100.0), steepest, least)
        return path_wanted(self.technique, seen.lane.motion, seen.at, ask, limits, seen.place, check_every)

    def _pitch(self, seen: Seen, path: Value) -> Value:
        order = pitch_order(self.technique, seen.lane.motion, path, seen.seconds)
        return clip(order, self.airframe.limits.least_load_factor, self.airframe.limits.most_load_factor)

    def _thrust(self, seen: Seen, ask: Ask, going: Value, actions: tuple[Value, ...]) -> Value:
        lane, mass = seen.lane, seen.place.mass
        approach = named_speed(self.airframe, self.arrival, SpeedName.APPROACH, mass)
        spare = speed_to_spare(self.technique, height_excess(ask, seen.place))
        holds = [part_holds(part, self.arrival, seen.place) for part in self.rule.when]
        below = where(ask.held > 0.5, 0.0, thrust_below(self.rule, self.technique, holds, actions) + spare)
        meant = minimum(ask.speed, self._fastest(seen))  # as for the brake
        awaited = awaited_speed(self.airframe, self.technique, lane)
        hold = maximum(meant - below, minimum(approach + self.technique.approach_margin, awaited))
        hold = maximum(hold, least_asked(self.airframe, self.arrival, self.technique, seen.place.distance, mass))
        hold = where(going > 0.5, hold, ask.speed)
        change = planned_change(self.rule, seen.place) * seen.at.passage.ground_speed
        order = thrust_order(self.technique, lane.motion, seen.at, hold, seen.place, lane.speed_brake, change)
        # while pitch slows the aircraft towards a limit, thrust does not oppose it
        slows = where(meant < ask.speed, going * (1.0 - ask.held), 0.0)
        return where(slows > 0.5, order * clip(1.0 - (seen.speed - meant) / FADE, 0.0, 1.0), order)

    def _brake(self, seen: Seen, ask: Ask, actions: tuple[Value, ...]) -> tuple[Value, Value]:
        speed, above = seen.speed, self.handling.speed_brake_above
        allowed = brake_allowed(self.airframe, seen.lane.out, seen.place.height, above, speed, seen.place.mass)
        # near a limit the crew flies its margin below it, and that is not slow
        meant = minimum(ask.speed, self._fastest(seen))
        wanted, reason = brake_wanted(self.rule, self.technique, seen.place, ask, speed - meant, actions)
        return wanted * allowed, reason

    def _ordered(self, surroundings: Surroundings, x: Value, dx: Value, orders: Orders) -> tuple[Half, Lane]:
        """What holds half-way to the next look, and the lane there but for its motion, which is that of this look."""
        lane, seconds = orders.noted, orders.seen.seconds
        engines, brake = self.airframe.engines, self.airframe.speed_brake
        thrust_step = (orders.thrust_fraction - lane.thrust_fraction) * followed(seconds, engines.spool_time)
        brake_step = (orders.speed_brake - lane.speed_brake) * followed(seconds, brake.travel_time / 2.0)
        out_step = self._travelled(lane, orders.seen)
        control = Control(orders.load_factor, lane.thrust_fraction, lane.speed_brake)
        first = motion_in(orders.seen.at.air, surroundings, x, lane.motion, control, lane.out).by_distance
        half = Half(
            _moved(lane.motion, first, 0.5 * dx),
            Control(orders.load_factor, lane.thrust_fraction + 0.5 * thrust_step, lane.speed_brake + 0.5 * brake_step),
            configuration([out + 0.5 * step for out, step in zip(listed(lane.out), out_step, strict=True)]),
        )
        after = replace(
            lane,
            thrust_fraction=lane.thrust_fraction + thrust_step,
            speed_brake=lane.speed_brake + brake_step,
            out=configuration([out + step for out, step in zip(listed(lane.out), out_step, strict=True)]),
        )
        return half, after

    def _travelled(self, lane: Lane, seen: Seen) -> list[Value]:
        """How far each device that has been selected travels until the next look [-]."""
        times = [step.travel_time for step in self.airframe.steps[1:]] + [self.airframe.gear.travel_time]
        return [
            minimum(seen.seconds / time, 1.0 - out) * seen.acts(due)
            for time, out, due in zip(times, listed(lane.out), listed(lane.due), strict=True)
        ]


def _moved(state: State, rates: State, by: Value) -> State:
    return State(
        state.pressure_altitude + by * rates.pressure_altitude,
        state.true_airspeed + by * rates.true_airspeed,
        state.path_angle + by * rates.path_angle,
        state.mass + by * rates.mass,
        state.time + by * rates.time,
    )
