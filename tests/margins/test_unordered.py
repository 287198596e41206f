"""Levels of axes without an order, each tried alone: what is told of them is flown."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest

from optdescent.inputs import validated
from optdescent.margins.breaking import Break, Breaking
from optdescent.margins.met import asked_of
from optdescent.margins.unordered import MOST_LEVELS, LevelsAlone, levels_to_try, told_alone
from optdescent.rules import fly, read_rules
from optdescent.rules.fleet import Fleet
from optdescent.scenario import Axis, Scenario
from optdescent.scenario.declared_axes import CrewsAxis, EnsembleAxis, SoundingsAxis, ValuesAxis
from optdescent.sweep.question import Asked
from tests.scenario.files import STUDY

RULE, ALLOWANCES = (
    next(rule for rule in read_rules("library") if rule.name == name)
    for name in ("mile-per-ten-knots", "300-with-allowances")
)
AXES = {
    "anti_ice": {"kind": "values", "key": "handling.anti_ice.kind", "name": "anti_ice", "values": ["off", "on"]},
    "sounding": {"kind": "soundings", "soundings": ["nashville-2014-02-21", "norman-1999-05-04"]},
    "member": {"kind": "ensemble", "members": 500, "random_kt": 6.0},
    "crew": {"kind": "crews", "members": 12},
}
KINDS = {"anti_ice": ValuesAxis, "sounding": SoundingsAxis, "member": EnsembleAxis, "crew": CrewsAxis}


def axis(name: str) -> Axis:
    return Axis(validated(KINDS[name], AXES[name], "x"))


def alone(name: str, breaking: Sequence[int], unknown: Sequence[int] = ()) -> LevelsAlone:
    """Levels of an axis of which those of some places break, and some were not flown."""
    own = axis(name)
    breaks = np.zeros(len(levels_to_try(own)))
    breaks[list(breaking)] = 1.0
    breaks[list(unknown)] = np.nan
    return LevelsAlone(own, levels_to_try(own), breaks)


# in words


def test_of_many_levels_some_are_tried_evenly_spread() -> None:
    tried = levels_to_try(axis("member"))
    assert len(tried) == MOST_LEVELS == len(set(tried))
    steps = np.diff([int(level) for level in tried])
    assert (tried[0], steps.min(), steps.max()) == (0, 7, 8)
    assert levels_to_try(axis("crew")) == tuple(range(12))


@pytest.mark.parametrize(
    ("found", "words"),
    [
        ([alone("anti_ice", [1])], "breaks with anti-ice on"),
        ([alone("anti_ice", [])], "holds with anti-ice off and on"),
        ([alone("crew", [3, 4])], "breaks with 2 of 12 crews"),
        ([alone("crew", [], unknown=[0])], "holds with all 11 crews tried of 12"),
        ([alone("member", [5])], "breaks with 1 of 64 random winds tried of 500"),
        ([alone("sounding", [1])], "breaks in 1 of 2 soundings (norman-1999-05-04)"),
        (
            [alone("anti_ice", [1]), alone("member", []), alone("crew", [0])],
            "breaks with anti-ice on and with 1 of 12 crews, holds with all 64 random winds tried of 500",
        ),
        ([alone("anti_ice", [], unknown=[0, 1])], ""),
    ],
)
def test_what_breaks_a_rule_is_told_with_how_many_were_tried(found: list[LevelsAlone], words: str) -> None:
    assert told_alone(found, holds_in_the_middle=True) == words


def test_of_a_rule_that_does_not_hold_is_told_what_mends_it() -> None:
    assert told_alone([alone("anti_ice", [0]), alone("crew", range(12))], holds_in_the_middle=False) == (
        "holds with anti-ice on"
    )
    assert told_alone([alone("crew", range(12))], holds_in_the_middle=False) == ""


# flown

WRONG = ("technique.wind_error_kt=30", "technique.late_s=5", "technique.late_spread_s=10")
"""Crews so wrong about the wind, and so late, that some miss the gate."""


@pytest.fixture(scope="module")
def found(tmp_path_factory: pytest.TempPathFactory) -> tuple[Asked, Break]:
    """Anti-ice, three winds and crews who err, with no driver to disturb."""
    path = tmp_path_factory.mktemp("u") / "conditions.toml"
    path.write_text(
        """
[[axes]]
kind = "values"
key = "handling.anti_ice.kind"
name = "anti_ice"
values = ["off", "on"]

[[axes]]
kind = "ensemble"
members = 3
random_kt = 6.0

[[axes]]
kind = "crews"
members = 12
""",
        encoding="utf-8",
    )
    own = asked_of(STUDY, WRONG, path)
    return own, Breaking(own).of(Fleet(RULE))


def test_each_level_that_breaks_or_holds_does_so_in_a_flight_of_its_own(found: tuple[Asked, Break]) -> None:
    own, broken = found
    assert [one.axis.name for one in broken.levels_alone] == ["anti_ice", "member", "crew"]
    for one in broken.levels_alone:
        for level, breaks in zip(one.levels, one.breaks, strict=True):
            data = one.axis.applied(own.data, level, own.name)
            scenario = Scenario.from_data(data, own.name, own.folder)
            assert float(not fly(scenario, RULE).summary.gate.stable) == breaks
    crews = broken.levels_alone[2]
    assert 0 < len(crews.breaking) < 12


def test_the_sentence_counts_them_and_says_where_the_search_stood(found: tuple[Asked, Break]) -> None:
    _, broken = found
    crews = len(broken.levels_alone[2].breaking)
    assert f"with {crews} of 12 crews" in broken.sentence
    assert broken.sentence.startswith("no ordered driver to disturb; breaks with ")
    assert broken.sentence.endswith("anti-ice off, no random wind, the crew of seed 0")
    assert np.isnan(broken.radius)


def test_the_smallest_disturbance_is_sought_with_anti_ice_on_too(tmp_path: Path) -> None:
    """Raised idle takes less wind to break a rule that holds without and with it."""
    wind = """
[sampling]
kind = "random"
count = 8

[[axes]]
kind = "normal"
key = "added_tailwind_kt"
mean = 0.0
standard_deviation = 12.0
lowest = -40.0
highest = 40.0
"""
    ice = """
[[axes]]
kind = "values"
key = "handling.anti_ice.kind"
name = "anti_ice"
values = ["off", "on"]
"""
    found: dict[str, Break] = {}
    for name, text in (("wind", wind), ("both", wind + ice)):
        path = tmp_path / f"{name}.toml"
        path.write_text(text, encoding="utf-8")
        asked = asked_of(STUDY, (), path)
        found[name] = Breaking(asked).of(Fleet(ALLOWANCES))
    assert 0.0 < found["both"].radius < found["wind"].radius - 0.5
    assert "; with anti-ice on it holds up to" in found["both"].sentence
    assert found["both"].sentence.startswith(found["wind"].sentence.split(";")[0])
