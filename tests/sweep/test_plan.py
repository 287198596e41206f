"""Blocks hold every case once, are small, and keep apart what is no start for one another."""

from __future__ import annotations

import math
import time
from collections.abc import Mapping
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from optdescent.scenario import Conditions
from optdescent.sweep.plan import Plan, kinds, plan_of
from tests.sweep.toy import conditions_of

LEVELS = ["a", "b", "c", "d", "e"]


@st.composite
def axes(draw: st.DrawFn) -> list[Mapping[str, Any]]:
    count = draw(st.integers(1, 4))
    keys = ["start.mass_kg", "air.qnh_hpa", "cost.time_kg_per_min", "start.altitude_ft"][:count]
    found: list[Mapping[str, Any]] = []
    for key in keys:
        kind = draw(st.sampled_from(["range", "normal", "values", "words"]))
        many = draw(st.integers(2, 9))
        match kind:
            case "range":
                found.append({"kind": "range", "key": key, "from": 1.0, "to": 9.0, "count": many})
            case "normal":
                found.append({"kind": "normal", "key": key, "mean": 5.0, "standard_deviation": 2.0, "count": many})
            case "values":
                found.append({"kind": "values", "key": key, "values": list(range(many))})
            case _:
                found.append({"kind": "values", "key": key, "values": LEVELS[: min(many, 5)]})
    return found


SAMPLINGS = st.one_of(
    st.just({"kind": "grid"}),
    st.builds(lambda count: {"kind": "random", "count": count, "seed": 1}, st.integers(1, 400)),
    st.builds(lambda count: {"kind": "latin-hypercube", "count": count, "seed": 2}, st.integers(1, 400)),
    st.builds(lambda power: {"kind": "sobol", "count": 2**power, "seed": 3}, st.integers(0, 8)),
    st.builds(lambda power: {"kind": "saltelli", "count": 2**power, "seed": 4}, st.integers(1, 6)),
)


def numbers(plan: Plan) -> list[int]:
    return [int(number) for block in plan.blocks for number in block.cases(plan.shape)]


def apart(conditions: Conditions, number: int) -> tuple[object, ...]:
    levels = zip(conditions.axes, conditions.levels(number), strict=True)
    return tuple(level for axis, level in levels if axis.is_apart)


@given(axes(), SAMPLINGS, st.integers(1, 60))
def test_blocks_hold_every_case_once(axes: list[Mapping[str, Any]], sampling: dict[str, Any], most: int) -> None:
    plan = plan_of(conditions_of(axes, **sampling), most)
    assert sorted(numbers(plan)) == list(range(plan.conditions.size))
    assert [block.number for block in plan.blocks] == list(range(len(plan.blocks)))
    filled = np.zeros(plan.shape, dtype=int)
    for block in plan.blocks:
        filled[block.region] += 1
        assert filled[block.region].shape == block.shape
        assert block.size <= most
    assert np.all(filled == 1)


@given(axes(), SAMPLINGS, st.integers(1, 60))
def test_levels_that_are_apart_never_share_a_block(
    axes: list[Mapping[str, Any]], sampling: dict[str, Any], most: int
) -> None:
    plan = plan_of(conditions_of(axes, **sampling), most)
    for block in plan.blocks:
        assert len({apart(plan.conditions, int(number)) for number in block.cases(plan.shape)}) == 1


@given(axes(), SAMPLINGS)
def test_a_plan_numbers_a_sample_anew_and_loses_no_case(
    axes: list[Mapping[str, Any]], sampling: dict[str, Any]
) -> None:
    drawn = conditions_of(axes, **sampling)
    plan = plan_of(drawn, 16)
    if drawn.draw is None:
        assert plan.conditions is drawn
        return
    assert plan.conditions.draw is not None
    assert sorted(plan.conditions.draw.tolist()) == drawn.draw.tolist()
    for number in range(0, plan.conditions.size, 7):
        assert plan.conditions.levels(number) == drawn.levels(int(plan.conditions.draw[number]))


@given(axes(), SAMPLINGS)
def test_the_same_conditions_make_the_same_plan(axes: list[Mapping[str, Any]], sampling: dict[str, Any]) -> None:
    one, other = (plan_of(conditions_of(axes, **sampling), 20) for _ in range(2))
    assert one.blocks == other.blocks
    assert one.conditions.draw is other.conditions.draw or np.array_equal(
        np.asarray(one.conditions.draw), np.asarray(other.conditions.draw)
    )


@given(axes(), SAMPLINGS)
def test_chunks_cover_the_cases_and_stay_small(axes: list[Mapping[str, Any]], sampling: dict[str, Any]) -> None:
    plan = plan_of(conditions_of(axes, **sampling))
    assert len(plan.chunks) == len(plan.shape)
    assert all(1 <= chunk <= size for chunk, size in zip(plan.chunks, plan.shape, strict=True))
    assert math.prod(plan.chunks) <= 4096


