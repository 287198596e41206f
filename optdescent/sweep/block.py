"""One block of cases answered, each case from its nearest answered neighbour."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from optdescent.results.sweep import REASON, STATUS, Content, Status
from optdescent.sweep.plan import Block, Plan
from optdescent.sweep.question import Answer, Asked, Case, Held, Layout, Session, ended

_MOST_PASSES = 4
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
    with suppress(Exception):
        # what fails for all at once may still be answered one by one, and says then why it fails
        session.begin(cases)
    outwards: list[int] = np.argsort(np.linalg.norm(places - middle, axis=1), kind="stable").tolist()
    answers: dict[int, Answer] = {}
    for index in outwards:
        answers[index] = ended(session, cases[index], _near(index, answers, places))
    for _ in range(_MOST_PASSES):
        better = {
            index: found
            for index in outwards
            if (found := _again(session, cases[index], answers[index], _near(index, answers, places))) is not None
        }
        answers |= better
        if not better:
            break
    ordered = [answers[index] for index in range(len(cases))]
    return Answers(block, _arrays(block, layout, ordered))


def failed_block(block: Block, layout: Layout, reason: str) -> Answers:
    """Answers of a block that no worker survived [-]."""
    return Answers(block, _arrays(block, layout, [Answer(Status.FAILED, reason)] * block.size))


def case_of(asked: Asked, number: int) -> Case:
    """A case by its number [-]."""
    conditions = asked.conditions
    return Case(asked, number, conditions.levels(number), conditions.place(number))


def _near(index: int, answers: Mapping[int, Answer], places: NDArray[np.float64]) -> tuple[object, ...]:
    """Starts of the other cases that have one, the nearest first."""
    solved = [other for other, answer in answers.items() if answer.start is not None and other != index]
    by_distance = np.argsort(np.linalg.norm(places[solved] - places[index], axis=1), kind="stable")
    return tuple(answers[solved[other]].start for other in by_distance)


def _again(session: Session, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
    if answer.has_failed and answer.start is None:
        return None
    try:
        return session.again(case, answer, near)
    except Exception:
        # The answer that is at hand stays; why no better one was found is of no use to anyone.
        return None


def _arrays(block: Block, layout: Layout, answers: list[Answer]) -> Arrays:
    kept: list[Answer] = []
    rows: list[dict[str, NDArray[Any]]] = []
    for answer in answers:
        try:
            rows.append(_row(layout, answer))
        except (TypeError, ValueError, OverflowError) as error:
            # a value that does not fit its column is one case's defect too
            answer = Answer(Status.FAILED, f"{type(error).__name__}: {error}")
            rows.append(_row(layout, answer))
        kept.append(answer)
    found = {
        name: np.stack([row[name] for row in rows]).reshape(*block.shape, *first.shape)
        for name, first in rows[0].items()
    }
    reasons = [_storable(answer.reason) for answer in kept]
    found[REASON.name] = np.array(reasons, dtype=object).reshape(block.shape)
    found[STATUS.name] = np.array([int(answer.status) for answer in kept], dtype=np.int8).reshape(block.shape)
    return found


def _row(layout: Layout, answer: Answer) -> dict[str, NDArray[Any]]:
    """Values of one case by column, each in the shape and of the type in which it is stored."""
    found: dict[str, NDArray[Any]] = {}
    for column in layout.columns:
        value = answer.values.get(column.name, column.content.missing)
        is_text = column.content is Content.TEXT
        own = np.asarray(value, dtype=str).astype(object) if is_text else np.asarray(value, dtype=column.content.value)
        found[column.name] = np.broadcast_to(own, tuple(layout.coordinates[dim][0].size for dim in column.dims))
    return found


def _storable(text: str) -> str:
    """A text without what UTF-8 does not have, as parts of names of files."""
    return text.encode("utf-8", "replace").decode("utf-8")
