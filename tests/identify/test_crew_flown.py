"""Descents as a crew flies a rule of thumb, a point a second: pitch that follows, brake and devices on schedule."""

from __future__ import annotations

from functools import cache
from importlib import import_module

import numpy as np
import pytest

from optdescent.identify import CannotTell, Method, Noise, identify
from optdescent.results import Fit, Flight
from optdescent.rules import fly, read_rules
from optdescent.rules.fly import looks
from tests.identify.recordings import ALTITUDE_NOISE, COEFFICIENTS, DECLARED, SPEED_NOISE, TRUE, noisy, sampled
from tests.scenario.files import scenario

AT_THRUST = [f"steps[{k}].polar.{name}" for k in (2, 3, 4) for name in ("zero_lift_drag", "induced_drag_factor")]
"""Not flown at idle: by then the crew has added thrust."""
ENGINE = ["engines.idle.thrust_by_mach", "engines.idle.thrust_floor"]
KEYS = [one.key for one in COEFFICIENTS]


@cache
def flights() -> tuple[tuple[str, Flight], ...]:
    """Two rules, each at two masses, by a crew that looks ten times as often as usual: two to four points a second.

    Orders are held from look to look; recordings are taken to be straight between their points.
    """
    with pytest.MonkeyPatch.context() as patch:
        # `optdescent.rules.fly` by attribute is the function of that name
        patch.setattr(import_module("optdescent.rules.fly"), "looks", lambda length: looks(length, 0.1))
        return tuple(
            (f"{rule.name} {mass}.nc", fly(scenario(f"start.mass_kg={mass}"), rule))
            for mass in (54000, 66000)
            for rule in read_rules()[:2]
        )


@cache
def each_second() -> tuple[tuple[str, Flight], ...]:
    """The same flights as they are recorded."""
    return tuple((name, sampled(flight)) for name, flight in flights())


def fixed() -> list[str]:
    """What the flights do not tell, held at the numbers they were flown with."""
    true = dict(zip(KEYS, TRUE, strict=True))
    return [f"{key}={true[key]}" for key in (*AT_THRUST, "gear.drag", *ENGINE)]


def deviations(fit: Fit) -> np.ndarray:
    """Found less flown of the coefficients that were fitted [standard errors]."""
    free = fit.column("standard_error") > 0.0
    return ((fit.column("value") - TRUE)[free]) / fit.column("standard_error")[free]


def test_without_noise_the_coefficients_are_those_flown() -> None:
    """The noise is scaled so that the standard errors are those of a point a second."""
    rate = sum(f.column("time").size for _, f in flights()) / sum(f.column("time").size for _, f in each_second())
    method = Method(noise=Noise(SPEED_NOISE * rate**0.5, ALTITUDE_NOISE * rate**0.5))
    fit = identify(flights(), DECLARED, fixed=fixed(), method=method).fit
    assert (fit.column("standard_error") > 0.0).sum() == 6
    assert np.abs(deviations(fit)).max() < 0.15


def test_a_point_a_second_costs_at_most_half_a_standard_error() -> None:
    """Orders of this crew jump between two points of a recording, which takes the load factor to be straight there."""
    method = Method(noise=Noise(SPEED_NOISE, ALTITUDE_NOISE))
    assert np.abs(deviations(identify(each_second(), DECLARED, fixed=fixed(), method=method).fit)).max() < 0.5


@pytest.mark.slow
def test_with_noise_they_are_within_two_standard_errors_in_nine_of_ten() -> None:
    found: list[np.ndarray] = []
    for seed in range(20):
        recorded = [(name, noisy(flight, 10 * seed + number)) for number, (name, flight) in enumerate(each_second())]
        found.append(deviations(identify(recorded, DECLARED, fixed=fixed()).fit))
    assert (np.abs(found) <= 2.0).mean() >= 0.90


def test_what_such_descents_do_not_tell_is_refused() -> None:
    with pytest.raises(CannotTell) as caught:
        identify(flights(), DECLARED)
    named = {key for reason in caught.value.reasons for key in reason.keys}
    assert {"steps[3].polar.zero_lift_drag", "steps[4].polar.induced_drag_factor"} <= named
