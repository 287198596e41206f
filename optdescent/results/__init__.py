"""What every answer looks like, in memory and on disk.

The names here are imported when they are first used, so that the caution is had without xarray.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optdescent.caution import CAUTION as CAUTION
    from optdescent.results.fit import Fit as Fit
    from optdescent.results.flight import Action as Action
    from optdescent.results.flight import Breach as Breach
    from optdescent.results.flight import Flight as Flight
    from optdescent.results.flight import GateReport as GateReport
    from optdescent.results.flight import Kind as Kind
    from optdescent.results.flight import Summary as Summary
    from optdescent.results.marks import Marks as Marks
    from optdescent.results.marks import SpeedMark as SpeedMark
    from optdescent.results.marks import WindowMark as WindowMark
    from optdescent.results.provenance import Provenance as Provenance
    from optdescent.results.solver import EventRecord as EventRecord
    from optdescent.results.solver import Slope as Slope
    from optdescent.results.solver import SolverRecord as SolverRecord

_FILES = {
    "CAUTION": "optdescent.caution",
    "Action": "optdescent.results.flight",
    "Breach": "optdescent.results.flight",
    "EventRecord": "optdescent.results.solver",
    "Fit": "optdescent.results.fit",
    "Flight": "optdescent.results.flight",
    "GateReport": "optdescent.results.flight",
    "Kind": "optdescent.results.flight",
    "Marks": "optdescent.results.marks",
    "Provenance": "optdescent.results.provenance",
    "Slope": "optdescent.results.solver",
    "SolverRecord": "optdescent.results.solver",
    "SpeedMark": "optdescent.results.marks",
    "Summary": "optdescent.results.flight",
    "WindowMark": "optdescent.results.marks",
}
__all__ = [
    "CAUTION",
    "Action",
    "Breach",
    "EventRecord",
    "Fit",
    "Flight",
    "GateReport",
    "Kind",
    "Marks",
    "Provenance",
    "Slope",
    "SolverRecord",
    "SpeedMark",
    "Summary",
    "WindowMark",
]


def __getattr__(name: str) -> object:
    if name not in _FILES:
        raise AttributeError(f"module 'optdescent.results' has no attribute {name!r}")
    return getattr(import_module(_FILES[name]), name)


def __dir__() -> list[str]:
    return __all__
