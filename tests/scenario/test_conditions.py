"""Conditions: cases of grids and samples, and every fault of what varies."""

from __future__ import annotations

import itertools
import math
import pickle
import tomllib
from typing import Any, get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import qmc

from optdescent.inputs import InputFault, validated, with_settings
from optdescent.scenario import ADDED_TAILWIND, Conditions, ConditionsDeclaration, Scenario
from optdescent.scenario.declared_axes import AxisDeclaration
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.scenario.files import DATA, STUDY

Table = dict[str, Any]
MASS: Table = {"kind": "range", "key": "start.mass_kg", "from": 56000.0, "to": 64000.0, "count": 5}
TAILWIND: Table = {"kind": "normal", "key": ADDED_TAILWIND, "mean": 0.0, "standard_deviation": 15.0, "count": 3}
FRAMES: Table = {"kind": "values", "key": "airframe", "values": ["narrow-body-twin", "wide-body-twin"]}
SOUNDINGS: Table = {"kind": "soundings", "soundings": ["norman-1999-05-04", "topeka-1999-05-04"]}
MEMBERS: Table = {"kind": "ensemble", "members": 4, "random_kt": 5.0}
GRID: Table = {"kind": "grid"}
TABLES = get_args(get_args(AxisDeclaration)[0])
KINDS = f"one of {', '.join(repr(*get_args(table.model_fields['kind'].annotation)) for table in TABLES)}"


def values(key: str, *levels: object, **more: Any) -> Table:
    return {"kind": "values", "key": key, "values": list(levels), **more}


def sample(kind: str, count: int, seed: int = 3) -> Table:
    return {"kind": kind, "count": count, "seed": seed}


def conditions(sampling: Table, *axes: Table, key: str = "conditions") -> Conditions:
    declared = validated(ConditionsDeclaration, {"sampling": sampling, "axes": list(axes)}, "study.toml")
    return Conditions.of(declared, "study.toml", key)


def faults(sampling: Table, *axes: Table, key: str = "conditions") -> list[str]:
    with pytest.raises(InputFault) as caught:
        conditions(sampling, *axes, key=key)
    return [str(fault) for fault in caught.value.faults]


def shares(found: Conditions) -> np.ndarray:
    assert found.shares is not None
    return found.shares


def case(found: Conditions, number: int, data: Table = DATA) -> Scenario:
    levels = found.levels(number)
    return Scenario.from_data(found.scenario_data(data, levels, "study.toml"), "scenario.toml", STUDY.parent)


# grids


def test_a_file_without_sampling_is_a_grid() -> None:
    text = """
    [[axes]]
    kind = "values"
    key = "start.mass_kg"
    values = [58000, 60000.0]
    """
    found = Conditions.of(validated(ConditionsDeclaration, tomllib.loads(text), "study.toml"), "study.toml")
    assert found.shape == (2,)
    assert found.shares is None
    assert [found.levels(number) for number in range(2)] == [(58000,), (60000.0,)]


def test_the_last_axis_of_a_grid_runs_fastest() -> None:
    found = conditions(GRID, values("cost.time_kg_per_min", 5, 0, 20), FRAMES, MASS)
    assert found.shape == (3, 2, 5)
    assert found.size == 30
    levels = [found.levels(number) for number in range(found.size)]
    masses = [56000.0, 58000.0, 60000.0, 62000.0, 64000.0]
    assert levels == list(itertools.product([5, 0, 20], ["narrow-body-twin", "wide-body-twin"], masses))
    indices = [np.unravel_index(number, found.shape) for number in range(found.size)]
    assert levels == [tuple(axis.levels[i] for axis, i in zip(found.axes, at, strict=True)) for at in indices]
    with pytest.raises(IndexError):
        found.levels(30)


def test_the_place_in_a_grid_is_the_rank_of_each_level() -> None:
    found = conditions(GRID, values("cost.time_kg_per_min", 5, 0, 20), FRAMES, values("start.mach", 0.78), MASS)
    assert found.place(0).tolist() == [0.5, 0.0, 0.0, 0.0]
    assert found.place(1).tolist() == [0.5, 0.0, 0.0, 0.25]
    assert found.place(found.size - 1).tolist() == [1.0, 1.0, 0.0, 1.0]


