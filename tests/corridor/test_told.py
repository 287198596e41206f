"""Descents eased until they are kept: what is flown is what is told."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np

from optdescent.corridor.again import Again, Use, flown_again
from optdescent.corridor.devices import EVERYTHING
from optdescent.corridor.path import Paths
from optdescent.corridor.reach import Edge
from optdescent.corridor.told import ADDED, Told, told_of
from optdescent.units import FOOT
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
