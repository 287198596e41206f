"""What one waits for at the command line: ``python -m benchmarks.waiting [-o FOLDER] [-n REPEATS]``.

The help beside a bare Python that imports numpy, in turn, the least time of each, so that what else the machine does
slows both. And the figures of the first study's margins, once and over conditions, drawn from stored numbers in all
formats by a process that has drawn nothing before, importing included; seconds are told in yardsticks too.
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick
from optdescent.cli.write import write_figures, write_figures_of
from optdescent.results import Flight
from optdescent.results.margins import Margins
from optdescent.results.over_conditions import OverConditions

STUDY = Path(__file__).parents[1] / "studies" / "first_descent"
ASKED, BARE = "from optdescent.cli import main; main()", "import numpy"
MOST_TIMES, MOST_SECONDS = 3.0, 10.0
"""Asked: the help in at most so many times what numpy takes, the figures in at most so many seconds."""
HEADER = ("what", "s", "yardsticks", "asked")


def seconds_of(*command: str) -> float:
    """Seconds that Python takes with these arguments."""
    begun = time.perf_counter()
    subprocess.run([sys.executable, *command], capture_output=True, check=True)
    return time.perf_counter() - begun


def margins_in(folder: Path) -> None:
    """The first study's margins, once and over conditions, without optima there."""
    conditions = str(STUDY / "conditions.toml")
    asked = (str(STUDY / "scenario.toml"), "--conditions", conditions, "--optima", "0", "-o", str(folder))
    seconds_of("-c", ASKED, "margins", *asked)


def drawn_in(folder: Path) -> tuple[float, int]:
    """Seconds from stored numbers to every figure of a run of margins, and how many files those are."""
    margins = Margins.from_netcdf(folder / "margins.nc")
    conditions = OverConditions.from_netcdf(folder / "conditions.nc")
    names = ("optimum", *(str(name) for name in margins.table["rule"].values))
    flights = [Flight.from_netcdf(folder / f"{name}.nc") for name in names]
    begun = time.perf_counter()
    files = write_figures(flights, folder / "drawn")
    for found in (margins, conditions):
        files += write_figures_of(found, folder / "drawn")[0]
    return time.perf_counter() - begun, len(files)


def main() -> None:
    """Measure both and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-o", "--output", type=Path, default=Path(__file__).parent / "out")
    parser.add_argument("-n", "--repeats", type=int, default=9)
    asked = parser.parse_args()
    asked.output.mkdir(parents=True, exist_ok=True)
    unit = yardstick()
    times = [(seconds_of("-c", ASKED, "--help"), seconds_of("-c", BARE)) for _ in range(asked.repeats)]
    helped, bare = (min(each) for each in zip(*times, strict=True))
    ratio = helped / bare
    with tempfile.TemporaryDirectory() as name:
        margins_in(Path(name))
        figures, count = drawn_in(Path(name))
    rows = [
        ("a bare Python with numpy", f"{bare:.3f}", f"{bare / unit:.1f}", ""),
        (f"the help, {ratio:.1f} times that", f"{helped:.3f}", f"{helped / unit:.1f}", f"{MOST_TIMES:.0f} times"),
        (f"{count} files of figures", f"{figures:.2f}", f"{figures / unit:.0f}", f"{MOST_SECONDS:.0f} s"),
    ]
    print(markdown(HEADER, rows))
    write_csv(asked.output / "waiting.csv", HEADER, rows)
    print(f"Yardstick {1e3 * unit:.1f} ms: {SENTENCE}.")


if __name__ == "__main__":
    main()
