"""Optima begun on the way down.

Reference: Bellman, Dynamic Programming, 1957, chapter III (from memory), principle of optimality: what is left of an
optimal descent is the optimum from there on.
"""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from optdescent.air.airspeed import mach_from_calibrated
from optdescent.air.atmosphere import pressure
from optdescent.airframe.speeds import GEAR, reference_speed
from optdescent.optimum import find_optimum, optimise
from optdescent.optimum.events import EventKind, behind
from optdescent.scenario import Scenario
from optdescent.scenario.midway import Midway
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.optimum.descents import SHORT, STILL, optimum, scenario

FREE = (STILL, *SHORT, "handling.configuration=free")


def begun(distance: float, midway: Midway) -> Scenario:
    """The short descent begun where its optimum is at a distance to go [m]."""
    asked, flight = scenario(*FREE), optimum(*FREE).flight
    names = ("altitude", "mach", "mass")
    altitude, mach, mass = (float(flight.at_distance(name, distance)) for name in names)
    start = {"distance": distance, "altitude": altitude, "mach": mach, "mass": mass}
    return replace(asked, start=asked.start.model_copy(update=start), midway=midway)


@pytest.mark.parametrize(
    ("distance_nm", "out", "on_path", "within_kg"),
    [
        (30.0, (), False, 0.3),  # begun level, while the optimum descends there
        (11.0, (), False, 0.3),
        (10.0, (1,), False, 0.05),
        (8.0, (1,), True, 0.05),
        (5.0, (1, 2), True, 0.05),
    ],
)
def test_the_rest_of_an_optimum_is_the_optimum_from_there(
    distance_nm: float, out: tuple[int, ...], on_path: bool, within_kg: float
) -> None:
    whole, distance = optimum(*FREE).flight, distance_nm * NAUTICAL_MILE
    left = float(whole.at_distance("mass", distance)) - whole.column("mass")[-1]
    found = find_optimum(begun(distance, Midway(frozenset(out), on_path)), lambda _: None)
    assert found.flight.summary.fuel == pytest.approx(left, abs=within_kg)
    assert found.flight.column("flaps")[0] == pytest.approx(len(out))
    assert found.flight.column("speed_brake").max() < 0.05


def test_a_device_that_is_out_stays_out_and_costs_fuel() -> None:
    """Gear out from 10 nm on: the more drag, the more thrust ahead of the descent."""
    early = find_optimum(begun(10.0 * NAUTICAL_MILE, Midway(frozenset({1, GEAR}))), lambda _: None).flight
    usual = find_optimum(begun(10.0 * NAUTICAL_MILE, Midway(frozenset({1}))), lambda _: None).flight
    assert early.column("gear").min() == 1.0
    assert early.summary.fuel > usual.summary.fuel + 5.0
    assert usual.column("gear")[0] == 0.0


def test_on_the_path_nothing_is_left_of_the_descent_to_it() -> None:
    asked = begun(8.0 * NAUTICAL_MILE, Midway(frozenset({1}), on_path=True))
    assert {EventKind.TOP_OF_DESCENT, EventKind.CAPTURE} <= {event.kind for event in behind(asked)}
    found = find_optimum(asked, lambda _: None)
    over = found.flight.column("height_above_threshold") - asked.arrival.glide_path.height(
        -found.flight.column("distance_to_go")
    )
    assert abs(over).max() < 1.0 * FOOT


def test_it_is_reported_but_for_the_place_of_a_descent_that_lies_behind() -> None:
    report = optimise(begun(8.0 * NAUTICAL_MILE, Midway(frozenset({1}), on_path=True))).solver
    assert report is not None
    assert report.local_error < 1e-6
    assert all(math.isfinite(slope.cost) and math.isnan(slope.idle_distance) for slope in report.sensitivity)


def test_at_the_approach_speed_it_is_held() -> None:
    asked = begun(3.5 * NAUTICAL_MILE, Midway(frozenset({GEAR, 1, 2, 3, 4}), on_path=True))
    target = float(reference_speed(asked.airframe, asked.start.mass)) + asked.arrival.gate.speed_above_reference
    level = pressure(asked.pressure_altitude(asked.start.altitude))
    mach = float(mach_from_calibrated(target + 2.0 * KNOT, level))
    slow = replace(asked, start=asked.start.model_copy(update={"mach": mach}))
    speeds = find_optimum(slow, lambda _: None).flight.column("calibrated_airspeed") / KNOT
    assert speeds == pytest.approx(target / KNOT + 2.0, abs=0.5)


def test_a_speed_limit_holds_from_a_start_below_its_altitude() -> None:
    """The limit of 250 kt below 10 000 ft, though its altitude is never passed."""
    low = scenario(STILL, *SHORT, "start.altitude_ft=9000", "start.mach=0.4")
    assert [event.kind for event in behind(low)] == [EventKind.SPEED_LIMIT]
    found = find_optimum(low, lambda _: None)
    on_the_way = next(leg for leg in found.pose.legs if leg.begins and leg.begins.kind is EventKind.TOP_OF_DESCENT)
    names = [limit.name for limit in found.problem.phase(on_the_way.name).path]
    assert "speed limit 1" in names
    assert found.flight.column("calibrated_airspeed").max() < 250.2 * KNOT
