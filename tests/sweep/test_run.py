"""A sweep is the same wherever and however often it is run, and says what it does."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import xarray as xr
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.sweep import Status
from optdescent.sweep import local
from optdescent.sweep.journal import Journal
from optdescent.sweep.local import Local
from optdescent.sweep.question import Case, Preparation, Together
from optdescent.sweep.worker import Packed, Setup, Worker, answered, unpacked
from tests.sweep.toy import COST, MASS, TAILWIND, Broken, Toy, opened, reordered, run, sweep_of

HERE = Local(1)


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> xr.Dataset:
    path = tmp_path_factory.mktemp("undisturbed") / "sweep.zarr"
    run(sweep_of(), path, HERE)
    return opened(path)


def same(one: NDArray[Any], other: NDArray[Any]) -> bool:
    return np.array_equal(one, other, equal_nan=one.dtype.kind == "f")


class Terminal(io.StringIO):
    def isatty(self) -> bool:
        return True


@dataclass(frozen=True)
class Unprepared(Toy):
    """A question that cannot be prepared."""

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        raise InputFault([Fault("scenario.toml", "start", "is nothing", "")])


def test_the_order_of_blocks_does_not_matter(undisturbed: xr.Dataset, tmp_path: Path) -> None:
    sweep = sweep_of()
    order = np.random.default_rng(4).permutation(len(sweep.plan.blocks)).tolist()
    run(reordered(sweep, order), tmp_path / "a.zarr", HERE)
    xr.testing.assert_identical(opened(tmp_path / "a.zarr"), undisturbed)


@pytest.mark.slow
def test_worker_processes_find_the_same_and_a_block_that_kills_them_is_found(
    undisturbed: xr.Dataset, tmp_path: Path
) -> None:
    (tmp_path / "kill-37").touch()
    sweep = sweep_of(toy=Toy(0.02, tmp_path))
    (block,) = [block for block in sweep.plan.blocks if 37 in block.cases(sweep.plan.shape)]
    # last but one: the last is being done when it kills its worker, and few are left for workers that start anew
    order = [other.number for other in sweep.plan.blocks if other != block]
    order.insert(-1, block.number)
    journal = Journal(tmp_path / "log")
    outcome = run(reordered(sweep, order), tmp_path / "a.zarr", Local(2), journal)
    found = opened(tmp_path / "a.zarr")
    lost = found["reason"] == "2 worker processes died of these cases"
    assert int(lost.sum()) == block.size
    assert bool((found["status"].where(lost, Status.FAILED) == Status.FAILED).all())
    for name, values in found.data_vars.items():
        assert same(values.to_numpy()[~lost.to_numpy()], undisturbed[name].to_numpy()[~lost.to_numpy()])
    assert (outcome.done, outcome.interrupted) == (90, False)
    log = (tmp_path / "log").read_text(encoding="utf-8")
    assert log.count("a worker died; blocks to do again: ") == 3
    assert f"block {block.number} is given up" in log
    # the two to begin with, and one for each time that the block was done alone
    assert len(list(tmp_path.glob("pid-*"))) in {3, 4, 5}


@pytest.mark.slow
def test_workers_that_are_old_are_replaced_and_lose_nothing(
    undisturbed: xr.Dataset, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each of the processes that answer leaves its number; no more than two do at a time."""
    monkeypatch.setattr(local, "LIFETIME", 1.0)
    outcome = run(sweep_of(toy=Toy(0.1, tmp_path), most=12), tmp_path / "a.zarr", Local(2))
    assert (outcome.done, outcome.interrupted) == (90, False)
    assert len(list(tmp_path.glob("pid-*"))) >= 4
    again = opened(tmp_path / "a.zarr")
    for name in ("status", "fuel", "word"):
        xr.testing.assert_identical(again[name], undisturbed[name])


def test_no_worker_at_all_is_a_fault() -> None:
    with pytest.raises(InputFault, match="got 0; allowed: 1 or more"):
        run(sweep_of(), Path("nowhere.zarr"), Local(0))
    assert not Path("nowhere.zarr").exists()


def test_a_question_that_cannot_be_prepared_leaves_nothing(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="is nothing"):
        run(sweep_of(toy=Unprepared()), tmp_path / "a.zarr", HERE)
    assert list(tmp_path.iterdir()) == []


