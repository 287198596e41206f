"""Legs against the closed forms of gliding flight, without thrust."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from optdescent.air import airspeed, atmosphere
from optdescent.airframe import Configuration
from optdescent.airframe.polar import best_glide
from optdescent.corridor.ground import Ground
from optdescent.corridor.leg import Legs, height_before, speed_before_on_path
from optdescent.units import GRAVITY, KNOT
from tests.corridor.edges import ground
from tests.simulation import CLEAN, air, eastbound, glider

TEXTBOOK = glider(122.0, 0.020, 0.045)
MASS = 60000.0


def bare() -> Ground:
    """The textbook's glider in still standard air, in the place of the study's aircraft."""
    return replace(ground(), around=eastbound(TEXTBOOK, air()), mass=MASS)


def clean(lengths: np.ndarray) -> Legs:
    count = lengths.size
    out = Configuration(tuple(np.zeros(count) for _ in CLEAN.steps), np.zeros(count))
    return Legs(-lengths, np.zeros(count), out, False)


def slowing_length(fast: float, slow: float) -> float:
    """Parabolic polar, no thrust, level: s = ln[(aV₁⁴+b)/(aV₂⁴+b)]/(4ga) (Hull 2007, level deceleration) [m]."""
    density, area = 1.225, TEXTBOOK.wing.area
    a = density * area * 0.020 / (2.0 * MASS * GRAVITY)
    b = 2.0 * 0.045 * MASS * GRAVITY / (density * area)
    return math.log((a * fast**4 + b) / (a * slow**4 + b)) / (4.0 * GRAVITY * a)


def test_a_leg_as_long_as_level_deceleration_takes_is_level() -> None:
    """250 to 210 kt in legs of 5 kt at sea level, where calibrated airspeed is true airspeed; 4057.9 m in all."""
    speeds = KNOT * np.arange(210.0, 251.0, 5.0)
    lengths = np.array([slowing_length(fast, slow) for slow, fast in pairwise(speeds)])
    assert float(np.sum(lengths)) == pytest.approx(4057.9, abs=0.051)
    before, angle, _ = height_before(bare(), clean(lengths), np.zeros(lengths.size), speeds[1:], speeds[:-1])
    assert np.max(np.abs(before)) < 0.05
    assert np.max(np.abs(angle)) < 1e-4


def test_a_leg_at_the_best_speed_loses_height_over_the_best_lift_over_drag() -> None:
    """Steady calibrated airspeed: the gradient is 1/(L/D) over the acceleration factor V²/2g's change adds.

    Etkin (1972): tan γ = (D/L)/(1 + (V/g) dV/dh); the square of the path angle is neglected: 0.4 %.
    """
    ratio, lift = best_glide(TEXTBOOK, CLEAN)
    true = math.sqrt(2.0 * MASS * GRAVITY / (1.225 * TEXTBOOK.wing.area * lift))
    speed, length = np.array([true]), np.array([2000.0])
    before, _, _ = height_before(bare(), clean(length), np.zeros(1), speed, speed)
    middle = 0.5 * float(before[0])

    def at(altitude: float) -> float:
        sound = float(air().speed_of_sound(altitude))
        return float(airspeed.true_from_calibrated(true, atmosphere.pressure(altitude), sound))

    factor = 1.0 + at(middle) / GRAVITY * (at(middle + 50.0) - at(middle - 50.0)) / 100.0
    assert float(before[0]) / 2000.0 * factor == pytest.approx(1.0 / ratio, rel=0.004)


def test_two_half_legs_are_one_leg() -> None:
    around, length = ground(), np.array([900.0])
    fast, middle, slow = (np.array([knots * KNOT]) for knots in (214.0, 212.0, 210.0))
    whole, _, _ = height_before(around, clean(length), np.array([1500.0]), fast, slow)
    near, _, _ = height_before(around, clean(0.5 * length), np.array([1500.0]), middle, slow)
    both, _, _ = height_before(around, clean(0.5 * length), near, fast, middle)
    assert float(both[0]) == pytest.approx(float(whole[0]), abs=0.1)


def test_on_the_glide_path_a_glider_keeps_the_energy_that_drag_leaves() -> None:
    """Energy by hand over a short leg: V₁² = V₂² + 2 (D/m·s − g h), to the change of drag along it."""
    length, gradient = 200.0, ground().scenario.arrival.glide_path.gradient
    speed = np.array([180.0 * KNOT])
    altitude, before_altitude = np.array([500.0]), np.array([500.0 + gradient * length])
    found = speed_before_on_path(bare(), clean(np.array([length])), altitude, before_altitude, speed)
    true = float(bare().true_airspeed(speed, altitude)[0])
    density = float(atmosphere.density(500.0, 0.0))
    pressure_area = 0.5 * density * true**2 * TEXTBOOK.wing.area
    lift = MASS * GRAVITY / pressure_area
    drag = pressure_area * (0.020 + 0.045 * lift**2)
    squared = true**2 + 2.0 * (drag / MASS * length - GRAVITY * gradient * length)
    before = float(bare().true_airspeed(found, before_altitude)[0])
    assert before == pytest.approx(math.sqrt(squared), abs=0.02)
