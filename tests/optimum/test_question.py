"""The optimum as a question: its answers beside single solves, its slopes beside the sweep's own differences."""

from __future__ import annotations

import gc
import pickle
import weakref
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from optdescent.inputs import read_toml, validated, with_settings
from optdescent.ocp import Memory, Outcome, ProblemFault, SolverSettings
from optdescent.optimum import optimise, question
from optdescent.optimum.beside import CLOSE, FARTHER, Programs
from optdescent.optimum.cold import found_cold
from optdescent.optimum.columns import AFTER_AN_ERROR, FIRST_FLIGHT, NEIGHBOUR
from optdescent.optimum.optimise import flight_of
from optdescent.optimum.order import on_the_other_side
from optdescent.optimum.progress import silent
from optdescent.optimum.question import OptimumQuestion, OptimumSession
from optdescent.optimum.starts import MOST_WORLDS, Latest, Own, Start
from optdescent.optimum.stored import reflight_values, slopes
from optdescent.optimum.structure import world
from optdescent.optimum.trajectory import refly
from optdescent.optimum.trial import Trial
from optdescent.results.sweep import Status
from optdescent.scenario import Conditions, ConditionsDeclaration, Scenario
from optdescent.sweep.block import Answers, answer_block, case_of
from optdescent.sweep.plan import Plan, kinds, plan_of
from optdescent.sweep.question import Asked, PreparedHere
from tests.optimum.descents import SHORT, STILL
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
def prepared() -> bytes:
    """What workers start from, as it travels; it knows nothing of blocks."""
    asked = asked_of(plan_of(conditions()))
    return pickle.dumps(QUESTION.prepare([case_of(asked, n) for n in kinds(asked.conditions, 4)], PreparedHere(print)))


def answers(most: int = 40) -> tuple[Asked, list[Answers]]:
    return answered(most)


@cache
def answered(most: int) -> tuple[Asked, list[Answers]]:
    plan = plan_of(conditions(), most)
    asked = asked_of(plan)
    held = QUESTION.hold(pickle.loads(prepared()))
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
@pytest.mark.long
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
    found = answer_block(plan.blocks[0], plan, asked, layout, question.hold(question.prepare([], PreparedHere(print))))
    assert found.arrays["status"].tolist() == [Status.INFEASIBLE]
    assert "relax the lowest altitude of window 'BRIAR'" in found.arrays["reason"][0]
    assert np.isnan(found.arrays["fuel"][0])
    assert found.arrays["iterations"][0] > 10
    assert found.arrays["start"].tolist() == [FIRST_FLIGHT]


def test_slopes_have_the_unit_of_their_axis_or_quantity_beside_them() -> None:
    """In one variable the unit differs from axis to axis: none is said of the whole."""
    axes = [
        {"kind": "range", "key": "added_tailwind_kt", "from": -4.0, "to": 4.0, "count": 3},
        {"kind": "values", "key": "airframe", "values": ["narrow-body-twin"]},
        {"kind": "values", "key": "start.mach", "values": [0.76, 0.78]},
    ]
    plan = plan_of(Conditions.of(validated(ConditionsDeclaration, {"axes": axes}, "test"), "test"))
    layout = QUESTION.layout(asked_of(plan))
    told = {column.name: column.attributes() for column in layout.columns}
    assert "units" not in told["cost_slope"]
    assert "units" not in told["cost_per"]
    assert told["cost"]["units"] == "kg"
    assert layout.labels["axis_unit"].dim == "axis"
    assert layout.labels["axis_unit"].values.tolist() == ["knot", "", "1"]
    units = layout.labels["quantity_unit"].values.tolist()
    named = dict(zip(layout.coordinates["quantity"][0].tolist(), units, strict=True))
    assert named["tailwind at every height [kt]"] == "knot"
    assert named["mass at the start [t]"] == "tonne"
    assert named["cost of time [kg/min]"] == "kg min-1"
    assert told["start"]["flag_values"] == [-1, FIRST_FLIGHT, NEIGHBOUR, AFTER_AN_ERROR]
    assert told["start"]["flag_meanings"] == "no_answer first_flight neighbour first_flight_after_an_error"
    assert told["stable"]["flag_meanings"] == "no_answer no yes"


