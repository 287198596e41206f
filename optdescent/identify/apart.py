"""Which coefficients the data cannot tell apart, and which flying would.

Two limits, either of which refuses:

1. The condition index of a combination of coefficients is above `MOST_CONDITION`. The index is the largest singular
   value of the linearised fit, its columns scaled to one length, over the one that belongs to the combination; an
   error of the model or of what is assumed known enters the combination multiplied by it. Coefficients are involved
   that owe more than half of their variance to such combinations (Belsley, Kuh and Welsch, Regression Diagnostics,
   1980, chapter 3; from memory they call 30 moderate to strong and 100 serious). Well-flown recordings of drag and idle
   thrust together come to 100, because thrust and zero-lift drag act along one axis: the limit is 300 (our choice).
2. The standard error of a coefficient is above `WIDEST` of its size: two of them are half of the number (our choice).

A coefficient with a correlation of `COMPANION` or more to one of these is named with it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.identify.coefficients import Coefficient, Role
from optdescent.identify.segments import Segment
from optdescent.optimum import DemandsConflict
from optdescent.units import FOOT, KNOT

Array = NDArray[np.float64]

MOST_CONDITION = 300.0
WIDEST = 0.25
COMPANION = 0.95
_NOTHING = 1e-9
_SMALLEST = 1e-12
_UNBOUNDED = 20.0


@dataclass(frozen=True)
class Indistinct:
    """Coefficients that the data do not tell (apart), in a sentence, and what would tell them."""

    keys: tuple[str, ...]
    sentence: str
    remedy: str

    def __str__(self) -> str:
        return f"{self.sentence}: {self.remedy}"


class CannotTell(DemandsConflict):
    """The recordings cannot tell coefficients apart (exit status 3): which, and what would tell them.

    What is asked of the data cannot be had from them, as a descent cannot be had that meets conflicting demands.
    """

    def __init__(self, reasons: tuple[Indistinct, ...]) -> None:
        super().__init__(())
        self.reasons = reasons
        self.args = ("\n  ".join(["the recordings cannot tell:", *(str(reason) for reason in reasons)]),)


@dataclass(frozen=True)
class Spread:
    """Standard errors (n,) [-], correlations (n, n) and involved (n,): in a combination of too high a condition."""

    standard_error: Array
    correlation: Array
    is_involved: NDArray[np.bool_]


def spread(rows: Array) -> Spread:
    """Standard errors of coefficients [-] from the linearised fit (m, n), finite also where it is singular.

    Columns of zeros are not allowed.
    """
    length = np.linalg.norm(rows, axis=0)
    _, values, turned = np.linalg.svd(rows / length)
    values = np.maximum(values, values[0] * _SMALLEST)
    parts = (turned.T / values) ** 2
    share = parts[:, values[0] / values > MOST_CONDITION].sum(axis=1) / parts.sum(axis=1)
    covariance = (turned.T / values**2) @ turned
    deviation = np.sqrt(np.diag(covariance))
    return Spread(deviation / length, covariance / np.outer(deviation, deviation), share > 0.5)


def indistinct(
    coefficients: Sequence[Coefficient],
    values: Array,
    rows: Array,
    segments: Sequence[Segment],
    widest: float = WIDEST,
) -> tuple[Indistinct, ...]:
    """What the data do not tell of the free coefficients at some values (n,) [-], from their linearised fit (m, n).

    `widest` is the largest standard error over the size of a coefficient [-]; infinite while the noise is not known.
    """
    length = np.linalg.norm(rows, axis=0)
    is_seen = length > _NOTHING * length.max(initial=0.0)
    found = [_unseen(one) for one, seen in zip(coefficients, is_seen, strict=True) if not seen]
    seen = [int(place) for place in np.flatnonzero(is_seen)]
    if not seen:
        return tuple(found)
    at = spread(rows[:, seen])
    size = np.maximum(np.abs(values[seen]), np.abs([coefficients[place].declared for place in seen]))
    bad = at.is_involved | (at.standard_error > widest * size)
    for group in _groups(bad, np.abs(at.correlation) >= COMPANION):
        members = [coefficients[seen[place]] for place in group]
        errors = {coefficients[seen[place]].key: float(at.standard_error[place]) for place in group if bad[place]}
        found.append(_told(members, errors, segments))
    return tuple(found)


def _groups(bad: NDArray[np.bool_], joined: NDArray[np.bool_]) -> list[list[int]]:
    """Bad ones with their companions; groups that share a bad one are one."""
    waiting, groups = set(np.flatnonzero(bad).tolist()), list[list[int]]()
    while waiting:
        group, fresh = set[int](), {min(waiting)}
        while fresh:
            group |= fresh
            near = {int(one) for place in fresh if bad[place] for one in np.flatnonzero(joined[place])}
            fresh = near - group
        waiting -= group
        groups.append(sorted(group))
    return groups


def _unseen(one: Coefficient) -> Indistinct:
    match one.role:
        case Role.ZERO_LIFT | Role.INDUCED:
            what = f"fly {one.step_name!r} settled at idle"
        case Role.GEAR:
            what = "fly a step with the gear down at idle, and with it up"
        case Role.BRAKE:
            what = "fly with the speed brake out at idle"
        case Role.IDLE | Role.IDLE_BY_MACH | Role.IDLE_FLOOR:
            what = "fly at idle at other levels and Mach numbers"
    sentence = f"{one.sentence} ({one.key}) has no data"
    return Indistinct((one.key,), sentence, f"{what}, or fix it (--fix {one.key})")


def _told(members: Sequence[Coefficient], errors: dict[str, float], segments: Sequence[Segment]) -> Indistinct:
    """Sentence and remedy for coefficients that are not told apart, or for one that is not told well enough."""
    keys = tuple(one.key for one in members)
    names = " and ".join(f"{one.sentence} ({one.key})" for one in members)
    worst = ", ".join(_error(one, errors[one.key]) for one in members if one.key in errors)
    several = len(members) > 1
    remedies = [
        *_remedies(members, segments),
        f"or fix {'one of them' if several else 'it'} (--fix {next(iter(errors))})",
    ]
    return Indistinct(
        keys, f"{names} cannot be told{' apart' if several else ''} (standard errors: {worst})", "; ".join(remedies)
    )


def _error(one: Coefficient, error: float) -> str:
    """Standard error of a coefficient beside its declared value, in words where it has no bound."""
    shown = f"{error:.2g}" if error < _UNBOUNDED * max(abs(one.declared), 1e-3) else "without bound"
    return f"{shown} of {one.key} {one.declared:.4g}"


def _remedies(members: Sequence[Coefficient], segments: Sequence[Segment]) -> list[str]:
    """What flying would tell coefficients apart, with what was flown."""
    roles = {one.role for one in members}
    found: list[str] = []
    for step in sorted({one.step for one in members if one.step is not None and one.role is Role.INDUCED}):
        name = next(one.step_name for one in members if one.step == step)
        flown = [one for one in segments if one.step == step]
        found.append(f"fly {name!r} at two speeds or masses further apart (flown: {_flown(flown)})")
    if Role.GEAR in roles:
        found.append("fly one step with the gear up and with it down")
    if Role.BRAKE in roles:
        found.append("fly one step with the speed brake in and with it out")
    if roles & {Role.IDLE, Role.IDLE_BY_MACH}:
        found.append(f"fly at idle at two speeds further apart on one level (flown: {_flown(segments)})")
    if Role.IDLE_FLOOR in roles:
        low, high = (min(one.altitude.min() for one in segments), max(one.altitude.max() for one in segments))
        found.append(f"fly at idle at levels further apart (flown: {low / FOOT:.0f} to {high / FOOT:.0f} ft)")
    return found or ["fly more of it, or record it with less noise"]


def _flown(segments: Sequence[Segment]) -> str:
    """Speeds and masses flown."""
    speed = np.concatenate([one.speed for one in segments]) / KNOT
    mass = np.concatenate([one.known[:, 1] for one in segments]) / 1000.0
    return f"{speed.min():.0f} to {speed.max():.0f} kt, {mass.min():.1f} to {mass.max():.1f} t"
