"""A sweep's dataset on disk: made whole, filled block by block, and found again after whatever stopped it.

Zarr writes each chunk under another name and renames it, and how a case ended is written after everything else about
it. So a block of which every case has ended is stored whole, and what was stored stays whatever happens later.
"""

from __future__ import annotations

import asyncio
import errno
import json
import os
import re
import secrets
import shutil
import sys
import time
import warnings
from collections.abc import Callable, Generator, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from contextlib import ExitStack, contextmanager, suppress
from pathlib import Path
from types import TracebackType
from typing import Any, cast

import numpy as np
import zarr
from numpy.typing import NDArray

from optdescent.inputs import Fault, InputFault
from optdescent.results.sweep import STATUS, Status
from optdescent.sweep.block import Answers
from optdescent.sweep.dataset import DRAW, Contents, Variable, variables_of
from optdescent.sweep.parts import Box, boxes, extent, overlap
from optdescent.sweep.plan import Block

_SHOWN = 10
"""Most differences that a message lists."""
_VERSION = "software_version"
_LEFT_OVER = re.compile(r"\.[0-9a-f]{32}\.partial")
"""End of the name under which zarr writes a file before it renames it."""
_SECONDS_EMPTY, _SECONDS_MAKING = 60.0, 86400.0
"""Longer than a draft is empty before it is locked, and than it takes to make."""
_AT_ONCE = 16
"""Chunks in memory at a time."""
# zarr leaves part of the annotations of its functions open
_open_group = cast(Callable[..., zarr.Group], zarr.open_group)
_create_group = cast(Callable[..., zarr.Group], zarr.create_group)
_consolidate = cast(Callable[..., zarr.Group], zarr.consolidate_metadata)


class Store:
    """A sweep's dataset, open for this process alone to write."""

    def __init__(self, path: Path, contents: Contents, lock: int | None) -> None:
        self._path, self._lock = path, lock
        group = _open_group(path, mode="r+")
        self._arrays = {column.name: _array(group, column.name) for column in contents.columns}
        self.cases = contents.plan.conditions.size
        """Number of cases, stored or not [-]."""
        status = _stored_status(group)
        self.remaining = tuple(block for block in contents.plan.blocks if not _is_done(status, block))
        """Blocks that are not stored."""
        for block in self.remaining:
            status[block.region] = Status.NOT_COMPUTED
        self.counts = {kind: int(np.count_nonzero(status == kind)) for kind in Status}
        """How many cases ended how [-]."""
        # Arrays are written at the same time in a loop of their own: in half the time, and wherever this is called.
        self._thread, self._loop = ThreadPoolExecutor(1), asyncio.Runner()

    @property
    def done(self) -> int:
        """Number of cases that are stored."""
        return self.cases - self.counts[Status.NOT_COMPUTED]

    def write(self, batch: Sequence[Answers]) -> None:
        """Store the answers of blocks [SI]; several at a time cost little more than one.

        Raises
        ------
        InputFault
            They cannot be written; what was stored before still is.
        """
        try:
            self._thread.submit(self._loop.run, self._put(batch)).result()
        except OSError as error:
            raise self._fault(error) from error
        for answers in batch:
            for kind in Status:
                self.counts[kind] += int(np.count_nonzero(answers.arrays[STATUS.name] == kind))
            self.counts[Status.NOT_COMPUTED] -= answers.block.size

    def discard(self) -> None:
        """Remove the dataset, unless any case is stored."""
        if not self.done:
            shutil.rmtree(self._path, ignore_errors=True)

    async def _put(self, batch: Sequence[Answers]) -> None:
        at_once = asyncio.Semaphore(_AT_ONCE)
        others = [name for name in self._arrays if name != STATUS.name]
        for names in (others, [STATUS.name]):
            merged = (self._merge(name, box, own, at_once) for name in names for box, own in self._parts(name, batch))
            for result in await asyncio.gather(*merged, return_exceptions=True):
                if isinstance(result, BaseException):
                    raise result

    def _parts(self, name: str, batch: Sequence[Answers]) -> Iterator[tuple[Box, list[Answers]]]:
        """Chunks of a column over which answers lie, each with its answers."""
        array, parts = self._arrays[name], dict[Box, list[Answers]]()
        for answers in batch:
            for box in boxes(extent(answers.block, array.shape), array.chunks, array.shape):
                parts.setdefault(box, []).append(answers)
        yield from parts.items()

    async def _merge(self, name: str, box: Box, batch: Sequence[Answers], at_once: asyncio.Semaphore) -> None:
        """Answers that lie in one chunk, written at once."""
        array = self._arrays[name].async_array
        chunk = tuple(slice(*ends) for ends in box)
        async with at_once:
            values = np.asarray(await array.getitem(chunk))
            for answers in batch:
                inside, outside = overlap(box, extent(answers.block, array.shape))
                values[inside] = answers.arrays[name][outside]
            await array.setitem(chunk, values)

    def _fault(self, error: OSError) -> InputFault:
        given = f"cannot be written ({_why(error)}); {self.done} of {self.cases} cases are safely stored"
        return InputFault([Fault(str(self._path), "", f"{given}, --resume goes on from there", "")])

    def __enter__(self) -> Store:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self._thread.submit(self._loop.close).result()
        self._thread.shutdown()
        if self._lock is not None:
            os.close(self._lock)


