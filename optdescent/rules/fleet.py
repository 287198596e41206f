"""A rule flown in many scenarios and judged, some flights at a time, so that memory does not grow with their number."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, fields

import numpy as np
from numpy.typing import NDArray

from optdescent.rules.fly import looks, noise_of, pilot_of, starts_of
from optdescent.rules.judged import Judged, judged
from optdescent.rules.many import Flights, stepped
from optdescent.rules.parts import Rule
from optdescent.rules.pilot import Pilot
from optdescent.scenario import Scenario

Array = NDArray[np.float64]
MOST_PILOTS = 8
"""Compiled pilots that a fleet keeps."""
AT_A_TIME = 1536
"""Flights taken at a time: their arrays stay near the processor, and Python's share stays small."""


@dataclass
class Fleet:
    """One rule and the pilots that were compiled for it: scenarios that differ in parameters only share one."""

    rule: Rule
    _pilots: list[Pilot] = field(default_factory=list[Pilot])

    def judged(self, scenarios: Sequence[Scenario], distances: tuple[float, ...] = ()) -> Judged:
        """What became of the rule in each scenario (scenario,), with energy excess at distances to go [m]."""
        groups: dict[tuple[int, float], list[int]] = {}
        for index, scenario in enumerate(scenarios):
            groups.setdefault((self._pilot_index(scenario), scenario.start.distance), []).append(index)
        found: list[Judged] = []
        order: list[int] = []
        for (pilot, _), members in groups.items():
            for first in range(0, len(members), AT_A_TIME):
                some = members[first : first + AT_A_TIME]
                own = [scenarios[index] for index in some]
                parameters, flights = flown_together(self._pilots[pilot], own)
                found.append(judged(self._pilots[pilot], flights, parameters, distances))
                order += some
        self._let_go()
        return _joined(found, np.argsort(order, kind="stable").tolist())

    def _pilot_index(self, scenario: Scenario) -> int:
        wanted = pilot_of(scenario, self.rule)
        for index, pilot in enumerate(self._pilots):
            if pilot == wanted:
                return index
        self._pilots.append(wanted)
        return len(self._pilots) - 1

    def _let_go(self) -> None:
        """Keep the latest pilots only: where an axis moves what is compiled, they would grow with the cases."""
        del self._pilots[:-MOST_PILOTS]


def flown_together(pilot: Pilot, scenarios: Sequence[Scenario]) -> tuple[Array, Flights]:
    """Parameters (parameter, flight) and flights of a pilot in scenarios that start at one distance [SI]."""
    x = looks(scenarios[0].start.distance)
    parameters, lanes = starts_of(pilot, scenarios)
    noise = np.array([noise_of(scenario, x) for scenario in scenarios]).T
    return parameters, stepped(pilot, x, parameters, lanes, noise)


def _joined(found: Sequence[Judged], order: Sequence[int]) -> Judged:
    """Judgements of parts as one, in the order of the scenarios."""
    if len(found) == 1:
        return found[0]
    joined: dict[str, object] = {}
    for name in (one.name for one in fields(Judged)):
        parts = [getattr(one, name) for one in found]
        if name == "reasons":
            told = [reason for part in parts for reason in part]
            joined[name] = tuple(told[index] for index in order)
        else:
            joined[name] = np.concatenate(parts, axis=-1)[..., list(order)]
    return Judged(**joined)  # pyright: ignore[reportArgumentType]  # every field by its name