def test_a_grid_has_no_order_to_change() -> None:
    found = conditions(GRID, MASS)
    assert found.reordered(np.array([4, 3, 2, 1, 0])) is found


def test_a_large_grid_is_not_laid_out() -> None:
    axes = [values(f"a{n}", *range(10)) for n in range(7)]
    found = conditions(GRID, *axes)
    assert found.size == 10_000_000
    assert found.levels(1_234_567) == (1, 2, 3, 4, 5, 6, 7)


# samples


@pytest.mark.parametrize("kind", ["random", "latin-hypercube", "sobol"])
def test_a_sample_has_count_cases_in_one_dimension(kind: str) -> None:
    found = conditions(sample(kind, 64), MASS, TAILWIND, FRAMES, SOUNDINGS, MEMBERS)
    assert found.shape == (64,)
    assert found.size == 64
    assert shares(found).shape == (64, 5)
    for number in range(found.size):
        mass, _, frame, sounding, member = found.levels(number)
        share = shares(found)[number]
        assert mass == pytest.approx(56000.0 + 8000.0 * share[0])
        assert frame == FRAMES["values"][int(2.0 * share[2])]
        assert sounding == SOUNDINGS["soundings"][int(2.0 * share[3])]
        assert member == int(4.0 * share[4])


@pytest.mark.parametrize("kind", ["random", "latin-hypercube", "sobol", "saltelli"])
def test_a_sample_is_repeated_by_its_seed_and_changed_by_another(kind: str) -> None:
    first, again, other = (conditions(sample(kind, 16, seed), MASS, TAILWIND) for seed in (5, 5, 6))
    assert np.array_equal(shares(first), shares(again))
    assert not np.any(shares(first) == shares(other))


@pytest.mark.parametrize("kind", ["random", "latin-hypercube", "sobol", "saltelli"])
@given(seed=st.integers(0, 2**31 - 1), power=st.integers(1, 6))
def test_a_place_lies_between_0_and_1(kind: str, seed: int, power: int) -> None:
    found = conditions(sample(kind, 2**power, seed), MASS, TAILWIND, FRAMES)
    for number in range(found.size):
        place = found.place(number)
        assert place.shape == (3,)
        assert np.all((place >= 0.0) & (place <= 1.0))
        assert len(found.levels(number)) == 3


def test_a_place_is_the_callers_own() -> None:
    found = conditions(sample("random", 4), MASS)
    found.place(2)[:] = 7.0
    assert np.all(shares(found) < 1.0)


@given(st.lists(st.integers(1, 6), min_size=1, max_size=4))
def test_a_place_in_a_grid_lies_between_0_and_1(counts: list[int]) -> None:
    found = conditions(GRID, *(values(f"a{n}", *range(count)) for n, count in enumerate(counts)))
    places = np.array([found.place(number) for number in range(found.size)])
    assert np.all((places >= 0.0) & (places <= 1.0))
    assert len({tuple(place) for place in places.tolist()}) == found.size == math.prod(counts)


def test_random_draws_are_uniform_and_independent() -> None:
    drawn = shares(conditions(sample("random", 4000), MASS, TAILWIND))
    assert abs(float(np.corrcoef(drawn.T)[0, 1])) < 0.05
    assert np.histogram(drawn[:, 0], 10, (0.0, 1.0))[0] == pytest.approx(np.full(10, 400), abs=80)


@pytest.mark.parametrize("count", [1, 7, 100])
def test_a_latin_hypercube_has_one_draw_in_each_stratum(count: int) -> None:
    drawn = shares(conditions(sample("latin-hypercube", count), MASS, TAILWIND, FRAMES))
    for column in drawn.T:
        assert sorted(np.floor(column * count).astype(int).tolist()) == list(range(count))


def test_a_latin_hypercube_meets_each_member_equally_often() -> None:
    found = conditions(sample("latin-hypercube", 40), MEMBERS, SOUNDINGS)
    drawn = [found.levels(number) for number in range(found.size)]
    assert np.bincount([int(member) for member, _ in drawn]).tolist() == [10] * 4
    assert sum(sounding == "norman-1999-05-04" for _, sounding in drawn) == 20