def created(path: Path, contents: Contents) -> Store:
    """A new dataset without answers, open.

    Raises
    ------
    InputFault
        It cannot be written, or something is there.
    """
    draft = path.with_name(f".{path.name}-{secrets.token_hex(4)}")
    with _undone_unless_open(path, "written", "a place that can be written") as undo:
        path.parent.mkdir(parents=True, exist_ok=True)
        _remove_left_drafts(path)
        draft.mkdir()
        undo.callback(shutil.rmtree, draft, ignore_errors=True)
        lock = _locked_until(undo, draft)
        _draw_up(draft, contents)
        refuse_existing(path, contents)
        draft.rename(path)
        return Store(path, contents, lock)


def resumed(path: Path, contents: Contents) -> Store:
    """The dataset of the same study, open to go on.

    Raises
    ------
    InputFault
        There is none, it is of another study, or another process writes it.
    """
    stored = _attributes(path)
    if stored is None:
        given = "holds something else" if os.path.lexists(path) else "does not exist"
        raise InputFault([Fault(str(path), "", given, "a sweep to go on with; without --resume a new one begins")])
    differences = tuple(_differences(stored, contents))
    if differences:
        raise _of_another_study(path, differences)
    with _undone_unless_open(path, "read and written", "a sweep to go on with") as undo:
        lock = _locked_until(undo, path)
        _check_arrays(path, contents)
        _remove_left_drafts(path)
        for file in path.rglob("*.partial"):
            if _LEFT_OVER.search(file.name):
                file.unlink(missing_ok=True)
        return Store(path, contents, lock)


@contextmanager
def _undone_unless_open(path: Path, cannot_be: str, allowed: str) -> Generator[ExitStack]:
    """What is to be undone unless the dataset opens; an error of the file system is a fault."""
    with ExitStack() as undo:
        try:
            yield undo
        except OSError as error:
            given = f"cannot be {cannot_be} ({_why(error)})"
            raise InputFault([Fault(str(path), "", given, allowed)]) from error
        undo.pop_all()


def _locked_until(undo: ExitStack, path: Path) -> int | None:
    lock = _locked(path)
    if lock is not None:
        undo.callback(os.close, lock)
    return lock


def _remove_left_drafts(path: Path) -> None:
    """Remove what processes left that were killed as they made a dataset of this name.

    One that is being made is locked; before that it is empty, and where there are no locks it is at least young.
    """
    name = re.compile(re.escape(f".{path.name}-") + "[0-9a-f]{8}")
    with suppress(OSError):
        for draft in [own for own in path.parent.iterdir() if name.fullmatch(own.name)]:
            if draft.is_dir() and not draft.is_symlink() and _is_draft(draft):
                with suppress(InputFault, OSError), ExitStack() as closing:
                    is_locked = _locked_until(closing, draft) is not None
                    age = time.time() - draft.stat().st_mtime
                    if (is_locked and (any(draft.iterdir()) or age > _SECONDS_EMPTY)) or age > _SECONDS_MAKING:
                        shutil.rmtree(draft, ignore_errors=True)


def _is_draft(path: Path) -> bool:
    """Whether a folder holds what the making of a dataset begins with, and nothing else."""
    names = [own.name for own in path.iterdir()]
    return _study(path) is not None or all(_LEFT_OVER.search(name) for name in names)


def refuse_existing(path: Path, contents: Contents) -> None:
    """Nothing, if a new dataset may stand at a path.

    Raises
    ------
    InputFault
        Something is there: cases of this study, another study, or anything else.
    """
    if not os.path.lexists(path):
        return
    stored = _attributes(path)
    if stored is None:
        raise InputFault([Fault(str(path), "", "holds something else, which stays as it is", "a new place")])
    differences = tuple(_differences(stored, contents))
    if differences:
        raise _of_another_study(path, differences)
    status = _stored_status(_open_group(path, mode="r"))
    done = sum(block.size for block in contents.plan.blocks if _is_done(status, block))
    given = f"holds {done} of {status.size} cases of this study"
    raise InputFault([Fault(str(path), "", given, "--resume, which goes on with it, or a new place")])


def _draw_up(path: Path, contents: Contents) -> None:
    variables = variables_of(contents)
    group = _create_group(store=path, zarr_format=3, attributes=contents.all_attributes)
    for variable in variables:
        array = group.create_array(
            variable.name,
            shape=variable.shape,
            chunks=tuple(max(size, 1) for size in variable.chunks),
            dtype=variable.dtype,
            fill_value=variable.missing,
            attributes=dict(variable.attributes),
            dimension_names=variable.dims,
        )
        if variable.values is not None:
            values = variable.values()
            array[...] = values.astype(object) if variable.dtype is str else values
    with warnings.catch_warnings():
        # Zarr says that format 3 does not define consolidated metadata yet; without them each reader opens every array.
        warnings.simplefilter("ignore")
        _consolidate(path)


