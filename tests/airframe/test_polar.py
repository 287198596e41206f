"""Drag and lift by configuration."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given

from optdescent.airframe import Configuration, read_airframe
from optdescent.airframe.polar import best_glide, drag_coefficient, maximum_lift_coefficient
from tests.simulation import CLEAN
from tests.strategies import between, configurations, fractions

AIRFRAME = read_airframe("narrow-body-twin")


def with_steps(count: int, gear: float = 0.0) -> Configuration:
    return Configuration(tuple(1.0 if index < count else 0.0 for index in range(4)), gear)


@pytest.mark.parametrize("count", range(5))
def test_a_step_fully_out_has_its_own_numbers(count: int) -> None:
    step, out = AIRFRAME.steps[count], with_steps(count)
    assert drag_coefficient(AIRFRAME, out, 0.0, 0.3, 0.0) == pytest.approx(step.polar.zero_lift_drag)
    assert drag_coefficient(AIRFRAME, out, 2.0, 0.3, 0.0) == pytest.approx(
        step.polar.zero_lift_drag + 4.0 * step.polar.induced_drag_factor
    )
    assert maximum_lift_coefficient(AIRFRAME, out, 0.0) == pytest.approx(step.maximum_lift)
    assert out.position == count


@given(configurations, between(0.0, 1.5), between(0.1, 0.85), fractions)
def test_gear_brake_and_drag_rise_only_add(
    configuration: Configuration, lift: float, mach: float, brake: float
) -> None:
    plain = drag_coefficient(AIRFRAME, Configuration(configuration.steps, 0.0), lift, 0.1, 0.0)
    full = drag_coefficient(AIRFRAME, configuration, lift, mach, brake)
    rise = AIRFRAME.wing.drag_rise_factor * max(mach - AIRFRAME.wing.drag_rise_mach, 0.0) ** 4
    added = AIRFRAME.gear.drag * configuration.gear + AIRFRAME.speed_brake.drag * brake + rise
    assert float(full - plain) == pytest.approx(added, abs=1e-14)


def test_the_brake_takes_lift() -> None:
    lost = maximum_lift_coefficient(AIRFRAME, CLEAN, 0.0) - maximum_lift_coefficient(AIRFRAME, CLEAN, 1.0)
    assert lost == pytest.approx(AIRFRAME.speed_brake.lift_loss)


@pytest.mark.parametrize(("count", "gear"), [(0, 0.0), (2, 0.0), (2, 1.0), (4, 1.0)])
def test_best_glide_is_the_largest_ratio(count: int, gear: float) -> None:
    configuration = with_steps(count, gear)
    ratio, at = best_glide(AIRFRAME, configuration)
    lift = np.linspace(0.05, 2.5, 2000)
    ratios = lift / drag_coefficient(AIRFRAME, configuration, lift, 0.2, 0.0)
    assert ratio == pytest.approx(float(ratios.max()), rel=1e-5)
    assert at == pytest.approx(float(lift[ratios.argmax()]), abs=0.003)