def test_sobol_points_are_those_of_the_library() -> None:
    found = conditions(sample("sobol", 32, 9), MASS, TAILWIND, FRAMES)
    assert np.array_equal(shares(found), qmc.Sobol(3, rng=9).random_base2(5))
    one = conditions(sample("sobol", 1, 9), MASS)
    assert one.size == 1


def test_a_saltelli_sample_is_two_samples_and_their_exchanges() -> None:
    """Saltelli and others, Computer Physics Communications 181 (2010): A, B, and A with one column from B."""
    found = conditions(sample("saltelli", 16, 9), MASS, TAILWIND, FRAMES)
    assert found.size == 16 * (3 + 2)
    first, second, *exchanged = shares(found).reshape(5, 16, 3)
    both = qmc.Sobol(6, rng=9).random_base2(4)
    assert np.array_equal(first, both[:, :3])
    assert np.array_equal(second, both[:, 3:])
    for index, mixed in enumerate(exchanged):
        assert np.array_equal(mixed[:, index], second[:, index])
        others = [other for other in range(3) if other != index]
        assert np.array_equal(mixed[:, others], first[:, others])


def test_a_reordered_sample_keeps_its_draws() -> None:
    found = conditions(sample("sobol", 16), MASS, TAILWIND, FRAMES)
    order = np.random.default_rng(0).permutation(16)
    new = found.reordered(order)
    assert found.draw is not None
    assert new.draw is not None
    assert found.draw.tolist() == list(range(16))
    assert new.draw.tolist() == order.tolist()
    for number, draw in enumerate(new.draw.tolist()):
        assert new.levels(number) == found.levels(draw)
        assert np.array_equal(new.place(number), found.place(draw))
    back = new.reordered(np.argsort(order))
    assert back.draw is not None
    assert back.draw.tolist() == list(range(16))
    assert np.array_equal(shares(back), shares(found))


def test_conditions_can_be_sent_to_another_process() -> None:
    for sampling in (GRID, sample("sobol", 8)):
        found = conditions(sampling, MASS, TAILWIND, MEMBERS)
        again = pickle.loads(pickle.dumps(found))
        assert [again.levels(number) for number in range(8)] == [found.levels(number) for number in range(8)]


# scenarios of cases


def test_a_case_has_every_axis_at_its_level() -> None:
    found = conditions(GRID, MASS, values("arrival.windows[0].altitude_at_least_ft", 15000.0, 16000.0), MEMBERS)
    number = found.size - 2
    assert found.levels(number) == (64000.0, 16000.0, 2)
    scenario = case(found, number)
    assert scenario.start.mass == 64000.0
    assert scenario.arrival.windows[0].altitude_at_least == pytest.approx(16000.0 * FOOT)
    assert '"seed": 2' in scenario.text


CONSTANT = with_settings(DATA, ["air.wind.kind=constant", "air.wind.wind_from_deg=270", "air.wind.wind_speed_kt=40"])


@pytest.mark.parametrize(
    ("data", "axes"),
    [
        (DATA, (values(ADDED_TAILWIND, 20.0), values("arrival.course_deg", 40.0))),
        (CONSTANT, (values(ADDED_TAILWIND, 20.0), values("air.wind.wind_speed_kt", 10.0), MEMBERS)),
        (DATA, (MEMBERS, SOUNDINGS, values(ADDED_TAILWIND, 20.0), values("air.wind.scale", 0.5))),
        (
            DATA,
            (
                values("air.wind.wind_speed_kt", 30),
                values("air.wind.wind_from_deg", 9),
                values("air.wind.kind", "constant"),
            ),
        ),
    ],
    ids=["course", "constant wind", "scale", "kind"],
)
def test_the_order_of_axes_does_not_change_a_case(data: Table, axes: tuple[Table, ...]) -> None:
    texts = {case(conditions(GRID, *order), 0, data).text for order in itertools.permutations(axes)}
    assert len(texts) == 1
    assert texts != {Scenario.from_data(data, "scenario.toml", STUDY.parent).text}


