"""What is asked of each case of a sweep: the contract of a question, and its answers.

A question is frozen and can be pickled. Once a sweep it prepares what every worker needs (`prepare`), once a worker it
holds what can be shared by all blocks of cases there (`hold`), and once a block it opens a session that answers case
after case, each from the answers of its neighbours in the block. So an answer depends on its block alone: neither on
the number of workers nor on the order of the blocks. A failed case answers with its status, never with an exception.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import Any, Protocol, TypeVar, cast

import numpy as np
from numpy.typing import NDArray

from optdescent.inputs import InputFault
from optdescent.results.sweep import Status, SweepColumn
from optdescent.scenario import Conditions, Level, Scenario

Value = float | int | str | NDArray[Any]
Found = TypeVar("Found")


@dataclass(frozen=True)
class Asked:
    """The scenario that a sweep starts from, as parsed; `name` stands in messages, `folder` is where paths start."""

    data: Mapping[str, Any]
    name: str
    folder: Path | None
    conditions: Conditions

    def scenario(self, levels: Sequence[Level]) -> Scenario:
        """Scenario with each axis at its level [file units].

        Raises
        ------
        InputFault
            The levels together make no valid scenario.
        """
        data = self.conditions.scenario_data(self.data, levels, self.name)
        return Scenario.from_data(data, self.name, self.folder)


@dataclass(frozen=True)
class Case:
    """One case: its number, its levels [file units], and where it lies on each axis (axes,), 0 to 1 [-]."""

    asked: Asked
    number: int
    levels: tuple[Level, ...]
    place: NDArray[np.float64]

    @cached_property
    def scenario(self) -> Scenario:
        """The case's scenario [SI]. Raises InputFault."""
        return self.asked.scenario(self.levels)

    def moved(self, axis: int, by: float) -> Scenario:
        """The case's scenario with one ordered axis moved [file unit]. Raises InputFault."""
        level = float(self.levels[axis]) + by
        return self.asked.scenario((*self.levels[:axis], level, *self.levels[axis + 1 :]))


@dataclass(frozen=True)
class Answer:
    """What a case answers: values by column name [SI], how it ended and why.

    `start` is what a neighbour may start from; it is not stored.
    """

    status: Status
    reason: str = ""
    values: Mapping[str, Value] = field(default_factory=dict[str, Value])
    start: object = None

    @property
    def has_failed(self) -> bool:
        """Whether a defect or bad input ended it: not an answer of what was asked."""
        return self.status in (Status.BAD_INPUT, Status.FAILED)


@dataclass(frozen=True)
class Label:
    """What further is to say of each value of a coordinate: the dimension, a value for each, and attributes."""

    dim: str
    values: NDArray[Any]
    attributes: Mapping[str, str]


@dataclass(frozen=True)
class Layout:
    """Columns of a question, and coordinates of the dimensions they have beyond those of the cases.

    A coordinate is its values and its attributes; `labels` stand beside coordinates under names of their own.
    """

    columns: tuple[SweepColumn, ...]
    coordinates: Mapping[str, tuple[NDArray[Any], Mapping[str, str]]]
    labels: Mapping[str, Label] = field(default_factory=dict[str, Label])


class Session(Protocol):
    """Answers the cases of one block."""

    def begin(self, cases: Sequence[Case]) -> None:
        """All cases of the block, before the first is answered: what is best done for many at once may be done now."""
        ...

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        """Answer of a case; `near` holds the `start` of each solved neighbour in its block, the nearest first."""
        ...

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        """A better answer now that all neighbours have theirs; None where the one given stays."""
        ...


def ended(session: Session, case: Case, near: tuple[object, ...]) -> Answer:
    """How a case ended, whatever happened: a defect of one case must not lose the others."""
    try:
        return session.answer(case, near)
    except InputFault as fault:
        return Answer(Status.BAD_INPUT, str(fault))
    except Exception as error:
        # the reason says what to look at
        return Answer(Status.FAILED, f"{type(error).__name__}: {error}")


