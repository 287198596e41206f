"""The optimum as a question: its answers beside single solves, its slopes beside the sweep's own differences."""

from __future__ import annotations

import pickle
from functools import cache

import numpy as np
import pytest

from optdescent.inputs import read_toml, validated
from optdescent.optimum import optimise
from optdescent.optimum.question import OptimumQuestion
from optdescent.results.sweep import Status
from optdescent.scenario import Conditions, ConditionsDeclaration
from optdescent.sweep.block import Answers, answer_block, case_of
from optdescent.sweep.plan import Plan, kinds, plan_of
from optdescent.sweep.question import Asked
from tests.scenario.files import STUDY

DISTANCES = (296320.0, 185200.0, 92600.0, 18520.0, 0.0)
QUESTION = OptimumQuestion(flights=("altitude", "calibrated_airspeed"), distances=DISTANCES, refly_one_in=4)


def conditions() -> Conditions:
    axes = [
        {"kind": "range", "key": "added_tailwind_kt", "from": -4.0, "to": 4.0, "count": 3},
        {"kind": "values", "key": "start.mass_kg", "values": [61000, 62000]},
    ]
    return Conditions.of(validated(ConditionsDeclaration, {"axes": axes}, "test"), "test")


def asked_of(plan: Plan) -> Asked:
    return Asked(read_toml(STUDY), "test", STUDY.parent, plan.conditions)


@cache
def answers(most: int = 40) -> tuple[Asked, list[Answers]]:
    plan = plan_of(conditions(), most)
    asked = asked_of(plan)
    prepared = pickle.loads(
        pickle.dumps(QUESTION.prepare([case_of(asked, n) for n in kinds(plan.conditions, 4)], print))
    )
    held = QUESTION.hold(prepared)
    return asked, [answer_block(block, plan, asked, QUESTION.layout(asked), held) for block in plan.blocks]


def whole(name: str, most: int = 40) -> np.ndarray:
    found = np.full((3, 2), np.nan)
    for answer in answers(most)[1]:
        found[answer.block.region] = answer.arrays[name]
    return found


@pytest.mark.slow
def test_every_case_is_solved_to_the_accuracy_asked_for() -> None:
    assert np.all(whole("status") == Status.SOLVED)
    assert np.all(whole("local_error") <= QUESTION.local_error)
    assert np.all(whole("constraint_violation") < 1e-6)
    assert np.all(whole("stable") == 1)


@pytest.mark.slow
def test_a_case_has_the_numbers_of_the_same_scenario_solved_alone() -> None:
    """The single solve has a local error of 1e-6: the difference is that of the meshes."""
    asked, _ = answers()
    case = case_of(asked, 5)
    alone = optimise(case.scenario)
    assert whole("fuel")[2, 1] == pytest.approx(alone.summary.fuel, abs=0.05)
    assert whole("time")[2, 1] == pytest.approx(alone.summary.time, abs=0.5)
    assert whole("top_of_descent")[2, 1] == pytest.approx(alone.summary.top_of_descent, abs=300.0)
    kept = answers()[1][0].arrays["flown_altitude"][2, 1]
    x = -alone.column("distance_to_go")
    assert kept == pytest.approx(np.interp(-np.array(DISTANCES), x, alone.column("altitude")), abs=15.0)


@pytest.mark.slow
def test_slopes_from_the_multipliers_are_the_differences_of_the_sweep() -> None:
    """Central differences over 8 kt, trapezoidal ones over a tonne: both exact for a quadratic."""
    cost, slope = whole("cost"), answers()[1][0].arrays["cost_slope"]
    wind = (cost[2] - cost[0]) / 8.0
    assert slope[1, :, 0] == pytest.approx(wind, rel=0.02)
    mass = (cost[:, 1] - cost[:, 0]) / 1000.0
    assert 0.5 * (slope[:, 0, 1] + slope[:, 1, 1]) == pytest.approx(mass, rel=0.02)


@pytest.mark.slow
def test_slopes_to_quantities_agree_with_those_to_axes() -> None:
    """Per kt of tailwind and per tonne: the same derivatives by another way through the parameters."""
    arrays = answers()[1][0].arrays
    assert arrays["cost_per"][..., 0] == pytest.approx(arrays["cost_slope"][..., 0], rel=1e-6)
    quantities = [str(name) for name in QUESTION.layout(answers()[0]).coordinates["quantity"][0]]
    mass = quantities.index("mass at the start [t]")
    assert arrays["cost_per"][..., mass] == pytest.approx(1000.0 * arrays["cost_slope"][..., 1], rel=1e-6)


@pytest.mark.slow
def test_answers_do_not_depend_on_how_blocks_are_cut_but_for_the_meshes() -> None:
    assert len(answers(2)[1]) > 1
    assert whole("cost", 2) == pytest.approx(whole("cost"), abs=0.05)
    assert np.all(whole("status", 2) == Status.SOLVED)


@pytest.mark.slow
def test_one_case_in_some_is_flown_again() -> None:
    again = whole("reflight_altitude")
    numbers = np.arange(6).reshape(3, 2)
    assert np.array_equal(np.isfinite(again), numbers % QUESTION.refly_one_in == 0)
    assert np.nanmax(again) < 3.0


@pytest.mark.slow
def test_a_case_whose_demands_conflict_says_which() -> None:
    """The second window at 9990 ft, 16 nm out, is 4900 ft above the glide path, which must be met from below."""
    axes = [{"kind": "values", "key": "start.mass_kg", "values": [62000]}]
    plan = plan_of(Conditions.of(validated(ConditionsDeclaration, {"axes": axes}, "test"), "test"))
    data = read_toml(STUDY)
    data["arrival"]["windows"][1] |= {"altitude_at_least_ft": 9990.0, "distance_nm": 16.0}
    asked = Asked(data, "test", STUDY.parent, plan.conditions)
    question = OptimumQuestion(with_slopes=False)
    layout = question.layout(asked)
    found = answer_block(plan.blocks[0], plan, asked, layout, question.hold(question.prepare([], print)))
    assert found.arrays["status"].tolist() == [Status.INFEASIBLE]
    assert "relax the lowest altitude of window 'BRIAR'" in found.arrays["reason"][0]
    assert np.isnan(found.arrays["fuel"][0])
