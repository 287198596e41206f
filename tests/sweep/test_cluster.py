"""The same sweep over a real Dask scheduler and real worker processes on this machine."""

from __future__ import annotations

import gc
import json
import os
import signal
import subprocess
import sys
import threading
from collections.abc import Generator, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import distributed
import numpy as np
import pytest
import xarray as xr

from optdescent.inputs import InputFault
from optdescent.results.sweep import Status
from optdescent.study import Study
from optdescent.sweep.block import case_of
from optdescent.sweep.cluster import Cluster, PreparedByCluster, linked
from optdescent.sweep.journal import Journal
from optdescent.sweep.local import Local
from optdescent.sweep.plan import plan_of
from optdescent.sweep.question import Case, PreparedHere
from tests.study.files import SHORT, write_study
from tests.sweep.toy import COST, MASS, ROOT, TAILWIND, Prepared, Toy, opened, run, sweep_of, wait_until

pytestmark = pytest.mark.slow


@contextmanager
def program(*arguments: str) -> Generator[subprocess.Popen[bytes]]:
    environment = {**os.environ, "PYTHONPATH": str(ROOT), "OMP_NUM_THREADS": "1"}
    command = [sys.executable, "-m", *arguments]
    process = subprocess.Popen(command, env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        yield process
    finally:
        process.terminate()
        try:
            process.wait(10.0)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()


@pytest.fixture(scope="module")
def scheduler(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    """A scheduler with two workers, each of two threads and started anew when it dies: its address and its process."""
    folder = tmp_path_factory.mktemp("cluster")
    file = folder / "scheduler.json"
    with ExitStack() as running:
        shared = ("--scheduler-file", str(file), "--no-dashboard")
        own = ("distributed.cli.dask_scheduler", "--host", "127.0.0.1", "--port", "0", *shared)
        process = running.enter_context(program(*own))
        wait_until(lambda: file.exists() and file.stat().st_size > 0)
        worker = ("distributed.cli.dask_worker", "--host", "127.0.0.1", "--nthreads", "2", *shared)
        for name in ("one", "two"):
            running.enter_context(program(*worker, "--name", name, "--local-directory", str(folder / name)))
        with distributed.Client(scheduler_file=str(file), set_as_default=False) as client:
            client.wait_for_workers(2, timeout=60)
            address: str = client.scheduler.address
        yield address, process


@pytest.fixture
def address(scheduler: tuple[str, subprocess.Popen[bytes]]) -> str:
    return scheduler[0]


@pytest.fixture(scope="module")
def undisturbed(tmp_path_factory: pytest.TempPathFactory) -> xr.Dataset:
    path = tmp_path_factory.mktemp("undisturbed") / "sweep.zarr"
    run(sweep_of(), path, Local(1))
    return opened(path)


def left_on(address: str) -> dict[str, Any]:
    """What the scheduler still knows of: tasks, and clients but for the one that asks."""

    def look(dask_scheduler: Any) -> dict[str, int]:
        clients = [name for name in dask_scheduler.clients if name.startswith("Client")]
        return {"tasks": len(dask_scheduler.tasks), "clients": len(clients) - 1}

    with distributed.Client(address, set_as_default=False) as client:
        return client.run_on_scheduler(look)


def allow_failures(address: str, number: int) -> None:
    def put(dask_scheduler: Any) -> None:
        dask_scheduler.allowed_failures = number

    with distributed.Client(address, set_as_default=False) as client:
        client.run_on_scheduler(put)


def test_a_cluster_finds_the_same_and_keeps_nothing(address: str, undisturbed: xr.Dataset, tmp_path: Path) -> None:
    outcome = run(sweep_of(), tmp_path / "a.zarr", Cluster(address))
    assert (outcome.done, outcome.interrupted) == (90, False)
    xr.testing.assert_identical(opened(tmp_path / "a.zarr"), undisturbed)
    wait_until(lambda: left_on(address) == {"tasks": 0, "clients": 0})


def test_a_sample_over_a_cluster_is_the_same(address: str, tmp_path: Path) -> None:
    axes = (MASS, TAILWIND, COST)
    run(sweep_of(axes, kind="latin-hypercube", count=50), tmp_path / "a.zarr", Cluster(address))
    run(sweep_of(axes, kind="latin-hypercube", count=50), tmp_path / "b.zarr", Local(1))
    xr.testing.assert_identical(opened(tmp_path / "a.zarr"), opened(tmp_path / "b.zarr"))


def test_optima_over_a_cluster_are_those_of_this_process(address: str, tmp_path: Path) -> None:
    """Three short descents in two blocks: how each ended is the same, and numbers are to what the solver leaves open.

    On one machine they have been seen to be the same to the last bit.
    """
    masses = "[[conditions.axes]]\nkind = 'range'\nkey = 'start.mass_kg'\nfrom = 60000\nto = 62000\ncount = 3\n"
    rest = "[compute]\nlocal_error = 1e-2\nrefly_one_in = 0\n"
    study = Study.from_toml(write_study(tmp_path, axes=masses, rest=rest, top=f"set = {json.dumps(SHORT)}\n"))
    prepared = study.question.prepare([case_of(study.asked, 1)], PreparedHere(lambda _: None))
    question = Prepared(study.question, prepared)
    sweep = replace(study.sweep(), plan=plan_of(study.asked.conditions, 2), question=question)
    run(sweep, tmp_path / "a.zarr", Cluster(address))
    run(sweep, tmp_path / "b.zarr", Local(1))
    there, here = opened(tmp_path / "a.zarr"), opened(tmp_path / "b.zarr")
    assert len(sweep.plan.blocks) == 2
    assert here["status"].to_numpy().tolist() == [Status.SOLVED] * 3
    assert np.all(np.diff(here["fuel"].to_numpy()) > 0.1)
    for name in ("status", "reason", "start"):
        xr.testing.assert_identical(there[name], here[name])
    for name in ("fuel", "time", "cost", "top_of_descent", "gate_speed"):
        xr.testing.assert_allclose(there[name], here[name], rtol=1e-6)
    xr.testing.assert_allclose(there["cost_slope"], here["cost_slope"], rtol=1e-4)


def test_workers_that_are_killed_lose_nothing(address: str, undisturbed: xr.Dataset, tmp_path: Path) -> None:
    killed: list[int] = []

    def begun() -> int:
        return len(list(tmp_path.glob("begun-*")))

    def kill() -> None:
        wait_until(lambda: begun() > 20 and len(list(tmp_path.glob("pid-*"))) == 2)
        # one, whose blocks the other goes on with, and then that one too, and with it all that they had been told
        for file in list(tmp_path.glob("pid-*")):
            killed.append(int(file.name.removeprefix("pid-")))
            before = begun()
            os.kill(killed[-1], signal.SIGKILL)
            wait_until(lambda before=before: begun() > before + 3)

    thread = threading.Thread(target=kill)
    thread.start()
    run(sweep_of(toy=Toy(0.05, tmp_path)), tmp_path / "a.zarr", Cluster(address), Journal(tmp_path / "log"))
    thread.join()
    assert len(killed) == 2
    assert "is sent again" in (tmp_path / "log").read_text(encoding="utf-8")
    xr.testing.assert_identical(opened(tmp_path / "a.zarr"), undisturbed)


def test_a_block_that_kills_workers_is_found_and_the_others_go_on(
    address: str, undisturbed: xr.Dataset, tmp_path: Path
) -> None:
    (tmp_path / "kill-37").touch()
    sweep = sweep_of(toy=Toy(0.0, tmp_path))
    (block,) = [block for block in sweep.plan.blocks if 37 in block.cases(sweep.plan.shape)]
    allow_failures(address, 0)
    try:
        outcome = run(sweep, tmp_path / "a.zarr", Cluster(address), Journal(tmp_path / "log"))
    finally:
        allow_failures(address, 3)
    assert outcome.done == 90
    found = opened(tmp_path / "a.zarr")
    lost = (found["reason"] == "workers of the cluster died of these cases again and again").to_numpy()
    assert lost.sum() == block.size
    assert (found["status"].to_numpy()[lost] == Status.FAILED).all()
    for name in ("status", "neighbours", "word"):
        assert (found[name].to_numpy()[~lost] == undisturbed[name].to_numpy()[~lost]).all()
    log = (tmp_path / "log").read_text(encoding="utf-8")
    assert f"workers died with block {block.number}; it is done again at the end, alone" in log
    assert f"block {block.number} is given up" in log


def test_an_interrupt_stores_what_was_begun_and_leaves_nothing(
    address: str, undisturbed: xr.Dataset, tmp_path: Path
) -> None:
    def interrupt() -> None:
        wait_until(lambda: len(list(tmp_path.glob("begun-*"))) > 20)
        signal.pthread_kill(threading.main_thread().ident or 0, signal.SIGINT)

    thread = threading.Thread(target=interrupt)
    thread.start()
    outcome = run(sweep_of(toy=Toy(0.1, tmp_path), most=3), tmp_path / "a.zarr", Cluster(address))
    thread.join()
    assert outcome.interrupted
    assert 20 < outcome.done < 90
    assert outcome.done == len(list(tmp_path.glob("begun-*")))
    wait_until(lambda: left_on(address) == {"tasks": 0, "clients": 0})
    outcome = run(sweep_of(most=3), tmp_path / "a.zarr", Cluster(address), resume=True)
    assert outcome.done == 90
    for name in ("status", "fuel", "word"):
        xr.testing.assert_identical(opened(tmp_path / "a.zarr")[name], undisturbed[name])


@pytest.mark.parametrize(("seconds", "tailwinds", "low", "high"), [(2.2, 3, 2, 2), (0.1, 30, 3, 4)])
def test_only_blocks_that_are_short_wait_behind_another(
    address: str, tmp_path: Path, seconds: float, tailwinds: int, low: int, high: int
) -> None:
    """Blocks for two workers, beside the setup: of long ones each has one, of short ones a second in the end."""
    known, is_done = [0], threading.Event()

    def watch() -> None:
        while not is_done.wait(0.1):
            known.append(left_on(address)["tasks"])

    thread = threading.Thread(target=watch)
    thread.start()
    axes = ({**MASS, "count": 2}, {**TAILWIND, "count": tailwinds})
    try:
        outcome = run(sweep_of(axes, Toy(seconds), most=1), tmp_path / "a.zarr", Cluster(address))
    finally:
        is_done.set()
        thread.join()
    assert outcome.done == 2 * tailwinds
    assert low + 1 <= max(known) <= high + 1


def _own_pid(case: Case) -> tuple[int, int]:
    return case.number, os.getpid()


def _dies_of_5(case: Case) -> int:
    if case.number == 5:
        os._exit(9)
    return case.number


def test_a_sweep_is_prepared_by_the_workers_of_a_cluster(address: str, tmp_path: Path) -> None:
    cases = [case_of(sweep_of().asked, number) for number in (3, 5, 8)]
    journal = Journal(tmp_path / "log")
    with linked(Cluster(address)) as link:
        found = PreparedByCluster(link, journal).each(_own_pid, cases, "pids")
    assert [number for number, _ in filter(None, found)] == [3, 5, 8]
    assert os.getpid() not in {pid for _, pid in filter(None, found)}
    allow_failures(address, 0)
    try:
        with linked(Cluster(address)) as link:
            assert PreparedByCluster(link, journal).each(_dies_of_5, cases, "numbers") == [3, None, 8]
    finally:
        allow_failures(address, 3)
    assert "case 5 is given up in preparation" in (tmp_path / "log").read_text(encoding="utf-8")


@pytest.mark.parametrize("nowhere", ["tcp://127.0.0.1:1", "127.0.0.1:1", "tls://127.0.0.1:1"])
def test_a_scheduler_that_is_not_there_is_named(nowhere: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("optdescent.sweep.cluster._TIMEOUT", 0.5)
    with pytest.raises(InputFault) as caught:
        run(sweep_of(), tmp_path / "a.zarr", Cluster(nowhere))
    assert str(caught.value).startswith(f"{nowhere}: no scheduler answers (")
    assert list(tmp_path.iterdir()) == []


def test_a_client_that_was_interrupted_half_made_is_closed(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    begun: list[distributed.Client] = []
    closed: list[distributed.Client] = []

    def made(client: distributed.Client, *_: Any, **__: Any) -> None:
        begun.append(client)
        raise KeyboardInterrupt

    monkeypatch.setattr(distributed.Client, "__init__", made)
    monkeypatch.setattr(distributed.Client, "close", lambda client: closed.append(client))
    with pytest.raises(KeyboardInterrupt):
        run(sweep_of(), tmp_path / "a.zarr", Cluster("tcp://127.0.0.1:1"))
    # those of tests before may be closed meanwhile, as they are collected
    assert [client for client in closed if client is begun[0]] == begun
    begun.clear()
    closed.clear()
    gc.collect()  # what was half made goes while nothing has to be closed for it


def test_without_dask_it_is_said_how_to_get_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(InputFault, match=r"pip install 'optdescent\[cluster\]'"):
        run(sweep_of(), tmp_path / "a.zarr", Cluster("tcp://127.0.0.1:1"))


@pytest.mark.long
def test_a_scheduler_that_goes_away_leaves_what_was_stored(
    scheduler: tuple[str, subprocess.Popen[bytes]], undisturbed: xr.Dataset, tmp_path: Path
) -> None:
    address, process = scheduler

    def stop() -> None:
        wait_until(lambda: len(list(tmp_path.glob("begun-*"))) > 30)
        process.kill()

    thread = threading.Thread(target=stop)
    thread.start()
    with pytest.raises(InputFault, match="the scheduler is gone"):
        run(sweep_of(toy=Toy(0.05, tmp_path)), tmp_path / "a.zarr", Cluster(address), Journal(tmp_path / "log"))
    thread.join()
    assert "end: stopped: " in (tmp_path / "log").read_text(encoding="utf-8")
    outcome = run(sweep_of(), tmp_path / "a.zarr", Local(1), resume=True)
    assert outcome.done == 90
    xr.testing.assert_identical(opened(tmp_path / "a.zarr"), undisturbed)
