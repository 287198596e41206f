"""What the verdict on a flight found not kept is told in the debrief, each once."""

from __future__ import annotations

from dataclasses import replace

import pytest

from optdescent.debrief import debrief
from optdescent.results import Breach
from optdescent.results.debrief import Debrief, Severity, Subject
from optdescent.units import NAUTICAL_MILE
from tests.debrief.recordings import against, flight, silent


def breach(demand: str, place_nm: float) -> Breach:
    return Breach(demand, place_nm * NAUTICAL_MILE, 1.0, f"{demand}: not kept at {place_nm:.1f} nm to go")


def with_breaches(name: str, *found: Breach) -> Debrief:
    """A recording debriefed whose verdict has found some things not kept, and nothing else."""
    own = flight(name)
    return debrief(replace(own, summary=replace(own.summary, breaches=found)), against(), silent)


REST = (
    breach("W20", 20.0),
    breach("floor", 15.0),
    breach("hold-down at 4000 ft", 14.0),
    breach("no climb", 13.0),
    breach("sink below 3000 ft", 8.0),
    breach("speed brake below 3000 ft", 7.0),
    breach("gate at 500 ft", 0.0),
)


def test_demands_that_no_other_finding_is_about_are_to_work_on_where_they_were_not_kept() -> None:
    found = with_breaches("good", *REST, breach("W300", 300.0)).about(Subject.DEMAND)
    assert [one.evidence for one in found] == [one.sentence for one in REST]
    assert {one.severity for one in found} == {Severity.CAUTION}
    for own, one in zip(REST, found, strict=True):
        assert one.distance_to_go == pytest.approx(own.distance_to_go, abs=0.1 * NAUTICAL_MILE)


def test_limits_are_severe_as_before() -> None:
    found = with_breaches("good", breach("largest speed", 30.0), breach("floor", 15.0))
    assert [one.severity for one in found.about(Subject.LIMIT)] == [Severity.SEVERE]
    assert len(found.about(Subject.DEMAND)) == 1


def test_what_a_finding_of_its_own_tells_is_not_told_again() -> None:
    """Levelled and flown through the glide path: both have their own findings."""
    found = with_breaches("levelled-at-capture", breach("no climb", 14.0), breach("capture from below", 11.0))
    assert found.about(Subject.LEVELLED)
    assert found.about(Subject.CAPTURED_FROM_ABOVE)
    assert not found.about(Subject.DEMAND)
