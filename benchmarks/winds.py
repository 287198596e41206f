"""What a wind costs inside the solve: ``python -m benchmarks.winds [-o FOLDER] [-n REPEATS]``.

The first study under a constant wind, and under the same wind as a section of soundings and as a grid, which tells what
the form alone costs; then under a measured profile, a measured section and a grid made of soundings. For each:
variables, building, and re-solves with another mass on the refined mesh, in turns so that the machine's moods are
shared; all as ratios to the constant wind's.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, replace
from pathlib import Path
from statistics import median
from typing import Any

import numpy as np

from benchmarks.tables import markdown, write_csv
from optdescent.air.wind import GridWind, SectionWind
from optdescent.air.wind.direction import towards
from optdescent.inputs import read_toml
from optdescent.ocp import NonlinearProgram, Solution, refined, transcribe
from optdescent.optimum.glide import first_flight
from optdescent.optimum.optimise import SETTINGS
from optdescent.optimum.order import order_of
from optdescent.optimum.parameters import parameter_values
from optdescent.optimum.search import in_right_order
from optdescent.scenario import Scenario
from optdescent.units import DEGREE, KNOT

ROOT = Path(__file__).resolve().parents[1] / "studies"
STUDY = ROOT / "first_descent" / "scenario.toml"
WINDS: dict[str, dict[str, Any]] = {
    "constant": {"kind": "constant", "wind_from_deg": 280.0, "wind_speed_kt": 40.0},
    "profile": {"kind": "profile", "sounding": "norman-1999-05-04"},
    "section": read_toml(ROOT / "section_wind" / "scenario.toml")["air"]["wind"],
    "grid": {"kind": "grid", "file": str(ROOT / "grid_wind" / "winds-1999-05-04.nc")},
}
NAMES = ("constant", "constant, as a section", "constant, as a grid", "profile", "section", "grid")
POSITION = {"latitude_deg": 36.0, "longitude_deg": -94.5}
MASSES = (50.0, 100.0, 150.0, 200.0, 250.0)
HEADER = ("wind", "coefficients", "variables", "fuel kg", "build s", "re-solve ms", "iterations", "times constant")


@dataclass(frozen=True)
class Held:
    """A solved descent and its program on the refined mesh."""

    name: str
    scenario: Scenario
    program: NonlinearProgram
    best: Solution
    build: float


def scenario_of(name: str) -> Scenario:
    """The first study under one of the winds."""
    data = read_toml(STUDY)
    data["air"]["wind"] = WINDS[name.removeprefix("constant, as a ")]
    data["arrival"]["position"] = POSITION
    scenario = Scenario.from_data(data, str(STUDY), STUDY.parent)
    east, north = towards(280.0 * DEGREE, 40.0 * KNOT)
    match scenario.wind:
        case SectionWind() if "constant" in name:
            return replace(scenario, wind=_even_section(scenario.wind, float(east), float(north)))
        case GridWind() as grid if "constant" in name:
            own = np.ones_like(grid.east)
            return replace(scenario, wind=replace(grid, east=east * own, north=north * own))
        case _:
            return scenario


def _even_section(wind: SectionWind, east: float, north: float) -> SectionWind:
    even = tuple(
        replace(s, east=np.full_like(s.east, east), north=np.full_like(s.north, north)) for s in wind.soundings
    )
    return replace(wind, soundings=even)


def solved(name: str) -> Held:
    """The first study under one of the winds, solved."""
    scenario = scenario_of(name)
    flight = first_flight(scenario)
    trial = in_right_order(scenario, flight, *order_of(scenario, flight), lambda _: None)
    best = refined(trial.problem, trial.solution, SETTINGS)
    began = time.perf_counter()
    program = transcribe(trial.problem, best.mesh)
    return Held(name, scenario, program, best, time.perf_counter() - began)


def measure(rounds: int) -> list[list[str]]:
    """Rows of the table."""
    held = [solved(name) for name in NAMES]
    spent: dict[str, list[float]] = {one.name: [] for one in held}
    steps: dict[str, list[int]] = {one.name: [] for one in held}
    for _ in range(rounds):
        for more in MASSES:
            for one in held:
                values = parameter_values(one.scenario)
                began = time.perf_counter()
                found = one.program.solve({**values, "start mass": values["start mass"] + more}, one.best)
                spent[one.name].append(time.perf_counter() - began)
                steps[one.name].append(found.iterations)
                if not found.outcome.is_success:
                    raise ArithmeticError(f"{one.name}: {found.outcome.value}")
    constant = median(spent["constant"])
    return [
        [
            one.name,
            str(one.scenario.wind.field.size),
            str(one.program.columns),
            f"{one.best.cost:.1f}",
            f"{one.build:.3f}",
            f"{1e3 * median(spent[one.name]):.0f}",
            f"{median(steps[one.name]):g}",
            f"{median(spent[one.name]) / constant:.2f}",
        ]
        for one in held
    ]


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.winds", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("-o", "--output", type=Path, default=Path("benchmarks/out"), help="folder for the table")
    parser.add_argument("-n", "--rounds", type=int, default=5, help="timed rounds of five masses")
    given = parser.parse_args()
    rows = measure(given.rounds)
    given.output.mkdir(parents=True, exist_ok=True)
    text = markdown(HEADER, rows)
    (given.output / "winds.md").write_text(text + "\n", encoding="utf-8")
    write_csv(given.output / "winds.csv", HEADER, rows)
    print(text)


if __name__ == "__main__":
    main()
