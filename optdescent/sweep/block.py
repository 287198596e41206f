"""One block of cases answered, each case from its nearest answered neighbour."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import InputFault
from optdescent.results.sweep import REASON, STATUS, Content, Status, SweepColumn
from optdescent.sweep.plan import Block, Plan
from optdescent.sweep.question import Answer, Asked, Case, Held, Layout, Session

Arrays = Mapping[str, NDArray[Any]]


@dataclass(frozen=True)
class Answers:
    """Answers of a block: one array for each column, the block's own dimensions first."""

    block: Block
    arrays: Arrays


def answer_block(block: Block, plan: Plan, asked: Asked, layout: Layout, held: Held) -> Answers:
    """Answers of a block's cases [SI], from the one in its middle outwards."""
    cases = [case_of(asked, int(number)) for number in block.cases(plan.shape)]
    places = np.array([case.place for case in cases])
    middle = 0.5 * (np.min(places, axis=0) + np.max(places, axis=0))
    session = held.session()
    answers: dict[int, Answer] = {}
    solved: list[int] = []
    outwards: list[int] = np.argsort(np.linalg.norm(places - middle, axis=1), kind="stable").tolist()
    for index in outwards:
        near = None
        if solved:
            nearest = solved[int(np.argmin(np.linalg.norm(places[solved] - places[index], axis=1)))]
            near = answers[nearest].start
        answers[index] = _answered(session, cases[index], near)
        if answers[index].status is Status.SOLVED:
            solved.append(index)
    ordered = [answers[index] for index in range(len(cases))]
    return Answers(block, _arrays(block, layout, ordered))


def failed_block(block: Block, layout: Layout, reason: str) -> Answers:
    """Answers of a block that no worker survived [-]."""
    return Answers(block, _arrays(block, layout, [Answer(Status.FAILED, reason)] * block.size))


def case_of(asked: Asked, number: int) -> Case:
    """A case by its number [-]."""
    conditions = asked.conditions
    return Case(asked, number, conditions.levels(number), conditions.place(number))


def _answered(session: Session, case: Case, near: object) -> Answer:
    try:
        return session.answer(case, near)
    except InputFault as fault:
        return Answer(Status.BAD_INPUT, str(fault))
    except Exception as error:
        # One case's defect must not lose the sweep; its reason says what to look at.
        return Answer(Status.FAILED, f"{type(error).__name__}: {error}")


def _arrays(block: Block, layout: Layout, answers: list[Answer]) -> Arrays:
    found: dict[str, NDArray[Any]] = {}
    for column in layout.columns:
        shape = tuple(layout.coordinates[dim][0].size for dim in column.dims)
        rows = [np.broadcast_to(_value(column, answer), shape) for answer in answers]
        found[column.name] = np.stack(rows).reshape(*block.shape, *shape)
    found[REASON.name] = np.array([answer.reason for answer in answers], dtype=object).reshape(block.shape)
    found[STATUS.name] = np.array([int(answer.status) for answer in answers], dtype=np.int8).reshape(block.shape)
    return found


def _value(column: SweepColumn, answer: Answer) -> NDArray[Any]:
    value = answer.values.get(column.name, column.content.missing)
    return np.asarray(value, dtype=object if column.content is Content.TEXT else column.content.value)
