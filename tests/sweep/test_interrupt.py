"""Interrupts and kills at any moment: what was stored stays, and going on ends where an undisturbed sweep ends."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from collections.abc import Generator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
import pytest
import xarray as xr

from optdescent.inputs import Fault, InputFault
from optdescent.interrupt import interruptible, patient, raise_if_interrupted
from optdescent.results.sweep import Status
from optdescent.sweep.block import case_of
from optdescent.sweep.cluster import LinkFault
from optdescent.sweep.journal import Journal
from optdescent.sweep.local import Local, PreparedByProcesses
from optdescent.sweep.question import Case, Preparation
from tests.sweep.toy import ROOT, Prepared, Toy, opened, run, sweep_of, wait_until

HERE = Local(1)
# Each line read runs the toy once in a child with a group of its own, as a terminal starts it.
PROGRAM = """
import os, sys
from tests.sweep.toy import main
for line in sys.stdin:
    child = os.fork()
    if child == 0:
        os.setsid()
        main()
        sys.stdout.flush()
        os._exit(0)
    print(child, flush=True)
    print(os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), flush=True)
"""
# Killed again and again after a random while, each time forked from a process that has imported everything.
KILLED = """
import os, random, signal, sys, time
from tests.sweep.toy import main
moments, kills, ended = random.Random(7), 0, False
while not ended:
    child = os.fork()
    if child == 0:
        main()
        os._exit(0)
    if kills < 12:
        time.sleep(moments.uniform(0.05, 0.5))
        os.kill(child, signal.SIGKILL)
    ended = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]) == 0
    kills += not ended
