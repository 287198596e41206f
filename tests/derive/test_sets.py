"""Three sets of conditions: they share no case and no member, and what cannot be drawn so is refused."""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations
from pathlib import Path

import pytest

from optdescent.derive import DeriveDeclaration
from optdescent.derive.sets import Use, conditions_of, sets_of
from optdescent.inputs import InputFault
from optdescent.scenario.declared_axes import CrewsAxis, EnsembleAxis
from tests.derive.studies import AXES, asked_with

SMALL = DeriveDeclaration(train=16, check=32, unseen=64)
MEMBERS = """
[conditions.sampling]
kind = "random"
count = 16
[[conditions.axes]]
kind = "ensemble"
members = 5
random_kt = 5.0
[[conditions.axes]]
kind = "crews"
members = 5
seed = 7
"""
LISTED = '[conditions.sampling]\nkind = "random"\ncount = 16\n' + (
    "[[conditions.axes]]\nkind = 'values'\nkey = 'start.mass_kg'\nvalues = [56000.0, 60000.0, 64000.0]\n"
)


def test_the_sets_share_no_case_and_have_the_counts_asked_for(tmp_path: Path) -> None:
    sets = sets_of(asked_with(tmp_path, AXES), SMALL, "study.toml")
    assert {use: len(own) for use, own in sets.levels.items()} == {Use.TRAIN: 16, Use.CHECK: 32, Use.UNSEEN: 64}
    for one, other in combinations(Use, 2):
        assert not set(sets.levels[one]) & set(sets.levels[other])
        digests = [{scenario.digest for scenario in sets.scenarios[use]} for use in (one, other)]
        assert not digests[0] & digests[1]


def test_the_same_seed_gives_the_same_sets_and_another_gives_others(tmp_path: Path) -> None:
    asked = asked_with(tmp_path, AXES)
    assert sets_of(asked, SMALL, "x").levels == sets_of(asked, SMALL, "x").levels
    moved = sets_of(asked_with(tmp_path, AXES.replace("seed = 3", "seed = 30")), SMALL, "x")
    assert moved.levels != sets_of(asked, SMALL, "x").levels


def test_no_two_sets_share_a_member_and_each_has_one_for_each_case(tmp_path: Path) -> None:
    asked = asked_with(tmp_path, MEMBERS)
    seeds: dict[Use, list[range]] = {}
    for use in Use:
        drawn = conditions_of(asked.conditions, SMALL, use, "x")
        axes = [axis.declared for axis in drawn.axes]
        assert [type(axis) for axis in axes] == [EnsembleAxis, CrewsAxis]
        seeds[use] = [range(axis.seed, axis.seed + axis.members) for axis in axes]  # type: ignore[union-attr]
        assert all(len(own) >= SMALL.unseen for own in seeds[use])
    for one, other in combinations(Use, 2):
        for mine, others in zip(seeds[one], seeds[other], strict=True):
            assert not set(mine) & set(others)
    sets_of(asked, SMALL, "x")


@pytest.mark.parametrize(
    ("axes", "declared", "key", "said"),
    [
        (AXES.replace('"sobol"', '"saltelli"'), SMALL, "conditions.sampling.kind", "'saltelli'"),
        (AXES, SMALL.model_copy(update={"check": 33}), "derive.check", "a power of two"),
        (LISTED, SMALL, "conditions.axes", "cases of the set check are in the set train too"),
        (MEMBERS.replace("seed = 7", f"seed = {2**30}"), SMALL, "conditions.axes[1].seed", "members of its own"),
    ],
)
def test_what_cannot_be_drawn_is_refused(
    tmp_path: Path, axes: str, declared: DeriveDeclaration, key: str, said: str
) -> None:
    asked = asked_with(tmp_path, axes)
    with pytest.raises(InputFault) as caught:
        sets_of(asked, declared, "study.toml")
    (fault,) = caught.value.faults
    assert (fault.file, fault.key) == ("study.toml", key)
    assert said in str(fault)


def test_a_grid_is_refused(tmp_path: Path) -> None:
    asked = asked_with(tmp_path, AXES)
    grid = "[[conditions.axes]]\nkind = 'range'\nkey = 'start.mass_kg'\nfrom = 56000\nto = 64000\ncount = 3\n"
    (tmp_path / "grid").mkdir()
    gridded = replace(asked, conditions=asked_with(tmp_path / "grid", grid).conditions)
    with pytest.raises(InputFault, match="conditions drawn anew"):
        sets_of(gridded, SMALL, "study.toml")
