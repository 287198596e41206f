"""optdescent: minimum-fuel descents under constraints, and how far rules of thumb can be trusted against them.

Training analysis and research only; not for use in flight or for dispatch. The names here are imported when they are
first used.
"""

from __future__ import annotations

import sys
from importlib import import_module
from types import ModuleType
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from optdescent.inputs import InputFault as InputFault
    from optdescent.margins import margins as margins
    from optdescent.optimum import DemandsConflict as DemandsConflict
    from optdescent.optimum import NotConverged as NotConverged
    from optdescent.optimum import optimise as optimise
    from optdescent.recording import read_recording as read_recording
    from optdescent.results import Flight as Flight
    from optdescent.rules import Rule as Rule
    from optdescent.rules import fly as fly
    from optdescent.rules import read_rules as read_rules
    from optdescent.scenario import Scenario as Scenario
    from optdescent.study import Study as Study

_ROOMS = {
    "DemandsConflict": "optdescent.optimum",
    "Flight": "optdescent.results",
    "InputFault": "optdescent.inputs",
    "NotConverged": "optdescent.optimum",
    "Rule": "optdescent.rules",
    "Scenario": "optdescent.scenario",
    "Study": "optdescent.study",
    "fly": "optdescent.rules",
    "margins": "optdescent.margins",
    "optimise": "optdescent.optimum",
    "read_recording": "optdescent.recording",
    "read_rules": "optdescent.rules",
}
__all__ = [
    "DemandsConflict",
    "Flight",
    "InputFault",
    "NotConverged",
    "Rule",
    "Scenario",
    "Study",
    "fly",
    "margins",
    "optimise",
    "read_recording",
    "read_rules",
]


def __getattr__(name: str) -> object:
    if name not in _ROOMS:
        raise AttributeError(f"module 'optdescent' has no attribute {name!r}")
    return getattr(import_module(_ROOMS[name]), name)


def __dir__() -> list[str]:
    return __all__


class _Root(ModuleType):
    """The root package: `optdescent.margins` is the function, also once the room of that name has been imported."""

    def __setattr__(self, name: str, value: object) -> None:
        if not (name in _ROOMS and isinstance(value, ModuleType)):
            super().__setattr__(name, value)


sys.modules[__name__].__class__ = _Root
