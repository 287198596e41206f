"""A rule flown closed loop by a crew, through the same equations of motion as the optimum.

The compiled step (`rules.pilot`) is taken from look to look along the track; wind, temperature, altimeter setting,
mass, course, cruise and what a crew's seed decides are parameters of it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

from optdescent.air.altitude import setting_shift
from optdescent.air.atmosphere import pressure
from optdescent.air.wind import GIVEN, forecast
from optdescent.airframe.speeds import clean_configuration
from optdescent.motion import Control, State, Trajectory, record
from optdescent.motion.equations import motion
from optdescent.motion.record import surroundings
from optdescent.results import Flight, Kind
from optdescent.rules.believed import layers, tailwind_along
from optdescent.rules.lane import Lane, configuration
from optdescent.rules.log import actions_of
from optdescent.rules.parts import Rule
from optdescent.rules.pilot import STEPS, Pilot
from optdescent.rules.rule import Place, asked
from optdescent.scenario import BelievedWind, Scenario, Technique
from optdescent.units import NAUTICAL_MILE

Array = NDArray[np.float64]
Part = TypeVar("Part")

_NEAR, _FAR = 200.0, 1000.0
"""Distance [m] between two looks near the threshold and in cruise: three to four seconds."""
_GROWTH = 0.016
"""Growth of that distance with the distance to go [-], from `_NEAR_WITHIN` [m] on."""
_NEAR_WITHIN = 10.0 * NAUTICAL_MILE
_NOISE_BLOCK = 5.0 * NAUTICAL_MILE
"""Distance [m] along which the error of a crew's arithmetic stays the same."""


def looks(length: float, coarseness: float = 1.0) -> Array:
    """Coordinates along the track (look,) [m] at which a crew looks, from a distance to go [m] to the threshold."""
    places = [0.0]
    while places[-1] < length:
        spacing = min(max(_NEAR, _NEAR + _GROWTH * (places[-1] - _NEAR_WITHIN)), _FAR)
        places.append(places[-1] + coarseness * spacing)
    return -np.array(places[::-1]) * (length / places[-1])


def fly(scenario: Scenario, rule: Rule) -> Flight:
    """Flight of a rule, by the scenario's technique, from its start to the threshold [SI].

    A crew that misses the gate or breaks a limit is a result: the flight's summary says where and by how much.
    """
    return flown_by(pilot_of(scenario, rule), scenario)


def pilot_of(scenario: Scenario, rule: Rule) -> Pilot:
    """Who flies a rule in a scenario: equal for scenarios that differ only in parameters of the compiled step."""
    scenario = ruled(scenario, rule)
    return Pilot(
        scenario.airframe,
        scenario.arrival,
        rule,
        scenario.technique.compiled,
        scenario.wind.field,
        scenario.handling,
        scenario.warmth is not None,
    )


def ruled(scenario: Scenario, rule: Rule) -> Scenario:
    """The scenario with what a rule keeps and checks beside the arrival's own demands [SI]."""
    if not rule.sink_limits and not rule.checks:
        return scenario
    arrival = scenario.arrival
    more = {
        "sink_limits": (*arrival.sink_limits, *rule.sink_limits),
        "more_gates": (*arrival.more_gates, *rule.checks),
    }
    return replace(scenario, arrival=arrival.model_copy(update=more))


def flown_by(pilot: Pilot, scenario: Scenario) -> Flight:
    """Flight of a pilot of the scenario [SI]; cut where the motion has no solution."""
    x = looks(scenario.start.distance)
    lanes, seen, reasons = _lanes(pilot, scenario, x)
    lane = Lane.unpacked(lanes.T, pilot.shape)
    trajectory = _trajectory(x[: lanes.shape[0]], lane, seen)
    flight = record(ruled(scenario, pilot.rule), trajectory, Kind.RULE, pilot.rule.name)
    return replace(flight, actions=actions_of(pilot, flight, lane, reasons, scenario.technique.drawn.late))


def _lanes(pilot: Pilot, scenario: Scenario, x: Array) -> tuple[Array, Array, Array]:
    """Lanes (look, size), what was ordered and asked (look, 3), reasons (look, devices and what stands after them)."""
    parameters, lane = (columns[:, 0] for columns in starts_of(pilot, [scenario]))
    noise, dx = noise_of(scenario, x), np.diff(x)
    # the last look orders nothing that is flown; whole calls: what lies beyond the threshold is thrown away
    places = np.append(x, np.zeros(-x.size % STEPS))
    lengths = np.append(dx, np.full(places.size - dx.size, dx[-1]))
    noises = np.append(noise, np.zeros(places.size - noise.size))
    repeated = np.tile(parameters[:, None], (1, STEPS))
    lanes, seen, why = [lane[None]], list[Array](), list[Array]()
    for first in range(0, places.size, STEPS):
        some = slice(first, first + STEPS)
        after, *orders, reasons = pilot.steps.call(
            [lanes[-1][-1], places[None, some], lengths[None, some], noises[None, some], repeated]
        )
        lanes.append(np.asarray(after).T)
        seen.append(np.vstack([np.asarray(order) for order in orders]).T)
        why.append(np.asarray(reasons).T)
        if not np.all(np.isfinite(lanes[-1][-1])):
            break
    found = np.vstack(lanes)[: x.size]
    lost = np.flatnonzero(~np.all(np.isfinite(found), axis=1))
    reached = int(lost[0]) if lost.size else found.shape[0]
    return found[:reached], np.vstack(seen)[:reached], np.vstack(why)[:reached]


