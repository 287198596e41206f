"""Bank, lift and drag in a turn of the track.

Turn relations: Hull, Fundamentals of Airplane Flight Mechanics (2007), section 2.7: tan(bank) = V²/(g R) and lift =
weight / cos(bank) in a level turn.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from optdescent.airframe import Configuration, read_airframe
from optdescent.airframe.polar import drag_coefficient
from optdescent.arrival.track import Track, Turn
from optdescent.motion.equations import Motion, motion
from optdescent.motion.state import Control, State, Surroundings
from tests.simulation import air, eastbound

TURN = Turn(-20e3, 4000.0, 1.5)
STATE = State(3000.0, 130.0, 0.0, 60e3, 0.0)
CLEAN = Configuration((0.0, 0.0, 0.0, 0.0), 0.0)


def at(world: Surroundings, x: float, load: float = 1.0) -> Motion:
    return motion(world, x, STATE, Control(load, 0.0, 0.0), CLEAN)


def world() -> tuple[Surroundings, Surroundings]:
    straight = eastbound(read_airframe("narrow-body-twin"), air(20.0, 5.0, 0.004, -0.002))
    course = straight.track.final_course
    return straight, replace(straight, track=Track(course, (TURN,)))


def test_bank_follows_from_ground_speed_and_radius() -> None:
    _, turning = world()
    found = at(turning, TURN.middle)
    speed = float(found.passage.ground_speed)
    assert math.tan(float(found.bank)) == pytest.approx(speed**2 / (9.80665 * 4000.0), rel=1e-12)


def test_lift_and_induced_drag_rise_by_the_bank() -> None:
    straight, turning = world()
    flat, banked = at(straight, TURN.middle), at(turning, TURN.middle)
    # The wind on the course differs between the two tracks, the air does not.
    ratio = float(banked.forces.lift_coefficient) / float(flat.forces.lift_coefficient)
    assert ratio == pytest.approx(1.0 / math.cos(float(banked.bank)), rel=1e-12)
    airframe, mach = turning.airframe, float(flat.forces.mach)
    drags = [
        float(drag_coefficient(airframe, CLEAN, float(m.forces.lift_coefficient), mach, 0.0)) for m in (flat, banked)
    ]
    assert float(banked.forces.drag) / float(flat.forces.drag) == pytest.approx(drags[1] / drags[0], rel=1e-12)
    assert drags[1] > drags[0]


def test_outside_the_turn_nothing_changes() -> None:
    straight, turning = world()
    for x in (TURN.begins - 1.0, TURN.ends + 1.0):
        assert float(at(turning, x).bank) == pytest.approx(0.0, abs=1e-12)
        assert float(at(turning, x).forces.drag) == pytest.approx(float(at(straight, x).forces.drag), rel=1e-12)


def test_a_turn_in_a_steady_wind_changes_no_airspeed_but_by_drag() -> None:
    """The wind's vector stays: what the airspeed does in the turn is what the higher drag does."""
    straight, turning = world()
    still = replace(turning, air=replace(turning.air, wind=0.0 * turning.air.wind))
    for banked in (at(turning, TURN.middle), at(still, TURN.middle)):
        expected = (float(banked.forces.thrust) - float(banked.forces.drag)) / STATE.mass
        shear = float(banked.passage.wind_heading_change)
        assert float(banked.acceleration) == pytest.approx(expected - shear, abs=1e-12)
    assert float(at(still, TURN.middle).passage.wind_heading_change) == 0.0
    assert straight.track.turns == ()
