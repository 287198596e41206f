"""Sweeps of optimal descents: ``python -m benchmarks.sweep [-o FOLDER] [-n CASES] [--part PART]``.

Ten thousand cases of the first study (wind by mass by temperature by cost of time), on this machine with two workers:
cases a second beside cold solves one by one to the same accuracy, one worker beside two, memory as the sweep goes on,
processor time of a case as it grows (fewer blocks of the same sweep, spread over it), the same blocks on a Dask
cluster beside local processes, and what a far larger sweep would take by the sizes and rates measured. Then a million
flights of one rule, and memory as they go on. A second table has the ratios beside what is asked; facts of parts run
apart are taken from the output folder, each with the yardstick's time of its run.
"""

from __future__ import annotations

import argparse
import json
import resource
import shutil
import tempfile
import threading
import time
from collections import Counter
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
import psutil
import xarray as xr
from numpy.typing import NDArray

from benchmarks.sweep.cluster import answer_bytes, cluster, tasks_a_second
from benchmarks.sweep.ratios import HEADER as RATIOS
from benchmarks.sweep.ratios import merged, ratios
from benchmarks.tables import markdown, write_csv
from benchmarks.yardstick import SENTENCE, yardstick
from optdescent.ocp import Memory
from optdescent.optimum import DemandsConflict, NotConverged
from optdescent.optimum.beside import Accuracy
from optdescent.optimum.cold import found_cold
from optdescent.optimum.optimise import flight_of
from optdescent.results.sweep import STATUS, Status
from optdescent.study import Study
from optdescent.sweep import Cluster, Journal, Local, Sweep, run_sweep
from optdescent.sweep.block import Answers, case_of, failed_block
from optdescent.sweep.dataset import Contents
from optdescent.sweep.plan import Block
from optdescent.sweep.question import Layout
from optdescent.sweep.store import created

STUDY, RULES = (Path(__file__).with_name(f"{name}.toml") for name in ("study", "rules"))
COLD_CASES = 40
"""Cases drawn to be solved by themselves: the mean time is then known to some 3 %."""
PARTS = ("cold", "workers", "large", "cluster", "rules")
SIZES = {100: 4, 1000: 36, 10000: 10000}
"""Most blocks of a sweep of about so many cases, spread over the grid of ten thousand: their cases are like its own."""
FEW = 24
"""Blocks that one worker is set beside two with, and local processes beside a cluster: of eight the last one to end
would decide."""
Row = tuple[str, ...]


@dataclass(frozen=True)
class Run:
    """One sweep: seconds, cases, memory of this process and its workers together [MB] every few seconds.

    `preparing` are the seconds before the first block, which do not grow with the sweep. `busy` are the processor
    seconds of all processes since then, not a number on a cluster. `working` is the part of `memory` since each worker
    has stored a block.
    """

    seconds: float
    preparing: float
    busy: float
    cases: int
    memory: NDArray[np.float64]
    working: NDArray[np.float64]
    dataset: xr.Dataset

    @property
    def answering(self) -> float:
        """Seconds a case, preparation aside."""
        return (self.seconds - self.preparing) / self.cases

    @property
    def quarters(self) -> tuple[float, float] | None:
        """Mean memory [MB] of the first and the last quarter since all workers are up; None for a run too short."""
        quarter = self.working.size // 4
        if not quarter:
            return None
        return float(np.mean(self.working[:quarter])), float(np.mean(self.working[-quarter:]))

    @property
    def solved(self) -> float:
        """Part of the cases that were solved [%]."""
        return 100.0 * int((self.dataset["status"] == Status.SOLVED).sum()) / self.cases


def some_blocks(sweep: Sweep, count: int) -> Sweep:
    """The sweep with a few of its blocks only, spread over it: the rest stays not computed.

    They are done in an order that is drawn: in that of the grid the last quarter would be other cases than the first.
    """
    blocks = sweep.plan.blocks
    chosen = np.unique(np.linspace(0, len(blocks) - 1, min(count, len(blocks))).round().astype(int))
    chosen = np.random.default_rng(1).permutation(chosen)
    return replace(sweep, plan=replace(sweep.plan, blocks=tuple(blocks[index] for index in chosen)))


