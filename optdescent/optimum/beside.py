"""An optimum from a neighbour's: the same order of events on the same mesh, mended where other numbers ask for it.

A neighbour's solution is followed to the new numbers (`ocp.neighbour`): a few steps with matrices that are at hand.
What has changed for good is found afterwards: phases that run backwards or events that would rather change places ask
for another order, a local error that has grown asks for a finer mesh.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np

from optdescent.motion import record
from optdescent.ocp import (
    Memory,
    NonlinearProgram,
    RefineSettings,
    Settings,
    SolverSettings,
    local_errors,
    refined,
    transcribe,
)
from optdescent.optimum.conflict import DemandsConflict, NotConverged
from optdescent.optimum.events import COLLAPSED
from optdescent.optimum.order import reordered
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.progress import silent
from optdescent.optimum.structure import structure
from optdescent.optimum.trajectory import trajectory_of
from optdescent.optimum.trial import GAIN, Trial, mended, tried_again
from optdescent.results import Kind
from optdescent.scenario import Scenario

_BESIDE = SolverSettings(iterations=150)
_MARGIN = 0.3
"""Part of the local error asked for to which a mesh is refined, so that it serves neighbours too."""


@dataclass(frozen=True)
class Accuracy:
    """How far an optimum is refined: largest local error of an element [scaled, -]."""

    local_error: float

    @property
    def first(self) -> Settings:
        """Settings of an optimum that others start from."""
        return Settings(refinement=RefineSettings(local_error=_MARGIN * self.local_error, cost_change=1e-5))

    @property
    def again(self) -> Settings:
        """Settings of a mesh that has become too coarse for a neighbour."""
        return replace(self.first, refinement=replace(self.first.refinement, cost_change=np.inf))


@dataclass
class Programs:
    """What is compiled and factored, kept while neighbours of one another are solved: the latest few meshes."""

    memory: Memory
    most: int = 3
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


def found_beside(scenario: Scenario, near: Trial, programs: Programs, accuracy: Accuracy) -> Trial | None:
    """The optimum of a scenario from a neighbour's [SI]; None where it is no neighbour: it has to be found cold."""
    pose = replace(near.pose, scenario=scenario)
    if structure(pose) != structure(near.pose):
        return None
    solution = programs.of(near).solve(parameter_values(scenario), near.solution, _BESIDE)
    if not solution.is_usable:
        return None
    trial = replace(near, pose=pose, solution=solution)
    try:
        trial = _mended(trial, programs.memory, accuracy)
        trial = _exchanged(trial, programs.memory, accuracy)
    except (DemandsConflict, NotConverged):
        return None
    return trial if trial.is_orderly else None


def largest_error(trial: Trial) -> float:
    """Largest local error of a solved trial [scaled, -]."""
    return max(float(np.max(error.state)) for error in local_errors(trial.problem, trial.solution).values())


def _fine(trial: Trial, accuracy: Accuracy) -> Trial:
    """The trial on a mesh that is fine enough for it."""
    if largest_error(trial) <= accuracy.local_error:
        return trial
    return replace(trial, solution=refined(trial.problem, trial.solution, accuracy.again))


def _mended(trial: Trial, memory: Memory, accuracy: Accuracy) -> Trial:
    """The trial in an order without phases that run backwards."""
    trial = _fine(trial, accuracy)
    if trial.overlap < COLLAPSED:
        return trial
    return _fine(mended(trial.pose.scenario, trial, silent, memory), accuracy)


def _exchanged(trial: Trial, memory: Memory, accuracy: Accuracy) -> Trial:
    """The trial with events exchanged that ask for it, where that is cheaper; orders seen are not tried again."""
    scenario = trial.pose.scenario
    others = [reordered(scenario, trial.pose.order, trial.places, {event}) for event in trial.asking]
    new = [order for order in others if order not in trial.seen]
    if not new:
        return trial
    seen = trial.seen | {new[0]}
    flight = record(scenario, trajectory_of(trial.pose, trial.solution).sorted_by_distance(), Kind.OPTIMUM, "optimum")
    other = tried_again(scenario, memory, trial, flight, new[0])
    if other.is_orderly:
        other = _fine(other, accuracy)
        if other.is_orderly and other.solution.cost < trial.solution.cost - GAIN:
            return replace(other, orders=trial.orders, seen=seen)
    return replace(trial, seen=seen)
