"""Results with less than was made: changed, without some variables, or with the least that their kind must hold."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import xarray as xr

from optdescent.results.debrief import Debrief
from optdescent.results.front import Front
from optdescent.results.kinds import Stored, faults_of
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions


def changed(held: Stored, change: Callable[[xr.Dataset], xr.Dataset]) -> Stored:
    """The result with its datasets changed."""
    match held:
        case tuple():
            return held
        case OverConditions():
            return replace(held, table=change(held.table), cases=change(held.cases))
        case Margins() | Front():
            return replace(held, table=change(held.table))
        case Debrief():
            return replace(held, points=change(held.points))
        case _:
            return replace(held, dataset=change(held.dataset))


def least(held: Stored) -> Stored:
    """The result without every variable that its kind does not ask for, levels of conditions kept."""
    names: set[str] = set()

    def note(own: xr.Dataset) -> xr.Dataset:
        names.update(str(name) for name in own.variables if name != "case" and not str(name).startswith("level_"))
        return own

    changed(held, note)
    return without(held, *(name for name in sorted(names) if not faults_of(without(held, name), "")))


def without(held: Stored, *names: str) -> Stored:
    return changed(held, lambda own: own.drop_vars(names, errors="ignore"))
