"""Corridor: ``python -m benchmarks.corridor [-o FOLDER] [-n POINTS]``.

The corridor of the first study on its usual grid (twenty distances, five speeds, five sets of devices, every point
flown again), beside cold solves of single points as optimal-control problems: a level start at a distance and speed,
found feasible or in conflict by collocation. Where the speed may not rise (250 kt below 10 000 ft) the two bound the
same edge, the corridor from inside: the height below which collocation finds a descent, and above which it finds none,
stands beside the corridor's. A yardstick's time stands beside all.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from pathlib import Path

import numpy as np

from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick
from optdescent.air.airspeed import mach_from_calibrated
from optdescent.air.atmosphere import pressure
from optdescent.corridor import ONE_BY_ONE, DeviceSet, Grid, corridor, edges_for, usual_grid
from optdescent.ocp import Memory
from optdescent.optimum import DemandsConflict, NotConverged
from optdescent.optimum.beside import Accuracy
from optdescent.optimum.cold import found_cold
from optdescent.optimum.progress import silent
from optdescent.scenario import Scenario
from optdescent.units import FOOT, KNOT, NAUTICAL_MILE

STUDY = Path(__file__).parents[1] / "studies" / "first_descent" / "scenario.toml"
STILL = ("air.wind.kind=none", "arrival.windows=[]")
SPEED = 249.9
STEP = 250.0
"""Height between two cold solves [ft]."""


def is_reached(distance: float, height_ft: float, settings: Sequence[str] = STILL) -> bool:
    """Whether collocation finds a descent from a level start at `SPEED` [kt], a distance [nm] and an altitude [ft].

    Of the first study with some settings.
    """
    mach = float(mach_from_calibrated(SPEED * KNOT, pressure(height_ft * FOOT)))
    start = (f"start.distance_nm={distance}", f"start.altitude_ft={height_ft}", f"start.mach={mach - 1e-6}")
    try:
        found_cold(Scenario.from_toml(STUDY, (*settings, *start)), silent, Memory(), Accuracy(1e-4).first)
    except (DemandsConflict, NotConverged):
        return False
    return True


def bracket(distance: float, first_ft: float) -> tuple[float, float, int]:
    """Altitudes [ft] with and without a descent next to each other, from a first guess on, and solves it took."""
    height, solves = first_ft, 1
    up = is_reached(distance, height)
    while True:
        nearer = height + (STEP if up else -STEP)
        solves += 1
        if is_reached(distance, nearer) is not up:
            return min(height, nearer), max(height, nearer), solves
        height = nearer


def main() -> None:
    """Run, compare and write the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-o", "--output", type=Path, default=Path(__file__).parent / "out")
    parser.add_argument("-n", "--points", type=int, default=2, help="points that are solved cold")
    asked = parser.parse_args()
    asked.output.mkdir(parents=True, exist_ok=True)
    unit, scenario = yardstick(), Scenario.from_toml(STUDY)
    grid, began = usual_grid(scenario), time.perf_counter()
    found = corridor(edges_for(scenario, grid, ONE_BY_ONE, silent), grid)
    seconds = time.perf_counter() - began
    points = int(np.isfinite(found.values("highest")).sum())
    still = Scenario.from_toml(STUDY, STILL)
    distances = tuple(np.linspace(20.0, 24.0, asked.points) * NAUTICAL_MILE)
    own = Grid(distances, (SPEED * KNOT,))
    brake = DeviceSet(speed_brake=True)
    inside = edges_for(still, own, (brake,), silent)
    rows: list[tuple[str, ...]] = []
    began, solves = time.perf_counter(), 0
    for distance in distances:
        place = int(np.argmin(np.abs(inside.ground.to_go - distance)))
        edge = inside.of(brake)
        speed = int(np.argmin(np.abs(edge.states.speeds - SPEED * KNOT)))
        height = float(edge.altitude[place, speed, edge.states.scheduled[speed]]) / FOOT
        low, high, some = bracket(distance / NAUTICAL_MILE, round(height / STEP) * STEP)
        solves += some
        rows.append((f"{distance / NAUTICAL_MILE:.1f}", f"{height:.0f}", f"{low:.0f}", f"{high:.0f}"))
    cold = (time.perf_counter() - began) / solves
    header = ("distance nm", "corridor ft", "collocation finds one at ft", "and none at ft")
    print(markdown(header, rows))
    write_csv(asked.output / "corridor.csv", header, rows)
    print(f"Corridor: {seconds:.1f} s for {points} points ({seconds / points:.3f} s each), one process.")
    print(f"Cold solve: {cold:.1f} s, {cold * points / seconds:.0f} times a point of the corridor.")
    print(f"Yardstick {1e3 * unit:.1f} ms: {SENTENCE}.")


if __name__ == "__main__":
    main()
