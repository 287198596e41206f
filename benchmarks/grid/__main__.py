"""Costs on successive grids beside the collocated cost: ``python -m benchmarks.grid [-o FOLDER]``."""

from __future__ import annotations

import argparse
import time
from pathlib import Path

from benchmarks.grid.bound import LADDER, Rung, climb
from benchmarks.grid.chart import draw
from benchmarks.grid.collocated import Collocated, optimum
from benchmarks.grid.descent import still, windy
from benchmarks.tables import markdown, write_csv
from optdescent.ocp import find_chatter

HEADER = (
    "descent",
    "grid (steps x heights x speeds, angles x thrusts)",
    "grid cost kg",
    "flown kg",
    "collocated kg",
    "grid - collocated kg",
    "flown - collocated kg",
    "bound kg",
    "bound %",
    "within",
    "seconds",
)


def row(title: str, rung: Rung, engine: Collocated) -> tuple[str, ...]:
    off = rung.cost - engine.cost
    numbers = (rung.cost, rung.flown.cost, engine.cost, off, rung.flown.cost - engine.cost, rung.bound)
    known = rung.bound < float("inf")
    return (
        title,
        str(rung.grid),
        *(f"{number:.3f}" if number < float("inf") else "-" for number in numbers),
        f"{100.0 * rung.bound / engine.cost:.2f}" if known else "-",
        ("yes" if abs(off) <= rung.bound else "NO") if known else "-",
        f"{rung.seconds:.1f}",
    )


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.grid", description=__doc__)
    parser.add_argument(
        "-o", "--output", type=Path, default=Path("benchmarks/out"), help="folder of table and pictures"
    )
    folder: Path = parser.parse_args().output
    folder.mkdir(parents=True, exist_ok=True)
    rows: list[tuple[str, ...]] = []
    for name, descent in (("still", still()), ("windy", windy())):
        began = time.perf_counter()
        engine = optimum(descent)
        seconds = time.perf_counter() - began
        swings = sum(one.swings for one in find_chatter(engine.solution))
        print(
            f"{descent.title}: collocated {engine.cost:.4f} kg in {seconds:.1f} s, smoothing charge "
            f"{engine.charge:.4f} kg, {swings} swings of a control"
        )
        rungs = climb(descent, LADDER)
        rows += [row(descent.title, rung, engine) for rung in rungs]
        draw(folder / f"grid-{name}.png", descent, rungs[-1], engine)
    write_csv(folder / "grid.csv", HEADER, rows)
    print(markdown(HEADER, rows))


if __name__ == "__main__":
    main()
