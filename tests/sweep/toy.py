"""A question whose answers are formulas of the levels, so that a sweep can be checked case by case, and undone.

Importable by worker processes: `tests.sweep.toy`.
"""

from __future__ import annotations

import json
import os
import signal
import sys
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import xarray as xr

from optdescent.inputs import Fault, InputFault, read_toml, validated
from optdescent.results.schema import Column
from optdescent.results.sweep import Content, Status, SweepColumn
from optdescent.scenario import Conditions, ConditionsDeclaration
from optdescent.sweep.journal import Journal
from optdescent.sweep.local import Local
from optdescent.sweep.plan import plan_of
from optdescent.sweep.question import Answer, Asked, Case, Held, Layout, Preparation, Question, Session
from optdescent.sweep.run import Outcome, Place, Sweep, run_sweep

ROOT = Path(__file__).resolve().parents[2]
SCENARIO = ROOT / "studies" / "first_descent" / "scenario.toml"

MASS = {"kind": "range", "key": "start.mass_kg", "from": 56000.0, "to": 65000.0, "count": 6}
TAILWIND = {"kind": "range", "key": "added_tailwind_kt", "from": -20.0, "to": 20.0, "count": 5}
COST = {"kind": "values", "key": "cost.time_kg_per_min", "values": [0, 10, 25]}
AIRFRAME = {"kind": "values", "key": "airframe", "values": ["narrow-body-twin", "regional-jet"]}
HEAVY, VERY_SLOW = 63000.0, 25
"""From this mass in a strong headwind a case is infeasible; at this cost of time and no wind it does not converge."""

RULES = ("simple", "träge")


@dataclass(frozen=True)
class Toy:
    """Fuel from mass and wind, how many neighbours were given, and a word, with a case of every status.

    `seconds` is how long a case takes. In `folder`, a file `kill-NUMBER` makes whoever answers the case of that number
    die; a file `once-NUMBER` does so once; `signal-NUMBER` interrupts it from the keyboard. Each process that answers
    leaves `pid-PID` there, each case that begins `begun-NUMBER`, and a preparation `preparing`; one takes
    `seconds_to_prepare`.
    """

    seconds: float = 0.0
    folder: Path | None = None
    seconds_to_prepare: float = 0.0

    def layout(self, asked: Asked) -> Layout:
        """Columns and coordinates of the answers [SI]."""
        axes = np.array([axis.name for axis in asked.conditions.axes])
        return Layout(
            (
                SweepColumn(Column("fuel", "kg", "fuel of it", "fuel")),
                SweepColumn(Column("neighbours", "1", "neighbours known before", ""), Content.COUNT),
                SweepColumn(Column("is_fast", "", "whether time costs", ""), Content.FLAG, meanings=("no", "yes")),
                SweepColumn(Column("word", "", "levels in words", ""), Content.TEXT),
                SweepColumn(Column("cost_slope", "kg", "slope by axis", ""), dims=("axis",)),
                SweepColumn(Column("rule_fuel", "kg", "fuel by rule", ""), dims=("rule",)),
            ),
            {"axis": (axes, {"long_name": "axis"}), "rule": (np.array(RULES), {"long_name": "rule"})},
        )

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """A number that every answer needs: what the scenario itself has."""
        if self.folder is not None:
            (self.folder / "preparing").touch()
        time.sleep(self.seconds_to_prepare)
        (start,) = preparation.each(_own_mass, cases[:1], "preparing the toy")
        return {"start": start}

    def hold(self, prepared: object) -> _Held:
        """What a worker keeps."""
        assert isinstance(prepared, dict)
        if self.folder is not None:
            (self.folder / f"pid-{os.getpid()}").touch()
        return _Held(self, prepared["start"])


def _own_mass(case: Case) -> float:
    return float(case.asked.data["start"]["mass_kg"])


@dataclass(frozen=True)
class _Held:
    toy: Toy
    start: float

    def session(self) -> _Session:
        return _Session(self.toy, self.start)


@dataclass(frozen=True)
class _Session:
    toy: Toy
    start: float

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        self._dwell(case.number)
        levels = dict(zip((axis.name for axis in case.asked.conditions.axes), case.levels, strict=True))
        mass, wind = float(levels["mass_kg"]), float(levels["added_tailwind_kt"])
        cost = float(levels.get("time_kg_per_min", 0.0))
        if mass >= HEAVY and wind <= -15.0:
            return Answer(Status.INFEASIBLE, "too heavy\nfor this wind", {"neighbours": len(near)})
        if cost == VERY_SLOW and abs(wind) < 1.0:
            return Answer(Status.NOT_CONVERGED, "neither here nor there")
        if mass < 57000.0 and wind > 15.0:
            raise InputFault([Fault("toy", "start.mass_kg", f"got {mass:g}", "more")])
        if mass < 57000.0 and wind < -15.0:
            raise ZeroDivisionError("a defect of the toy")
        fuel = formula(mass, wind, cost) + 0.0 * self.start
        values: dict[str, Any] = {
            "fuel": fuel,
            "neighbours": len(near),
            "is_fast": cost > 0.0,
            "word": f"{mass:.0f} kg · {wind:+.0f} kt",
            "cost_slope": np.array([fuel / (index + 1.0) for index in range(len(levels))]),
            "rule_fuel": np.array([fuel + 50.0, fuel + 80.0]),
        }
        return Answer(Status.SOLVED, "", values, case.number)

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        """The first answer stays."""
        return None

    def _dwell(self, number: int) -> None:
        folder = self.toy.folder
        if folder is not None:
            (folder / f"begun-{number}").touch()
            once = folder / f"once-{number}"
            if once.exists():
                once.unlink()
                os._exit(9)
            if (folder / f"kill-{number}").exists():
                os._exit(9)
            if (folder / f"signal-{number}").exists():
                signal.raise_signal(signal.SIGINT)
        time.sleep(self.toy.seconds)