class Held(Protocol):
    """What a worker keeps from block to block."""

    def session(self) -> Session:
        """A session for one block, as if it were the first."""
        ...


class Question(Protocol):
    """What is asked of each case."""

    def layout(self, asked: Asked) -> Layout:
        """Columns and coordinates [SI] of the answers."""
        ...

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """What every worker needs, from one case of each kind: picklable [-]."""
        ...

    def hold(self, prepared: object) -> Held:
        """What a worker keeps [-], from what was prepared."""
        ...


class Say(Protocol):
    """How far a preparation is."""

    def __call__(self, sentence: str) -> None:
        """Say it."""
        ...


class Preparation(Protocol):
    """Does what a question prepares with."""

    def each(self, ask: Callable[[Case], Found], cases: Sequence[Case], told: str) -> list[Found | None]:
        """What is found for each case [-], in their order; None for one that cannot be asked.

        `ask` and what it finds are picklable; `told` says what is done.
        """
        ...


@dataclass(frozen=True)
class PreparedHere:
    """Preparation by this process, one case after the other."""

    say: Say

    def each(self, ask: Callable[[Case], Found], cases: Sequence[Case], told: str) -> list[Found | None]:
        """What is found for each case [-], in their order."""
        found = list[Found | None]()
        for case in cases:
            self.say(f"{told}: {len(found) + 1} of {len(cases)}")
            found.append(ask(case))
        return found


@dataclass(frozen=True)
class Together:
    """Several questions asked of each case: the first decides how the case ended, unless another one failed."""

    questions: tuple[Question, ...]

    def layout(self, asked: Asked) -> Layout:
        """Columns and coordinates [SI] of all."""
        layouts = [question.layout(asked) for question in self.questions]
        columns = tuple(column for layout in layouts for column in layout.columns)
        coordinates = {name: given for layout in layouts for name, given in layout.coordinates.items()}
        return Layout(columns, coordinates, {name: own for layout in layouts for name, own in layout.labels.items()})

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """What every worker needs for each question [-]."""
        return tuple(question.prepare(cases, preparation) for question in self.questions)

    def hold(self, prepared: object) -> Held:
        """What a worker keeps for each question [-]."""
        parts = cast(tuple[object, ...], prepared)
        return _HeldTogether(tuple(q.hold(part) for q, part in zip(self.questions, parts, strict=True)))


@dataclass(frozen=True)
class _HeldTogether:
    helds: tuple[Held, ...]

    def session(self) -> Session:
        return _SessionTogether(tuple(held.session() for held in self.helds))


@dataclass(frozen=True)
class _SessionTogether:
    sessions: tuple[Session, ...]

    def begin(self, cases: Sequence[Case]) -> None:
        for session in self.sessions:
            session.begin(cases)

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        return _joined([ended(session, case, starts) for session, starts in self._each(near)])

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        """The first question's better answer: what decides how the case ended."""
        session, starts = self._each(near)[0]
        first, *rest = cast(tuple[object, ...], answer.start or (None,) * len(self.sessions))
        better = session.again(case, replace(answer, start=first), starts)
        if better is None:
            return None
        # what another question failed of stays told
        told = answer if answer.has_failed else better
        values, start = {**answer.values, **better.values}, (better.start, *rest)
        return Answer(told.status, told.reason, values, start)

    def _each(self, near: tuple[object, ...]) -> list[tuple[Session, tuple[object, ...]]]:
        known = cast(tuple[tuple[object, ...], ...], near)
        return [(session, tuple(starts[index] for starts in known)) for index, session in enumerate(self.sessions)]


def _joined(answers: list[Answer]) -> Answer:
    """Every answer's values; a question that failed and has none takes nothing from the others, but is told."""
    values = {name: value for answer in answers for name, value in answer.values.items()}
    silent = (answer for answer in answers[1:] if not answer.values)
    told = next((answer for answer in silent if answer.has_failed), answers[0])
    starts = tuple(answer.start for answer in answers)
    return replace(told, values=values, start=starts if any(start is not None for start in starts) else None)
