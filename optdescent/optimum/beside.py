"""An optimum from a neighbour's: the same order of events on the same mesh, mended where other numbers ask for it.

A neighbour's solution is followed to the new numbers (`ocp.neighbour`): a few steps with matrices that are at hand.
What has changed for good is found afterwards: phases that run backwards or events that would rather change places ask
for another order, a local error that has grown asks for a finer mesh.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from optdescent.ocp import (
    Memory,
    NonlinearProgram,
    Outcome,
    RefineSettings,
    Settings,
    SolverSettings,
    transcribe,
)
from optdescent.optimum.conflict import DemandsConflict, NotConverged
from optdescent.optimum.events import Event, EventKind, Order
from optdescent.optimum.order import reordered
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.progress import silent
from optdescent.optimum.search import mended
from optdescent.optimum.trial import GAIN, Trial, tried_again
from optdescent.scenario import Scenario

BESIDE = SolverSettings(iterations=60, again=False)
"""From a neighbour by Newton's method, and by the interior point where limits change too much for that."""
CLOSE = SolverSettings(iterations=0)
"""By Newton's method or not at all."""
FARTHER = replace(BESIDE, newton=False)
"""By the interior point, where Newton's method has failed."""
_FROM_A_MESH = SolverSettings(iterations=200, again=False)
"""From the solution on the mesh before: what asks for more, and begins anew, has been seen to end elsewhere or nowhere
after thousands of iterations."""
_MOST_ORDERS = 4
_MARGIN = 0.3
"""Part of the local error asked for to which a first mesh is refined, so that it serves neighbours too."""
_MARGIN_AGAIN = 0.6
"""The same for one that has become too coarse: the next neighbour may ask for more."""


@dataclass(frozen=True)
class Accuracy:
    """How far an optimum is refined: largest local error of an element [scaled, -]."""

    local_error: float

    @property
    def first(self) -> Settings:
        """Settings of an optimum that others start from."""
        rules = RefineSettings(local_error=_MARGIN * self.local_error, cost_change=1e-5, calming=0)
        return Settings(solver=_FROM_A_MESH, refinement=rules)

    @property
    def again(self) -> Settings:
        """Settings of a mesh that has become too coarse for a neighbour."""
        error = _MARGIN_AGAIN * self.local_error
        rules = RefineSettings(local_error=error, cost_change=np.inf, rounds=8, calming=0)
        return Settings(solver=SolverSettings(iterations=40, again=False), refinement=rules)


@dataclass
class Programs:
    """What is compiled and factored, kept while neighbours of one another are solved: the latest few meshes."""

    memory: Memory
    most: int = 4
    _kept: list[tuple[Trial, NonlinearProgram]] = field(default_factory=list[tuple[Trial, NonlinearProgram]])

    def of(self, trial: Trial) -> NonlinearProgram:
        """The program that a trial was solved on."""
        for at, (known, program) in enumerate(self._kept):
            if known.problem is trial.problem and known.solution.mesh is trial.solution.mesh:
                self._kept.insert(0, self._kept.pop(at))
                return program
        program = transcribe(trial.problem, trial.solution.mesh)
        self._kept = [(trial, program), *self._kept[: self.most - 1]]
        return program


def solved_beside(
    scenario: Scenario, near: Trial, programs: Programs, settings: SolverSettings = BESIDE
) -> Trial | None:
    """A neighbour's order and mesh solved for a scenario [SI]; None where it is no neighbour."""
    pose = replace(near.pose, scenario=scenario)
    if pose.structure != near.pose.structure:
        return None
    solution = programs.of(near).solve(parameter_values(scenario), near.solution, settings)
    return replace(near, pose=pose, solution=solution) if solution.is_usable else None


def ordered_anew(trial: Trial, known: Sequence[Trial], programs: Programs) -> Trial:
    """The trial in another order that it asks for, as far as neighbours are `known`, the nearest first."""
    for _ in range(_MOST_ORDERS):
        wanted = wished(trial)
        near = next((other for other in known if other.pose.order in wanted), None)
        found = None if near is None else solved_beside(trial.pose.scenario, near, programs)
        seen = trial.seen if near is None else trial.seen | {near.pose.order}
        if found is None or not (found.is_orderly and (not trial.is_orderly or found.price < trial.price)):
            return replace(trial, seen=seen)
        trial = replace(found, seen=seen | {trial.pose.order})
    return trial


def wished(trial: Trial) -> list[Order]:
    """Orders that a solved trial asks for and that were not seen: without its overlaps, or with events exchanged."""
    if not trial.is_orderly:
        return [reordered(trial.pose.scenario, trial.pose.order, trial.places, trial.asking)]
    return trial.exchanges(trial.seen)


def finished(trial: Trial, programs: Programs, accuracy: Accuracy) -> Trial | None:
    """A solved trial in its best order on a mesh that is fine enough [SI]; None where it has to be found cold."""
    try:
        if not trial.is_orderly:
            trial = mended(trial.pose.scenario, trial, silent, programs.memory)
        trial = _fine(_exchanged(trial, programs.memory), accuracy)
    except (DemandsConflict, NotConverged):
        return None
    return trial if trial.is_orderly and not trial.lives_by_room else None


def family(order: Order) -> Hashable:
    """What an order has chosen that no solution asks to choose otherwise: the gates passed above approach speed [-].

    Whether the glide path is met ahead of the gear is such a choice too, but makes no family here: a case keeps what
    its neighbour has chosen, and has been seen to cost up to about 2 kg more than when it is found cold.
    """
    slow = order.index(Event(EventKind.ON_SPEED))
    return tuple(event for event in order[:slow] if event.kind is EventKind.GATE)


def _fine(trial: Trial, accuracy: Accuracy) -> Trial:
    """The trial on a mesh whose local error is small enough for it; what it breaks between points its flight shows."""
    if trial.largest_error <= accuracy.local_error:
        return trial
    settings = accuracy.again
    found, rules = trial.refined(settings).solution, settings.refinement
    if found.outcome is Outcome.COARSE:
        # short of the margin that is for neighbours, but perhaps not of what is asked for here
        last = [made for made in found.history if made.outcome.is_success and made.cost == found.cost][-1:]
        if any(made.local_error <= accuracy.local_error and made.excess <= rules.excess for made in last):
            found = replace(found, outcome=last[0].outcome)
    return replace(trial, solution=found)


def _exchanged(trial: Trial, memory: Memory) -> Trial:
    """The trial with events exchanged that ask for it, where that is cheaper; orders seen are not tried again."""
    new = wished(trial)
    if not new:
        return trial
    other = tried_again(trial.pose.scenario, memory, trial, new[0])
    seen = trial.seen | {new[0], trial.pose.order}
    is_better = other.is_orderly and other.price < trial.price - GAIN
    return replace(other if is_better else trial, orders=trial.orders, seen=seen)