class Never:
    """A question that no case can answer."""

    def layout(self, asked: Asked) -> Layout:
        """No columns."""
        return Layout((), {})

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """Nothing."""
        return None

    def hold(self, prepared: object) -> Held:
        """Itself."""
        return self

    def session(self) -> Session:
        """Itself."""
        return self

    def begin(self, cases: Sequence[Case]) -> None:
        """Nothing."""

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        """That it is infeasible."""
        return Answer(Status.INFEASIBLE, "never")

    def again(self, case: Case, answer: Answer, near: tuple[object, ...]) -> Answer | None:
        """The first answer stays."""
        return None


class Broken(Never):
    """A question that ends in an exception."""

    def answer(self, case: Case, near: tuple[object, ...]) -> Answer:
        """None."""
        raise ZeroDivisionError("a defect")


@dataclass(frozen=True)
class Prepared:
    """A question with what was prepared of it before, so that two sweeps need not each do so."""

    question: Question
    prepared: object

    def layout(self, asked: Asked) -> Layout:
        """That of the question [SI]."""
        return self.question.layout(asked)

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """What was prepared before [-]."""
        return self.prepared

    def hold(self, prepared: object) -> Held:
        """What a worker keeps [-]."""
        return self.question.hold(prepared)


def formula(mass: float, wind: float, cost: float) -> float:
    """Fuel of the toy [kg]."""
    return 0.01 * mass - 3.0 * wind + 0.5 * cost


def conditions_of(axes: Sequence[Mapping[str, Any]], **sampling: Any) -> Conditions:
    """Conditions of axes as a study declares them."""
    data = {"axes": list(axes), "sampling": sampling or {"kind": "grid"}}
    return Conditions.of(validated(ConditionsDeclaration, data, "toy"), "toy")


def sweep_of(
    axes: Sequence[Mapping[str, Any]] = (MASS, TAILWIND, COST), toy: Toy | None = None, most: int = 8, **sampling: Any
) -> Sweep:
    """A sweep of the toy over the first scenario of the project."""
    plan = plan_of(conditions_of(axes, **sampling), most)
    asked = Asked(read_toml(SCENARIO), SCENARIO.name, SCENARIO.parent, plan.conditions)
    text = json.dumps({"axes": list(axes), "sampling": sampling, "scenario": asked.data}, sort_keys=True)
    attributes = {"title": "a toy", "scenario": SCENARIO.read_text(encoding="utf-8"), "software_version": "0.0.1"}
    return Sweep(plan, asked, toy or Toy(), text, attributes)


def reordered(sweep: Sweep, order: Sequence[int]) -> Sweep:
    """The same sweep with its blocks done in another order."""
    return replace(sweep, plan=replace(sweep.plan, blocks=tuple(sweep.plan.blocks[index] for index in order)))


def run(sweep: Sweep, path: Path, place: Place, journal: Journal | None = None, *, resume: bool = False) -> Outcome:
    """Run a sweep without a word."""
    return run_sweep(sweep, path, place, journal or Journal(), resume=resume)


def opened(path: Path) -> xr.Dataset:
    """A stored sweep in memory."""
    with xr.open_zarr(path) as dataset:
        return dataset.load()


def wait_until(is_so: Callable[[], bool], seconds: float = 120.0) -> None:
    """Wait for something to happen elsewhere [s]."""
    end = time.monotonic() + seconds
    while not is_so():
        assert time.monotonic() < end, "it did not happen"
        time.sleep(0.01)


def main() -> None:
    """Run the toy as a program: path of the dataset, workers, seconds a case, folder; go on where there is one.

    Its preparation takes as long as ten cases.
    """
    path, workers, seconds, folder = Path(sys.argv[1]), int(sys.argv[2]), float(sys.argv[3]), Path(sys.argv[4])
    sweep = sweep_of(toy=Toy(seconds, folder, 10.0 * seconds))
    outcome = run(sweep, path, Local(workers), Journal(Path(f"{path}.log")), resume=path.exists())
    sys.stdout.write(f"{outcome.done} {outcome.interrupted}\n")
