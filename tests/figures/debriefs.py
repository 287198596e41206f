"""An invented debrief: a flight, findings and energy to spare that nobody flew and nothing computed."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from typing import TypeVar

import numpy as np
import xarray as xr

from optdescent.results import Kind
from optdescent.results.debrief import Debrief, Finding, Severity, Subject
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE
from tests.figures.flights import flight
from tests.figures.sweeps import SETS, last_useful

T = TypeVar("T", float, np.ndarray)

FINDINGS = (
    (Subject.TOO_HIGH, Severity.CAUTION, 30.0, "420 ft above what the rule asks for"),
    (Subject.BRAKE_STOWED, Severity.CAUTION, 24.0, "speed brake stowed with 300 ft too much"),
    (Subject.LEVELLED, Severity.NOTE, 21.0, "level for 0.9 nm while still high"),
    (Subject.THRUST_WITH_BRAKE, Severity.NOTE, 14.0, "thrust at 12 % for 20 s"),
    (Subject.FLAPS_TOO_FAST, Severity.SEVERE, 13.6, "step 1 asked for at 236 kt, 6 kt above its limit"),
    (Subject.FLAPS_LATE, Severity.SEVERE, 9.0, "step 2 selected 1.4 nm after its last useful point"),
)


def at(to_go: T) -> T:
    """Time [s] at a distance to go [nm]: a mile takes 20 s."""
    return 20.0 * (150.0 - to_go)


@cache
def invented(findings: int = len(FINDINGS)) -> Debrief:
    """A flight with so many findings, beside one that followed a rule."""
    own = flight("recording", Kind.RECORDING, slope_ft_per_nm=322.0, brake_from_nm=40.0)
    to_go = own.column("distance_to_go") / NAUTICAL_MILE
    time = own.dataset["time"].copy(data=at(to_go))
    own = replace(own, dataset=own.dataset.assign(time=time))
    reach = np.array([-300.0, 500.0, 900.0, 1200.0, 1900.0])[:, None]
    spare = (reach + 60.0 * (to_go - 15.0)) * FOOT
    spare[:, to_go < 4.0] = np.nan
    points = xr.Dataset({"energy_to_spare": (("devices", "point"), spare)}, coords={"devices": list(SETS)})
    told = [
        Finding(subject, severity, at(place), place * NAUTICAL_MILE, 300.0 * place * FOOT, 240.0 * KNOT, said)
        for subject, severity, place, said in FINDINGS[:findings]
    ]
    other = flight("three to one", Kind.RULE, slope_ft_per_nm=310.0, brake_from_nm=60.0)
    return Debrief(own, tuple(told), points, last_useful("recording"), (other,))