def test_two_sweeps_in_one_process_do_not_mix() -> None:
    packed: list[tuple[Packed, Setup]] = []
    for start in (1.0, 2.0, 3.0):
        sweep = sweep_of((MASS, TAILWIND, {**COST, "values": [start]}))
        layout = sweep.question.layout(sweep.asked)
        setup = Setup(sweep.plan, sweep.asked, layout, sweep.question, {"start": start})
        packed.append((setup.packed(), setup))
    assert len({one.token for one, _ in packed}) == 3
    for one, setup in [*packed, *reversed(packed)]:
        block = setup.plan.blocks[1]
        found, wanted = answered(one.token, one.content, block).arrays, Worker(setup).answers(block).arrays
        assert all(same(found[name], wanted[name]) for name in found)


def test_a_worker_of_another_version_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    sweep = sweep_of()
    packed = Setup(sweep.plan, sweep.asked, sweep.question.layout(sweep.asked), sweep.question, None).packed()
    monkeypatch.setattr("optdescent.sweep.worker.software_version", lambda: "9.9")
    with pytest.raises(InputFault, match=re.escape("a worker has optdescent 9.9, the sweep was begun by")):
        unpacked(packed.content)


# What it says


def test_the_log_tells_beginning_blocks_failed_cases_and_end(tmp_path: Path) -> None:
    log = tmp_path / "log"
    run(sweep_of(), tmp_path / "a.zarr", HERE, Journal(log))
    lines = log.read_text(encoding="utf-8").splitlines()
    assert all(re.match(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\dZ ", line) for line in lines)
    events = [line.partition(" ")[2] for line in lines]
    assert events[0] == "preparing the toy: 1 of 1"
    assert events[1].startswith("begin: 90 cases, 0 of them done before, 16 blocks to do, in this process, ")
    assert len([event for event in events if event.startswith("block ")]) == 16
    failed = [event for event in events if event.startswith("case ")]
    assert len(failed) == 18
    wanted = "(mass_kg 63200.0, added_tailwind_kt -20.0, time_kg_per_min 10): infeasible: too heavy; for this wind"
    assert [event for event in failed if wanted in event] == [f"case 61 {wanted}"]
    assert events[-1].startswith("end: complete; 90 of 90 cases done, 72 solved, 6 infeasible, ")
    run(sweep_of(), tmp_path / "a.zarr", HERE, Journal(log), resume=True)
    added = log.read_text(encoding="utf-8").splitlines()[len(lines) :]
    assert [re.sub(r"^\S+ |; [\d.]+ s$", "", line)[:50] for line in added] == [
        "begin: 90 cases, 90 of them done before, 0 blocks ",
        "end: complete before; 90 of 90 cases done, 72 solv",
    ]


def test_a_log_that_cannot_be_written_is_a_fault(tmp_path: Path) -> None:
    with pytest.raises(InputFault, match="a log file that can be written"):
        run(sweep_of(), tmp_path / "a.zarr", HERE, Journal(tmp_path))
    assert not (tmp_path / "a.zarr").exists()


def test_a_terminal_shows_progress_and_a_file_does_not(tmp_path: Path) -> None:
    shown, silent = Terminal(), io.StringIO()
    run(sweep_of(), tmp_path / "a.zarr", HERE, Journal(stream=shown))
    run(sweep_of(), tmp_path / "b.zarr", HERE, Journal(stream=silent))
    assert silent.getvalue() == ""
    last = shown.getvalue().rstrip().split("\r")[-1]
    assert last.startswith("90 of 90 cases, ")
    assert " a second, about 0:00:00 left; 72 solved, " in last
    assert shown.getvalue().endswith("\n")


def test_a_sweep_that_stops_says_why_in_its_log(tmp_path: Path) -> None:
    sweep = sweep_of()
    beyond = replace(sweep.plan.blocks[0], ranges=((0, 99),) * 3)
    odd = replace(sweep, plan=replace(sweep.plan, blocks=(beyond,)))
    with pytest.raises(ValueError, match="invalid entry"):
        run(odd, tmp_path / "a.zarr", HERE, Journal(tmp_path / "log"))
    assert "end: stopped: invalid entry" in (tmp_path / "log").read_text(encoding="utf-8").splitlines()[-1]


def test_beside_a_question_that_fails_another_answers_as_alone_and_has_its_neighbours(tmp_path: Path) -> None:
    alone = sweep_of(most=24)
    run(alone, tmp_path / "alone.zarr", Local(1))
    run(replace(alone, question=Together((Toy(), Broken()))), tmp_path / "beside.zarr", Local(1))
    first, beside = opened(tmp_path / "alone.zarr"), opened(tmp_path / "beside.zarr")
    for name in ("fuel", "neighbours", "word"):
        xr.testing.assert_equal(beside[name], first[name])
    assert int(first["neighbours"].max()) > 10
    assert bool((beside["status"] == Status.FAILED).all())
    assert bool((beside["reason"] == "ZeroDivisionError: a defect").all())
