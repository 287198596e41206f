"""Operating speeds and the schedule."""

from __future__ import annotations

import casadi as ca
import numpy as np
import pytest
from hypothesis import given

from optdescent.airframe import Configuration, read_airframe, speeds
from optdescent.airframe.polar import maximum_lift_coefficient
from optdescent.units import GRAVITY, KNOT
from tests.strategies import between, masses

AIRFRAME = read_airframe("narrow-body-twin")
LAST = len(AIRFRAME.steps) - 1


@given(masses)
def test_at_the_stall_speed_lift_at_its_largest_carries_the_weight(mass: float) -> None:
    for step in range(LAST + 1):
        out = Configuration(tuple(1.0 if index < step else 0.0 for index in range(LAST)), 0.0)
        speed = speeds.stall_speed(AIRFRAME, step, mass)
        lift = 0.5 * 1.225 * speed**2 * AIRFRAME.wing.area * maximum_lift_coefficient(AIRFRAME, out, 0.0)
        assert float(lift) == pytest.approx(mass * GRAVITY, rel=1e-6)


@given(masses)
def test_speeds_fall_from_step_to_step(mass: float) -> None:
    for low, high in zip(range(1, LAST + 1), range(LAST), strict=True):
        assert speeds.stall_speed(AIRFRAME, low, mass) < speeds.stall_speed(AIRFRAME, high, mass)
        assert speeds.manoeuvre_speed(AIRFRAME, low, mass) < speeds.manoeuvre_speed(AIRFRAME, high, mass)
    selected = [float(speeds.selection_speed(AIRFRAME, step, mass)) for step in range(1, LAST + 1)]
    assert selected == sorted(selected, reverse=True)


@given(masses)
def test_the_last_step_s_least_speed_is_the_reference(mass: float) -> None:
    reference = float(speeds.reference_speed(AIRFRAME, mass))
    assert float(speeds.manoeuvre_speed(AIRFRAME, LAST, mass)) == reference
    assert reference >= 1.23 * float(speeds.stall_speed(AIRFRAME, LAST, mass)) * (1.0 - 1e-12)


@given(masses)
def test_the_gear_comes_between_the_steps_it_is_named_after(mass: float) -> None:
    step = AIRFRAME.gear.after_step
    after, before = (float(speeds.selection_speed(AIRFRAME, s, mass)) for s in (step, step + 1))
    assert before < float(speeds.gear_speed(AIRFRAME, mass)) < after


@given(masses)
def test_a_crew_that_holds_a_step_has_it_selected_and_the_next_not(mass: float) -> None:
    for step in range(LAST):
        held = float(speeds.holding_speed(AIRFRAME, step, mass))
        out = speeds.selected_on_schedule(AIRFRAME, held, mass)
        assert [float(v) for v in out.steps] == [1.0] * step + [0.0] * (LAST - step)


@given(masses)
def test_the_schedule_runs_from_clean_to_landing(mass: float) -> None:
    fast = speeds.selected_on_schedule(AIRFRAME, 300.0 * KNOT, mass)
    slow = speeds.selected_on_schedule(AIRFRAME, float(speeds.reference_speed(AIRFRAME, mass)), mass)
    assert (float(fast.position), float(fast.gear)) == (0.0, 0.0)
    assert (float(slow.position), float(slow.gear)) == (LAST, 1.0)


@given(masses, between(55.0, 130.0), between(0.0, 10.0))
def test_slowing_down_retracts_nothing(mass: float, speed: float, less: float) -> None:
    fast = speeds.selected_on_schedule(AIRFRAME, speed + less, mass)
    slow = speeds.selected_on_schedule(AIRFRAME, speed, mass)
    assert all(a >= b for a, b in zip((*slow.steps, slow.gear), (*fast.steps, fast.gear), strict=True))


@given(masses)
def test_devices_come_in_the_order_of_their_speeds(mass: float) -> None:
    order = speeds.devices(AIRFRAME)
    assert [device.number for device in order] == [1, 2, speeds.GEAR, 3, 4]
    selected = [float(device.scheduled_speed(AIRFRAME, mass)) for device in order]
    assert selected == sorted(selected, reverse=True)
    assert [device.travel_time for device in order if device.number] == [s.travel_time for s in AIRFRAME.steps[1:]]


def test_the_least_speed_falls_evenly_as_a_step_travels() -> None:
    mass = 60000.0
    for step in range(1, LAST + 1):
        found = [
            float(
                speeds.least_speed(
                    AIRFRAME, Configuration((1.0,) * (step - 1) + (out,) + (0.0,) * (LAST - step), 0.0), mass
                )
            )
            for out in (0.0, 0.25, 1.0)
        ]
        before, after = (float(speeds.manoeuvre_speed(AIRFRAME, s, mass)) for s in (step - 1, step))
        assert found == pytest.approx([before, 0.75 * before + 0.25 * after, after])


def test_expressions_give_the_same_numbers() -> None:
    v, m = ca.SX.sym("v"), ca.SX.sym("m")
    schedule = speeds.selected_on_schedule(AIRFRAME, v, m)
    compiled = ca.Function("f", [v, m], [*schedule.steps, schedule.gear])
    for speed in np.linspace(60.0, 120.0, 31):
        out = speeds.selected_on_schedule(AIRFRAME, float(speed), 58000.0)
        numbers = [float(value) for value in (*out.steps, out.gear)]
        assert [float(value) for value in compiled(speed, 58000.0)] == numbers
