"""The page of a debrief: what it shows, no letters collide, and findings that a page has no room for."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from optdescent.figures import Page
from optdescent.figures.debrief import MOST_TOLD, debrief, told_findings
from optdescent.results import CAUTION
from optdescent.results.debrief import Severity
from optdescent.units import FOOT, NAUTICAL_MILE
from tests.figures.debriefs import invented
from tests.figures.test_figures import apart, words, written


@pytest.mark.parametrize("page", Page)
def test_letters_do_not_collide_and_every_finding_told_is_there(page: Page) -> None:
    found = invented()
    figure = debrief(found, page)
    apart(figure)
    on_page = written(figure)
    assert words(CAUTION) in on_page
    for number, finding in enumerate(told_findings(found), start=1):
        assert words(f"{number}: {finding.sentence}") in on_page


def test_a_flight_without_findings_says_so() -> None:
    figure = debrief(invented(0))
    apart(figure)
    assert "Nothing was found." in written(figure)


def test_energy_to_spare_is_drawn_as_it_is() -> None:
    found = invented()
    spare = found.margin("idle and schedule") / FOOT
    drawn = [np.asarray(one.get_ydata(), dtype=float) for one in debrief(found).axes[0].lines]
    own = next(line for line in drawn if line.size == spare.size)
    inside = np.isfinite(spare) & (np.abs(spare) < 5000.0)
    assert own[inside] == pytest.approx(spare[inside])


def test_notes_are_left_out_first_where_there_is_no_room() -> None:
    found = invented()
    many = replace(found, findings=(*found.findings, *found.findings))
    told = told_findings(many)
    assert len(told) <= MOST_TOLD
    assert all(one.severity is not Severity.NOTE for one in told)
    assert {one for one in many.findings if one.severity is Severity.SEVERE} <= set(told)
    assert f"{len(many.findings) - len(told)} more in findings.csv." in written(debrief(many))
    assert "more in findings.csv" not in written(debrief(found))


def test_minutes_of_the_flight_stand_above_the_place_where_it_is_then() -> None:
    found = invented()
    to_go = found.flight.column("distance_to_go") / NAUTICAL_MILE
    timed = found.flight.dataset.assign(time=("point", 60.0 * (70.0 - to_go) / 4.0))
    found = replace(found, flight=replace(found.flight, dataset=timed))
    axes = debrief(found).axes[0]
    top = axes.get_xaxis_transform()
    minutes = {float(text.get_text()): text.get_position()[0] for text in axes.texts if text.get_transform() == top}
    assert len(minutes) > 3
    for minute, place in minutes.items():
        assert minute == pytest.approx((70.0 - place) / 4.0, abs=1e-6)


def test_zero_is_on_the_axis_of_energy_and_what_is_beyond_it_is_not_drawn_as_a_line() -> None:
    found = invented()
    far = replace(found, points=found.points.assign(energy_to_spare=found.points["energy_to_spare"] - 3000.0 * FOOT))
    low, high = debrief(far).axes[0].get_ylim()
    assert low < 0.0 < high
    more = replace(found, points=found.points.assign(energy_to_spare=found.points["energy_to_spare"] + 5000.0 * FOOT))
    drawn = [np.asarray(line.get_ydata(), dtype=float) for line in debrief(more).axes[0].lines]
    spare = more.margin("idle and schedule") / FOOT
    own = next(values for values in drawn if values.size == spare.size)
    assert np.nanmax(spare) > 6000.0
    assert np.isnan(own[spare > 6000.0]).all()
