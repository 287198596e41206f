"""A recording of forty minutes at one row a second debriefed: ``python -m benchmarks.debrief [-o FOLDER]``.

The recording is invented: the descent of the recordings' study begun farther out, with the brake stowed too early. Each
part is timed once [s of wall clock], in a process that has imported everything and has done none of it before; a second
debrief of the same recording follows, in which nothing is compiled any more, timed in seconds of the processor, which
others on the machine disturb less. The command line adds its start.
"""

from __future__ import annotations

import argparse
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick
from optdescent.debrief import as_met, debrief, measures
from optdescent.debrief.rehearse import csv_of, map_of, rehearsed, scripts
from optdescent.figures import save
from optdescent.figures.debrief import debrief as draw
from optdescent.optimum.progress import silent
from optdescent.recording import read_recording
from optdescent.rules import read_rules
from optdescent.scenario import Scenario
from optdescent.units import MINUTE

STUDY = Path(__file__).parents[1] / "studies" / "recordings" / "scenario.toml"
FAR = ("start.distance_nm=290",)
ASKED_SECONDS, ASKED_MINUTES = 20.0, 40.0
NAME = "brake-in-and-out"
HEADER = ("part", "first s", "again processor s")


def recorded(folder: Path, scenario: Scenario) -> Path:
    """The recording as a file, its map beside it."""
    rules = {rule.name: rule for rule in read_rules("library")}
    own = (rules["300-with-allowances"], rules["three-degrees"], rules["path-from-above"])
    script = next(script for script in scripts(scenario, *own) if script.name == NAME)
    path = folder / f"{NAME}.csv"
    path.write_text(csv_of(rehearsed(script, scenario), 1), encoding="utf-8")
    (folder / "columns.toml").write_text(map_of(), encoding="utf-8")
    return path


def parts(path: Path, scenario: Scenario, folder: Path, clock: Callable[[], float]) -> dict[str, float]:
    """Seconds of each part of a debrief, all of them together last."""
    taken: dict[str, float] = {}
    began = clock()

    def lap(name: str) -> None:
        nonlocal began
        taken[name], began = clock() - began, clock()

    rule = read_rules("library")[0]
    read = read_recording(path, path.parent / "columns.toml", scenario)
    lap("reading")
    met = as_met(scenario, read).scenario
    lap("air as met")
    against = measures(met, rule, read.flight, silent)
    lap("corridor")
    found = debrief(read.flight, against, silent)
    lap("findings and a perfect crew")
    save(draw(found), folder, "debrief")
    lap("page in three formats")
    taken["all"] = sum(taken.values())
    minutes = float(read.flight.column("time")[-1]) / MINUTE
    print(f"{read.reading.rows} rows, {minutes:.1f} min, {len(found.findings)} findings")
    if minutes < ASKED_MINUTES:
        raise ValueError(f"a recording of {minutes:.1f} min is shorter than asked")
    return taken


def main() -> None:
    """Debrief twice and write the table."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-o", "--output", type=Path, default=Path(__file__).parent / "out")
    asked = parser.parse_args()
    asked.output.mkdir(parents=True, exist_ok=True)
    unit, scenario = yardstick(), Scenario.from_toml(STUDY, FAR)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        path = recorded(folder, scenario)
        first, again = (parts(path, scenario, folder, clock) for clock in (time.perf_counter, time.process_time))
    rows = [(part, f"{seconds:.2f}", f"{again[part]:.2f}") for part, seconds in first.items()]
    print(markdown(HEADER, rows))
    write_csv(asked.output / "debrief.csv", HEADER, rows)
    print(f"Asked: at most {ASKED_SECONDS:.0f} s in all. Yardstick {1e3 * unit:.1f} ms: {SENTENCE}.")


if __name__ == "__main__":
    main()
