"""Conditions and a question to one labelled dataset: planned in blocks, run anywhere, stored as it grows, resumed.

The names here are imported when they are first used: a worker reads neither Zarr nor what runs a sweep.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optdescent.sweep.analysis import main_effects as main_effects
    from optdescent.sweep.analysis import nearest_case as nearest_case
    from optdescent.sweep.analysis import percentiles as percentiles
    from optdescent.sweep.analysis import slope_map as slope_map
    from optdescent.sweep.analysis import sobol_indices as sobol_indices
    from optdescent.sweep.cluster import Cluster as Cluster
    from optdescent.sweep.journal import Journal as Journal
    from optdescent.sweep.local import Local as Local
    from optdescent.sweep.plan import Plan as Plan
    from optdescent.sweep.plan import plan_of as plan_of
    from optdescent.sweep.question import Answer as Answer
    from optdescent.sweep.question import Asked as Asked
    from optdescent.sweep.question import Case as Case
    from optdescent.sweep.question import Layout as Layout
    from optdescent.sweep.question import Question as Question
    from optdescent.sweep.question import Together as Together
    from optdescent.sweep.run import Outcome as Outcome
    from optdescent.sweep.run import Place as Place
    from optdescent.sweep.run import Sweep as Sweep
    from optdescent.sweep.run import run_sweep as run_sweep

_FILES = {
    "Answer": "question",
    "Asked": "question",
    "Case": "question",
    "Cluster": "cluster",
    "Journal": "journal",
    "Layout": "question",
    "Local": "local",
    "Outcome": "run",
    "Place": "run",
    "Plan": "plan",
    "Question": "question",
    "Sweep": "run",
    "Together": "question",
    "main_effects": "analysis",
    "nearest_case": "analysis",
    "percentiles": "analysis",
    "plan_of": "plan",
    "run_sweep": "run",
    "slope_map": "analysis",
    "sobol_indices": "analysis",
}
__all__ = [
    "Answer",
    "Asked",
    "Case",
    "Cluster",
    "Journal",
    "Layout",
    "Local",
    "Outcome",
    "Place",
    "Plan",
    "Question",
    "Sweep",
    "Together",
    "main_effects",
    "nearest_case",
    "percentiles",
    "plan_of",
    "run_sweep",
    "slope_map",
    "sobol_indices",
]


def __getattr__(name: str) -> object:
    if name not in _FILES:
        raise AttributeError(f"module 'optdescent.sweep' has no attribute {name!r}")
    return getattr(import_module(f"optdescent.sweep.{_FILES[name]}"), name)


def __dir__() -> list[str]:
    return __all__
