"""One block answered: what each case says, whatever goes wrong with it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from optdescent.inputs import Fault, InputFault
from optdescent.results.schema import Column
from optdescent.results.sweep import Content, Status, SweepColumn
from optdescent.sweep.block import Answers, answer_block, failed_block
from optdescent.sweep.plan import Block
from optdescent.sweep.question import Answer, Case, Layout, Value
from tests.sweep.toy import MASS, TAILWIND, Toy, formula, sweep_of

LAYOUT = Layout(
    (
        SweepColumn(Column("fuel", "kg", "fuel", "")),
        SweepColumn(Column("steps", "1", "steps", ""), Content.COUNT),
        SweepColumn(Column("is_fast", "", "fast", ""), Content.FLAG),
        SweepColumn(Column("word", "", "word", ""), Content.TEXT),
        SweepColumn(Column("slope", "kg", "slope", ""), dims=("axis",)),
    ),
    {"axis": (np.array(["x", "y", "z"]), {})},
)
FITTING: dict[str, Value] = {"fuel": 1.5, "steps": 7, "is_fast": True, "word": "ü", "slope": np.array([1.0, 2.0, 3.0])}


@dataclass(frozen=True)
class Formula:
    """Held and session at once: answers each case by a function."""

    found: Callable[[Case], Answer]

    def session(self) -> Formula:
        return self

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        return self.found(case)

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        return None


def answers_of(found: Callable[[Case], Answer], number: int = 0) -> Answers:
    sweep = sweep_of((MASS, TAILWIND))
    return answer_block(sweep.plan.blocks[number], sweep.plan, sweep.asked, LAYOUT, Formula(found))


def raising(error: BaseException) -> Callable[[Case], Answer]:
    def found(case: Case) -> Answer:
        raise error

    return found


def test_each_answer_stands_at_its_case() -> None:
    sweep = sweep_of()
    held = Toy().hold({"start": 0.0})
    layout = Toy().layout(sweep.asked)
    for block in sweep.plan.blocks:
        found = answer_block(block, sweep.plan, sweep.asked, layout, held).arrays
        for index, number in zip(np.ndindex(block.shape), block.cases(sweep.plan.shape), strict=True):
            if found["status"][index] == Status.SOLVED:
                levels = [float(level) for level in sweep.plan.conditions.levels(int(number))]
                assert found["fuel"][index] == formula(*levels)
                assert np.array_equal(found["rule_fuel"][index], formula(*levels) + np.array([50.0, 80.0]))
            else:
                assert np.isnan(found["fuel"][index])
                assert found["word"][index] == ""
                assert found["reason"][index] != ""


def test_values_are_stored_as_their_column_holds_them() -> None:
    found = answers_of(lambda case: Answer(Status.SOLVED, "", FITTING)).arrays
    kinds = {"fuel": "f8", "steps": "i4", "is_fast": "i1", "word": "O", "slope": "f8", "reason": "O", "status": "i1"}
    assert {name: array.dtype.str.lstrip("<|") for name, array in found.items()} == kinds
    assert found["slope"].shape == (*found["fuel"].shape, 3)
    assert set(found["word"].ravel()) == {"ü"}


def test_what_is_left_out_is_missing() -> None:
    found = answers_of(lambda case: Answer(Status.INFEASIBLE, "no")).arrays
    assert np.all(np.isnan(found["fuel"]))
    assert np.all(np.isnan(found["slope"]))
    assert np.all(found["steps"] == -1)
    assert np.all(found["is_fast"] == -1)
    assert set(found["word"].ravel()) == {""}


@pytest.mark.parametrize(
    ("error", "status", "reason"),
    [
        (InputFault([Fault("f", "k", "got 1", "2")]), Status.BAD_INPUT, "f: k: got 1; allowed: 2"),
        (ZeroDivisionError("by nothing"), Status.FAILED, "ZeroDivisionError: by nothing"),
    ],
)
def test_an_exception_is_the_answer_of_its_case(error: Exception, status: Status, reason: str) -> None:
    found = answers_of(raising(error)).arrays
    assert np.all(found["status"] == status)
    assert set(found["reason"].ravel()) == {reason}


def test_an_interrupt_is_no_answer() -> None:
    with pytest.raises(KeyboardInterrupt):
        answers_of(raising(KeyboardInterrupt()))


@pytest.mark.parametrize(
    "odd",
    [{"fuel": "much"}, {"steps": float("nan")}, {"is_fast": 300}, {"slope": np.zeros(2)}, {"fuel": np.zeros(3)}],
    ids=str,
)
def test_a_value_that_does_not_fit_fails_its_case_alone(odd: dict[str, Value]) -> None:
    def found(case: Case) -> Answer:
        return Answer(Status.SOLVED, "", {**FITTING, **odd} if case.number == 1 else FITTING)

    answers = answers_of(found)
    cases = answers.block.cases((6, 5)).reshape(answers.block.shape)
    status = answers.arrays["status"]
    assert status[cases == 1].tolist() == [Status.FAILED]
    assert np.all(status[cases != 1] == Status.SOLVED)
    assert np.all(answers.arrays["fuel"][cases != 1] == 1.5)
    assert "Error: " in answers.arrays["reason"][cases == 1][0]


def test_a_reason_that_is_no_text_is_stored_as_far_as_it_is() -> None:
    found = answers_of(raising(InputFault([Fault("a\udcffb", "", "is odd", "")])))
    assert set(found.arrays["reason"].ravel()) == {"a?b: is odd"}


def test_a_block_that_is_given_up_has_its_reason_in_every_case() -> None:
    block = Block(3, ((2, 4), (0, 3)))
    found = failed_block(block, LAYOUT, "workers died").arrays
    assert found["slope"].shape == (2, 3, 3)
    assert np.all(found["status"] == Status.FAILED)
    assert set(found["reason"].ravel()) == {"workers died"}
