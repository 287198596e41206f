"""The plausibility sheet: every band, the value flown, and what it says of bands that contradict each other."""

from __future__ import annotations

import math
from functools import cache

import pytest

from optdescent.airframe import BUILT_IN, Airframe, read_airframe
from optdescent.airframe.polar import best_glide, drag_coefficient
from optdescent.motion.plausibility import (
    APPROACH_RATIO,
    KT_PER_NM,
    LANDING_RATIO,
    LEVEL_APPROACH,
    Steps,
    plausibility,
    slipperiest,
)
from optdescent.motion.slowing import STEP, Slowing
from optdescent.results.plain import plausibility_plain
from optdescent.results.plausibility import PlausibilityLine, PlausibilitySheet, Standing
from optdescent.units import GRAVITY, KNOT
from tests.simulation import glider

LEVEL = "slowing in level flight, approach flaps"


@cache
def sheet(name: str) -> PlausibilitySheet:
    return plausibility(read_airframe(name))


def line(found: PlausibilitySheet, what: str) -> PlausibilityLine:
    (one,) = [line for line in found.lines if line.what.startswith(what)]
    return one


@pytest.mark.parametrize("name", BUILT_IN)
def test_the_built_in_airframes_miss_no_band(name: str) -> None:
    found = sheet(name)
    assert len(found.lines) == 12
    assert found.missed == ()
    assert [line.what for line in found.at_odds] == [LEVEL]


@pytest.mark.parametrize("name", BUILT_IN)
def test_a_line_flown_says_mass_height_and_speed(name: str) -> None:
    for one in sheet(name).lines:
        if one.what.startswith("slowing"):
            assert all(unit in one.conditions for unit in (" kg, ", " ft, from ", " kt"))


@pytest.mark.parametrize("name", BUILT_IN)
def test_the_band_that_no_airframe_can_keep_is_said_in_a_sentence(name: str) -> None:
    """Level, approach flaps: g (D/W - T/W) / V with lift/drag at most 14 and T/W at most 5 % of rated over weight."""
    airframe, found = read_airframe(name), line(sheet(name), LEVEL)
    assert (found.low, found.high) == LEVEL_APPROACH
    assert found.value > found.high
    assert "no airframe can keep this band" in found.remark
    limit = airframe.steps[airframe.gear.after_step].limit_speed
    weight = airframe.masses.most_landing * GRAVITY
    thrust = 0.05 * airframe.engines.count * airframe.engines.rated_thrust / weight
    # true airspeed at 2000 ft is 3 % above calibrated, so this is a little more than the least there is
    assert GRAVITY * (1.0 / 14.0 - thrust) / (1.04 * limit) > found.high


def test_a_level_stretch_is_what_the_energy_says() -> None:
    """Hull 2007, without thrust: V dV/ds = -g D/W with a parabolic polar, here over 40 kt at 2000 ft."""
    airframe = glider(122.0, 0.020, 0.045)
    mass, begin, end = 60000.0, 250.0 * KNOT, 210.0 * KNOT
    flown, speed = Slowing(airframe, mass, 0.0, begin, 0.0, ()).until(lambda _d, v, _o: v <= end)
    a = 1.225 * 122.0 * 0.020 / (2.0 * mass * GRAVITY)
    b = 2.0 * 0.045 * mass * GRAVITY / (1.225 * 122.0)
    exact = math.log((a * begin**4 + b) / (a * speed**4 + b)) / (4.0 * GRAVITY * a)
    assert flown == pytest.approx(exact, rel=1e-4)
    assert flown == pytest.approx(4057.9, abs=STEP)  # the sum for 250 to 210 kt; the stretch ends on a whole step


def test_a_line_outside_its_band_is_missed_and_named() -> None:
    airframe = read_airframe("narrow-body-twin")
    draggy = airframe.steps[0].polar.model_copy(update={"zero_lift_drag": 0.030})
    steps = (airframe.steps[0].model_copy(update={"polar": draggy}), *airframe.steps[1:])
    idle = airframe.engines.idle.model_copy(update={"flow": 0.2, "thrust_by_mach": 0.0})
    engines = airframe.engines.model_copy(update={"idle": idle})
    found = plausibility(airframe.model_copy(update={"steps": steps, "engines": engines}))
    missed = {line.what for line in found.missed}
    assert {"best lift over drag, clean", "idle fuel flow of one engine"} <= missed
    assert "change of idle net thrust per Mach number, largest" in missed
    plain = plausibility_plain(found)
    assert set(plain["missed"]) == missed
    flow = next(band for band in plain["bands"] if band["what"] == "idle fuel flow of one engine")
    assert flow["standing"] == "missed"
    assert flow["high_kg_per_s"] == pytest.approx(0.13)


def test_the_flow_band_is_scaled_with_rated_thrust_outside_the_class() -> None:
    small, middle = (line(sheet(name), "idle fuel flow") for name in ("regional-jet", "narrow-body-twin"))
    assert (middle.low, middle.high) == (0.09, 0.13)
    assert "scaled" not in middle.conditions
    assert (small.low, small.high) == pytest.approx((0.045, 0.065))
    assert "times 0.50" in small.conditions


@pytest.mark.parametrize("name", BUILT_IN)
def test_the_slipperiest_airframe_is_at_the_ends_of_the_bands(name: str) -> None:
    steps = Steps(read_airframe(name))
    made: Airframe = slipperiest(steps)
    for lift in (0.3, 0.8, 1.5):
        approach = drag_coefficient(made, steps.out(steps.approach, 0.0), lift, 0.8, 0.0)
        landing = drag_coefficient(made, steps.out(steps.last, 1.0), lift, 0.8, 0.0)
        assert lift / float(approach) == pytest.approx(APPROACH_RATIO[1])
        assert lift / float(landing) == pytest.approx(LANDING_RATIO[1])
    assert best_glide(made, steps.out(steps.approach, 0.0))[0] == pytest.approx(APPROACH_RATIO[1])


def test_what_is_shown_carries_its_unit() -> None:
    one = PlausibilityLine("x", 12.34 * KT_PER_NM, None, 15.0 * KT_PER_NM, "kt_per_nm", "", "", Standing.INSIDE)
    assert (one.shown_value, one.shown_band) == ("12.3 kt/nm", "at most 15 kt/nm")
    assert PlausibilityLine("x", 1.0, 0.0, None, "ft", "", "", Standing.INSIDE).shown_band == "at least 0 ft"