def starts_of(pilot: Pilot, scenarios: Sequence[Scenario]) -> tuple[Array, Array]:
    """Parameters of the compiled step (parameter, flight) and lanes at the start (size, flight) [SI].

    Each flight begins level at its cruise Mach number.
    """
    parameters = _parameters(scenarios)
    mass = np.array([scenario.start.mass for scenario in scenarios])
    distance = np.array([scenario.start.distance for scenario in scenarios])
    # thrust and drag of level cruise are those of still air
    world, altitude = pilot.world(parameters, np.zeros((GIVEN.size, mass.size))), parameters[3]
    speed = parameters[4] * world.air.speed_of_sound(altitude)
    still = np.zeros_like(mass)
    state = State(altitude, speed, still, mass, still)
    clean = clean_configuration(pilot.airframe)
    at = motion(world, -distance, state, Control(1.0, 0.0, 0.0), clean)
    fraction = (at.forces.drag - at.forces.idle) / (at.forces.largest - at.forces.idle)
    nothing = configuration([still] * (pilot.shape.steps + 1))
    lane = Lane(state, fraction, still, still, still, still, still, nothing, nothing, (still,) * pilot.shape.actions)
    return parameters, np.array(lane.packed())


def _parameters(scenarios: Sequence[Scenario]) -> Array:
    """Parameters of the compiled step (parameter, flight) [SI], as `Pilot.world` reads them."""
    qnh = np.array([scenario.qnh for scenario in scenarios])
    published = np.array([scenario.start.altitude for scenario in scenarios])
    transition = np.array([scenario.arrival.transition_altitude for scenario in scenarios])
    rows = [
        np.array([scenario.temperature_offset for scenario in scenarios]),
        qnh,
        np.array([scenario.arrival.course for scenario in scenarios]),
        published + np.where(published > transition, 0.0, setting_shift(qnh)),
        np.array([scenario.start.mach for scenario in scenarios]),
        _of_each([scenario.technique for scenario in scenarios], _crew),
        _of_each([scenario.wind for scenario in scenarios], lambda wind: wind.coefficients()),
    ]
    if scenarios[0].technique.wind is BelievedWind.FORECAST:
        rows.append(_of_each([scenario.wind for scenario in scenarios], forecast))
    if scenarios[0].warmth is not None:
        rows.append(np.array([scenario.warmth for scenario in scenarios]).T)
    return np.vstack(rows)


def _crew(technique: Technique) -> Array:
    """Delay of a crew's actions [s], error of the tailwind it believes [m/s] and time between its checks [s]."""
    drawn = technique.drawn
    return np.array([drawn.late, drawn.wind_error, technique.check_every])


def _of_each(parts: Sequence[Part], found: Callable[[Part], Array]) -> Array:
    """Columns (row, part) [SI] of parts of scenarios, found once where many share one."""
    columns = {id(part): part for part in parts}
    known = {number: found(part) for number, part in columns.items()}
    return np.array([known[id(part)] for part in parts]).T


def noise_of(scenario: Scenario, x: Array) -> Array:
    """Errors of the crew's arithmetic (look,) [m of height], one for every few miles, by its seed."""
    if scenario.technique.height_error == 0.0:
        return np.zeros(x.size)
    blocks = math.ceil(scenario.start.distance / _NOISE_BLOCK) + 1
    drawn = np.random.default_rng([scenario.technique.seed, 1]).standard_normal(blocks)
    return scenario.technique.height_error * drawn[np.floor(-x / _NOISE_BLOCK).astype(int)]


def _trajectory(distance: Array, lane: Lane, seen: Array) -> Trajectory:
    control = Control(seen[:, 0], np.clip(lane.thrust_fraction, 0.0, 1.0), np.clip(lane.speed_brake, 0.0, 1.0))
    return Trajectory(distance, lane.motion, control, lane.out, rule_height=seen[:, 1], rule_speed=seen[:, 2])


def rule_heights(scenario: Scenario, rule: Rule, flight: Flight) -> Array:
    """Height above the threshold (point,) [m] that a rule asks for along any flight, in the wind the flight meets."""
    altitude = flight.column("pressure_altitude")
    x = -flight.column("distance_to_go")

    def mean_tailwind(low: float, high: float) -> Array:
        heights = [np.full_like(x, scenario.arrival.elevation + there) for there in layers(low, high)]
        along = tailwind_along(scenario.air.field, scenario.air.wind, x, heights, scenario.arrival.track.course(x))
        return np.asarray(along, dtype=float)

    place = Place(
        distance=x,
        height=flight.column("height_above_threshold"),
        pressure_altitude=altitude,
        pressure=pressure(altitude),
        tailwind=flight.column("wind_along"),
        mass=flight.column("mass"),
        temperature_offset=scenario.temperature_offset,
        anti_ice=0.0 if (share := surroundings(scenario).anti_ice_share(altitude)) is None else share,
        mean_tailwind=mean_tailwind,
        gear=flight.column("gear"),
        steps=flight.column("flaps"),
    )
    shift = setting_shift(scenario.qnh)
    return np.asarray(asked(rule, scenario.airframe, scenario.arrival, place, shift, scenario.start.mach).height)