def run(sweep: Sweep, folder: Path, place: Local | Cluster) -> Run:
    """Run a sweep anew and watch its memory."""
    path, log = folder / "out.zarr", folder / "out.log"
    shutil.rmtree(path, ignore_errors=True)
    log.unlink(missing_ok=True)
    memory: list[tuple[float, float]] = []
    is_done = threading.Event()
    watcher = threading.Thread(target=_watch, args=(memory, is_done))
    watcher.start()
    began, journal = time.perf_counter(), Clocked(log)
    try:
        run_sweep(sweep, path, place, journal, resume=False)
    finally:
        seconds, busy = time.perf_counter() - began, processor_seconds() - journal.busy
        is_done.set()
        watcher.join()
    if isinstance(place, Cluster):
        busy = float("nan")  # its workers have not ended
    dataset = xr.open_zarr(path).load()
    cases = int((dataset["status"] != Status.NOT_COMPUTED).sum())
    up = up_from(log, place.workers if isinstance(place, Local) else 2)
    own = np.array([amount for _, amount in memory])
    return Run(seconds, journal.ready - began, busy, cases, own, own[[moment >= up for moment, _ in memory]], dataset)


class Clocked(Journal):
    """A journal that notes when a preparation has ended, and the processor time until then [s]."""

    ready = busy = 0.0

    def begin(self, *given: Any) -> None:
        """The preparation has ended."""
        self.ready, self.busy = time.perf_counter(), processor_seconds()
        super().begin(*given)


def processor_seconds() -> float:
    """Processor time of this process and of its children that have ended [s]."""
    kinds = (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)
    return sum(used.ru_utime + used.ru_stime for used in map(resource.getrusage, kinds))


def up_from(log: Path, workers: int) -> float:
    """When as many blocks were stored as there are workers [s since the epoch]; never, if fewer were."""
    lines = [line.split(" ", 1) for line in log.read_text(encoding="utf-8").splitlines()]
    stamps = [datetime.fromisoformat(stamp).timestamp() for stamp, event in lines if event.startswith("block ")]
    return stamps[workers - 1] if len(stamps) >= workers else float("inf")


def _watch(memory: list[tuple[float, float]], is_done: threading.Event) -> None:
    own = psutil.Process()
    while not is_done.wait(2.0):
        total = 0
        for process in (own, *own.children(recursive=True)):
            try:
                total += process.memory_info().rss
            except psutil.NoSuchProcess:
                continue
        memory.append((time.time(), total / 1e6))


def cold_facts(study: Study, count: int) -> dict[str, float]:
    """Time of a case solved by itself to the same accuracy: mean, its standard error [s]; how many were solved."""
    cases = np.random.default_rng(1).choice(study.plan.conditions.size, count, replace=False)
    seconds, solved = np.empty(count), 0
    for index, number in enumerate(cases.tolist()):
        case = case_of(study.asked, number)
        began = time.perf_counter()
        try:
            flight_of(found_cold(case.scenario, lambda _: None, Memory(), Accuracy(study.compute.local_error).first))
            solved += 1
        except (DemandsConflict, NotConverged) as failure:
            print(f"cold: {case.levels}: {failure}")
        seconds[index] = time.perf_counter() - began
    error = float(np.std(seconds, ddof=1)) / np.sqrt(count)
    return {"cold_s": float(np.mean(seconds)), "cold_error_s": error, "cold_cases": count, "cold_solved": solved}


def seams(dataset: xr.Dataset, axes: list[str], margin: float) -> int:
    """Cases for which a neighbour's cost and slope promise less by a margin [kg]: another order may be better there."""
    cost, found = dataset["cost"], xr.zeros_like(dataset["status"], dtype=bool)
    for axis in axes:
        levels = dataset[axis]
        slope = dataset["cost_slope"].sel(axis=axis, drop=True)
        for step in (1, -1):
            away = levels - levels.shift({axis: step})
            promised = cost.shift({axis: step}) + slope.shift({axis: step}) * away
            found = found | (promised < cost - margin)
    return int(found.sum())


def told(name: str, one: Run) -> Row:
    """A run as a row of the table."""
    return (
        name,
        str(one.cases),
        f"{one.seconds:.0f}",
        f"{one.preparing:.0f}",
        f"{one.answering:.3f}",
        "" if np.isnan(one.busy) else f"{one.busy / one.cases:.3f}",
        f"{one.solved:.2f}",
        f"{np.max(one.memory, initial=0.0):.0f}",
        *(("", "") if one.quarters is None else (f"{amount:.0f}" for amount in one.quarters)),
    )


