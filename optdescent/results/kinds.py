"""Kinds of stored result, and what one of each must hold: one list for whatever tells or draws it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from optdescent.inputs import Fault
from optdescent.results.airframe import AirframeNumbers
from optdescent.results.corridor import COORDINATES as CORRIDOR_COORDINATES
from optdescent.results.corridor import CORRIDOR_COLUMNS, Corridor
from optdescent.results.debrief import Debrief
from optdescent.results.fit import FIT_COLUMNS, Fit
from optdescent.results.flight import Flight
from optdescent.results.front import FRONT_COLUMNS, Front
from optdescent.results.last_action import LastActions
from optdescent.results.margins import COORDINATES as MARGIN_COORDINATES
from optdescent.results.margins import MARGIN_COLUMNS, Margins
from optdescent.results.over_conditions import OverConditions
from optdescent.results.rule_sheet import RULE_SHEET_COLUMNS, RuleSheet
from optdescent.results.schema import COLUMNS
from optdescent.results.slope import COORDINATES as SLOPE_COORDINATES
from optdescent.results.slope import SLOPE_COLUMNS, SlopeChart
from optdescent.results.sweep import Swept

Alone = (
    Margins
    | OverConditions
    | Corridor
    | SlopeChart
    | Front
    | Fit
    | RuleSheet
    | Debrief
    | Swept
    | tuple[LastActions, ...]
)
"""Results that stand alone: all but flights, of which several are told together."""
Stored = Flight | Alone
"""What a file may hold."""
_WORDS: Mapping[type, str] = {
    AirframeNumbers: "an airframe",
    Flight: "flights",
    Margins: "margins",
    OverConditions: "margins over conditions",
    Corridor: "an energy corridor",
    SlopeChart: "a slope chart",
    Front: "a front of rules",
    Fit: "a fit of an airframe",
    RuleSheet: "a rule sheet",
    Swept: "a sweep",
    Debrief: "a debrief",
    tuple: "last useful points",
}


def said(held: Stored | AirframeNumbers) -> str:
    """What a result is, in words that a sentence takes."""
    return _WORDS[type(held)]


def named(held: Stored) -> str:
    """What a result is, in a word or two; a flight with its own kind."""
    if isinstance(held, Flight):
        return f"flight ({held.kind.value})"
    return said(held).removeprefix("a ").removeprefix("an ")


@dataclass(frozen=True)
class _Needs:
    """What a kind of result must hold.

    Numbers and texts by name; `sizes` are the fewest places of dimensions; of `known` some value must be a number, of
    `complete` every one.
    """

    numbers: tuple[str, ...]
    texts: tuple[str, ...] = ()
    sizes: Mapping[str, int] = field(default_factory=dict[str, int])
    known: tuple[str, ...] = ()
    complete: tuple[str, ...] = ()
    attributes: tuple[str, ...] = ()


_OVER_NUMBERS = (
    *("flown", "stable_share", "stable_share_low", "stable_share_high", "limits_kept_share", "gate_energy_median"),
    *("gate_energy_high", "brake_distance_mean", "thrust_distance_mean", "compared", "fuel_above_optimum_mean"),
    *("fuel_above_optimum_mean_low", "fuel_above_optimum_mean_high", "excess_energy_median", "excess_energy_high"),
    *("breaking_radius", "miss_share", "stable", "at_distance"),
)
_NEEDS: dict[type, _Needs] = {
    Flight: _Needs(tuple(COLUMNS), sizes={"point": 2}, known=("distance_to_go", "height_above_threshold")),
    Margins: _Needs(
        (*MARGIN_COLUMNS, *MARGIN_COORDINATES),
        ("flight", "gate_reasons", "breaches"),
        {"flight": 1, "at_distance": 1, "at_height": 1},
        known=("fuel", "excess_energy"),
        complete=tuple(MARGIN_COORDINATES),
    ),
    OverConditions: _Needs(
        _OVER_NUMBERS,
        ("rule", "driver", "breaking", "most_common_reason", "not_flown"),
        {"rule": 1, "case": 1, "at_distance": 1},
        complete=("flown", "at_distance"),
    ),
    Corridor: _Needs(
        (*CORRIDOR_COLUMNS, *CORRIDOR_COORDINATES),
        ("devices",),
        {"devices": 1, "distance_to_go": 1, "speed": 1},
        complete=tuple(CORRIDOR_COORDINATES),
    ),
    SlopeChart: _Needs(
        tuple(SLOPE_COLUMNS),
        ("configuration", "step"),
        dict.fromkeys(SLOPE_COORDINATES, 1),
        known=("deceleration",),
        complete=("mass", "tailwind", "speed", "room_mass", "flaps", "gear", "speed_brake"),
    ),
    Front: _Needs(
        tuple(FRONT_COLUMNS),
        ("rule", "rule_title", "rule_source"),
        {"rule": 1},
        known=("held_share", "fuel_mean"),
        complete=("simplicity",),
        attributes=(
            *("wanted_share", "keep_limits", "train_conditions", "check_conditions", "unseen_conditions"),
            *("rules_flown", "is_cut_short", "library"),
        ),
    ),
    Fit: _Needs(
        tuple(FIT_COLUMNS),
        ("coefficient", "sentence", "recording"),
        {"coefficient": 1, "sample": 1, "recorded": 1},
        known=("speed_residual", "altitude_residual"),
        complete=("declared", "value", "is_fixed", "flight", "segment", "configuration", "gear", "time"),
    ),
    RuleSheet: _Needs(
        tuple(RULE_SHEET_COLUMNS),
        ("wind",),
        {"wind": 1, "distance_to_go": 2},
        known=("height_to_have", "planned_speed"),
        complete=("distance_to_go", "tailwind"),
    ),
    Swept: _Needs(("status",), ("reason",), attributes=("axes",)),
    Debrief: _Needs(("energy_to_spare",), ("devices",), {"devices": 1, "point": 2}),
}
"""What the tables and figures of each kind cannot do without; last useful points are whole once they are read."""


def faults_of(held: Stored, where: str) -> list[Fault]:
    """What a result lacks of what its kind must hold, or holds in another form, each named with where it is from."""
    if isinstance(held, tuple):
        return []
    needs, parts = _NEEDS[type(held)], _parts(held)
    variables = {str(name): own for part in parts for name, own in part.variables.items()}
    sizes = {str(name): size for part in parts for name, size in part.sizes.items()}
    attributes = {str(name) for part in parts for name in part.attrs}
    faults = [
        Fault(where, name, "is missing", "what a result of its kind holds")
        for name in (*needs.numbers, *needs.texts, *needs.attributes)
        if name not in variables and name not in attributes
    ]
    for dimension, least in needs.sizes.items():
        size = sizes.get(dimension, 0)
        if size < least:
            faults.append(Fault(where, dimension, f"is of length {size}", f"{least} or more"))
    for name in needs.numbers:
        faults += () if name not in variables else _faults_of_numbers(variables[name], name, where, needs)
    if isinstance(held, Swept) and not faults:
        faults += _faults_of_axes(held, where)
    if isinstance(held, Debrief):
        faults += [fault for flight in (held.flight, *held.others) for fault in faults_of(flight, where)]
    return faults


def _parts(held: Stored) -> tuple[xr.Dataset, ...]:
    """Datasets that a result is made of."""
    match held:
        case tuple():
            return ()
        case OverConditions():
            return held.table, held.cases
        case Margins() | Front():
            return (held.table,)
        case Debrief():
            return (held.points,)
        case _:
            return (held.dataset,)


def _faults_of_numbers(own: xr.Variable, name: str, where: str, needs: _Needs) -> Iterator[Fault]:
    """What is wrong with one variable that must hold numbers."""
    values: NDArray[Any] = np.asarray(own.to_numpy())
    if values.dtype.kind not in "fiub":
        yield Fault(where, name, "holds texts", "numbers")
        return
    if name not in needs.known and name not in needs.complete:
        return
    is_known = np.isfinite(values.astype(float))
    if is_known.size and not is_known.any():
        yield Fault(where, name, "is not known anywhere", "a number")
    elif name in needs.complete and not is_known.all():
        yield Fault(where, name, "is not known everywhere", "numbers")


def _faults_of_axes(held: Swept, where: str) -> Iterator[Fault]:
    """Axes of a sweep that it does not have."""
    allowed = "names of the varied quantities"
    try:
        axes = held.axes
    except (TypeError, ValueError):
        yield Fault(where, "axes", f"is {held.dataset.attrs['axes']!r}", allowed)
        return
    for axis in axes:
        if axis not in held.dataset.variables:
            yield Fault(where, "axes", f"names {axis!r}, which is missing", allowed)
