"""Descents from farther out are told from no lower than those from nearer."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optdescent.corridor.again import Use, flown_again
from optdescent.corridor.devices import EVERYTHING
from optdescent.corridor.farther import levelled, no_lower
from optdescent.corridor.path import Paths
from optdescent.corridor.reach import Edge
from optdescent.corridor.told import Told, at_start, told_of
from optdescent.units import FOOT, NAUTICAL_MILE
from tests.corridor.edges import STILL, edge, ground, lowest
from tests.corridor.test_again import FINE, planned


def three() -> tuple[Paths, Use]:
    """From 15, 18 and 22 nm at one speed."""
    plan = planned(edge(EVERYTHING, STILL, FINE))
    speed = plan.speed[plan.start, np.arange(plan.start.size)]
    plan = plan.of(np.flatnonzero(np.isclose(speed, np.min(speed))))
    return plan, Use(np.ones(plan.start.size, dtype=np.bool_), np.ones(plan.start.size))


def told_low(lower: float) -> tuple[Told, Use]:
    """Descents of which the farthest is said to be kept from so much lower [m] than the middle one only."""
    plan, use = three()
    told = told_of(ground(STILL, FINE), plan, use, Edge.HIGHEST)
    assert told.is_kept.all()
    last = int(np.argmax(plan.start))
    middle = int(np.argsort(plan.start)[1])
    taken_off = told.taken_off.copy()
    altitude = told.plan.altitude.copy()
    begins = at_start(told.plan)
    taken_off[last] += begins[last] - (begins[middle] - lower)
    altitude[plan.start[last], last] = begins[middle] - lower
    return replace(told, plan=replace(told.plan, altitude=altitude), taken_off=taken_off), use


def test_one_lower_than_a_nearer_one_is_flown_level_to_it() -> None:
    told, use = told_low(300.0 * FOOT)
    last, middle = int(np.argmax(told.plan.start)), int(np.argsort(told.plan.start)[1])
    mended = no_lower(ground(STILL, FINE), told, use, np.zeros(use.lead.size, dtype=np.int64), Edge.HIGHEST)
    begins = at_start(mended.plan)
    assert mended.is_kept.all()
    assert begins[last] == pytest.approx(begins[middle])
    assert begins[last] + mended.taken_off[last] == pytest.approx(at_start(told.plan)[last] + told.taken_off[last])
    others = np.arange(begins.size) != last
    assert np.array_equal(begins[others], at_start(told.plan)[others])
    flown = flown_again(ground(STILL, FINE), mended.plan, use)
    assert flown.is_kept.all()
    far, near = (-18.5 * NAUTICAL_MILE, -21.5 * NAUTICAL_MILE)
    way = (flown.distance > near) & (flown.distance < far)
    assert np.ptp(flown.altitude[way, last]) < 30.0 * FOOT


def test_one_that_is_not_kept_is_flown_level_to_a_nearer_one() -> None:
    told, use = told_low(-300.0 * FOOT)
    last = int(np.argmax(told.plan.start))
    lost = replace(told, is_kept=np.arange(use.lead.size) != last)
    mended = no_lower(ground(STILL, FINE), lost, use, np.zeros(use.lead.size, dtype=np.int64), Edge.HIGHEST)
    assert mended.is_kept.all()


def test_one_of_another_group_or_higher_is_left_as_it_is() -> None:
    low, use = told_low(300.0 * FOOT)
    assert no_lower(ground(STILL, FINE), low, use, np.arange(use.lead.size), Edge.HIGHEST) is low
    high, use = told_low(-300.0 * FOOT)
    assert no_lower(ground(STILL, FINE), high, use, np.zeros(use.lead.size, dtype=np.int64), Edge.HIGHEST) is high


def test_a_lowest_one_lower_than_a_nearer_one_is_flown_from_as_high() -> None:
    """The nearest of three is said to be kept only from 40 ft above the farthest: all but the two stay."""
    plan = planned(lowest())
    speed = plan.speed[plan.start, np.arange(plan.start.size)]
    plan = plan.of(np.flatnonzero(np.isclose(speed, np.max(speed))))
    use = Use(np.ones(plan.start.size, dtype=np.bool_), np.full(plan.start.size, -3.0))
    told = told_of(ground(), plan, use, Edge.LOWEST)
    kept = np.flatnonzero(told.is_kept)
    kept = kept[np.argsort(told.plan.start[kept])]
    assert kept.size >= 2
    near, far = kept[0], kept[-1]
    begins, altitude, taken_off = at_start(told.plan), told.plan.altitude.copy(), told.taken_off.copy()
    raised = begins[far] + 40.0 * FOOT
    altitude[told.plan.start[near], near] = raised
    taken_off[near] -= raised - begins[near]
    high = replace(told, plan=replace(told.plan, altitude=altitude), taken_off=taken_off)
    mended = no_lower(ground(), high, use, np.zeros(use.lead.size, dtype=np.int64), Edge.LOWEST)
    after = at_start(mended.plan)
    assert mended.is_kept[far]
    assert raised - 1e-6 <= after[far] < raised + 30.0 * FOOT
    assert after[far] + mended.taken_off[far] == pytest.approx(begins[far] + told.taken_off[far])
    assert after[near] == raised
    assert np.array_equal(mended.is_kept, told.is_kept)


def test_a_levelled_plan_has_out_before_what_was_out_where_it_began() -> None:
    plan, _ = three()
    near = plan.of(np.array([int(np.argmin(plan.start))]))
    far = levelled(near, near.start + 8)
    before = slice(int(near.start[0]) + 1, int(near.start[0]) + 9)
    assert np.all(far.altitude[before, 0] == near.altitude[near.start[0], 0])
    assert np.all(far.speed[before, 0] == near.speed[near.start[0], 0])
    assert np.all(far.steps[before, 0] == near.first_steps[0])
    assert np.all(far.gear[before, 0] == near.first_gear[0])
    assert np.array_equal(far.altitude[: near.start[0] + 1], near.altitude[: near.start[0] + 1])
