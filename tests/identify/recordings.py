"""Invented recordings: legs at idle in every configuration, flown by the equations of motion, sampled once a second.

An invented test programme in an invented airframe, written for these tests: no aircraft and no crew flew it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import casadi as ca
import numpy as np
import xarray as xr

from optdescent.air.airspeed import true_from_calibrated
from optdescent.air.atmosphere import pressure, speed_of_sound
from optdescent.airframe import Airframe, Configuration, read_airframe
from optdescent.identify.coefficients import coefficients_of, with_coefficient
from optdescent.motion import Control, State, Trajectory, record, surroundings
from optdescent.motion.equations import motion
from optdescent.results import Flight, Kind
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, FOOT, KNOT, NAUTICAL_MILE
from tests.scenario.files import scenario

AIRFRAME: Airframe = read_airframe("narrow-body-twin")
SCENARIO: Scenario = scenario("arrival.windows=[]")
"""Through the measured jet of the first study: shear and temperature are those of that day."""
SPEED_NOISE, ALTITUDE_NOISE, LOAD_NOISE = 0.5 * KNOT, 10.0 * FOOT, 0.003
COEFFICIENTS = coefficients_of(AIRFRAME, "narrow-body-twin")
TRUE = np.array([one.declared for one in COEFFICIENTS])
"""Numbers that the flights were flown with."""
RATE = 10
"""Steps of the integration in a second."""


def _declared() -> Airframe:
    """The airframe with every fitted number 15 % too high or too low."""
    made = AIRFRAME
    for place, one in enumerate(COEFFICIENTS):
        made = with_coefficient(made, one.role, one.step, one.declared * (1.15 if place % 2 else 0.85))
    return made


DECLARED: Airframe = _declared()


@dataclass(frozen=True)
class Leg:
    """One leg at idle: step, gear, speed brake, pressure altitude [ft], calibrated airspeed [kt], path angle [deg],
    time [s], mass [kg].

    The load factor swings by 0.02 with a period of 23 s about that of a straight path.
    """

    step: int
    gear: float
    brake: float
    altitude: float
    speed: float
    angle: float
    seconds: int
    mass: float = 60000.0


SWING, PERIOD = 0.02, 23.0
"""Swing of the load factor [-] and its period [s]."""


def _advance(model: Scenario) -> ca.Function:
    """One step of the classical Runge-Kutta method in time.

    From x, pressure altitude, true airspeed, path angle, mass; swing of the load factor, speed brake, devices (5,).
    """
    values, inputs = ca.SX.sym("values", 5), ca.SX.sym("inputs", 7)
    around, dt = surroundings(model), 1.0 / RATE

    def rates(at: ca.SX) -> ca.SX:
        state = State(at[1], at[2], at[3], at[4], 0.0)
        control = Control(ca.cos(at[3]) + inputs[0], 0.0, inputs[1])
        there = motion(around, at[0], state, control, Configuration(tuple(ca.vertsplit(inputs[2:6])), inputs[6]))
        by, speed = there.by_distance, there.passage.ground_speed
        return ca.vertcat(
            speed, by.pressure_altitude * speed, there.acceleration, there.path_angle_rate, by.mass * speed
        )

    first = rates(values)
    second = rates(values + dt / 2 * first)
    third = rates(values + dt / 2 * second)
    fourth = rates(values + dt * third)
    return ca.Function("advance", [values, inputs], [values + dt / 6 * (first + 2 * second + 2 * third + fourth)])


def flown(legs: tuple[Leg, ...], model: Scenario = SCENARIO) -> Flight:
    """Flight of legs one after the other, 60 s apart, without noise, a point a second."""
    parts: list[np.ndarray] = []
    advance = _advance(model)
    x, clock = -400.0 * NAUTICAL_MILE, 0.0
    for number, leg in enumerate(legs):
        altitude = leg.altitude * FOOT
        sound = float(speed_of_sound(altitude, model.temperature_offset))
        true = float(true_from_calibrated(leg.speed * KNOT, pressure(altitude), sound))
        start = np.array([x, altitude, true, leg.angle * DEGREE, leg.mass])
        t = np.arange(leg.seconds * RATE + 1) / RATE
        swing = SWING * np.sin(2.0 * np.pi * t / PERIOD + number)
        out = [*(1.0 if step <= leg.step else 0.0 for step in range(1, 5)), leg.gear]
        # within a step of a tenth of a second the swing is held at its middle
        inputs = np.vstack([swing + np.gradient(swing) / 2.0, np.tile([[leg.brake], *([one] for one in out)], t.size)])
        after = np.asarray(advance.mapaccum(t.size - 1)(start, inputs[:, :-1]))
        at = np.column_stack([start, after])[:, ::RATE]
        load = np.cos(at[3]) + swing[::RATE]
        rest = np.tile([[leg.brake], *([one] for one in out)], at.shape[1])
        parts.append(np.vstack([at, clock + t[::RATE], load, rest]))
        x, clock = at[0, -1] + 10000.0, clock + leg.seconds + 60.0
    at = np.hstack(parts)
    at[0] -= at[0, -1]
    state = State(at[1], at[2], at[3], at[4], at[5])
    control = Control(at[6], np.zeros(at[0].size), at[7])
    configuration = Configuration(tuple(at[8:12]), at[12])
    return record(model, Trajectory(at[0], state, control, configuration), Kind.RECORDING, "invented")


def noisy(flight: Flight, seed: int) -> Flight:
    """The flight with white noise on speed, altitude and load factor."""
    draw = np.random.default_rng(seed)
    noise = {
        "calibrated_airspeed": SPEED_NOISE,
        "true_airspeed": SPEED_NOISE,
        "pressure_altitude": ALTITUDE_NOISE,
        "load_factor": LOAD_NOISE,
    }
    size = flight.column("time").size
    changed = {name: flight.dataset[name] + draw.normal(0.0, deviation, size) for name, deviation in noise.items()}
    return replace(flight, dataset=flight.dataset.assign(changed))


def sampled(flight: Flight) -> Flight:
    """A flown flight, a point a second."""
    time = flight.column("time")
    seconds = np.arange(time[0], time[-1], 1.0)
    names = [str(name) for name in flight.dataset.variables]
    columns = {name: ("point", np.interp(seconds, time, flight.column(name))) for name in names}
    distance = {"distance_to_go": columns.pop("distance_to_go")}
    return replace(flight, dataset=xr.Dataset(columns, coords=distance))


def programme() -> tuple[Leg, ...]:
    """Legs that tell every coefficient: each configuration at two speeds, two masses, two levels, gear and brake."""
    legs: list[Leg] = []
    for mass in (48000.0, 64000.0):
        clean = [(34000, 270, -2.8), (34000, 215, -2.3), (24000, 320, -3.2), (22000, 220, -2.6), (12000, 320, -3.4)]
        clean += [(10000, 215, -2.8), (7000, 320, -3.6), (5500, 215, -2.6)]
        clean += [(30000, 290, 0.0), (15000, 330, 0.0), (4000, 330, 0.0)]
        legs += [Leg(0, 0, 0, altitude, speed, angle, 90, mass) for altitude, speed, angle in clean]
        legs += [Leg(0, 0, 1, 20000, 290, -6.0, 60, mass)]
        legs += [Leg(1, 0, 0, 9000, 225, -4.0, 60, mass), Leg(1, 0, 0, 7000, 165, -3.8, 60, mass)]
        legs += [Leg(2, 0, 0, 8000, 202, -4.8, 60, mass), Leg(2, 0, 0, 6000, 145, -4.3, 60, mass)]
        legs += [Leg(2, 1, 0, 7000, 180, -5.6, 60, mass)]
        legs += [Leg(3, 1, 0, 8000, 186, -7.0, 60, mass), Leg(3, 1, 0, 6000, 138, -6.0, 60, mass)]
        legs += [Leg(4, 1, 0, 8000, 174, -8.2, 60, mass), Leg(4, 1, 0, 6000, 130, -7.2, 60, mass)]
    return tuple(legs)
