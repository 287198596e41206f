"""Optimal descents of the first study, each found once."""

from __future__ import annotations

from functools import lru_cache

from optdescent.optimum import Optimum, find_optimum
from optdescent.optimum.beside import Accuracy, Programs, finished, solved_beside
from optdescent.optimum.guess import guess_from
from optdescent.optimum.optimise import SETTINGS
from optdescent.optimum.trial import Trial
from optdescent.scenario import Scenario
from tests.scenario.files import STUDY

STILL = "air.wind.kind=none"
SHORT = (
    "start.distance_nm=50",
    "start.altitude_ft=12000",
    "start.mach=0.5",
    "arrival.windows=[]",
    "arrival.transition_altitude_ft=5000",
)
"""A descent of a third of the way, without windows."""


def scenario(*settings: str) -> Scenario:
    """The first descent as the study has it, with settings applied."""
    return Scenario.from_toml(STUDY, settings)


@lru_cache(maxsize=16)
def optimum(*settings: str) -> Optimum:
    """Its optimum, found cold."""
    return find_optimum(scenario(*settings), lambda _: None)


def neighbour(found: Optimum, *settings: str) -> Trial:
    """The optimum of other numbers from one that is at hand, as a sweep finds it, to the accuracy of a single one."""
    places = {leg.ends: found.solution[leg.name].end for leg in found.pose.legs}
    near = Trial(found.pose, found.problem, guess_from(found.flight, found.pose.legs, places), found.solution)
    programs, accuracy = Programs(found.pose.memory), Accuracy(SETTINGS.refinement.local_error)
    moved = solved_beside(scenario(*settings), near, programs)
    assert moved is not None, "another structure: to be found cold"
    trial = finished(moved, programs, accuracy)
    assert trial is not None
    assert trial.largest_error <= accuracy.local_error
    return trial
