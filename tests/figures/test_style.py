"""A rule looks the same in every figure that it stands in."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations, permutations
from pathlib import Path

import pytest

from optdescent.figures.style import OPTIMUM_STYLE, OTHER_STYLES, SeriesStyle, in_order, series_styles
from optdescent.inputs import InputFault
from optdescent.report.given import Given
from optdescent.report.pictures import drawn_together
from optdescent.results import Flight, Kind
from tests.figures.flights import flight, four

NAMES = ("zulu", "alpha", "mike", "bravo", "yankee", "charlie", "x-ray")
"""Rules of a file, in no order of the alphabet, and more than there are styles."""
TEXT = "\n".join(f'[[rules]]\nname = "{name}"' for name in NAMES)
OPTIMUM = flight("optimum", Kind.OPTIMUM)


def rule(name: str, text: str = TEXT) -> Flight:
    one = flight(name, Kind.RULE)
    return replace(one, provenance=replace(one.provenance, rules=text))


RULES = tuple(rule(name) for name in NAMES)


def looks(flights: tuple[Flight, ...]) -> dict[str, SeriesStyle]:
    return {one.name: style for one, style in zip(flights, series_styles(flights), strict=True)}


def test_a_chart_of_some_rules_gives_each_the_style_that_the_report_gives() -> None:
    files = sorted((OPTIMUM, *RULES), key=lambda one: one.name)
    given = tuple(Given(Path(f"{one.name}.nc"), "flight", one.name, one) for one in files)
    reported: dict[str, SeriesStyle] = {}
    for group in drawn_together(given):
        reported |= looks(tuple(one for one in group if isinstance(one, Flight)))
    assert reported.pop("optimum") == OPTIMUM_STYLE
    assert set(reported) == set(NAMES)
    for count in (1, 2, 3):
        for some in combinations(RULES[: len(OTHER_STYLES)], count):
            assert looks(some) == {one.name: reported[one.name] for one in some}
    assert looks((RULES[6], RULES[5])) == {one.name: reported[one.name] for one in RULES[5:]}


def test_the_order_in_which_flights_are_given_changes_nothing() -> None:
    flights = four()
    for some in permutations(flights):
        assert looks(some) == looks(flights)
        assert in_order(some) == flights


def test_two_rules_of_one_style_stay_apart() -> None:
    first, sixth = looks((RULES[5], RULES[0]))[NAMES[0]], looks((RULES[5], RULES[0]))[NAMES[5]]
    assert (first, sixth) == OTHER_STYLES[:2]
    assert len({*series_styles(RULES[2:])}) == len(OTHER_STYLES)


def test_flights_of_no_known_file_have_styles_in_the_order_of_their_names() -> None:
    some = tuple(flight(name, Kind.RULE) for name in ("c", "a", "b"))
    assert looks(some) == dict(zip("abc", OTHER_STYLES[:3], strict=True))
    assert [one.name for one in in_order((*some, RULES[3], OPTIMUM))] == ["optimum", "bravo", "a", "b", "c"]


def test_a_lone_rule_is_not_drawn_as_the_optimum() -> None:
    assert series_styles((RULES[1],)) == (OTHER_STYLES[1],)


def test_more_flights_than_can_be_told_apart_are_refused() -> None:
    with pytest.raises(InputFault, match="6 flights; allowed: one optimum and at most 5 others"):
        series_styles(RULES[:6])