print(kills)
"""


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> xr.Dataset:
    path = tmp_path_factory.mktemp("undisturbed") / "sweep.zarr"
    run(sweep_of(), path, HERE)
    return opened(path)


@contextmanager
def program(code: str, path: Path, workers: int, seconds: float) -> Generator[subprocess.Popen[str]]:
    """The toy run by a process of its own."""
    folder = path.parent / "toy"
    folder.mkdir(exist_ok=True)
    command = [sys.executable, "-c", code, str(path), str(workers), str(seconds), str(folder)]
    pipes = {"stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "stderr": subprocess.STDOUT}
    process = subprocess.Popen(command, cwd=ROOT, text=True, **pipes)
    try:
        yield process
    finally:
        process.kill()
        process.communicate()


def is_running(pid: int) -> bool:
    try:
        return "zombie" not in Path(f"/proc/{pid}/status").read_text(encoding="utf-8")
    except (FileNotFoundError, ProcessLookupError):
        return False


def blocks_done(log: Path) -> int:
    return sum(" block " in line for line in log.read_text(encoding="utf-8").splitlines()) if log.exists() else 0


# The first and the second interrupt


def test_the_first_interrupt_lets_the_block_end(undisturbed: xr.Dataset, tmp_path: Path) -> None:
    sweep = sweep_of(toy=Toy(0.0, tmp_path))
    number = int(sweep.plan.blocks[5].cases(sweep.plan.shape)[2])
    (tmp_path / f"signal-{number}").touch()
    outcome = run(sweep, tmp_path / "a.zarr", HERE, Journal(tmp_path / "log"))
    assert outcome.interrupted
    assert outcome.done == sum(block.size for block in sweep.plan.blocks[:6])
    log = (tmp_path / "log").read_text(encoding="utf-8")
    assert log.count("interrupted: what was begun ends and is stored") == 1
    assert "end: interrupted; " in log
    outcome = run(sweep_of(), tmp_path / "a.zarr", HERE, resume=True)
    assert (outcome.done, outcome.interrupted) == (90, False)
    xr.testing.assert_identical(opened(tmp_path / "a.zarr"), undisturbed)


def test_the_second_interrupt_stops_at_once_and_keeps_what_is_stored(undisturbed: xr.Dataset, tmp_path: Path) -> None:
    sweep = sweep_of(toy=Toy(0.0, tmp_path))
    for number in sweep.plan.blocks[5].cases(sweep.plan.shape)[:2]:
        (tmp_path / f"signal-{number}").touch()
    with pytest.raises(KeyboardInterrupt):
        run(sweep, tmp_path / "a.zarr", HERE, Journal(tmp_path / "log"))
    assert "end: stopped: KeyboardInterrupt; 27 of 90 cases done" in (tmp_path / "log").read_text(encoding="utf-8")
    outcome = run(sweep_of(), tmp_path / "a.zarr", HERE, resume=True)
    assert outcome.done == 90
    xr.testing.assert_identical(opened(tmp_path / "a.zarr"), undisturbed)


def test_an_interrupt_in_the_last_block_is_none(tmp_path: Path) -> None:
    sweep = sweep_of(toy=Toy(0.0, tmp_path))
    (tmp_path / f"signal-{sweep.plan.blocks[-1].cases(sweep.plan.shape)[0]}").touch()
    assert not run(sweep, tmp_path / "a.zarr", HERE).interrupted


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.slow
def test_an_interrupt_of_all_processes_stores_what_was_begun_and_a_kill_leaves_no_worker(
    undisturbed: xr.Dataset, tmp_path: Path
) -> None:
    path, log, toy = tmp_path / "a.zarr", tmp_path / "a.zarr.log", tmp_path / "toy"
    with program(PROGRAM, path, 2, 0.1) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write("again\nagain\n")
        process.stdin.flush()
        first = int(process.stdout.readline())
        wait_until(lambda: blocks_done(log) >= 2)
        os.killpg(first, signal.SIGINT)
        done, word = process.stdout.readline().split()
        assert int(process.stdout.readline()) == 0
        assert word == "True"
        assert 12 <= int(done) < 90
        assert len(list(toy.glob("begun-*"))) == int(done)
        second = int(process.stdout.readline())
        wait_until(lambda: len(list(toy.glob("begun-*"))) > int(done) + 1)
        os.kill(second, signal.SIGKILL)
        assert int(process.stdout.readline()) == -signal.SIGKILL
    pids = [int(file.name.removeprefix("pid-")) for file in toy.glob("pid-*")]
    # a worker that started late may have found nothing to do
    assert 2 <= len(pids) <= 4
    wait_until(lambda: not any(is_running(pid) for pid in pids))
    outcome = run(sweep_of(), path, HERE, resume=True)
    assert outcome.done == 90
    xr.testing.assert_identical(opened(path), undisturbed)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.slow
def test_a_sweep_killed_at_any_moment_goes_on_to_the_same_dataset(undisturbed: xr.Dataset, tmp_path: Path) -> None:
    path = tmp_path / "a.zarr"
    with program(KILLED, path, 1, 0.01) as process:
        said, _ = process.communicate(timeout=120)
    # the cases alone take 0.9 s
    assert 2 <= int(said.split()[-1]) <= 12, said
    xr.testing.assert_identical(opened(path), undisturbed)
    assert not list(path.rglob("*.partial"))
    # a kill while it was made may leave a folder under its temporary name
    others = {file.name for file in tmp_path.iterdir()} - {"a.zarr", "a.zarr.log", "toy"}
    assert all(name.startswith(".a.zarr-") for name in others)


@pytest.mark.skipif(not hasattr(os, "fork"), reason="needs fork")
@pytest.mark.slow
@pytest.mark.parametrize("workers", [1, 2])
def test_a_sweep_killed_in_preparation_is_there_to_go_on_with(
    undisturbed: xr.Dataset, workers: int, tmp_path: Path
) -> None:
    path, toy = tmp_path / "a.zarr", tmp_path / "toy"
    with program(PROGRAM, path, workers, 1.0) as process:
        assert process.stdin is not None
        assert process.stdout is not None
        process.stdin.write("once\n")
        process.stdin.flush()
        child = int(process.stdout.readline())
        wait_until((toy / "preparing").exists)
        os.kill(child, signal.SIGKILL)
        assert int(process.stdout.readline()) == -signal.SIGKILL
    assert not list(toy.glob("begun-*"))
    assert run(sweep_of(), path, HERE, resume=True).done == 90
    xr.testing.assert_identical(opened(path), undisturbed)


def test_an_interrupt_in_preparation_leaves_a_sweep_to_go_on_with(undisturbed: xr.Dataset, tmp_path: Path) -> None:
    path = tmp_path / "a.zarr"
    with pytest.raises(KeyboardInterrupt):
        run(sweep_of(toy=_Stopped(error=KeyboardInterrupt())), path, HERE)
    assert run(sweep_of(), path, HERE, resume=True).done == 90
    xr.testing.assert_identical(opened(path), undisturbed)


def test_what_cannot_be_prepared_leaves_nothing(tmp_path: Path) -> None:
    fault = InputFault([Fault("toy", "", "cannot be prepared", "")])
    with pytest.raises(InputFault, match="cannot be prepared"):
        run(sweep_of(toy=_Stopped(error=fault)), tmp_path / "a.zarr", HERE)
    assert not list(tmp_path.iterdir())


def test_a_scheduler_that_is_lost_in_preparation_leaves_a_sweep_to_go_on_with(
    undisturbed: xr.Dataset, tmp_path: Path
) -> None:
    path = tmp_path / "a.zarr"
    with pytest.raises(LinkFault, match="is gone"):
        run(sweep_of(toy=_Stopped(error=LinkFault([Fault("tcp://x:1", "", "the scheduler is gone", "")]))), path, HERE)
    assert run(sweep_of(), path, HERE, resume=True).done == 90
    xr.testing.assert_identical(opened(path), undisturbed)


@dataclass(frozen=True)
class _Stopped(Toy):
    """A toy whose preparation ends in an exception."""

    error: BaseException | None = None

    def prepare(self, cases: Sequence[Case], preparation: Preparation) -> object:
        """Nothing."""
        assert self.error is not None
        raise self.error


# The two ways to hear of interrupts, together


def test_the_first_interrupt_is_noted_and_the_second_raised() -> None:
    def twice() -> None:
        with patient() as patience:
            assert not patience.is_interrupted
            signal.raise_signal(signal.SIGINT)
            assert patience.is_interrupted
            raise_if_interrupted()
            reached.append("after the first")
            signal.raise_signal(signal.SIGINT)
            reached.append("after the second")

    reached: list[str] = []
    with pytest.raises(KeyboardInterrupt):
        twice()
    assert reached == ["after the first"]


def test_compiled_code_within_does_not_hear_the_first_interrupt() -> None:
    with interruptible(), patient() as patience, interruptible():
        signal.raise_signal(signal.SIGINT)
    assert patience.is_interrupted


def test_compiled_code_within_swallows_the_second_in_vain() -> None:
    reached: list[str] = []

    def swallowing() -> None:
        with patient():
            signal.raise_signal(signal.SIGINT)
            with interruptible():
                try:
                    signal.raise_signal(signal.SIGINT)
                except KeyboardInterrupt:
                    reached.append("swallowed")
            reached.append("went on")

    with pytest.raises(KeyboardInterrupt):
        swallowing()
    assert reached == ["swallowed"]


def test_a_swallowed_second_interrupt_is_raised_on_leaving() -> None:
    def swallowing() -> None:
        with patient():
            signal.raise_signal(signal.SIGINT)
            with pytest.raises(KeyboardInterrupt):
                signal.raise_signal(signal.SIGINT)

    with pytest.raises(KeyboardInterrupt):
        swallowing()


def test_afterwards_an_interrupt_is_what_it_was() -> None:
    # A shell starts what runs in the background with interrupts ignored: here they are not.
    outside = signal.signal(signal.SIGINT, signal.default_int_handler)
    try:
        with patient():
            signal.raise_signal(signal.SIGINT)
        assert signal.getsignal(signal.SIGINT) is signal.default_int_handler
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    finally:
        signal.signal(signal.SIGINT, outside)


def test_in_another_thread_nothing_is_heard() -> None:
    found: list[bool] = []

    def elsewhere() -> None:
        with patient() as patience, interruptible():
            found.append(patience.is_interrupted)

    thread = threading.Thread(target=elsewhere)
    thread.start()
    thread.join()
    assert found == [False]


def _mass_unless_second(case: Case) -> float:
    if case.number == 1:
        os.kill(os.getpid(), signal.SIGKILL)
    return float(case.asked.data["start"]["mass_kg"])


def _mass_unless_first_death(case: Case) -> float:
    """Dies once: the first time that any case is asked."""
    marker = Path(os.environ["TEST_DEATH"])
    if not marker.exists():
        marker.touch()
        os.kill(os.getpid(), signal.SIGKILL)
    return _own_mass(case)


def _own_mass(case: Case) -> float:
    return float(case.levels[0])


def test_a_case_that_workers_die_of_in_preparation_is_left_out_and_the_others_are_found(tmp_path: Path) -> None:
    cases = [case_of(sweep_of().asked, number) for number in range(4)]
    preparation = PreparedByProcesses(2, Journal(tmp_path / "log"))
    own = float(cases[0].asked.data["start"]["mass_kg"])
    assert preparation.each(_mass_unless_second, cases, "masses") == [own, None, own, own]
    log = (tmp_path / "log").read_text(encoding="utf-8")
    assert "a worker died in preparation" in log
    assert "case 1 is given up in preparation" in log


def _dies(case: Case) -> float:
    os.kill(os.getpid(), signal.SIGKILL)
    return float(case.number)


def test_where_workers_die_of_every_case_nothing_is_prepared_and_that_is_told(tmp_path: Path) -> None:
    cases = [case_of(sweep_of().asked, number) for number in (3, 5)]
    assert PreparedByProcesses(2, Journal(tmp_path / "log")).each(_dies, cases, "nothing") == [None, None]
    assert (tmp_path / "log").read_text(encoding="utf-8").count("is given up in preparation") == 2


def _dies_at_once(*_: object) -> None:
    os._exit(9)


def test_workers_that_die_before_they_begin_are_told_and_not_started_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("optdescent.sweep.local._begin", _dies_at_once)
    sweep, path = sweep_of(), tmp_path / "a.zarr"
    with pytest.raises(RuntimeError, match="die before they begin"):
        run(sweep, path, Local(2))
    assert not path.exists()  # nothing was prepared
    prepared = Prepared(sweep.question, {"start": 0.0})
    with pytest.raises(RuntimeError, match="die before they begin"):
        run(replace(sweep, question=prepared), path, Local(2))
    assert np.all(opened(path)["status"] == Status.NOT_COMPUTED)


@pytest.mark.parametrize("numbers", [(3, 40, 80), (3,)])
def test_a_worker_killed_in_preparation_loses_nothing(
    numbers: tuple[int, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TEST_DEATH", str(tmp_path / "died"))
    cases = [case_of(sweep_of().asked, number) for number in numbers]
    found = PreparedByProcesses(2, Journal(None)).each(_mass_unless_first_death, cases, "masses")
    assert (tmp_path / "died").exists()
    assert found == [_own_mass(case) for case in cases]