def test_neighbours_of_a_sample_stand_together() -> None:
    axes = [{"kind": "range", "key": "start.mass_kg", "from": 0.0, "to": 1.0}]
    axes.append({"kind": "range", "key": "air.qnh_hpa", "from": 0.0, "to": 1.0})
    plan = plan_of(conditions_of(axes, kind="random", count=1024, seed=5), 16)
    assert plan.conditions.shares is not None
    reach = [np.ptp(plan.conditions.shares[block.region], axis=0) for block in plan.blocks]
    # 64 blocks of 16 cases tile the square in 8 by 8; a share of the median that a block overshoots is left to chance
    assert np.max(np.median(reach, axis=0)) < 1.0 / 8.0
    assert np.max(reach) < 0.3


@pytest.mark.parametrize("most", [1, 7, 40])
def test_a_block_of_a_grid_is_as_square_as_it_can_be(most: int) -> None:
    whole = {"kind": "range", "from": 0.0, "to": 1.0, "count": 16}
    axes = [{**whole, "key": key} for key in ("start.mass_kg", "air.qnh_hpa")]
    plan = plan_of(conditions_of(axes), most)
    for block in plan.blocks:
        assert max(block.shape) <= 2 * min(block.shape)


def span(key: str, count: int) -> dict[str, Any]:
    return {"kind": "range", "key": key, "from": 0.0, "to": 1.0, "count": count}


@pytest.mark.parametrize("shape", [(64,), (84,), (7, 4, 3), (10, 10), (5, 5, 2, 2), (8, 8), (40, 2), (320,)])
def test_from_64_cases_on_there_are_eight_blocks_of_eight_cases_or_more(shape: tuple[int, ...]) -> None:
    keys = ["start.mass_kg", "air.qnh_hpa", "cost.time_kg_per_min", "start.altitude_ft"]
    plan = plan_of(conditions_of([span(key, count) for key, count in zip(keys, shape, strict=False)]))
    assert len(plan.blocks) >= 8
    assert min(block.size for block in plan.blocks) >= 8
    assert max(block.size for block in plan.blocks) <= 40


@pytest.mark.parametrize("count", [64, 84, 100, 320, 321, 1000])
def test_so_are_those_of_a_sample(count: int) -> None:
    plan = plan_of(conditions_of([span("start.mass_kg", 2)], kind="random", count=count))
    sizes = [block.size for block in plan.blocks]
    assert len(sizes) >= 8
    assert min(sizes) >= 8
    assert max(sizes) <= 40


@pytest.mark.parametrize(("cases", "blocks"), [(1, 1), (15, 1), (16, 2), (33, 4), (320, 8), (321, 9)])
def test_fewer_cases_make_fewer_blocks(cases: int, blocks: int) -> None:
    assert len(plan_of(conditions_of([span("start.mass_kg", 2)], kind="random", count=cases)).blocks) == blocks


@given(axes(), SAMPLINGS)
def test_no_block_is_made_smaller_than_eight_cases_for_the_number_of_blocks_alone(
    axes: list[Mapping[str, Any]], sampling: dict[str, Any]
) -> None:
    """Smaller ones there are where levels that are apart leave no more."""
    plan = plan_of(conditions_of(axes, **sampling))
    together: dict[tuple[object, ...], list[int]] = {}
    for block in plan.blocks:
        first = int(block.cases(plan.shape)[0])
        together.setdefault(apart(plan.conditions, first), []).append(block.size)
    for sizes in together.values():
        assert max(sizes) <= 40
        assert len(sizes) == 1 or min(sizes) >= 8


def test_two_workers_share_the_study_of_the_package_evenly() -> None:
    """84 cases, dealt out as each worker becomes free: neither has more than a block more than half of them."""
    keys = ["added_tailwind_kt", "start.mass_kg", "air.temperature_offset_k"]
    plan = plan_of(conditions_of([span(key, count) for key, count in zip(keys, (7, 4, 3), strict=True)]))
    done = [0, 0]
    for block in plan.blocks:
        done[int(np.argmin(done))] += block.size
    assert sum(done) / max(done) > 1.8


def test_a_sweep_begins_from_each_level_that_is_apart() -> None:
    words = {"kind": "values", "key": "airframe", "values": ["a", "b", "c"]}
    mass = {"kind": "range", "key": "start.mass_kg", "from": 0.0, "to": 1.0, "count": 21}
    conditions = plan_of(conditions_of([words, mass])).conditions
    chosen = kinds(conditions, 16)
    assert {apart(conditions, number) for number in chosen[:3]} == {("a",), ("b",), ("c",)}
    assert [float(conditions.levels(number)[1]) for number in chosen[:3]] == pytest.approx([0.5, 0.5, 0.5])
    assert len(kinds(conditions, 2)) == 2


def test_a_plan_of_many_cases_takes_no_time_for_each() -> None:
    axes = [
        {"kind": "range", "key": "start.mass_kg", "from": 0.0, "to": 1.0},
        {"kind": "range", "key": "air.qnh_hpa", "from": 0.0, "to": 1.0},
        {"kind": "values", "key": "airframe", "values": ["a", "b"]},
    ]
    conditions = conditions_of(axes, kind="random", count=300_000, seed=1)
    begun = time.process_time()
    plan = plan_of(conditions)
    # about 1.3 s of one core of a small machine, and three times that with a loop over the cases
    assert time.process_time() - begun < 3.0
    assert sum(block.size for block in plan.blocks) == conditions.size
