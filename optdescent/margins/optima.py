"""Optima of some of the conditions, to compare fuel and time of rules with: each takes seconds, a flown rule little."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from optdescent.margins.met import Met
from optdescent.optimum.question import OptimumQuestion
from optdescent.results.sweep import Status
from optdescent.sweep.block import case_of

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Optima:
    """Fuel [kg] and time [s] of optima by the number of their condition, and why others were not found."""

    best: Mapping[int, tuple[float, float]]
    failed: Mapping[int, str]

    def by_condition(self, count: int) -> Array:
        """Fuel [kg] and time [s] (2, condition) of so many conditions; not a number where there is no optimum."""
        found = np.full((2, count), np.nan)
        for number, values in self.best.items():
            found[:, number] = values
        return found

    @property
    def told(self) -> str:
        """How many optima were not found, and why the first was not; empty where all were [-]."""
        if not self.failed:
            return ""
        number, reason = next(iter(self.failed.items()))
        wanted = len(self.best) + len(self.failed)
        return f"{len(self.failed)} of {wanted} optima not found: case {number}: {reason}"


def compared_in(met: Met, wanted: int) -> list[int]:
    """Numbers of so many conditions that make a scenario [-], evenly spread."""
    sound = [number for number, scenario in enumerate(met.scenarios) if scenario is not None]
    places: list[float] = np.linspace(0, len(sound) - 1, min(wanted, len(sound))).tolist()
    return sorted({sound[round(place)] for place in places})


def optima_of(met: Met, wanted: int) -> Optima:
    """Optima [SI] in so many of the conditions [-]; each from the nearest before it."""
    session = OptimumQuestion(with_slopes=False).hold(()).session()
    best: dict[int, tuple[float, float]] = {}
    failed: dict[int, str] = {}
    starts: list[tuple[Array, object]] = []
    for number in compared_in(met, wanted):
        case = case_of(met.asked, number)
        near = sorted(starts, key=lambda start: float(np.linalg.norm(start[0] - case.place)))
        answer = session.answer(case, tuple(start for _, start in near))
        if answer.status is not Status.SOLVED:
            failed[number] = answer.reason
            continue
        fuel, time = answer.values["fuel"], answer.values["time"]
        assert isinstance(fuel, float)
        assert isinstance(time, float)
        best[number] = fuel, time
        starts.append((case.place, answer.start))
    return Optima(best, failed)