def test_a_wind_that_an_ensemble_disturbs_still_follows_its_own_axis() -> None:
    found = conditions(GRID, values(ADDED_TAILWIND, 20.0), values("air.wind.wind_speed_kt", 10.0, 60.0))
    course = math.radians(90.0)
    along = [float(case(found, n, CONSTANT).air.sample(0.0, 5000.0, course).wind_along) for n in range(2)]
    assert along[1] - along[0] == pytest.approx(50.0 * KNOT)


def test_the_added_tailwind_is_along_the_course_of_the_case() -> None:
    still = with_settings(DATA, ["air.wind.kind=none"])
    found = conditions(GRID, values(ADDED_TAILWIND, 20.0), values("arrival.course_deg", 40.0, 200.0))
    for number in range(2):
        scenario = case(found, number, still)
        sampled = scenario.air.sample(-30.0 * NAUTICAL_MILE, 5000.0, scenario.arrival.course)
        assert float(sampled.wind_along) == pytest.approx(20.0 * KNOT)
        assert float(sampled.wind_across) == pytest.approx(0.0, abs=1e-9)


def test_a_case_needs_a_level_for_each_axis() -> None:
    with pytest.raises(ValueError, match="zip"):
        conditions(GRID, MASS, FRAMES).scenario_data(DATA, (60000.0,), "study.toml")


# what is tried before a sweep


def test_corners_of_a_grid_are_ends_and_levels_with_the_rest_mid_way() -> None:
    found = conditions(GRID, values("cost.time_kg_per_min", 5, 0, 20), FRAMES, MEMBERS)
    assert found.corners() == [
        (0, (0, "wide-body-twin", 2)),
        (0, (20, "wide-body-twin", 2)),
        (1, (5, "narrow-body-twin", 2)),
        (1, (5, "wide-body-twin", 2)),
        (2, (5, "wide-body-twin", 0)),
    ]


def test_corners_of_a_sample_are_the_ends_of_the_draw() -> None:
    falling = {**MASS, "from": 64000.0, "to": 56000.0}
    found = conditions(sample("random", 50), falling, TAILWIND, values("start.mach", 0.78, 0.8, 0.7), FRAMES, MEMBERS)
    drawn = [found.levels(number) for number in range(50)]
    tried = [[levels[index] for at, levels in found.corners() if at == index] for index in range(5)]
    for index in range(3):
        column = [float(levels[index]) for levels in drawn]
        assert tried[index] == [min(column), max(column)]
    assert tried[2] == [0.7, 0.8]
    assert tried[3] == ["narrow-body-twin", "wide-body-twin"]
    assert tried[4] == [min(levels[4] for levels in drawn)]
    assert found.corners()[0][1][1:] == (0.0, 0.78, "wide-body-twin", 2)


def test_a_level_that_was_never_drawn_is_not_tried() -> None:
    found = conditions(sample("random", 2, 1), values("airframe", "a", "b", "c", "d", "e"))
    drawn = {found.levels(number)[0] for number in range(2)}
    assert {levels[0] for _, levels in found.corners()} == drawn
    assert len(drawn) == 2


# bad input