def _array(group: zarr.Group, name: str) -> zarr.Array[Any]:
    found = group[name]
    if not isinstance(found, zarr.Array):
        raise TypeError(f"{name} is not an array")
    return found


def _stored_status(group: zarr.Group) -> NDArray[np.int8]:
    return np.asarray(_array(group, STATUS.name)[...], dtype=np.int8)


def _is_done(status: NDArray[np.int8], block: Block) -> bool:
    return not np.any(status[block.region] == Status.NOT_COMPUTED)


def _attributes(path: Path) -> Mapping[str, Any] | None:
    """Attributes of the sweep that is stored at a path; None where there is none."""
    return _study(path) if (path / STATUS.name).is_dir() else None


def _study(path: Path) -> Mapping[str, Any] | None:
    """Attributes of a group of a study, whatever it holds; None where there is none."""
    try:
        text = (path / "zarr.json").read_text(encoding="utf-8")
        # any JSON: what is not a table has no such keys
        attributes = cast(Mapping[str, Any], json.loads(text)["attributes"])
        return attributes if isinstance(attributes["study"], str) else None
    except (OSError, ValueError, KeyError, TypeError):
        return None


def _check_arrays(path: Path, contents: Contents) -> None:
    """That a stored dataset of the same study holds the arrays that this version would make, and the same cases."""
    group = _open_group(path, mode="r")
    variables = variables_of(contents)
    odd = [variable.name for variable in variables if not _is_as(group, variable)]
    if odd:
        given = f"holds this study laid out by other code: {', '.join(odd[:_SHOWN])}"
        raise InputFault([Fault(str(path), "", given, "a new place")])


def _is_as(group: zarr.Group, variable: Variable) -> bool:
    if variable.name not in group:
        return False
    array = _array(group, variable.name)
    if array.shape != variable.shape or getattr(array.metadata, "dimension_names", None) != variable.dims:
        return False
    return variable.name != DRAW or variable.values is None or np.array_equal(np.asarray(array[...]), variable.values())


def _differences(stored: Mapping[str, Any], contents: Contents) -> Iterator[tuple[str, str, str]]:
    """Keys of two studies whose values differ: key, stored value, present value."""
    old = {**_flat(stored["study"]), _VERSION: stored.get(_VERSION)}
    new = {**_flat(contents.text), _VERSION: contents.attributes.get(_VERSION)}
    for key in sorted({*old, *new}):
        was, now = (json.dumps(part[key], ensure_ascii=False) if key in part else "nothing" for part in (old, new))
        if was != now:
            yield key, _shown(was), _shown(now)


def _flat(text: str) -> dict[str, object]:
    """Values of a study's text by dotted key; the text itself where it is no JSON."""
    try:
        parsed = json.loads(text)
    except ValueError:
        return {"study": text}
    found: dict[str, object] = {}
    waiting: list[tuple[str, Any]] = [("", parsed)]
    while waiting:
        key, value = waiting.pop()
        match value:
            case dict() if value:
                items = cast(dict[str, Any], value).items()
                waiting += [(f"{key}.{name}" if key else name, part) for name, part in items]
            case list() if value:
                waiting += [(f"{key}[{index}]", part) for index, part in enumerate(cast(list[Any], value))]
            case _:
                found[key or "study"] = value
    return found


def _shown(text: str) -> str:
    return text if len(text) <= 60 else f"{text[:57]}…"


def _of_another_study(path: Path, differences: tuple[tuple[str, str, str], ...]) -> InputFault:
    faults = [Fault(str(path), "", "holds another study", "the same study, or a new place")]
    faults += [Fault(str(path), key, f"was {was}, is {now}", "") for key, was, now in differences[:_SHOWN]]
    if len(differences) > _SHOWN:
        faults.append(Fault(str(path), "", f"differs in {len(differences) - _SHOWN} more keys", ""))
    return InputFault(faults)


def _why(error: OSError) -> str:
    return error.strerror or str(error)


if sys.platform == "win32":

    def _locked(path: Path) -> int | None:
        """No lock: this system has none for folders."""
        return None
else:
    import fcntl

    def _locked(path: Path) -> int | None:
        """The folder, opened and locked against other processes; None where the file system knows no locks."""
        folder = os.open(path, os.O_RDONLY)
        try:
            fcntl.flock(folder, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except OSError as error:
            os.close(folder)
            if error.errno in {errno.EWOULDBLOCK, errno.EACCES}:
                raise InputFault(
                    [Fault(str(path), "", "is being written by another process", "one at a time")]
                ) from error
            return None
        return folder
