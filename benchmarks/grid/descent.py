"""A reduced descent that a grid can hold: two states along the distance, the package's own equations of motion.

States are pressure altitude and true airspeed; controls are the path angle (the load factor follows it, n = cos g:
the path angle is taken to change without delay) and the thrust fraction. Mass is held at the start mass, though fuel
burnt is the cost. The track is straight and the wind varies with height only, so the rates do not depend on distance.
No climb; clean; speed between a least and largest calibrated airspeed and a largest Mach number; a floor.

A miss of the end is priced, alike for the grid and for the engine, so that no tolerance has to be chosen: height left
above the floor by the metre, and speed off the wanted one by a smooth price that is quadratic near it and linear far
from it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from optdescent.air import Air
from optdescent.air.airspeed import calibrated_at, mach_from_calibrated
from optdescent.air.atmosphere import SEA_LEVEL_PRESSURE, pressure, speed_of_sound
from optdescent.air.wind import NoWind, ProfileWind, Wind
from optdescent.air.wind.sounding import read_sounding, sounding_text
from optdescent.airframe import Configuration, read_airframe
from optdescent.airframe.speeds import clean_configuration
from optdescent.arrival import Track
from optdescent.curves import Value
from optdescent.curves.elementary import cos, minimum, sqrt
from optdescent.motion import Control, State, Surroundings
from optdescent.motion.equations import Motion, motion
from optdescent.motion.holding import level
from optdescent.units import DEGREE, FOOT, KNOT, NAUTICAL_MILE


@dataclass(frozen=True)
class Rates:
    """Change by distance of pressure altitude [-], true airspeed [1/s] and cost [kg/m]."""

    pressure_altitude: Value
    true_airspeed: Value
    cost: Value


@dataclass(frozen=True)
class Descent:
    """What is flown, between which limits, and what it costs. SI throughout.

    Parameters
    ----------
    title : str
        Name in tables.
    surroundings : Surroundings
        Aircraft, air (wind by height only) and straight track.
    mass : float
        Mass, held [kg].
    cost_of_time : float
        Fuel that a second is worth [kg/s].
    distance : float
        Length of the track [m].
    start_altitude, start_mach : float
        Where it begins [m], [-].
    floor : float
        Lowest pressure altitude, and where it should end [m].
    end_speed : float
        Calibrated airspeed wanted at the end [m/s].
    least_speed : float
        Least calibrated airspeed [m/s].
    steepest : float
        Largest angle below the horizontal [rad], through the air.
    """

    title: str
    surroundings: Surroundings
    mass: float = 60_000.0
    cost_of_time: float = 0.0
    distance: float = 140.0 * NAUTICAL_MILE
    start_altitude: float = 35_000.0 * FOOT
    start_mach: float = 0.78
    floor: float = 10_000.0 * FOOT
    end_speed: float = 250.0 * KNOT
    least_speed: float = 210.0 * KNOT
    steepest: float = 6.0 * DEGREE
    price_of_height: float = 0.1
    price_of_speed: float = 2.0
    width_of_speed: float = 5.0

    @property
    def configuration(self) -> Configuration:
        """Clean."""
        return clean_configuration(self.surroundings.airframe)

    @property
    def start_speed(self) -> float:
        """True airspeed at the start [m/s]."""
        return self.start_mach * float(self.sound(self.start_altitude))

    def sound(self, altitude: Value) -> Value:
        """Speed of sound [m/s] at a pressure altitude [m]."""
        return speed_of_sound(altitude, self.surroundings.air.temperature_offset)

    def calibrated(self, altitude: Value, true: Value) -> Value:
        """Calibrated airspeed [m/s] at a pressure altitude [m] and true airspeed [m/s]."""
        return calibrated_at(true, altitude, self.sound(altitude))

    def slowest(self, altitude: Value) -> Value:
        """Least true airspeed [m/s] at a pressure altitude [m]."""
        return self.sound(altitude) * mach_from_calibrated(self.least_speed, pressure(altitude))

    def fastest(self, altitude: Value) -> Value:
        """Largest true airspeed [m/s] at a pressure altitude [m]."""
        limits = self.surroundings.airframe.limits
        mach = mach_from_calibrated(limits.maximum_speed, pressure(altitude))
        return self.sound(altitude) * minimum(mach, limits.maximum_mach)

    def motion(self, altitude: Value, true: Value, angle: Value, thrust: Value) -> Motion:
        """Motion at a pressure altitude [m], true airspeed [m/s], path angle [rad] and thrust fraction [-]."""
        state = State(altitude, true, angle, self.mass, 0.0)
        return motion(self.surroundings, 0.0, state, Control(cos(angle), thrust, 0.0), self.configuration)

    def rates(self, altitude: Value, true: Value, angle: Value, thrust: Value) -> Rates:
        """Rates by distance at a pressure altitude [m], true airspeed [m/s], path angle [rad] and thrust [-]."""
        by_distance = self.motion(altitude, true, angle, thrust).by_distance
        cost = self.cost_of_time * by_distance.time - by_distance.mass
        return Rates(by_distance.pressure_altitude, by_distance.true_airspeed, cost)

    def level_thrust(self, altitude: Value, true: Value) -> Value:
        """Thrust fraction [-] of level flight at a pressure altitude [m] and constant true airspeed [m/s]."""
        state = State(altitude, true, 0.0, self.mass, 0.0)
        return level(self.surroundings, 0.0, state, self.configuration, 0.0).control.thrust_fraction

    def end_price(self, altitude: Value, true: Value) -> Value:
        """Price [kg] of ending at a pressure altitude [m] and true airspeed [m/s]."""
        off, width = self.calibrated(altitude, true) - self.end_speed, self.width_of_speed
        speed = self.price_of_speed * (sqrt(off**2 + width**2) - width)
        return self.price_of_height * (altitude - self.floor) + speed


def surroundings(wind: Wind, course: float) -> Surroundings:
    """The built-in narrow-body twin (fictional) in standard air with a wind, on a course [rad]."""
    coefficients = tuple(float(number) for number in wind.coefficients())
    air = Air(0.0, SEA_LEVEL_PRESSURE, 0.0, wind.field, coefficients)
    return Surroundings(read_airframe("narrow-body-twin"), air, Track(course))


def still() -> Descent:
    """Least fuel in still air."""
    return Descent("still air, least fuel", surroundings(NoWind(kind="none"), 0.0))


def windy() -> Descent:
    """Fuel and time in the built-in measured wind (a strong jet), flown eastwards."""
    wind = ProfileWind(read_sounding(*sounding_text("nashville-2014-02-21", None)))
    return Descent("measured wind, time priced", surroundings(wind, 0.5 * math.pi), cost_of_time=0.25)
