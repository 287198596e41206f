"""A sweep's dataset on disk: what it looks like, what it refuses, and what it keeps whatever happens."""

from __future__ import annotations

import errno
import json
import math
import os
import shutil
import subprocess
import sys
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, cast

import h5py
import numpy as np
import pytest
import xarray as xr
import zarr
from zarr.storage import LocalStore

from optdescent.inputs import InputFault
from optdescent.results.schema import Column
from optdescent.results.sweep import Status, SweepColumn, export_sweep, read_sweep
from optdescent.sweep import dataset as dataset_module
from optdescent.sweep.analysis import main_effects, nearest_case
from optdescent.sweep.block import Answers, answer_block
from optdescent.sweep.dataset import Contents
from optdescent.sweep.local import Local
from optdescent.sweep.question import Asked, Label, Layout
from optdescent.sweep.run import Sweep
from optdescent.sweep.store import Store, created, resumed
from tests.sweep import toy
from tests.sweep.toy import AIRFRAME, COST, MASS, TAILWIND, Toy, formula, opened, run

HERE = Local(1)
MEMBER = {"kind": "ensemble", "members": 3, "random_kt": 5.0}
SOUNDING = {"kind": "soundings", "soundings": ["dodge-city-1999-05-04", "norman-1999-05-04"]}
HUMID = {"kind": "values", "key": "arrival.is_wet", "values": [True, False]}


def sweep_of(axes: Sequence[Mapping[str, Any]] = (MASS, TAILWIND, COST), **sampling: Any) -> Sweep:
    """Few blocks: what is tested here does not need many."""
    return toy.sweep_of(axes, most=24, **sampling)