@pytest.mark.parametrize(
    ("axes", "told"),
    [
        ([], "axes: is empty; allowed: at least one axis"),
        (
            [MASS, {**TAILWIND, "name": "mass_kg"}],
            "axes[1].name: got 'mass_kg' twice; allowed: a name for each axis",
        ),
        (
            [{key: MASS[key] for key in MASS if key != "count"}],
            "axes[0].count: missing; allowed: how many levels, for a grid",
        ),
        ([values("start.mach")], "axes[0].values: is empty; allowed: at least one level"),
        ([{**SOUNDINGS, "soundings": []}], "axes[0].soundings: is empty; allowed: at least one level"),
        ([values("start.mach", 0.7, 0.8, 0.7)], "axes[0].values[2]: got 0.7 twice; allowed: levels that differ"),
        ([values("a_kg", 1, 1.0)], "axes[0].values[1]: got 1.0 twice; allowed: levels that differ"),
        (
            [{**SOUNDINGS, "soundings": ["a", "b", "b"]}],
            "axes[0].soundings[2]: got 'b' twice; allowed: levels that differ",
        ),
        ([values("a", 1, "b")], "axes[0].values: mixes numbers and words; allowed: levels of one kind"),
        ([values("a", 1, True)], "axes[0].values: mixes numbers and flags; allowed: levels of one kind"),
        ([values("a", "b", False)], "axes[0].values: mixes words and flags; allowed: levels of one kind"),
        ([values("a", [1])], "axes[0].values[0]: got [1]; allowed: numbers or words or flags"),
        ([values("a", 1, math.nan)], "axes[0].values[1]: got nan; allowed: -1e+09 to 1e+09"),
        ([values("a", math.inf)], "axes[0].values[0]: got inf; allowed: -1e+09 to 1e+09"),
        ([values(ADDED_TAILWIND, "strong")], "axes[0].values[0]: got 'strong'; allowed: numbers"),
        ([values(ADDED_TAILWIND, 1, True)], "axes[0].values[1]: got True; allowed: numbers"),
        (
            [{**MASS, "from": 60000, "to": 60000}],
            "axes[0].to: got 60000, where the range begins; allowed: two ends that differ",
        ),
        ([{**TAILWIND, "lowest": 5, "highest": 5}], "axes[0].lowest: got 5; allowed: below highest, 5"),
        ([{**TAILWIND, "lowest": 6, "highest": -5}], "axes[0].lowest: got 6; allowed: below highest, -5"),
        (
            [{**TAILWIND, "lowest": 900}],
            "axes[0].lowest: nothing is left from 900 to 1e+09; allowed: ends nearer to the mean, or farther apart",
        ),
        (
            [values("start.mass_kg", 1), values("start.mass_kg", 2, name="other")],
            "axes[1]: moves start.mass_kg, as axes[0] does; allowed: one axis for each key",
        ),
        (
            [values("arrival.windows[0].x_ft", 1), values("arrival.windows.0.x_ft", 2, name="other")],
            "axes[1]: moves arrival.windows.0.x_ft, as axes[0] does; allowed: one axis for each key",
        ),
        (
            [values(ADDED_TAILWIND, 1), values("air.wind.bias_kt", 2)],
            "axes[1]: moves air.wind.bias_kt, as axes[0] does; allowed: one axis for each key",
        ),
        (
            [values("air.wind.correlation_distance_nm", 50), MEMBERS],
            "axes[1]: moves air.wind.correlation_distance_nm, as axes[0] does; allowed: one axis for each key",
        ),
        (
            [{**SOUNDINGS, "temperature": True}, values("air.temperature_sounding", "a")],
            "axes[1]: moves air.temperature_sounding, as axes[0] does; allowed: one axis for each key",
        ),
        (
            [SOUNDINGS, {**SOUNDINGS, "name": "other"}],
            "axes[1]: moves air.wind.sounding, as axes[0] does; allowed: one axis for each key",
        ),
        (
            [values("air.wind.wind_speed_kt", 5), SOUNDINGS],
            "axes[0].key: got 'air.wind.wind_speed_kt' beside soundings; "
            "allowed: no axis of the wind that the soundings replace",
        ),
        (
            [SOUNDINGS, values("air.wind.kind", "none")],
            "axes[1].key: got 'air.wind.kind' beside soundings; "
            "allowed: no axis of the wind that the soundings replace",
        ),
        ([values("", 1)], "axes[0].key: got ''; allowed: a dotted key of the scenario file, as start.mass_kg"),
        ([values("a.", 1)], "axes[0].key: got 'a.'; allowed: a dotted key of the scenario file, as start.mass_kg"),
        ([values("a b", 1)], "axes[0].key: got 'a b'; allowed: a dotted key of the scenario file, as start.mass_kg"),
        (
            [values("w[-1].a", 1)],
            "axes[0].key: got 'w[-1].a'; allowed: a dotted key of the scenario file, as start.mass_kg",
        ),
        ([values("w[1]", 1)], "axes[0].name: got 'w[1]'; allowed: letters, digits and underscores, no digit first"),
        (
            [values("a", 1, name="a/b")],
            "axes[0].name: got 'a/b'; allowed: letters, digits and underscores, no digit first",
        ),
        ([values("a", 1, name="")], "axes[0].name: got ''; allowed: letters, digits and underscores, no digit first"),
        (
            [values(f"a{n}", *range(200)) for n in range(4)],
            "axes: make a grid of 1600000000 cases; allowed: at most 10000000, or a sample",
        ),
    ],
)
def test_what_is_wrong_with_axes_is_told(axes: list[Table], told: str) -> None:
    assert faults(GRID, *axes) == [f"study.toml: conditions.{told}"]


