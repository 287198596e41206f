"""Time against the number of variables, and where it goes: ``python -m benchmarks.size [-o FOLDER] [-n REPEATS]``.

The reduced descent of ``benchmarks.peers.descent`` on finer and finer meshes up to 20 000 variables. For each: the
time of building, the first solve, its iterations, milliseconds per iteration, and that over the yardstick's time.
Writes ``size.csv``, ``size.md``, ``size.pdf`` and ``size.png``.

The profile of a first solve: the seconds in each kind of function are the solver's own count; a solve with no
iterations tells the set-up (scales, bounds, making the solver, reading the result); linear algebra and IPOPT's own
work are the rest.
"""

from __future__ import annotations

import argparse
import os
import platform
import statistics
import time
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import casadi as ca
import numpy as np
from matplotlib.figure import Figure

from benchmarks.peers.descent import descent
from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick
from optdescent.ocp import Guess, Mesh, SolverSettings, transcribe

_VALUES = {"mass at start": 60e3}
_GENERAL = SolverSettings(central=False)
"""The general interior point at all sizes."""
_ELEMENTS = (10, 20, 40, 80, 160, 320, 570)
_DEGREE = 5
_PARTS = ("cost and rows", "gradient", "Jacobian", "Hessian", "set-up and result", "linear algebra and IPOPT")
_GREYS = ("white", "0.9", "0.75", "0.55", "0.3", "0.0")
_HATCHES = ("", "//", "", "\\\\", "", "")


@dataclass(frozen=True)
class Size:
    """One mesh. Seconds; ``parts`` as in ``_PARTS``, of one first solve."""

    elements: int
    variables: int
    rows: int
    iterations: int
    build: float
    solve: float
    parts: tuple[float, ...]

    @property
    def per_iteration(self) -> float:
        """Seconds of the first solve per iteration."""
        return self.solve / self.iterations


def measure(elements: int, repeats: int) -> Size:
    """Build and solve from the straight guess ``repeats`` times."""
    builds: list[float] = []
    solves: list[float] = []
    functions: list[tuple[float, ...]] = []
    for _ in range(repeats):
        began = time.perf_counter()
        problem, guess = descent()
        program = transcribe(problem, Mesh.uniform(problem, elements, _DEGREE))
        built = time.perf_counter()
        found = program.solve(_VALUES, guess, _GENERAL)
        solves.append(time.perf_counter() - built)
        builds.append(built - began)
        functions.append(tuple(program.timing.values()))
    if not found.outcome.is_success:
        raise ArithmeticError(f"{elements} elements: {found.outcome.value}")
    solve = statistics.median(solves)
    evaluated = tuple(statistics.median(part) for part in zip(*functions, strict=True))
    around = _around(program.mesh, guess)
    parts = (*evaluated, around, max(solve - around - sum(evaluated), 0.0))
    return Size(elements, program.columns, program.rows, found.iterations, statistics.median(builds), solve, parts)


def _around(mesh: Mesh, guess: Guess) -> float:
    """Seconds of a solve without iterations, but for its functions."""
    fresh = transcribe(descent()[0], mesh)
    began = time.perf_counter()
    fresh.solve(_VALUES, guess, replace(_GENERAL, iterations=0))
    return time.perf_counter() - began - sum(fresh.timing.values())


_HEADER = (
    "elements", "variables", "rows", "iterations", "build ms", "first solve ms", "ms per iteration",
    "iteration / yardstick", "microseconds per iteration and variable",
)  # fmt: skip


def _row(size: Size, unit: float) -> list[str]:
    return [
        str(size.elements),
        str(size.variables),
        str(size.rows),
        str(size.iterations),
        f"{1e3 * size.build:.1f}",
        f"{1e3 * size.solve:.1f}",
        f"{1e3 * size.per_iteration:.2f}",
        f"{size.per_iteration / unit:.3f}",
        f"{1e6 * size.per_iteration / size.variables:.2f}",
    ]


def _profile(sizes: Sequence[Size]) -> str:
    header = ("variables", "first solve ms", *(f"{part} %" for part in _PARTS))
    rows = [
        [str(s.variables), f"{1e3 * s.solve:.1f}", *(f"{100 * part / s.solve:.0f}" for part in s.parts)] for s in sizes
    ]
    return markdown(header, rows)


def draw(sizes: Sequence[Size], folder: Path) -> None:
    """Milliseconds per iteration and of building against variables; shares of a first solve. Grey-scale."""
    figure = Figure(figsize=(9.0, 3.8), layout="constrained")
    left, right = figure.subplots(1, 2)
    n = [s.variables for s in sizes]
    left.loglog(n, [1e3 * s.per_iteration for s in sizes], "o-", color="black", label="per iteration")
    left.loglog(n, [1e3 * s.build for s in sizes], "s--", color="0.45", markerfacecolor="white", label="building")
    first = 1e3 * sizes[0].per_iteration
    left.loglog(n, [first * v / n[0] for v in n], ":", color="0.6", label="in proportion to variables")
    left.set_xlabel("variables")
    left.set_ylabel("time, ms")
    left.legend(frameon=False, fontsize=8)
    bottom = np.zeros(len(sizes))
    labels = [str(v) for v in n]
    for k, part in enumerate(_PARTS):
        share = np.array([100 * s.parts[k] / s.solve for s in sizes])
        right.bar(
            labels, share, bottom=bottom, color=_GREYS[k], hatch=_HATCHES[k], edgecolor="0.2", linewidth=0.6, label=part
        )
        bottom += share
    right.set_xlabel("variables")
    right.set_ylabel("share of the first solve, %")
    figure.legend(*right.get_legend_handles_labels(), loc="outside lower center", ncols=6, frameon=False, fontsize=7.5)
    for axes in (left, right):
        for side in ("top", "right"):
            axes.spines[side].set_visible(False)
    figure.savefig(folder / "size.pdf")
    figure.savefig(folder / "size.png", dpi=150)


def main() -> None:
    parser = argparse.ArgumentParser(prog="python -m benchmarks.size", description=(__doc__ or "").splitlines()[0])
    parser.add_argument("-o", "--output", type=Path, default=Path("benchmarks/out"), help="folder for table and plot")
    parser.add_argument("-n", "--repeats", type=int, default=5, help="builds and solves of each size")
    given = parser.parse_args()
    unit = yardstick()
    sizes = [measure(elements, given.repeats) for elements in _ELEMENTS]
    rows = [_row(size, unit) for size in sizes]
    text = "\n\n".join(
        (
            "# Time against size: the reduced descent",
            f"{platform.machine()}, {os.cpu_count()} processors, Python {platform.python_version()}, "
            f"CasADi {ca.__version__}; yardstick {1e3 * unit:.1f} ms for {SENTENCE}",
            markdown(_HEADER, rows),
            "Shares of a first solve:",
            _profile(sizes),
        )
    )
    folder: Path = given.output
    folder.mkdir(parents=True, exist_ok=True)
    (folder / "size.md").write_text(text + "\n", encoding="utf-8")
    write_csv(folder / "size.csv", _HEADER, rows)
    draw(sizes, folder)
    print(text)


if __name__ == "__main__":
    main()
