"""Shares of variance against functions whose shares are known."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest

from optdescent.inputs import validated
from optdescent.margins.attribution import Order, ordering, remainder, variance_shares
from optdescent.scenario import Axis, Conditions, ConditionsDeclaration, Scenario
from optdescent.scenario.declared_axes import CrewsAxis, EnsembleAxis
from optdescent.units import KNOT
from tests.scenario.files import STUDY


def made(count: int = 4096) -> Conditions:
    axes = [
        {"kind": "range", "key": "start.mass_kg", "from": 0.0, "to": 1.0},
        {"kind": "range", "key": "start.mach", "from": 0.0, "to": 1.0},
        {"kind": "values", "key": "handling.anti_ice.kind", "values": ["off", "on"]},
        {"kind": "ensemble", "members": 50000, "random_kt": 5.0},
    ]
    data = {"sampling": {"kind": "sobol", "count": count, "seed": 3}, "axes": axes}
    return Conditions.of(validated(ConditionsDeclaration, data, "x"), "x", key="")


def shares_of(values: np.ndarray, conditions: Conditions) -> np.ndarray:
    levels = [conditions.levels(number) for number in range(conditions.size)]
    return variance_shares(values, conditions.axes, levels)


def test_a_sum_of_drivers_is_shared_as_their_variances() -> None:
    """2 a + b with both uniform on 0 to 1: variances 4/12 and 1/12, shares 0.8 and 0.2."""
    conditions = made()
    levels = [conditions.levels(number) for number in range(conditions.size)]
    values = np.array([2.0 * float(a) + float(b) for a, b, *_ in levels])
    found = shares_of(values, conditions)
    assert found[:2] == pytest.approx([0.8, 0.2], abs=0.01)
    assert found[2] == pytest.approx(0.0, abs=0.005)


def test_a_class_of_words_counts_by_its_levels() -> None:
    conditions = made()
    levels = [conditions.levels(number) for number in range(conditions.size)]
    values = np.array([1.0 if own[2] == "on" else 0.0 for own in levels])
    found = shares_of(values, conditions)
    assert found[2] == pytest.approx(1.0)
    assert found[0] == pytest.approx(0.0, abs=0.005)


def test_members_of_an_ensemble_have_no_classes() -> None:
    conditions = made(256)
    assert np.isnan(shares_of(np.arange(256.0), conditions)[3])


def test_noise_is_explained_by_nobody() -> None:
    """The uncorrected ratio of 15 degrees of freedom over 511 would be 0.03."""
    conditions = made(512)
    found = [shares_of(np.random.default_rng(seed).standard_normal(512), conditions)[0] for seed in range(20)]
    assert np.mean(found) < 0.015


def test_what_does_not_vary_has_no_shares() -> None:
    conditions = made(256)
    assert np.all(np.isnan(shares_of(np.ones(256), conditions)))


def test_cases_without_a_value_do_not_count() -> None:
    conditions = made()
    levels = [conditions.levels(number) for number in range(conditions.size)]
    values = np.array([float(own[0]) for own in levels])
    values[::3] = np.nan
    assert shares_of(values, conditions)[0] > 0.99


# a published function


def ishigami() -> tuple[np.ndarray, Conditions]:
    """sin x1 + 7 sin² x2 + 0.1 x3⁴ sin x1 with all three uniform from -pi to pi."""
    keys = ("start.mass_kg", "start.mach", "start.altitude_ft")
    axes = [{"kind": "range", "key": key, "from": -math.pi, "to": math.pi} for key in keys]
    data = {"sampling": {"kind": "sobol", "count": 4096, "seed": 1}, "axes": axes}
    conditions = Conditions.of(validated(ConditionsDeclaration, data, "x"), "x", key="")
    x1, x2, x3 = np.array([conditions.levels(number) for number in range(conditions.size)], dtype=float).T
    return np.sin(x1) + 7.0 * np.sin(x2) ** 2 + 0.1 * x3**4 * np.sin(x1), conditions


def test_first_order_indices_of_ishigami_and_what_remains() -> None:
    """Function of Ishigami and Homma, An importance quantification technique, ISUMA 1990 (from memory).

    Its indices 0.314, 0.442, 0, the rest joint, follow from its variances, worked out here: of sin x1 with the mean of
    what multiplies it, of 7 sin² x2, and of the whole.
    What a class averages away of sin² is 1.3 % of it with 32 classes, and the correction may take 0.008 too much.
    """
    values, conditions = ishigami()
    found = shares_of(values, conditions)
    first, second = 0.5 * (1.0 + 0.1 * math.pi**4 / 5.0) ** 2, 49.0 / 8.0
    whole = first + second + 0.5 * 0.01 * math.pi**8 * (1.0 / 9.0 - 1.0 / 25.0)
    assert (first / whole, second / whole) == pytest.approx((0.3139, 0.4424), abs=5e-5)
    assert found == pytest.approx([first / whole, second / whole, 0.0], abs=0.015)
    assert remainder(found) == pytest.approx(1.0 - (first + second) / whole, abs=0.025)


# what remains


def test_a_remainder_is_never_negative_and_nothing_where_nothing_is_known() -> None:
    assert remainder(np.array([0.7, 0.4, np.nan])) == 0.0
    assert remainder(np.array([0.25, np.nan, 0.5])) == pytest.approx(0.25)
    assert math.isnan(remainder(np.array([np.nan, np.nan])))


# members classed by a number

WINDS = Axis(validated(EnsembleAxis, {"kind": "ensemble", "members": 500, "random_kt": 6.0}, "x"))
CREWS = Axis(validated(CrewsAxis, {"kind": "crews", "members": 500}, "x"))


def met(*settings: str) -> Scenario:
    return Scenario.from_toml(STUDY, settings)


def in_winds(count: int, *settings: str) -> list[Scenario]:
    disturbed = ("air.wind={kind='perturbed', of={kind='none'}, random_kt=6.0, correlation_height_ft=50000.0}",)
    return [met(*disturbed, *settings, f"air.wind.seed={seed}") for seed in range(count)]


def tailwinds_at(scenarios: Sequence[Scenario], height: float) -> np.ndarray:
    """Tailwind [m/s] on the final course at a height above sea level [m]."""
    course = scenarios[0].arrival.course
    found: list[float] = []
    for scenario in scenarios:
        sample = scenario.wind.field.sample(scenario.wind.coefficients(), np.zeros(1), np.array([height]))
        found.append(float(np.sum(sample.east * math.sin(course) + sample.north * math.cos(course))))
    return np.array(found)


def test_a_member_is_classed_by_the_mean_tailwind_it_adds() -> None:
    """A random wind all but the same at every height is its own mean; a wind added to all members does not count."""
    scenarios = in_winds(6)
    order = ordering([WINDS], scenarios)["member"]
    found = order.numbers
    assert order.what == "mean tailwind"
    assert found == pytest.approx(tailwinds_at(scenarios, 5000.0), abs=1.0 * KNOT)
    assert np.ptp(found) > 4.0 * KNOT
    biased = in_winds(6, "air.wind.bias_kt=30", "air.wind.bias_from_deg=305")
    assert ordering([WINDS], biased)["member"].numbers == pytest.approx(found, abs=1e-9)


def crews(*settings: str) -> list[Scenario]:
    return [met(*settings, f"technique.seed={seed}") for seed in range(4)]


LATE = ("technique.late_s=30", "technique.late_spread_s=4")


def test_a_crew_is_classed_by_the_error_of_its_wind_else_by_its_lateness_and_not_at_all_without_either() -> None:
    wrong = crews("technique.wind_error_kt=5", *LATE)
    order = ordering([CREWS], wrong)["crew"]
    assert order.numbers == pytest.approx([one.technique.drawn.wind_error for one in wrong])
    assert order.what == "wind error"
    assert ordering([CREWS], crews()) == {}


def test_a_crew_is_as_late_as_it_is_later_than_the_mean_of_its_condition() -> None:
    """An axis of the mean delay, flown beside, is another driver."""
    order = ordering([CREWS], crews(*LATE))["crew"]
    assert order.what == "lateness"
    assert order.numbers == pytest.approx([one.technique.drawn.late - 30.0 for one in crews(*LATE)])
    assert np.ptp(order.numbers) > 1.0
    later = ordering([CREWS], crews("technique.late_s=50", LATE[1]))["crew"]
    assert later.numbers == pytest.approx(order.numbers)


def test_a_condition_without_a_scenario_has_no_number() -> None:
    order = ordering([CREWS], [None, *crews(*LATE)])["crew"]
    assert np.isnan(order.numbers[0])
    assert order.numbers[1:] == pytest.approx(ordering([CREWS], crews(*LATE))["crew"].numbers)
    assert np.isnan(ordering([WINDS], [None, *in_winds(1)])["member"].numbers).tolist() == [True, False]


def test_members_that_are_all_different_have_the_share_of_their_number() -> None:
    """The number explains 0.9 of the variance, the rest is the members' own."""
    random = np.random.default_rng(4)
    numbers, own = random.standard_normal((2, 2048))
    levels = [(member,) for member in range(2048)]
    values = 3.0 * numbers + own
    assert np.isnan(variance_shares(values, [WINDS], levels)).all()
    found = variance_shares(values, [WINDS], levels, {"member": Order(numbers, "mean tailwind")})
    assert found == pytest.approx([0.9], abs=0.02)
