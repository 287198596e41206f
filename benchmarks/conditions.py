"""The first study under more than three hundred conditions: ``python -m benchmarks.conditions [-o FOLDER] [-w N]``.

The measured wind shifted along the track by up to 60 kt either way, three masses, seven temperatures from 20 K below
standard to 25 K above, three costs of time. Each case converges in an order of events that was found for it, or is
shown to be infeasible with the demands in conflict; anything else, a mesh coarser than asked for too, is a failure.
"""

from __future__ import annotations

import argparse
import itertools
import multiprocessing
import sys
import time
from collections import Counter
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median

import numpy as np
from numpy.typing import NDArray

from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick
from optdescent.air.wind import Wind, WindField
from optdescent.ocp import Memory, Outcome
from optdescent.optimum import DemandsConflict, NotConverged
from optdescent.optimum.cold import found_cold
from optdescent.optimum.optimise import SETTINGS
from optdescent.optimum.progress import silent
from optdescent.scenario import Scenario
from optdescent.units import KNOT

STUDY = Path(__file__).resolve().parents[1] / "studies" / "first_descent" / "scenario.toml"
SHIFTS = (-60.0, -30.0, 0.0, 30.0, 60.0)
MASSES = (54, 60, 66)
OFFSETS = (-20.0, -12.0, -5.0, 0.0, 8.0, 16.0, 25.0)
COSTS = (0.0, 15.0, 40.0)
HEADER = ("shift_kt", "mass_kg", "offset_k", "cost_kg_per_min", "outcome", "cost_kg", "orders", "seconds", "reason")
Case = tuple[float, int, float, float]
MEMORY = Memory()


@dataclass(frozen=True)
class ShiftedWind:
    """A wind with the same tailwind [m/s] added at every height."""

    wind: Wind
    course: float
    shift: float

    @property
    def field(self) -> WindField:
        """How it is evaluated."""
        return self.wind.field

    def coefficients(self) -> NDArray[np.float64]:
        """Numbers (field.size,) [m/s]."""
        return self.wind.coefficients() + self.shift * self.field.tailwind(self.course, -np.inf, np.inf)


def run(case: Case) -> tuple[str, ...]:
    """One case as a row of the table."""
    shift, mass, offset, cost = case
    settings = (f"start.mass_kg={mass}000", f"air.temperature_offset_k={offset}", f"cost.time_kg_per_min={cost}")
    scenario = Scenario.from_toml(STUDY, settings)
    scenario = replace(scenario, wind=ShiftedWind(scenario.wind, scenario.arrival.course, shift * KNOT))
    began = time.perf_counter()
    outcome, spent, orders, reason = "failed", "", "", ""
    try:
        trial = found_cold(scenario, silent, MEMORY, SETTINGS)
        outcome = "converged" if trial.solution.outcome is Outcome.SOLVED else "coarse"
        spent, orders = f"{trial.solution.cost:.2f}", str(len(trial.orders))
    except DemandsConflict as conflict:
        outcome, reason = "infeasible", str(conflict)
    except NotConverged as fault:
        reason = str(fault)
    seconds = f"{time.perf_counter() - began:.2f}"
    return (f"{shift:.0f}", f"{mass}000", f"{offset:.0f}", f"{cost:.0f}", outcome, spent, orders, seconds, reason)


def main() -> None:
    """Run all cases, print the count of outcomes and whatever did not converge."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-o", "--output", type=Path, default=Path(__file__).parent / "out")
    parser.add_argument("-w", "--workers", type=int, default=2)
    asked = parser.parse_args()
    folder: Path = asked.output
    cases: list[Case] = list(itertools.product(SHIFTS, MASSES, OFFSETS, COSTS))
    unit, began = yardstick(), time.perf_counter()
    with multiprocessing.get_context("spawn").Pool(asked.workers) as pool:
        rows = [row for row in pool.imap_unordered(run, cases, chunksize=3)]
    folder.mkdir(parents=True, exist_ok=True)
    write_csv(folder / "conditions.csv", HEADER, sorted(rows))
    other = [row for row in rows if row[4] != "converged"]
    if other:
        print(markdown(HEADER, sorted(other)))
    times = [float(row[7]) for row in rows]
    print(f"{len(rows)} cases: {dict(Counter(row[4] for row in rows))}")
    print(
        f"seconds a case: median {median(times):.2f} ({median(times) / unit:.0f} yardsticks), largest {max(times):.1f}"
    )
    print(f"{time.perf_counter() - began:.0f} s in {asked.workers} processes. Yardstick: {SENTENCE}.")
    if any(row[4] not in ("converged", "infeasible") for row in rows):
        sys.exit(1)


if __name__ == "__main__":
    main()