@pytest.fixture(scope="module")
def grid(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("grid") / "sweep.zarr"
    run(sweep_of(), path, HERE)
    return path


@pytest.fixture(scope="module")
def sample(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("sample") / "sweep.zarr"
    run(sweep_of((MASS, TAILWIND, AIRFRAME), kind="sobol", count=64, seed=5), path, HERE)
    return path


def contents_of(sweep: Sweep) -> Contents:
    return Contents(sweep.plan, sweep.question.layout(sweep.asked), sweep.text, sweep.attributes)


def blocks_of(sweep: Sweep) -> Iterator[Answers]:
    held, layout = Toy().hold({"start": 0.0}), sweep.question.layout(sweep.asked)
    for block in sweep.plan.blocks:
        yield answer_block(block, sweep.plan, sweep.asked, layout, held)


def files_of(path: Path) -> dict[str, bytes]:
    return {str(file.relative_to(path)): file.read_bytes() for file in sorted(path.rglob("*")) if file.is_file()}


def faults(action: Callable[[], object]) -> str:
    with pytest.raises(InputFault) as caught:
        action()
    return str(caught.value)


# What it looks like


def test_a_grid_is_selected_by_the_names_of_its_axes(grid: Path) -> None:
    dataset = opened(grid)
    assert dataset["fuel"].dims == ("mass_kg", "added_tailwind_kt", "time_kg_per_min")
    assert dataset["mass_kg"].to_numpy().tolist() == np.linspace(56000.0, 65000.0, 6).tolist()
    assert dataset["time_kg_per_min"].to_numpy().tolist() == [0, 10, 25]
    case = dataset.sel(mass_kg=59600.0, added_tailwind_kt=10.0, time_kg_per_min=10)
    assert float(case["fuel"]) == formula(59600.0, 10.0, 10.0)
    assert str(case["word"].item()) == "59600 kg · +10 kt"
    assert float(case["rule_fuel"].sel(rule="träge")) == formula(59600.0, 10.0, 10.0) + 80.0
    assert case["axis"].to_numpy().tolist() == ["mass_kg", "added_tailwind_kt", "time_kg_per_min"]


def test_every_status_is_stored_with_its_reason(grid: Path) -> None:
    dataset = opened(grid)
    assert dataset["status"].dtype == np.int8
    met = {int(value) for value in np.unique(dataset["status"])}
    assert met == {kind.value for kind in Status} - {Status.NOT_COMPUTED}
    assert set(dataset["status"].attrs["flag_meanings"].split()) == {kind.name.lower() for kind in Status}
    assert dataset["status"].attrs["flag_values"] == [-1, 0, 1, 2, 3, 4]
    unsolved = dataset["status"] != Status.SOLVED
    assert bool(((dataset["reason"] != "") == unsolved).all())
    assert bool((dataset["fuel"].isnull() == unsolved).all())
    assert str(dataset["reason"].sel(mass_kg=56000.0, added_tailwind_kt=20.0).to_numpy()[0]).startswith("toy: start.m")


def test_variables_and_axes_say_their_units(grid: Path) -> None:
    dataset = opened(grid)
    assert dataset["fuel"].attrs == {"units": "kg", "long_name": "fuel of it", "charted": "fuel"}
    assert dataset["mass_kg"].attrs == {"units": "kg", "long_name": "mass at the start", "key": "start.mass_kg"}
    wind = {"units": "knot", "long_name": "added tailwind", "key": "added_tailwind_kt"}
    assert dataset["added_tailwind_kt"].attrs == wind
    assert dataset["time_kg_per_min"].attrs["units"] == "kg min-1"
    assert "units" not in dataset["word"].attrs


def test_the_dataset_says_what_was_asked(grid: Path, sample: Path) -> None:
    attributes = opened(grid).attrs
    assert attributes["Conventions"] == "CF-1.11"
    assert attributes["study"] == sweep_of().text
    assert attributes["title"] == "a toy"
    assert "First descent" in attributes["scenario"]
    assert json.loads(attributes["axes"]) == ["mass_kg", "added_tailwind_kt", "time_kg_per_min"]
    assert json.loads(attributes["sampling"]) == {"kind": "grid"}
    assert json.loads(opened(sample).attrs["sampling"]) == {"kind": "sobol", "count": 64, "seed": 5}


def test_a_sample_has_one_dimension_and_its_levels_beside_it(sample: Path) -> None:
    dataset = opened(sample)
    assert dataset.sizes["case"] == 64
    assert set(dataset.coords) == {"mass_kg", "added_tailwind_kt", "airframe", "draw", "axis", "rule"}
    assert dataset["airframe"].dims == ("case",)
    assert sorted(dataset["draw"].to_numpy().tolist()) == list(range(64))
    assert "units" not in dataset["airframe"].attrs
    solved = dataset["status"].to_numpy() == Status.SOLVED
    fuel = formula(dataset["mass_kg"].to_numpy(), dataset["added_tailwind_kt"].to_numpy(), 0.0)  # type: ignore[arg-type]
    assert np.array_equal(dataset["fuel"].to_numpy()[solved], fuel[solved])
    assert solved.sum() > 50


@pytest.mark.parametrize(
    ("axis", "kind", "has_units"),
    [(MEMBER, "i", False), (SOUNDING, "TO", False), (HUMID, "b", False), (COST, "i", True)],
)
@pytest.mark.parametrize("sampling", [{"kind": "grid"}, {"kind": "random", "count": 12}], ids=["grid", "sample"])
def test_levels_keep_their_kind(
    axis: Mapping[str, Any], kind: str, has_units: bool, sampling: dict[str, Any], tmp_path: Path
) -> None:
    sweep = sweep_of((MASS, TAILWIND, axis), **sampling)
    created(tmp_path / "a.zarr", contents_of(sweep)).__exit__(None, None, None)
    dataset = opened(tmp_path / "a.zarr")
    name = sweep.plan.conditions.axes[2].name
    levels = [sweep.plan.conditions.levels(number)[2] for number in range(sweep.plan.conditions.size)]
    assert dataset[name].dtype.kind in kind
    assert set(dataset[name].to_numpy().tolist()) <= set(sweep.plan.conditions.axes[2].levels)
    if sampling["kind"] != "grid":
        assert dataset[name].to_numpy().tolist() == levels
    assert ("units" in dataset[name].attrs) is has_units
    export_sweep(read_sweep(tmp_path / "a.zarr"), tmp_path / "a.nc")
    with xr.open_dataset(tmp_path / "a.nc", engine="h5netcdf") as exported:
        assert exported[name].to_numpy().tolist() == dataset[name].to_numpy().tolist()


@pytest.mark.parametrize("kind", ["grid", "sample"])
def test_it_is_exported_whole_as_netcdf(kind: str, tmp_path: Path, request: pytest.FixtureRequest) -> None:
    path: Path = request.getfixturevalue(kind)
    export_sweep(read_sweep(path), tmp_path / "out.nc")
    with xr.open_dataset(tmp_path / "out.nc", engine="h5netcdf") as exported:
        xr.testing.assert_equal(exported.load(), opened(path))
        assert exported.attrs == opened(path).attrs
        assert exported["mass_kg"].attrs == opened(path)["mass_kg"].attrs
        coordinates = [str(name) for name in exported.dims if name in exported.coords]
    with h5py.File(tmp_path / "out.nc") as file:
        # CF 1.11, section 2.5.1
        assert coordinates
        assert not any("_FillValue" in file[name].attrs for name in coordinates)


def test_flags_say_every_value_and_in_their_own_type(grid: Path, tmp_path: Path) -> None:
    dataset = read_sweep(grid)
    assert dataset["is_fast"].attrs["flag_meanings"] == "no_answer no yes"
    for name in ("status", "is_fast"):
        values = dataset[name].attrs["flag_values"]
        assert values.dtype == dataset[name].dtype == np.int8
        assert len(dataset[name].attrs["flag_meanings"].split()) == values.size
        assert set(np.unique(dataset[name])) <= set(values.tolist())
    assert -1 in dataset["is_fast"]
    # a copy in Zarr, and a netCDF file made of what plain xarray reads
    dataset.to_zarr(tmp_path / "copy.zarr", zarr_format=3, consolidated=False)
    with xr.open_zarr(tmp_path / "copy.zarr", consolidated=False) as copy:
        export_sweep(copy, tmp_path / "out.nc")
    with h5py.File(tmp_path / "out.nc") as file:
        for name in ("status", "is_fast"):
            assert file[name].attrs["flag_values"].dtype == file[name].dtype == np.int8
            assert file[name].attrs["flag_values"].tolist() == dataset[name].attrs["flag_values"].tolist()
            assert "_FillValue" not in file[name].attrs


def test_labels_stand_beside_their_coordinate(tmp_path: Path) -> None:
    sweep = sweep_of()
    base = contents_of(sweep)
    label = Label("axis", np.array(["kg", "knot", "kg min-1"], dtype=object), {"long_name": "unit of the axis"})
    created(tmp_path / "a.zarr", replace(base, layout=replace(base.layout, labels={"axis_unit": label}))).__exit__(
        None, None, None
    )
    export_sweep(read_sweep(tmp_path / "a.zarr"), tmp_path / "a.nc")
    with xr.open_dataset(tmp_path / "a.nc", engine="h5netcdf") as exported:
        for dataset in (opened(tmp_path / "a.zarr"), read_sweep(tmp_path / "a.zarr"), exported):
            unit = dataset["cost_slope"].sel(axis="added_tailwind_kt")["axis_unit"]
            assert str(unit.item()) == "knot"
            assert "axis_unit" not in dataset["fuel"].coords


def test_texts_are_read_as_python_s_own(grid: Path, sample: Path) -> None:
    for path in (grid, sample):
        dataset = read_sweep(path)
        assert not [name for name in dataset.variables if dataset[name].dtype.kind == "T"]
        assert dataset["reason"].dtype == object
        chosen = dataset["reason"].where(dataset["status"] != Status.SOLVED)
        unsolved = (dataset["status"] != Status.SOLVED).to_numpy()
        assert chosen.isnull().to_numpy().tolist() == (~unsolved).tolist()
        assert {type(value) for value in chosen.to_numpy()[unsolved]} == {str}
    some = {"mass_kg": 1, "added_tailwind_kt": [0, 2], "time_kg_per_min": slice(None, None, 2)}
    part = read_sweep(grid)["word"].isel(some).to_numpy()
    assert part.tolist() == opened(grid)["word"].isel(some).to_numpy().tolist()
    assert part[1, 0] == "57800 kg · +0 kt"


def test_texts_are_read_when_they_are_used(grid: Path) -> None:
    dataset = read_sweep(grid)
    assert not isinstance(dataset["reason"].variable._data, np.ndarray)


def test_it_is_analysed_as_it_is_stored(grid: Path, sample: Path) -> None:
    effects = main_effects(opened(grid), "fuel")
    assert effects["mean_by_mass_kg"].sizes == {"mass_kg": 6}
    assert float(nearest_case(opened(sample), {"mass_kg": 60000.0, "airframe": "regional-jet"})["mass_kg"]) > 59000.0


# What it refuses


@pytest.mark.parametrize("name", ["fuel", "status", "rule", "case", "draw"])
def test_an_axis_may_not_take_the_name_of_something_else(name: str, tmp_path: Path) -> None:
    odd = {**COST, "name": name}
    told = faults(lambda: run(sweep_of((MASS, TAILWIND, odd), kind="random", count=8), tmp_path / "a.zarr", HERE))
    assert told.startswith(f": conditions.axes[2].name: got {name!r}; allowed: another name")
    assert not (tmp_path / "a.zarr").exists()


def test_a_study_that_is_there_is_not_begun_again(grid: Path) -> None:
    before = files_of(grid)
    told = faults(lambda: run(sweep_of(), grid, HERE))
    assert "holds 90 of 90 cases of this study" in told
    assert "--resume" in told
    assert files_of(grid) == before


@pytest.mark.parametrize("resume", [False, True])
def test_another_study_is_refused_and_the_difference_shown(grid: Path, resume: bool) -> None:
    before = files_of(grid)
    other = sweep_of(({**MASS, "from": 57000.0}, TAILWIND, COST))
    told = faults(lambda: run(other, grid, HERE, resume=resume))
    assert "holds another study" in told
    assert "axes[0].from: was 56000.0, is 57000.0" in told
    assert len(told.splitlines()) == 2
    assert files_of(grid) == before


def test_of_many_differences_ten_are_shown(grid: Path) -> None:
    base = sweep_of()
    study = json.loads(base.text) | {f"key{index:02}": index for index in range(14)}
    told = faults(lambda: run(replace(base, text=json.dumps(study)), grid, HERE, resume=True))
    assert "key09: was nothing, is 9" in told
    assert "key10" not in told
    assert told.splitlines()[-1].endswith("differs in 4 more keys")


def test_values_that_differ_far_along_differ(grid: Path) -> None:
    base = sweep_of()
    text = base.text.replace("Quill Harbour (invented)", f"Quill Harbour {'x' * 80} 2")
    assert "arrival.airport: was" in faults(lambda: run(replace(base, text=text), grid, HERE, resume=True))


def test_another_version_is_another_study(grid: Path) -> None:
    newer = replace(sweep_of(), attributes={**sweep_of().attributes, "software_version": "0.0.2"})
    told = faults(lambda: run(newer, grid, HERE, resume=True))
    assert 'software_version: was "0.0.1", is "0.0.2"' in told


def test_the_same_study_laid_out_otherwise_is_refused(sample: Path, tmp_path: Path) -> None:
    axes = (MASS, TAILWIND, AIRFRAME)
    sweep = sweep_of(axes, kind="sobol", count=64, seed=5)
    renumbered = sweep.plan.conditions.reordered(np.arange(64)[::-1])
    told = faults(
        lambda: run(replace(sweep, plan=replace(sweep.plan, conditions=renumbered)), sample, HERE, resume=True)
    )
    assert "laid out by other code: draw" in told


def make_file(path: Path) -> None:
    path.write_text("mine", encoding="utf-8")


def make_folder(path: Path) -> None:
    path.mkdir()
    (path / "zarr.json").write_text('{"attributes": {"study": 3}}', encoding="utf-8")


def make_other_zarr(path: Path) -> None:
    # xarray leaves part of the annotation of its method open
    xr.Dataset({"a": ("x", [1.0])}).to_zarr(path, zarr_format=3, consolidated=False)


def make_dangling_link(path: Path) -> None:
    path.symlink_to(path.with_name("nowhere"))


@pytest.mark.parametrize("make", [make_file, make_folder, Path.mkdir, make_other_zarr, make_dangling_link])
@pytest.mark.parametrize("resume", [False, True])
def test_anything_else_at_the_path_is_left_alone(make: Callable[[Path], None], resume: bool, tmp_path: Path) -> None:
    make(tmp_path / "a.zarr")
    before = files_of(tmp_path)
    assert "holds something else" in faults(lambda: run(sweep_of(), tmp_path / "a.zarr", HERE, resume=resume))
    assert files_of(tmp_path) == before
    assert [path.name for path in tmp_path.iterdir()] == ["a.zarr"]


def test_nothing_to_go_on_with_is_a_fault(tmp_path: Path) -> None:
    assert "does not exist" in faults(lambda: run(sweep_of(), tmp_path / "a.zarr", HERE, resume=True))


def test_a_place_that_cannot_be_made_is_a_fault(tmp_path: Path) -> None:
    make_file(tmp_path / "file")
    assert "lies below a file" in faults(lambda: run(sweep_of(), tmp_path / "file" / "a.zarr", HERE))


def test_two_processes_do_not_write_one_dataset(tmp_path: Path) -> None:
    contents = contents_of(sweep_of())
    with created(tmp_path / "a.zarr", contents):
        assert "written by another process" in faults(lambda: resumed(tmp_path / "a.zarr", contents))
    with resumed(tmp_path / "a.zarr", contents) as store:
        assert store.done == 0


# What it keeps


def test_a_new_dataset_opens_and_holds_nothing_yet(tmp_path: Path) -> None:
    created(tmp_path / "a.zarr", contents_of(sweep_of())).__exit__(None, None, None)
    dataset = read_sweep(tmp_path / "a.zarr").load()
    assert np.all(dataset["status"] == Status.NOT_COMPUTED)
    assert np.all(np.isnan(dataset["fuel"]))
    assert [path.name for path in tmp_path.iterdir()] == ["a.zarr"]


@pytest.mark.parametrize(("together", "values"), [(3, 2**17), (100, 2**17), (3, 5), (100, 5)])
def test_blocks_written_one_by_one_or_together_are_the_same(
    grid: Path, together: int, values: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sweep = sweep_of()
    monkeypatch.setattr(dataset_module, "_CHUNK_VALUES", values)
    # chunks across which blocks lie
    small = replace(contents_of(sweep), plan=replace(sweep.plan, chunks=(4, 2, 3)))
    answers = list(blocks_of(sweep))
    with created(tmp_path / "a.zarr", small) as store:
        for first in range(0, len(answers), together):
            store.write(answers[first : first + together])
        assert store.done == 90
        assert store.counts[Status.INFEASIBLE] == 6
    xr.testing.assert_identical(opened(tmp_path / "a.zarr"), opened(grid))


@dataclass(frozen=True)
class Long(Toy):
    """A toy whose flights are kept over 200 distances."""

    def layout(self, asked: Asked) -> Layout:
        """One column."""
        distances = np.arange(200.0), {"units": "m"}
        return Layout((SweepColumn(Column("flown", "m", "height", ""), dims=("distance",)),), {"distance": distances})


def test_a_slice_along_an_axis_and_a_flight_are_read_without_the_rest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of 5832 flights over 200 distances, 9 MB: a slice is at most half of them, a flight a megabyte at most."""
    axes = [{**axis, "count": 18} for axis in (MASS, TAILWIND)]
    axes.append({"kind": "range", "key": "cost.time_kg_per_min", "from": 0.0, "to": 25.0, "count": 18})
    created(tmp_path / "a.zarr", contents_of(toy.sweep_of(axes, toy=Long()))).__exit__(None, None, None)
    flights = cast("zarr.Array[Any]", zarr.open_group(tmp_path / "a.zarr", mode="r+")["flown"])
    flights[...] = 1.0
    read: set[str] = set()
    get = LocalStore.get

    async def noted(self: LocalStore, key: str, *given: Any, **named: Any) -> Any:
        read.add(key)
        return await get(self, key, *given, **named)

    monkeypatch.setattr(LocalStore, "get", noted)
    assert 8.0 * math.prod(flights.chunks) <= 2**20
    for part in (3, (slice(None), 4), (slice(None), slice(None), 5), (3, 4, 5)):
        read.clear()
        assert np.all(np.asarray(flights[part]) == 1.0)
        assert 1 <= len([key for key in read if "/c/" in key]) <= (1 if part == (3, 4, 5) else flights.nchunks / 2)


def test_a_block_that_lacks_a_status_is_computed_again(tmp_path: Path) -> None:
    sweep = sweep_of()
    with created(tmp_path / "a.zarr", contents_of(sweep)) as store:
        for answers in blocks_of(sweep):
            if answers.block.number == 4:
                status = answers.arrays["status"].copy()
                status.flat[0] = Status.NOT_COMPUTED
                answers = Answers(answers.block, {**answers.arrays, "status": status})
            store.write([answers])
    with resumed(tmp_path / "a.zarr", contents_of(sweep)) as store:
        assert [block.number for block in store.remaining] == [4]
        assert store.done == 90 - sweep.plan.blocks[4].size
        assert store.counts[Status.NOT_COMPUTED] == sweep.plan.blocks[4].size


def test_what_a_killed_process_left_half_written_goes_when_it_goes_on(tmp_path: Path) -> None:
    sweep = sweep_of()
    created(tmp_path / "a.zarr", contents_of(sweep)).__exit__(None, None, None)
    left = tmp_path / "a.zarr" / "fuel" / "c" / f"0.{'0f' * 16}.partial"
    own = tmp_path / "a.zarr" / "notes.partial"
    for file in (left, own):
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_bytes(b"half")
    run(sweep, tmp_path / "a.zarr", HERE, resume=True)
    assert not left.exists()
    assert own.exists()


KILLED = """
import os, sys
from pathlib import Path
from optdescent.sweep import store
from tests.sweep.test_store import contents_of, sweep_of
store._consolidate = lambda path: os._exit(9)
store.created(Path(sys.argv[1]), contents_of(sweep_of()))
"""


def test_what_a_process_killed_at_the_making_left_goes_at_the_next_run(tmp_path: Path) -> None:
    path = tmp_path / "a.zarr"
    killed = subprocess.run([sys.executable, "-c", KILLED, str(path)], cwd=toy.ROOT, check=False)
    assert killed.returncode == 9
    (draft,) = tmp_path.iterdir()
    assert draft.name.startswith(".a.zarr-")
    created(path, contents_of(sweep_of())).__exit__(None, None, None)
    assert [own.name for own in tmp_path.iterdir()] == ["a.zarr"]
    shutil.copytree(path, draft)
    resumed(path, contents_of(sweep_of())).__exit__(None, None, None)
    assert [own.name for own in tmp_path.iterdir()] == ["a.zarr"]


@pytest.mark.parametrize("name", [".a.zarr-0a1b2c3d", ".a.zarr-notes", ".b.zarr-0a1b2c3d", ".a.zarr-0a1b2c3d4"])
def test_nothing_else_is_taken_for_a_draft(name: str, tmp_path: Path) -> None:
    """A name that a draft might have, with something else inside; and drafts of other names."""
    own = tmp_path / name
    make_folder(own) if name.endswith("0a1b2c3d") else own.mkdir()
    created(tmp_path / "a.zarr", contents_of(sweep_of())).__exit__(None, None, None)
    assert own.is_dir()


@pytest.mark.skipif(sys.platform == "win32", reason="no locks of folders")
def test_a_draft_that_another_process_makes_is_left_to_it(tmp_path: Path) -> None:
    draft = tmp_path / ".a.zarr-0a1b2c3d"
    created(draft, contents_of(sweep_of())).__exit__(None, None, None)
    empty = tmp_path / ".a.zarr-00000000"
    empty.mkdir()
    with resumed(draft, contents_of(sweep_of())):
        created(tmp_path / "a.zarr", contents_of(sweep_of())).__exit__(None, None, None)
        assert draft.is_dir()
    assert empty.is_dir()
    os.utime(empty, (0.0, 0.0))
    resumed(tmp_path / "a.zarr", contents_of(sweep_of())).__exit__(None, None, None)
    assert [own.name for own in tmp_path.iterdir()] == ["a.zarr"]


class Full:
    """A disk that is full after so many files; every file of zarr's goes through `LocalStore.set`."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, room: int) -> None:
        self.room = room
        before = LocalStore.set

        async def put(store: LocalStore, key: str, value: Any) -> None:
            if self.room <= 0:
                raise OSError(errno.ENOSPC, "No space left on device")
            self.room -= 1
            await before(store, key, value)

        monkeypatch.setattr(LocalStore, "set", put)


@pytest.mark.parametrize("files", [0, 10, 19, 25, 45])
def test_a_full_disk_loses_nothing_that_was_stored(
    files: int, grid: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    sweep, path = sweep_of(), tmp_path / "a.zarr"
    with monkeypatch.context() as patched:
        Full(patched, files)
        told = faults(lambda: run(sweep, path, HERE))
    assert f"{path}: cannot be written (No space left on device)" in told
    if not path.exists():
        assert list(tmp_path.iterdir()) == []
        run(sweep, path, HERE)
    else:
        with resumed(path, contents_of(sweep)) as store:
            assert f"{store.done} of 90 cases are safely stored, --resume goes on" in told
        run(sweep, path, HERE, resume=True)
    xr.testing.assert_identical(opened(path), opened(grid))


def test_going_on_with_a_complete_sweep_changes_nothing(grid: Path) -> None:
    before = files_of(grid)
    outcome = run(sweep_of(), grid, HERE, resume=True)
    assert outcome.done == 90
    assert outcome.counts[Status.SOLVED] == 72
    assert files_of(grid) == before


def test_a_store_says_how_many_cases_there_are(tmp_path: Path) -> None:
    store: Store = created(tmp_path / "deep" / "er" / "a.zarr", contents_of(sweep_of()))
    with store:
        assert (store.cases, store.done, len(store.remaining)) == (90, 0, 6)