# A window in the cruise, for which the problem has no constraint

FAR_WINDOW = (STILL, "arrival.windows[0].distance_nm=140", "arrival.windows[0].altitude_at_least_ft=30000")
HIGHEST = "arrival.windows[0].altitude_at_most_ft"


def far_window(highest: float) -> Scenario:
    data = with_settings(read_toml(STUDY), [*FAR_WINDOW, f"{HIGHEST}={highest}"])
    return Scenario.from_data(data, "test", STUDY.parent)


@cache
def cruising() -> Trial:
    """The optimum through a window at 140 nm that the cruise at FL350 keeps."""
    return found_cold(far_window(36000.0), silent, Memory(), QUESTION.accuracy.first)


@pytest.mark.slow
def test_a_neighbours_optimum_that_breaks_a_window_in_the_cruise_is_not_taken() -> None:
    trial = cruising()
    lower = replace(trial, pose=replace(trial.pose, scenario=far_window(34000.0)))
    assert question._whole(trial) is not None
    assert question._whole(lower) is None


@pytest.mark.long
def test_a_sweep_over_a_window_in_the_cruise_stores_nothing_that_breaks_it() -> None:
    """The second level lies below the cruise, and from there idle does not reach the airport: no descent meets it.

    Started from the first case, whose order leaves the window to the cruise, nothing would ask for it.
    """
    axes = [{"kind": "values", "key": HIGHEST, "values": [36000.0, 34000.0]}]
    asking = OptimumQuestion(local_error=1e-3, with_slopes=False)
    found = block_of(asking, axes, FAR_WINDOW).arrays
    assert found["status"].tolist() == [Status.SOLVED, Status.INFEASIBLE]
    assert "relax the highest altitude of window 'ALDER' by 1000 ft" in found["reason"][1]


def block_of(asking: OptimumQuestion, axes: Sequence[Mapping[str, Any]], settings: Sequence[str]) -> Answers:
    """Answers of a study of one block, without anchors."""
    plan = plan_of(Conditions.of(validated(ConditionsDeclaration, {"axes": axes}, "test"), "test"), 40)
    asked = Asked(with_settings(read_toml(STUDY), settings), "test", STUDY.parent, plan.conditions)
    return answer_block(plan.blocks[0], plan, asked, asking.layout(asked), asking.hold(()))


# What a worker keeps

CHANGING_WIND = (
    "air.wind.kind=section",
    "air.wind.stations=[{sounding='dodge-city-1999-05-04',distance_nm=60},"
    "{sounding='norman-1999-05-04',distance_nm=0}]",
)


def test_what_was_asked_for_longest_ago_is_let_go() -> None:
    kept = Latest[str](2)
    kept.put("a", "A")
    kept.put("b", "B")
    assert kept.get("a") == "A"
    kept.put("c", "C")
    assert (kept.get("a"), kept.get("b"), kept.get("c")) == ("A", None, "C")


def test_a_worker_keeps_what_was_compiled_for_the_latest_worlds_only() -> None:
    """Along a wind that changes on the way each distance of the start is another world."""
    data = with_settings(read_toml(STUDY), [*SHORT, *CHANGING_WIND])
    near = [with_settings(data, [f"start.distance_nm={50 + number}"]) for number in range(MOST_WORLDS + 4)]
    names = [world(Scenario.from_data(own, "test", STUDY.parent)) for own in near]
    assert len(set(names)) == len(names)
    held = QUESTION.hold(())
    session = held.session()
    memories = [weakref.ref(session._own(name).programs.memory) for name in names]
    gc.collect()
    assert [memory() is not None for memory in memories] == [False] * 4 + [True] * MOST_WORLDS
    assert held.shared(names[-1]).memory is memories[-1]()
    assert session._own(names[-1]).programs.memory is memories[-1]()


