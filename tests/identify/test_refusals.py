"""What the data cannot tell is refused, with the coefficients' names and what would tell them."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest

from optdescent.identify import CannotTell, identify
from optdescent.identify.apart import spread
from optdescent.optimum import DemandsConflict
from optdescent.results import Flight
from tests.identify.recordings import AIRFRAME, TRUE, Leg, flown, noisy, programme

ONE_SPEED = Leg(1, 0, 0, 7000, 190, -3.4, 60)
"""About 190 kt throughout."""


def refused(flight: Flight, *fixed: str) -> CannotTell:
    with pytest.raises(CannotTell) as caught:
        identify([("invented.nc", flight)], AIRFRAME, fixed=fixed)
    return caught.value


def legs(*, without: int) -> tuple[Leg, ...]:
    """The programme, without the legs in a step."""
    return tuple(leg for leg in programme() if leg.step != without)


def test_a_step_flown_at_one_speed() -> None:
    error = refused(noisy(flown((*legs(without=1), ONE_SPEED)), 0))
    (reason,) = error.reasons
    assert reason.keys == ("steps[1].polar.zero_lift_drag", "steps[1].polar.induced_drag_factor")
    assert "'step 1'" in str(reason)
    assert "at two speeds or masses further apart" in reason.remedy
    assert re.search(r"flown: 1\d\d to [12]\d\d kt, 60\.0 to 60\.0 t", reason.remedy)
    assert "--fix steps[1].polar." in reason.remedy


def test_one_of_the_two_fixed_lets_the_other_be_found() -> None:
    flight = noisy(flown((*legs(without=1), ONE_SPEED)), 0)
    fit = identify([("invented.nc", flight)], AIRFRAME, fixed=["steps[1].polar.induced_drag_factor"]).fit
    place = fit.keys.index("steps[1].polar.induced_drag_factor")
    assert fit.column("is_fixed")[place] == 1.0
    assert fit.column("value")[place] == TRUE[place]
    assert fit.column("standard_error")[place] == 0.0
    error = np.delete(fit.column("standard_error"), place)
    assert np.all(error > 0.0)
    assert np.abs((np.delete(fit.column("value") - TRUE, place)) / error).max() < 3.5


def test_a_coefficient_may_be_fixed_at_another_value_and_moves_the_rest() -> None:
    """Idle thrust held 20 % high is found as drag that is too high."""
    flight = noisy(flown(programme()), 4)
    fixed = ["engines.idle.thrust=0.06", "engines.idle.thrust_by_mach", "engines.idle.thrust_floor"]
    fit = identify([("invented.nc", flight)], AIRFRAME, fixed=fixed).fit
    value = dict(zip(fit.keys, fit.column("value"), strict=True))
    assert value["engines.idle.thrust"] == 0.06
    for step in range(5):
        assert value[f"steps[{step}].polar.zero_lift_drag"] > TRUE[2 * step]


def test_gear_that_is_always_down_with_the_steps_that_have_it() -> None:
    always = tuple(leg for leg in programme() if not (leg.step == 2 and leg.gear))
    (reason,) = refused(noisy(flown(always), 0)).reasons
    assert set(reason.keys) == {"steps[3].polar.zero_lift_drag", "steps[4].polar.zero_lift_drag", "gear.drag"}
    assert "without bound" in reason.sentence
    assert "fly one step with the gear up and with it down" in reason.remedy


def test_what_was_never_flown_has_no_data() -> None:
    unflown = tuple(leg for leg in programme() if leg.step != 4 and not leg.brake)
    found = {reason.keys: str(reason) for reason in refused(noisy(flown(unflown), 0)).reasons}
    assert set(found) == {
        ("steps[4].polar.zero_lift_drag",),
        ("steps[4].polar.induced_drag_factor",),
        ("speed_brake.drag",),
    }
    assert "fly with the speed brake out at idle" in found[("speed_brake.drag",)]
    assert "fly 'landing' settled at idle" in found[("steps[4].polar.zero_lift_drag",)]


def test_idle_thrust_from_one_level_is_refused() -> None:
    """Thrust at one level is one function of Mach number; what of it does not fall with pressure cannot be seen."""
    level = tuple(replace(leg, altitude=9000.0, seconds=40) for leg in programme())
    keys = {key for reason in refused(noisy(flown(level), 0)).reasons for key in reason.keys}
    assert "engines.idle.thrust_floor" in keys


def test_a_refusal_is_of_the_family_that_ends_with_status_3() -> None:
    error = refused(noisy(flown((*legs(without=1), ONE_SPEED)), 0))
    assert isinstance(error, DemandsConflict)
    assert error.shortfalls == ()
    assert str(error).startswith("the recordings cannot tell:")


def test_condition_of_columns_that_are_nearly_one() -> None:
    """Two columns an angle a apart have condition index 1 / tan(a/2): Belsley, Kuh and Welsch (1980), chapter 3."""
    for angle, is_refused in ((2.2 / 300.0, False), (1.8 / 300.0, True)):
        rows = np.array([[1.0, np.cos(angle), 0.0], [0.0, np.sin(angle), 0.0], [0.0, 0.0, 1.0]])
        found = spread(rows)
        assert found.is_involved.tolist() == [is_refused, is_refused, False]
        assert found.correlation[0, 1] == pytest.approx(-np.cos(angle), abs=1e-9)
        assert found.standard_error == pytest.approx([1.0 / np.sin(angle), 1.0 / np.sin(angle), 1.0])
