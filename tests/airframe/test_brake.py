"""Speeds at which the speed brake may be out: its limit speed, and the lift it takes."""

from __future__ import annotations

from pathlib import Path

import casadi as ca
import pytest
from hypothesis import given

from optdescent.airframe import Airframe, Configuration, read_airframe
from optdescent.airframe.brake import SPEED_BAND, brake_allowed_at, least_speed_with_brake, lift_loss_limits
from optdescent.airframe.speeds import manoeuvre_speed, stall_speed
from optdescent.units import KNOT
from tests.airframe.test_read import BUILT_IN_TEXT, written
from tests.simulation import CLEAN
from tests.strategies import between, fractions, masses

AIRFRAME = read_airframe("narrow-body-twin")


def changed(**values: float) -> Airframe:
    """The built-in airframe with another speed brake."""
    return AIRFRAME.model_copy(update={"speed_brake": AIRFRAME.speed_brake.model_copy(update=values)})


@given(masses)
def test_the_least_speed_rises_with_the_lift_that_is_lost(mass: float) -> None:
    stowed = float(least_speed_with_brake(AIRFRAME, CLEAN, mass, 0.0))
    assert stowed == pytest.approx(1.23 * float(stall_speed(AIRFRAME, 0, mass)))
    out = float(least_speed_with_brake(AIRFRAME, CLEAN, mass, 1.0))
    assert out / stowed == pytest.approx((1.30 / (1.30 - 0.25)) ** 0.5)


@given(masses, fractions, fractions)
def test_where_lift_loss_does_not_limit_the_manoeuvring_speed_covers_it(mass: float, first: float, out: float) -> None:
    assert not lift_loss_limits(AIRFRAME)
    speeds = [float(manoeuvre_speed(AIRFRAME, step, mass)) for step in range(3)]
    one, two = (first, 0.0) if first < 1.0 else (1.0, out)
    least = speeds[0] + (speeds[1] - speeds[0]) * one + (speeds[2] - speeds[1]) * two
    assert least_speed_with_brake(AIRFRAME, Configuration((one, two, 0.0, 0.0), 0.0), mass, 1.0) <= least


def test_a_limit_speed_stows_the_brake() -> None:
    limited = changed(limit_speed=250.0 * KNOT)
    allowed = [
        float(brake_allowed_at(limited, CLEAN, speed, 60000.0))
        for speed in (250.0 * KNOT, 250.0 * KNOT - 0.5 * SPEED_BAND, 250.0 * KNOT - SPEED_BAND)
    ]
    assert allowed == pytest.approx([0.0, 0.5, 1.0])
    assert brake_allowed_at(AIRFRAME, CLEAN, 300.0 * KNOT, 60000.0) == 1.0


def test_much_lift_loss_stows_the_brake_at_low_speed() -> None:
    spoiled = changed(lift_loss=0.6)
    assert lift_loss_limits(spoiled)
    least = float(least_speed_with_brake(spoiled, CLEAN, 60000.0, 1.0))
    assert least > float(manoeuvre_speed(spoiled, 0, 60000.0))
    allowed = [float(brake_allowed_at(spoiled, CLEAN, least + over, 60000.0)) for over in (0.0, SPEED_BAND)]
    assert allowed == pytest.approx([0.0, 1.0])


@given(between(80.0, 170.0))
def test_expressions_give_the_same_numbers(speed: float) -> None:
    both = changed(limit_speed=250.0 * KNOT, lift_loss=0.6)
    v = ca.SX.sym("v")
    compiled = ca.Function("f", [v], [brake_allowed_at(both, CLEAN, v, 60000.0)])
    assert float(compiled(speed)) == pytest.approx(float(brake_allowed_at(both, CLEAN, speed, 60000.0)))


def test_the_limit_speed_is_read_from_the_file(tmp_path: Path) -> None:
    text = BUILT_IN_TEXT.replace("[speed_brake]", "[speed_brake]\nlimit_speed_kt = 280")
    assert read_airframe(str(written(tmp_path, text))).speed_brake.limit_speed == pytest.approx(280.0 * KNOT)