@pytest.mark.slow
@pytest.mark.long
def test_answers_are_the_same_when_worlds_come_and_go(monkeypatch: pytest.MonkeyPatch) -> None:
    """With room for one world each case begins cold; nothing of another world is taken for its own."""
    axes = [
        {"kind": "values", "key": "start.distance_nm", "values": [50.0, 52.0]},
        {"kind": "values", "key": "start.mass_kg", "values": [60000.0, 61000.0]},
    ]
    asking = OptimumQuestion(local_error=1e-3)
    wide = block_of(asking, axes, [*SHORT, *CHANGING_WIND])
    monkeypatch.setattr(question, "MOST_WORLDS", 1)
    narrow = block_of(asking, axes, [*SHORT, *CHANGING_WIND])
    assert np.all(wide.arrays["status"] == Status.SOLVED)
    assert np.all(narrow.arrays["status"] == Status.SOLVED)
    assert narrow.arrays["cost"] == pytest.approx(wide.arrays["cost"], abs=0.1)
    assert wide.arrays["start"].sum() == 2


# What a case is tried from


@cache
def short() -> tuple[Asked, Trial]:
    """A short descent in still air."""
    axes = [{"kind": "values", "key": "start.mass_kg", "values": [60000.0]}]
    conditions = Conditions.of(validated(ConditionsDeclaration, {"axes": axes}, "test"), "test")
    asked = Asked(with_settings(read_toml(STUDY), [STILL, *SHORT]), "test", STUDY.parent, conditions)
    return asked, found_cold(case_of(asked, 0).scenario, silent, Memory(), QUESTION.accuracy.first)


