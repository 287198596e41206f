"""The search: a planted best rule is found, it is never worse than its start, and it keeps to its cap."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from optdescent.derive.family import NEEDED, Candidate, Part
from optdescent.derive.search import Score, Search
from tests.derive.test_family import FAMILY

PLANTED = Candidate.of({Part.SLOPE: 1, Part.DESCENT: 2, Part.APPROACH: 6, Part.TAILWIND: 1, Part.GEAR: 5})
OF_PLANTED = dict(PLANTED.levels)


def bowl(candidate: Candidate) -> Score:
    """Fuel that rises with the distance from the planted rule, with a part that it lacks and with one too many."""
    away = sum(2.0 * abs(index - OF_PLANTED[part]) for part, index in candidate.levels if part in OF_PLANTED)
    lacking, useless = set(OF_PLANTED) - set(candidate.parts), set(candidate.parts) - set(OF_PLANTED)
    return Score(1.0, 500.0 + away + 40.0 * len(lacking) + 7.0 * len(useless), 0.0)


def searched(
    score: Callable[[Candidate], Score], wanted: float = 0.95, parts: int = 7, rules: int = 5000
) -> tuple[Search, list[str]]:
    said: list[str] = []
    flown: list[Candidate] = []

    def fly(candidates: Sequence[Candidate]) -> list[Score]:
        flown.extend(candidates)
        return [score(one) for one in candidates]

    search = Search(FAMILY, fly, wanted, parts, rules)
    search.run(said.append)
    assert flown == list(search.scored), "each rule is flown once"
    return search, said


def test_the_planted_rule_is_found_and_growth_ends_there() -> None:
    search, said = searched(bowl)
    best = min(search.scored, key=lambda one: search.scored[one].order(0.95))
    assert best == PLANTED
    assert max(one.simplicity for one in search.scored) == PLANTED.simplicity + 1, "one thing more betters nothing"
    assert len(said) == PLANTED.simplicity + 2 - len(NEEDED)
    assert not search.is_cut_short


def test_the_wanted_share_comes_before_fuel() -> None:
    """Approach speed by a mile more is safer and dearer: the rule found is the cheapest that is safe enough."""

    def score(candidate: Candidate) -> Score:
        miles = candidate.index(Part.APPROACH) or 0
        return Score(0.5 + 0.05 * miles, 400.0 + 5.0 * miles, 0.0)

    search, _ = searched(score, wanted=0.8, parts=3)
    best = search.ranked(3)[0]
    assert search.scored[best].held_share == pytest.approx(0.8)
    assert [one.index(Part.APPROACH) for one in search.finalists()] == [4, 5, 6, 7, 8], "two cheaper, itself, two safer"


def test_where_nothing_is_stable_less_energy_leads_on() -> None:
    def score(candidate: Candidate) -> Score:
        slope = candidate.index(Part.SLOPE) or 0
        return Score(0.0, 300.0 - slope, 100.0 * slope)

    search, _ = searched(score, parts=3)
    assert search.ranked(3)[0].index(Part.SLOPE) == 1, "the shallowest whose descent begins after the start"


@given(st.integers(0, 10**6), st.integers(1, 60), st.integers(3, 6))
def test_it_is_never_worse_than_its_start_and_keeps_to_its_cap(seed: int, rules: int, parts: int) -> None:
    def score(candidate: Candidate) -> Score:
        drawn = random.Random(f"{seed} {candidate.levels}")
        return Score(drawn.random(), 400.0 + 100.0 * drawn.random(), drawn.random())

    search, _ = searched(score, wanted=0.9, parts=parts, rules=rules)
    assert len(search.scored) <= rules
    assert max(one.simplicity for one in search.scored) <= parts
    if FAMILY.start in search.scored:
        best = min(search.scored[one].order(0.9) for one in search.finalists())
        assert best <= search.scored[FAMILY.start].order(0.9)
    assert search.finalists() == [*dict.fromkeys(search.finalists())]
    assert all(one in search.scored for one in search.finalists())


def test_a_cap_that_keeps_rules_from_being_flown_is_said() -> None:
    search, _ = searched(bowl, rules=20)
    assert len(search.scored) == 20
    assert search.is_cut_short


def test_the_same_scores_give_the_same_search() -> None:
    one, other = searched(bowl)[0], searched(bowl)[0]
    assert list(one.scored) == list(other.scored)
    assert one.finalists() == other.finalists()


def test_finalists_that_miss_the_gate_too_often_are_left_out() -> None:
    def score(candidate: Candidate) -> Score:
        miles = candidate.index(Part.APPROACH) or 0
        return Score((0.1, 0.2, 0.3, 0.9, 0.96, 0.97, 0.98, 0.99, 1.0, 1.0)[miles], 400.0 + miles, 0.0)

    search, _ = searched(score, parts=3)
    assert [search.scored[one].held_share for one in search.finalists()] == [0.9, 0.96, 0.97, 0.98]


def test_a_held_descent_speed_stays() -> None:
    family = replace(FAMILY, grids={**FAMILY.grids, Part.DESCENT: (265.0,)})
    search = Search(family, lambda some: [bowl(one) for one in some], 0.95, 5, 200)
    search.run(lambda _: None)
    assert {family.value(one, Part.DESCENT) for one in search.scored} == {265.0}


def test_it_ends_where_there_is_no_further_part() -> None:
    family = replace(FAMILY, grids={part: FAMILY.grids[part] for part in (*NEEDED, Part.TAILWIND)})
    search = Search(family, lambda some: [bowl(one) for one in some], 0.95, 13, 500)
    search.run(lambda _: None)
    assert max(one.simplicity for one in search.scored) == 4
    assert not search.is_cut_short
