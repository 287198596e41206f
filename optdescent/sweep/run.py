"""A sweep run from its plan to its dataset, in this process, in several or on a cluster, and gone on with."""

from __future__ import annotations

from collections.abc import Callable, Generator, Mapping, Sequence
from contextlib import closing, contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import TypeAlias, assert_never

import numpy as np

from optdescent.inputs import Fault, InputFault
from optdescent.interrupt import Patience, patient, raise_if_interrupted
from optdescent.results.files import check_output
from optdescent.results.provenance import software_version
from optdescent.results.sweep import REASON, STATUS, Status
from optdescent.sweep.block import Answers, case_of
from optdescent.sweep.cluster import Cluster, LinkFault, PreparedByCluster, answered_by_cluster, linked
from optdescent.sweep.dataset import Contents, variables_of
from optdescent.sweep.journal import Journal, first_line
from optdescent.sweep.local import Local, PreparedByProcesses, answered_by_processes, answered_here
from optdescent.sweep.plan import Block, Plan, kinds
from optdescent.sweep.question import Asked, Layout, Preparation, PreparedHere, Question
from optdescent.sweep.store import Store, created, refuse_existing, resumed
from optdescent.sweep.worker import Setup, give_back

Place: TypeAlias = Local | Cluster
"""Where blocks are answered."""
_MOST_KINDS = 16
"""Cases that a question prepares with."""


@dataclass(frozen=True)
class Sweep:
    """Everything that defines a sweep.

    `text` (JSON with sorted keys) decides whether a stored dataset is of the same study; `attributes` are further ones
    of the dataset.
    """

    plan: Plan
    asked: Asked
    question: Question
    text: str
    attributes: Mapping[str, str]


@dataclass(frozen=True)
class Outcome:
    """How a sweep ended: cases by how they ended and cases done in all, earlier runs included [-]."""

    counts: Mapping[Status, int]
    done: int
    interrupted: bool


def run_sweep(sweep: Sweep, path: Path, place: Place, journal: Journal, *, resume: bool) -> Outcome:
    """Answer every case [SI] and store the answers at a path, block by block; go on with what is there.

    Parameters
    ----------
    resume : bool
        Whether to go on with the dataset at `path`, which is then of the same study; else nothing may be there.

    Raises
    ------
    InputFault
        Something else is at the path or nothing to go on with, it cannot be written, the scheduler is not there, or
        the question cannot be prepared.
    KeyboardInterrupt
        A second interrupt came, or one before the first block. What was stored is, and can be gone on with.

    Notes
    -----
    An answer depends on its block alone, so the dataset is the same for every place, number of workers and number of
    times that it was gone on with, unless a case is given up in preparation, which the log tells. After the first
    interrupt blocks that were begun end and are stored. Only this process writes.
    """
    layout = sweep.question.layout(sweep.asked)
    contents = Contents(sweep.plan, layout, sweep.text, sweep.attributes)
    if resume:
        with resumed(path, contents) as store:
            if not store.remaining:
                journal.begin(store.counts, 0, _told(place), software_version())
                journal.end("complete before")
                return Outcome(dict(store.counts), store.done, interrupted=False)
            with _staffed(place, journal) as staff:
                return _filled(store, _setup(sweep, layout, staff.preparation), staff, place, journal)
    refuse_existing(path, contents)
    variables_of(contents)
    check_output(path.parent)
    # The dataset comes before a long preparation, so that whatever stops that there is a sweep to go on with.
    with _staffed(place, journal) as staff, created(path, contents) as store:
        try:
            setup = _setup(sweep, layout, staff.preparation)
        except LinkFault:
            raise
        except Exception:
            store.discard()  # what cannot be prepared is no sweep
            raise
        return _filled(store, setup, staff, place, journal)


@dataclass(frozen=True)
class _Staff:
    """Whoever prepares a sweep and answers its blocks."""

    preparation: Preparation
    answers: Callable[[Setup, Sequence[Block], Patience], Generator[list[Answers]]]


@contextmanager
def _staffed(place: Place, journal: Journal) -> Generator[_Staff]:
    """Whoever answers blocks at a place; a place that is not there is known before anything is prepared."""
    match place:
        case Local(workers=1):
            yield _Staff(
                PreparedHere(journal), lambda setup, blocks, patience: answered_here(setup, blocks, patience, journal)
            )
        case Local(workers=workers):
            if workers < 1:
                raise InputFault([Fault("", "workers", f"got {workers}", "1 or more")])
            yield _Staff(
                PreparedByProcesses(workers, journal),
                lambda setup, blocks, patience: answered_by_processes(setup, blocks, workers, patience, journal),
            )
        case Cluster():
            with linked(place) as link:
                yield _Staff(
                    PreparedByCluster(link, journal),
                    lambda setup, blocks, patience: answered_by_cluster(setup, blocks, link, patience, journal),
                )
        case _:
            assert_never(place)


def _setup(sweep: Sweep, layout: Layout, preparation: Preparation) -> Setup:
    """What every worker needs, prepared once."""
    cases = [case_of(sweep.asked, number) for number in kinds(sweep.plan.conditions, _MOST_KINDS)]
    prepared = sweep.question.prepare(cases, preparation)
    give_back()
    raise_if_interrupted()
    return Setup(sweep.plan, sweep.asked, layout, sweep.question, prepared)


def _filled(store: Store, setup: Setup, staff: _Staff, place: Place, journal: Journal) -> Outcome:
    """The remaining blocks answered and stored."""
    journal.begin(store.counts, len(store.remaining), _told(place), software_version())
    try:
        with patient() as patience, closing(staff.answers(setup, store.remaining, patience)) as arriving:
            for batch in arriving:
                store.write(batch)
                for answers in batch:
                    _report(answers, setup.plan, store, journal)
    except BaseException as error:
        with suppress(InputFault):
            journal.end(f"stopped: {first_line(error)}")
        raise
    is_short = patience.is_interrupted and store.done < store.cases
    journal.end("interrupted" if is_short else "complete")
    return Outcome(dict(store.counts), store.done, is_short)


def _report(answers: Answers, plan: Plan, store: Store, journal: Journal) -> None:
    """A stored block, and each of its cases without an answer."""
    conditions, block = plan.conditions, answers.block
    numbers = block.cases(plan.shape)
    status, reasons = (answers.arrays[column.name].ravel() for column in (STATUS, REASON))
    for index in np.flatnonzero(status != Status.SOLVED).tolist():
        number = int(numbers[index])
        levels = {axis.name: level for axis, level in zip(conditions.axes, conditions.levels(number), strict=True)}
        journal.failed(number, levels, Status(int(status[index])), str(reasons[index]))
    journal.block(block.number, block.size, store.counts)


def _told(place: Place) -> str:
    match place:
        case Local(workers=1):
            return "in this process"
        case Local(workers=workers):
            return f"by {workers} processes"
        case Cluster(address=address):
            return f"by the cluster at {address}"
        case _:
            assert_never(place)
