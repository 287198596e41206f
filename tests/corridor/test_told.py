"""Descents eased until they are kept: what is flown is what is told."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from optdescent.corridor.again import Again, Use, flown_again
from optdescent.corridor.devices import EVERYTHING
from optdescent.corridor.path import Paths
from optdescent.corridor.reach import Edge
from optdescent.corridor.told import ADDED, Told, eased, told_of, too_much
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.corridor.edges import STILL, edge, ground, lowest
from tests.corridor.test_again import FINE, again, planned


def starts(flown: Again) -> np.ndarray:
    """Pressure altitude [m] at which flights begin."""
    return np.array([heights[np.isfinite(heights)][0] for heights in flown.altitude.T])


def planned_starts(plan: Paths) -> np.ndarray:
    """Pressure altitude [m] at which a plan begins."""
    return plan.altitude[plan.start, np.arange(plan.start.size)]


def test_descents_are_eased_until_they_are_kept_and_only_those_that_are_not() -> None:
    """Flown once more, the plan that is handed back is kept; it begins below the edge by what was taken off."""
    found = edge(EVERYTHING, STILL, FINE)
    plan = planned(found)
    everyone = np.ones(plan.start.size, dtype=np.bool_)
    use = Use(everyone, 1.0 * everyone)
    told = told_of(found.ground, plan, use, Edge.HIGHEST)
    assert told.is_kept.all()
    assert np.all(told.taken_off[again().is_kept] == 0.0)
    assert np.all(told.taken_off[~again().is_kept] > 0.0)
    assert np.any(~again().is_kept)
    once_more = flown_again(found.ground, told.plan, use)
    assert once_more.is_kept.all()
    assert np.allclose(starts(once_more), planned_starts(plan) - told.taken_off, atol=0.01)


def test_one_that_is_only_high_on_the_way_is_not_slowed() -> None:
    """Slower it has less drag, and gets no lower; with energy left at the gate it is slowed, by 5 kt at most."""
    found = edge(EVERYTHING, STILL, FINE)
    plan, flown = planned(found).of(np.arange(1)), again()
    one = replace(flown, **{name: values[..., :1] for name, values in vars(flown).items() if name != "distance"})
    kept = replace(one, excess=0.0 * one.excess, over=0.0 * one.over, is_stable=np.ones(1, dtype=np.bool_))
    high = too_much(found.ground, plan, replace(kept, outside=np.full(1, 200.0 * FOOT)))
    assert high[0][0] == pytest.approx(125.0 * FOOT)
    assert high[1][0] == 0.0
    late = too_much(found.ground, plan, replace(kept, excess=np.full(1, 60.0 * FOOT)))
    later = too_much(found.ground, plan, replace(kept, excess=np.full(1, 600.0 * FOOT)))
    assert 0.5 * KNOT < late[1][0] < 5.0 * KNOT
    assert later[1][0] == pytest.approx(5.0 * KNOT)
    unstable = too_much(found.ground, plan, replace(kept, is_stable=np.zeros(1, dtype=np.bool_)))
    assert unstable[1][0] == pytest.approx(0.5 * KNOT)


def test_an_eased_plan_stays_above_the_altitude_below_which_it_is_too_fast() -> None:
    """From 10 100 ft at 280 kt, 250 kt below 10 000 ft: eased by 500 ft it begins at 10 000 ft all the same."""
    found, far = edge(EVERYTHING, STILL, FINE), 22.0 * NAUTICAL_MILE
    plan = planned(found)
    plan = plan.of(np.flatnonzero(plan.start == plan.start.max())[-1:])
    to_go = found.ground.to_go
    share = np.clip((to_go - 12.0 * NAUTICAL_MILE) / (far - 12.0 * NAUTICAL_MILE), 0.0, 1.0)[:, None]
    low = np.nanmin(plan.altitude)
    speed = np.interp(to_go, [0.0, 0.95 * far, far], np.array([140.0, 240.0, 280.0]) * KNOT)
    fast = replace(plan, altitude=low + share * (10100.0 * FOOT - low), speed=speed[:, None])
    gentle = eased(found.ground, fast, np.full(1, 500.0 * FOOT), np.zeros(1))
    begins = found.ground.speed_limits[0][0]
    assert gentle.altitude[plan.start[0], 0] == pytest.approx(begins)
    slow = np.flatnonzero(speed < 249.0 * KNOT)[-1]
    assert gentle.altitude[slow, 0] < begins - 100.0 * FOOT


def sparing(plan: Paths) -> Use:
    """The speed brake only well above the planned speed."""
    return Use(np.ones(plan.start.size, dtype=np.bool_), np.full(plan.start.size, -3.0))


@cache
def low() -> tuple[Paths, Again, Told]:
    """Lowest descents: their plan, flown from the edge, and told."""
    plan = planned(lowest())
    return plan, flown_again(ground(), plan, sparing(plan)), told_of(ground(), plan, sparing(plan), Edge.LOWEST)


def test_the_lowest_descents_are_raised_until_thrust_adds_next_to_nothing() -> None:
    """Only those to which it added more; flown once more, the plan that is handed back needs no more than is told."""
    plan, first, told = low()
    enough = first.is_kept & (first.added <= ADDED)
    assert np.any(enough)
    assert np.all(told.taken_off[enough] == 0.0)
    assert np.all(told.taken_off[~enough] < 0.0)
    once_more = flown_again(ground(), told.plan, sparing(plan))
    assert np.allclose(once_more.added, told.added)
    assert np.array_equal(told.is_kept, once_more.is_kept & (once_more.added <= ADDED))
    assert np.allclose(starts(once_more), planned_starts(plan) - told.taken_off, atol=0.01)


def test_a_plan_begun_below_the_lowest_edge_is_raised_until_it_is_kept() -> None:
    """From 60 ft under the edge thrust adds too much to a descent that needed none."""
    plan, first, told = low()
    own = np.flatnonzero(told.is_kept & (first.added <= ADDED))[:1]
    part = plan.of(own)
    above = np.maximum(part.altitude - part.altitude[part.captured[0]], 0.0)
    sunk = replace(part, altitude=part.altitude - 60.0 * FOOT * above / above[part.start[0]])
    assert flown_again(ground(), sunk, sparing(sunk)).added[0] > ADDED
    fate = told_of(ground(), sunk, sparing(sunk), Edge.LOWEST)
    assert fate.is_kept.all()
    assert np.all(fate.taken_off < 0.0)
    assert fate.added[0] <= ADDED
