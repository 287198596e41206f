"""How an aircraft slows on a slope at idle: by configuration, against speed, wind along the track and mass.

The equations of motion on a straight path over the ground, in standard air with the same wind everywhere. Where a
configuration stops slowing is a root in the wind; what slowing from one limit speed to the next takes is an integral.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import ArrayLike, NDArray

from optdescent.air import Air
from optdescent.air.airspeed import calibrated_at, calibrated_from_mach, true_from_calibrated
from optdescent.air.atmosphere import SEA_LEVEL_PRESSURE, pressure, speed_of_sound
from optdescent.air.wind import GIVEN
from optdescent.airframe import Airframe, Configuration
from optdescent.airframe.brake import least_speed_with_brake
from optdescent.airframe.speeds import manoeuvre_speed, reference_speed
from optdescent.arrival import Track
from optdescent.inputs import Fault, InputFault
from optdescent.motion import State, Surroundings
from optdescent.motion.airframe_numbers import airframe_numbers
from optdescent.motion.holding import on_gradient_at_idle
from optdescent.motion.plausibility import Steps
from optdescent.results.slope import SlopeChart, slope_dataset
from optdescent.units import DEGREE, FOOT, KNOT, NAUTICAL_MILE

Array = NDArray[np.float64]
ANGLES = (0.0, 7.0 * DEGREE)
ALTITUDES = (0.0, 20000.0 * FOOT)
STRONGEST = 80.0 * KNOT
"""Path angles [rad], pressure altitudes [m] and largest wind along the track [m/s] of a chart."""
SPEED_STEP = 5.0 * KNOT
LIMITED_BELOW, LIMITED_TO = 10000.0 * FOOT, 250.0 * KNOT
"""Below the altitude [m] a chart ends at the speed [m/s] (14 CFR 91.117(a))."""
FARTHEST = 30.0 * NAUTICAL_MILE
"""A configuration that would need more [m] from one limit speed to the next counts as not slowing (our choice)."""
_PARTS, _HALVINGS = 8, 24
"""Steps of the integral over speed, and halvings of the interval of the root."""
_AHEAD = 10.0
"""Distance [m] over which the change of calibrated airspeed is differenced, to both sides."""


@dataclass(frozen=True)
class Slope:
    """A path at an angle below the horizontal [rad], at a pressure altitude [m]; masses [kg] and tailwinds [m/s]."""

    angle: float
    altitude: float
    masses: tuple[float, ...]
    tailwinds: tuple[float, ...]


def usual_slope(airframe: Airframe) -> Slope:
    """Three degrees at 2000 ft, light and at the largest landing mass, from 20 kt of headwind to 40 kt of tailwind."""
    masses = airframe.masses
    middle = round(0.5 * (masses.least + masses.most_landing), -2)
    winds = tuple(KNOT * wind for wind in (-20.0, 0.0, 20.0, 40.0))
    return Slope(3.0 * DEGREE, 2000.0 * FOOT, (middle, masses.most_landing), winds)


def slope_chart(airframe: Airframe, slope: Slope) -> SlopeChart:
    """Deceleration on a slope [1/s], the tailwind that ends it [m/s], and the miles limit speeds take [m].

    Still air is among the winds, asked for or not.

    Raises
    ------
    InputFault
        An angle, altitude, mass or wind that no chart is drawn for; every one is named.
    """
    _check(airframe, slope)
    flown = _Flown(airframe, slope, np.array(sorted(set(slope.masses))))
    winds = np.array(sorted({0.0, *slope.tailwinds}))
    is_flown = flown.is_flown
    slowing = flown.slowing(slope.altitude, flown.speeds, winds[:, None])
    slowing = np.where(is_flown, slowing, np.nan)
    distance = flown.stretch_distance(winds)
    numbers = airframe_numbers(airframe)
    limit, least = (np.asarray(numbers.dataset[name].to_numpy()) for name in ("limit_speed", "manoeuvre_speed"))
    values: dict[str, ArrayLike] = {
        "deceleration": slowing,
        "deceleration_by_height": slowing / flown.gradient if slope.angle > 0.0 else np.nan * slowing,
        "stop_tailwind": np.where(is_flown, flown.stop_tailwind(), np.nan)[:, :, 0, :],
        "stretch_from": flown.most,
        "stretch_to": flown.next_limit,
        "stretch_distance": distance,
        "stretch_height": flown.gradient * distance,
        "flaps": flown.step,
        "gear": flown.gear,
        "speed_brake": flown.brake,
        "room": limit[1:, None] - least[:-1],
    }
    coordinates: dict[str, ArrayLike] = {
        "configuration": flown.names,
        "mass": flown.masses,
        "tailwind": winds,
        "speed": flown.speeds,
        "step": [step.name for step in airframe.steps[:-1]],
        "room_mass": numbers.dataset["mass"].to_numpy(),
    }
    return SlopeChart(slope_dataset(values, coordinates), slope.angle, slope.altitude, numbers.provenance)


@dataclass(frozen=True)
class _Flown:
    """Every configuration of an airframe on a slope, at masses (mass,) [kg].

    Arrays that enter the equations have the dimensions configuration, mass, wind and speed, in this order.
    """

    airframe: Airframe
    of: Slope
    masses: Array

    @cached_property
    def _all(self) -> tuple[tuple[int, int, int], ...]:
        """Step, gear and speed brake of each: the brake where the step permits it."""
        last = self.airframe.speed_brake.last_step
        steps = range(len(self.airframe.steps))
        return tuple((step, gear, brake) for step in steps for gear in (0, 1) for brake in (0, 1)[: 1 + (step <= last)])

    @property
    def step(self) -> Array:
        """Step out (configuration,) [-]."""
        return np.array([float(step) for step, _, _ in self._all])

    @property
    def gear(self) -> Array:
        """Gear (configuration,) [-]."""
        return np.array([float(gear) for _, gear, _ in self._all])

    @property
    def brake(self) -> Array:
        """Speed brake (configuration,) [-]."""
        return np.array([float(brake) for _, _, brake in self._all])

    @property
    def names(self) -> list[str]:
        """Name of each configuration."""
        steps = self.airframe.steps
        return [f"{steps[step].name}{', gear' * gear}{', speed brake' * brake}" for step, gear, brake in self._all]

    @property
    def gradient(self) -> float:
        """Height lost per distance [-]."""
        return float(np.tan(self.of.angle))

    @cached_property
    def most(self) -> Array:
        """Largest speed (configuration,) [m/s] on a chart with what is out."""
        airframe = self.airframe
        top = min(
            airframe.limits.maximum_speed,
            float(calibrated_from_mach(airframe.limits.maximum_mach, pressure(self.of.altitude))),
            LIMITED_TO if self.of.altitude <= LIMITED_BELOW else np.inf,
        )
        limits = [step.limit_speed or np.inf for step in airframe.steps]
        of_brake = airframe.speed_brake.limit_speed or np.inf
        return np.array(
            [
                min(
                    top,
                    *limits[: step + 1],
                    airframe.gear.limit_speed if gear else np.inf,
                    of_brake if brake else np.inf,
                )
                for step, gear, brake in self._all
            ]
        )

    @cached_property
    def least(self) -> Array:
        """Least speed (configuration, mass) [m/s]: the manoeuvring speed, with the brake also what it takes."""
        found: list[Array] = []
        for step, _, brake in self._all:
            least = np.asarray(manoeuvre_speed(self.airframe, step, self.masses))
            if brake:
                out = Steps(self.airframe).out(step, 0.0)
                least = np.maximum(least, np.asarray(least_speed_with_brake(self.airframe, out, self.masses, 1.0)))
            found.append(least)
        return np.array(found)

    @cached_property
    def next_limit(self) -> Array:
        """Limit speed (configuration,) [m/s] of the next step; not a number with the last."""
        limits = [step.limit_speed or np.nan for step in self.airframe.steps[1:]]
        return np.array([*limits, np.nan])[self.step.astype(int)]

    @cached_property
    def speeds(self) -> Array:
        """Calibrated airspeeds (speed,) [m/s] of a chart: evenly from the slowest to the fastest that any has."""
        slowest = float(reference_speed(self.airframe, float(self.masses.min())))
        first, last = np.floor(slowest / SPEED_STEP), np.floor(float(self.most.max()) / SPEED_STEP + 1e-9)
        numbers: Array = np.arange(first, last + 1.0, dtype=np.float64)
        return SPEED_STEP * numbers

    @property
    def is_flown(self) -> NDArray[np.bool_]:
        """Whether a speed (configuration, mass, 1, speed) is flown with what is out [-]."""
        slow, fast = self.least[:, :, None, None] - _EXACT, _deep(self.most) + _EXACT
        return np.asarray((self.speeds >= slow) & (self.speeds <= fast))

    def slowing(self, altitude: float | Array, speed: Array, tailwind: Array) -> Array:
        """Fall of calibrated airspeed per distance [1/s] at a pressure altitude [m], speed and tailwind [m/s]."""
        true = np.asarray(true_from_calibrated(speed, pressure(altitude), speed_of_sound(altitude, 0.0)))
        calm = 0.0 * tailwind
        air = Air(0.0, SEA_LEVEL_PRESSURE, 0.0, GIVEN, (tailwind, calm, calm, calm, calm, calm))
        around = Surroundings(self.airframe, air, Track(0.5 * np.pi))  # due east, as the wind
        count = len(self.airframe.steps) - 1
        out = Configuration(tuple(1.0 * (_deep(self.step) > step) for step in range(count)), _deep(self.gear))
        state = State(altitude, true, 0.0 * true, self.masses[:, None, None], 0.0)
        held = on_gradient_at_idle(around, 0.0, state, out, self.gradient, _deep(self.brake))
        rate = held.motion.by_distance

        def after(distance: float) -> Array:
            there = altitude + distance * np.asarray(rate.pressure_altitude)
            faster = true + distance * np.asarray(rate.true_airspeed)
            return np.asarray(calibrated_at(faster, there, speed_of_sound(there, 0.0)))

        fall: Array = np.asarray(after(-_AHEAD) - after(_AHEAD), dtype=np.float64)
        return fall / (2.0 * _AHEAD)

    def stop_tailwind(self) -> Array:
        """Tailwind (configuration, mass, 1, speed) [m/s] at which slowing ends; not a number if in none looked at."""
        low = np.full(self.is_flown.shape, -STRONGEST)
        high = -low
        slows, speeds_up = (self.slowing(self.of.altitude, self.speeds, wind) for wind in (low, high))
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            still_slows = self.slowing(self.of.altitude, self.speeds, middle) > 0.0
            low, high = np.where(still_slows, middle, low), np.where(still_slows, high, middle)
        return np.where((slows > 0.0) & (speeds_up < 0.0), 0.5 * (low + high), np.nan)

    def stretch_distance(self, tailwind: Array) -> Array:
        """Distance (configuration, mass, wind) [m] from the limit speed of what is out to that of the next step.

        It begins at the altitude of the slope. Not a number where there is no next step, where its limit is below the
        manoeuvring speed or not below the limit of what is out, and where slowing ends, or nearly, on the way.
        """
        lost = _deep(self.most - self.next_limit)
        is_known = (lost > _EXACT) & (_deep(self.next_limit) >= self.least[:, :, None, None] - _EXACT)
        lost = np.where(is_known, lost, 1.0)
        winds = tailwind[:, None]
        least = lost / FARTHEST
        distance = np.zeros(np.broadcast_shapes(is_known.shape, winds.shape))

        def per_share(share: float, gone: Array) -> Array:
            """Distance per part of the loss of speed [m], at a part of it."""
            speed = _deep(self.most) - share * lost
            return lost / np.maximum(self.slowing(self.of.altitude - self.gradient * gone, speed, winds), least)

        slopes: list[Array] = []
        step = 1.0 / _PARTS
        for part in range(_PARTS):
            share = part * step
            first = per_share(share, distance)
            second = per_share(share + 0.5 * step, distance + 0.5 * step * first)
            third = per_share(share + 0.5 * step, distance + 0.5 * step * second)
            fourth = per_share(share + step, distance + step * third)
            distance = distance + step / 6.0 * (first + 2.0 * second + 2.0 * third + fourth)
            slopes += [first, fourth]
        slows = np.max(slopes, axis=0) < FARTHEST - 1.0
        return np.where(is_known & slows, distance, np.nan)[..., 0]


_EXACT = 1e-6


def _deep(values: Array) -> Array:
    """Values of each configuration, before mass, wind and speed."""
    return values[:, None, None, None]


def _check(airframe: Airframe, slope: Slope) -> None:
    masses = airframe.masses
    asked = [
        ("angle_deg", (slope.angle,), ANGLES, DEGREE, "deg"),
        ("height_ft", (slope.altitude,), ALTITUDES, FOOT, "ft"),
        ("mass_kg", slope.masses, (masses.least, masses.most), 1.0, f"kg ({airframe.title})"),
        ("tailwind_kt", slope.tailwinds, (-STRONGEST, STRONGEST), KNOT, "kt"),
    ]
    faults = [
        Fault("slope", key, f"got {value / unit:g}", f"{low / unit:g} to {high / unit:g} {said}")
        for key, values, (low, high), unit, said in asked
        for value in values
        if not low - _EXACT <= value <= high + _EXACT
    ]
    if not slope.masses:
        faults.append(Fault("slope", "mass_kg", "got none", "at least one mass"))
    if faults:
        raise InputFault(faults)