def facts_of(size: int, one: Run) -> dict[str, float]:
    """What a sweep of so many cases says of itself: seconds, seams, solved [%], memory [MB].

    Seams are those between cases that were computed: of some blocks only, not those to the blocks left out.
    """
    found: dict[str, float] = {
        f"case_{size}_s": one.answering,
        f"busy_{size}_s": one.busy / one.cases,
        f"sweep_{size}_s": one.seconds,
        f"seams_{size}": seams(one.dataset, json.loads(one.dataset.attrs["axes"]), 0.5),
        f"solved_{size}_percent": one.solved,
    }
    return found | memory_of(str(size), one)


def memory_of(name: str, one: Run) -> dict[str, float]:
    """The most memory of a sweep, and that of its first and last quarter if it was long enough [MB]."""
    found = {f"memory_most_{name}_MB": float(np.max(one.memory, initial=0.0))}
    if one.quarters is not None:
        found |= {f"memory_first_{name}_MB": one.quarters[0], f"memory_last_{name}_MB": one.quarters[1]}
    return found


HEADER = (
    "run", "cases", "seconds", "of them to prepare", "seconds a case", "processor seconds a case", "solved %",
    "most memory MB", "first quarter MB", "last quarter MB",
)  # fmt: skip


def store_seconds(sweep: Sweep, folder: Path) -> float:
    """Time that storing the answers of one block takes; they are drawn at random, so that no chunk is left out."""
    layout, rng = sweep.question.layout(sweep.asked), np.random.default_rng(1)
    path = folder / "stored.zarr"
    blocks = sweep.plan.blocks[:: max(1, len(sweep.plan.blocks) // 40)]
    answers = [solved_block(block, layout, rng) for block in blocks]
    with created(path, Contents(sweep.plan, layout, sweep.text, sweep.attributes)) as store:
        began = time.perf_counter()
        for own in answers:
            store.write([own])
        seconds = (time.perf_counter() - began) / len(blocks)
    shutil.rmtree(path)
    return seconds


def solved_block(block: Block, layout: Layout, rng: np.random.Generator) -> Answers:
    """Answers of a block with a number drawn for each that a column may hold."""
    arrays = dict(failed_block(block, layout, "").arrays)
    for name, values in arrays.items():
        if values.dtype.kind == "f":
            arrays[name] = rng.standard_normal(values.shape).astype(values.dtype)
        elif values.dtype.kind == "i":
            arrays[name] = np.ones_like(values)
    return Answers(block, {**arrays, STATUS.name: np.full_like(arrays[STATUS.name], Status.SOLVED)})


def estimate(facts: dict[str, float], cases_a_block: float) -> str:
    """What ten million cases on a hundred workers would take, from what was measured [Markdown]."""
    cases, workers = 1e7, 100.0
    busy = cases * 2.0 * facts["cluster_case_s"]  # by two workers
    hours, blocks = busy / workers / 3600.0, cases / cases_a_block
    rate = blocks / (hours * 3600.0)
    storing, sent = rate * facts["store_s_a_block"], cases * facts["answer_bytes_a_case"]
    lines = (
        "# Ten million cases on a hundred workers, by the rates measured here",
        "",
        f"- {busy / cases:.2f} s a case and worker: {hours:.1f} h.",
        f"- {blocks:.0f} blocks of {cases_a_block:.0f} cases: {rate:.2f} tasks a second.",
        f"  The scheduler and two workers did {facts['tasks_a_second']:.0f} empty tasks a second.",
        f"- {facts['answer_bytes_a_case']:.0f} bytes an answer: {sent / 1e9:.1f} GB, "
        f"{sent / (hours * 3600.0) / 1e6:.2f} MB a second through the process that stores.",
        f"- Storing takes {1e3 * facts['store_s_a_block']:.0f} ms a block: {100.0 * storing:.0f} % of its time",
        "  if the blocks come one by one; those that come together are stored together. Above 80 % blocks should be",
        "  larger. Flights that are kept are not among it.",
        "",
    )
    return "\n".join(lines)


def write_tables(folder: Path, rows: list[Row], facts: dict[str, float]) -> None:
    """Print and write the runs, the facts with those of parts run before, and the ratios that they allow."""
    if rows:
        print(markdown(HEADER, rows))
        write_csv(folder / "sweep.csv", HEADER, rows)
    facts = merged(folder / "sweep.json", facts)
    print(json.dumps(facts, indent=1))
    (folder / "sweep.json").write_text(json.dumps(facts, indent=1) + "\n", encoding="utf-8")
    table = ratios(facts)
    print(markdown(RATIOS, table))
    write_csv(folder / "sweep_ratios.csv", RATIOS, table)


def main() -> None:
    """Run the parts asked for and write their tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("-o", "--output", type=Path, default=Path(__file__).parents[1] / "out")
    parser.add_argument("-n", "--cases", type=int, choices=sorted(SIZES), default=10000)
    parser.add_argument("--part", choices=PARTS, action="append", help="only this part; may be given again")
    asked = parser.parse_args()
    folder: Path = asked.output
    folder.mkdir(parents=True, exist_ok=True)
    parts = asked.part or PARTS
    study, unit = Study.from_toml(STUDY), yardstick()
    rows: list[Row] = []
    facts: dict[str, float] = {"yardstick_s": unit, **{f"yardstick_{part}_s": unit for part in parts}}
    with tempfile.TemporaryDirectory() as name:
        temporary = Path(name)
        if "cold" in parts:
            cold = cold_facts(study, COLD_CASES)
            facts |= cold
            mean = f"{cold['cold_s']:.2f} ± {cold['cold_error_s']:.2f} s a case"
            print(f"cold: {mean}, {cold['cold_solved']:.0f} of {cold['cold_cases']:.0f} solved", flush=True)
        if "workers" in parts:
            part = some_blocks(study.sweep(), FEW)
            for workers in (1, 2):
                one = run(part, temporary, Local(workers))
                rows.append(told(f"{FEW} blocks, {workers} worker{'s'[: workers - 1]}", one))
                facts[f"workers_{workers}_s"] = one.answering
            print(f"two workers: {facts['workers_1_s'] / facts['workers_2_s']:.2f} times one", flush=True)
        if "large" in parts:
            for size in (size for size in SIZES if size <= asked.cases):
                one = run(some_blocks(study.sweep(), SIZES[size]), temporary, Local(2))
                rows.append(told(f"{size} cases, 2 workers", one))
                facts |= facts_of(size, one)
                reasons = Counter(one.dataset["reason"].to_numpy().ravel().tolist())
                unsolved = [(f"{size} cases", str(count), reason) for reason, count in reasons.most_common() if reason]
                write_csv(folder / f"sweep_unsolved_{size}.csv", ("run", "cases", "reason"), unsolved)
                for _, count, reason in unsolved[:6]:
                    print(f"  {count} x {reason}")
                print(markdown(HEADER, rows[-1:]), flush=True)
        if "cluster" in parts:
            part = some_blocks(study.sweep(), FEW)
            one = run(part, temporary, Local(2))
            facts["local_s"] = one.seconds
            rows.append(told(f"{FEW} blocks, local", one))
            with cluster(workers=2) as address:
                one = run(part, temporary, Cluster(address))
                facts |= {"cluster_s": one.seconds, "cluster_case_s": one.answering}
                rows.append(told(f"{FEW} blocks, Dask", one))
                facts["tasks_a_second"] = tasks_a_second(address)
            facts["answer_bytes_a_case"] = answer_bytes(part)
            facts["store_s_a_block"] = store_seconds(study.sweep(), temporary)
            told_far = estimate(facts, study.plan.conditions.size / len(study.plan.blocks))
            (folder / "sweep_estimate.md").write_text(told_far, encoding="utf-8")
            print(told_far)
            print(f"Dask over local processes: {facts['cluster_s'] / facts['local_s']:.3f}", flush=True)
        if "rules" in parts:
            one = run(Study.from_toml(RULES).sweep(), temporary, Local(2))
            rows.append(told(f"{one.cases} flights of a rule, 2 workers", one))
            facts |= memory_of("rules", one) | {"flights_a_second": one.cases / one.seconds}
            print(markdown(HEADER, rows[-1:]), flush=True)
    write_tables(folder, rows, facts)
    print(f"Yardstick {1e3 * unit:.1f} ms: {SENTENCE}.")


if __name__ == "__main__":
    main()