@pytest.mark.parametrize(
    ("kind", "count", "told"),
    [
        ("sobol", 100, "got 100; allowed: a power of two: 64 or 128"),
        ("saltelli", 3, "got 3; allowed: a power of two: 2 or 4"),
        (
            "saltelli",
            1,
            "got 1; allowed: a power of two from 2 on: Sobol' indices compare the cases of a sample with one another",
        ),
        ("sobol", 10_000_000, "got 10000000; allowed: a power of two up to 8388608: 10000000 cases in all"),
        ("saltelli", 2**22, "got 4194304; allowed: a power of two up to 2097152: 10000000 cases in all"),
    ],
)
def test_a_count_that_does_not_suit_the_sampling_is_told(kind: str, count: int, told: str) -> None:
    assert faults(sample(kind, count), MASS, TAILWIND) == [f"study.toml: conditions.sampling.count: {told}"]


@pytest.mark.parametrize("kind", ["random", "latin-hypercube"])
def test_other_samples_have_any_count(kind: str) -> None:
    assert conditions(sample(kind, 100), MASS).size == 100


@pytest.mark.parametrize(
    ("sampling", "axis", "told"),
    [
        (sample("random", 0), MASS, "sampling.count: got 0; allowed: 1 or more"),
        (
            {"kind": "star", "count": 4},
            MASS,
            "sampling.kind: got 'star'; allowed: one of 'grid', 'random', 'latin-hypercube', 'sobol', 'saltelli'",
        ),
        (
            GRID,
            {"kind": "steps"},
            f"axes[0].kind: got 'steps'; allowed: {KINDS}",
        ),
        (GRID, {**MASS, "count": 1}, "axes[0].count: got 1; allowed: 2 or more"),
        (GRID, {**MASS, "from": math.nan}, "axes[0].from: got nan; allowed: a finite number"),
        (
            GRID,
            {**TAILWIND, "standard_deviation": 0.0},
            "axes[0].standard_deviation: got 0.0; allowed: 1e-09 to 1e+09",
        ),
    ],
)
def test_what_is_wrong_with_a_table_is_told(sampling: Table, axis: Table, told: str) -> None:
    assert faults(sampling, axis) == [f"study.toml: {told}"]


def test_every_fault_is_told_at_once() -> None:
    found = faults(sample("sobol", 5), values("start.mach", 1, 1), values("airframe", "a", name="mach"), MASS, MASS)
    assert [fault.split(": ")[1] for fault in found] == [
        "conditions.axes[0].values[1]",
        "conditions.axes[1].name",
        "conditions.axes[3].name",
        "conditions.axes[3]",
        "conditions.sampling.count",
    ]


def test_a_file_of_conditions_alone_has_no_table_in_its_keys() -> None:
    assert faults(GRID, key="") == ["study.toml: axes: is empty; allowed: at least one axis"]


def test_soundings_members_a_tailwind_and_a_scale_may_vary_together() -> None:
    found = conditions(GRID, SOUNDINGS, MEMBERS, values(ADDED_TAILWIND, -10, 10), values("air.wind.scale", 1, 1.2))
    assert found.size == 32
    assert len({case(found, number).digest for number in range(32)}) == 32


def test_a_key_of_another_kind_of_axis_is_told() -> None:
    """A range with the values of a list would be drawn as a range all the same."""
    axis = {"kind": "range", "key": "start.mass_kg", "from": 54000.0, "to": 66000.0, "count": 3}
    assert faults(GRID, {**axis, "values": [1.0]}) == [
        "study.toml: axes[0].values: key of another kind (value [1.0]); allowed: keys of this table: "
        "key, name, kind, from, to, count"
    ]
    assert faults(GRID, {**axis, "mean": 6.0})
