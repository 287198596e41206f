"""Optimal descents of the first study, each found once."""

from __future__ import annotations

from functools import lru_cache

from optdescent.optimum import Optimum, find_optimum
from optdescent.scenario import Scenario
from tests.scenario.files import STUDY


def scenario(*settings: str) -> Scenario:
    """The first descent as the study has it, with settings applied."""
    return Scenario.from_toml(STUDY, settings)


@lru_cache(maxsize=16)
def optimum(*settings: str) -> Optimum:
    """Its optimum."""
    return find_optimum(scenario(*settings), lambda _: None)
