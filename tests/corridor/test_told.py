"""Descents eased until they are kept: what is flown is what is told."""

from __future__ import annotations

import numpy as np

from optdescent.corridor.again import Use, flown_again
from optdescent.corridor.devices import EVERYTHING
from optdescent.corridor.told import told_of
from tests.corridor.edges import STILL, edge
from tests.corridor.test_again import FINE, again, planned


def test_descents_are_eased_until_they_are_kept_and_only_those_that_are_not() -> None:
    """Flown once more, the plan that is handed back is kept; it begins below the edge by what was taken off."""
    found = edge(EVERYTHING, STILL, FINE)
    plan = planned(found)
    everyone = np.ones(plan.start.size, dtype=np.bool_)
    use = Use(everyone, 1.0 * everyone)
    told = told_of(found.ground, plan, use)
    assert told.is_kept.all()
    assert np.all(told.taken_off[again().is_kept] == 0.0)
    assert np.all(told.taken_off[~again().is_kept] > 0.0)
    assert np.any(~again().is_kept)
    once_more = flown_again(found.ground, told.plan, use)
    assert once_more.is_kept.all()
    starts = np.array([heights[np.isfinite(heights)][0] for heights in once_more.altitude.T])
    planned_starts = plan.altitude[plan.start, np.arange(plan.start.size)]
    assert np.allclose(starts, planned_starts - told.taken_off, atol=0.01)