@pytest.mark.slow
@pytest.mark.parametrize(
    ("costs", "by_newton", "is_known", "asked"),
    [
        ((500.0, 501.0), "ab", True, ["a newton", "b newton"]),
        ((500.0, 500.4), "b", True, ["a newton", "b newton"]),
        ((500.0, 500.6), "b", True, ["a newton", "b newton", "a interior"]),
        ((500.0, 501.0), "a", True, ["a newton", "b newton"]),
        ((500.0, 501.0), "a", False, ["a newton", "b newton", "b interior"]),
        ((500.0, 501.0), "", False, ["a newton", "b newton", "a interior", "b interior"]),
        ((500.0, 501.0), "", True, ["a newton", "b newton", "a interior"]),
    ],
)
def test_the_interior_point_is_asked_where_newtons_method_finds_nothing_or_too_little(
    costs: tuple[float, float], by_newton: str, is_known: bool, asked: list[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Two families, the nearest first, of which the other may be known: it was the best where it was tried.

    Their neighbours cost what they find here, so that this is what their slopes promise.
    """
    of, trial = short()
    case = case_of(of, 0)
    other = replace(trial, pose=replace(trial.pose, order=on_the_other_side(case.scenario, trial.pose.order)[0]))
    starts = {
        name: Start(replace(own, solution=replace(own.solution, cost=cost)), case.place, case.levels, np.zeros(1))
        for name, own, cost in zip("ab", (trial, other), costs, strict=True)
    }
    told: list[str] = []

    def solved(_: Scenario, near: Trial, __: Programs, settings: SolverSettings) -> Trial | None:
        name = next(name for name, start in starts.items() if start.trial is near)
        told.append(f"{name} {'newton' if settings is CLOSE else 'interior'}")
        assert settings in (CLOSE, FARTHER)
        return near if settings is FARTHER or name in by_newton else None

    monkeypatch.setattr(question, "solved_beside", solved)
    session = OptimumSession(QUESTION, QUESTION.hold(()))
    if is_known:
        session._note(case, {question.family(other.pose.order): 500.0})
    found = session._from_each(case, question._by_family(tuple(starts.values()), case.place), Programs(Memory()))
    assert told == asked
    assert len(found) == 2
    assert question._cheapest(found) is not None


@pytest.mark.slow
def test_of_a_family_another_order_is_tried_too_if_it_is_near() -> None:
    of, trial = short()
    place = case_of(of, 0).place
    order = trial.pose.order
    turned = replace(trial, pose=replace(trial.pose, order=(order[1], order[0], *order[2:])))
    assert question.family(turned.pose.order) == question.family(order)
    first, again, near, far = (
        Start(own, place + away) for own, away in ((trial, 0.01), (trial, 0.02), (turned, 0.1), (turned, 0.2))
    )
    assert question._by_family((first, again, near), place) == {question.family(order): [first, near]}
    assert question._by_family((first, again, far), place) == {question.family(order): [first]}
    assert question._by_family((far,), place) == {question.family(order): [far]}


# What is lost of an answer when part of it cannot be computed

TWO = [{"kind": "values", "key": "start.mass_kg", "values": [60000.0, 61000.0]}]


@pytest.mark.slow
def test_whatever_fails_beside_a_neighbour_is_found_cold(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(*_: object) -> None:
        raise ZeroDivisionError("a defect")

    monkeypatch.setattr(question, "solved_beside", fails)
    found = block_of(OptimumQuestion(1e-2, with_slopes=False), TWO, [STILL, *SHORT]).arrays
    assert found["status"].tolist() == [Status.SOLVED] * 2
    # the first has no neighbour, the second says what it met with
    assert found["start"].tolist() == [FIRST_FLIGHT, AFTER_AN_ERROR]


@pytest.mark.slow
@pytest.mark.parametrize(("error", "status"), [(0.9, Status.SOLVED), (1.1, Status.NOT_CONVERGED)])
def test_a_cold_search_that_ends_on_a_coarse_mesh_is_no_answer(
    error: float, status: Status, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Its local error as a part of what is asked for."""
    _, trial = short()
    coarse = replace(trial, solution=replace(trial.solution, outcome=Outcome.COARSE))
    monkeypatch.setattr(question, "found_cold", lambda *_: coarse)
    asking = OptimumQuestion(trial.largest_error / error, with_slopes=False)
    found = block_of(asking, TWO[:1], [STILL, *SHORT]).arrays
    assert found["status"][0] == status
    if status is Status.NOT_CONVERGED:
        assert "the local error asked for was not reached" in found["reason"][0]
        assert np.isnan(found["fuel"][0])


@pytest.mark.slow
def test_another_choice_that_cannot_be_posed_loses_no_optimum(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[object] = []

    def fails(*given: object) -> None:
        asked.append(given)
        raise ProblemFault("of no use")

    monkeypatch.setattr(question, "beyond_the_gate", fails)
    found = block_of(OptimumQuestion(1e-2, with_slopes=False), TWO, [STILL, *SHORT]).arrays
    assert asked
    assert found["status"].tolist() == [Status.SOLVED] * 2
    assert sorted(found["start"].tolist()) == [0, 1]


@pytest.mark.slow
def test_a_flight_that_cannot_be_flown_again_is_said_to_be_so() -> None:
    """Without numbers for the rates the integrator would look for its first step for ever."""
    _, trial = short()
    nowhere = replace(trial.pose, scenario=replace(trial.pose.scenario, temperature_offset=np.nan))
    assert np.isnan([*vars(refly(nowhere, trial.solution)).values()]).all()
    assert np.isfinite([*vars(refly(trial.pose, trial.solution)).values()]).all()
    assert np.isnan([float(value) for value in reflight_values(replace(trial, pose=nowhere)).values()]).all()  # type: ignore[arg-type]


@pytest.mark.slow
def test_slopes_that_cannot_be_computed_lose_no_optimum() -> None:
    """A parameter that is no number: the engine refuses it with a fault."""
    asked, trial = short()
    case, flight = case_of(asked, 0), flight_of(trial)
    values = {**trial.solution.values, "start mass": np.array([np.nan])}
    broken = replace(trial, solution=replace(trial.solution, values=values))
    vars(broken)["errors"] = trial.errors  # found before, with the flight
    assert slopes(case, broken, Programs(Memory())) is None
    session = OptimumSession(QUESTION, QUESTION.hold(()))
    answer = session._told(case, broken, flight, Own(Programs(Memory())), 1)
    assert answer.status is Status.SOLVED
    assert answer.values["fuel"] == flight.summary.fuel
    assert "cost_slope" not in answer.values
