"""Writing files so that an interrupted run leaves none half-written: to a temporary name first, then renamed."""

from __future__ import annotations

import csv
import io
import os
import secrets
from collections.abc import Callable, Generator, Iterable, Mapping, Sequence
from contextlib import contextmanager, suppress
from importlib import import_module
from pathlib import Path
from typing import Any, cast

import xarray as xr

from optdescent.inputs import Fault, InputFault
from optdescent.results.line import one_line


def check_output(folder: Path) -> None:
    """See, before the work begins and without making anything, whether a folder can be written to.

    Raises
    ------
    InputFault
        What exists of its path is no folder, or cannot be written to.
    """
    there = next(place for place in (folder.absolute(), *folder.absolute().parents) if place.exists())
    if not there.is_dir():
        raise InputFault([Fault(str(folder), "", "lies below a file", "a folder")])
    if not os.access(there, os.W_OK | os.X_OK):
        raise InputFault([Fault(str(folder), "", "cannot be written", "a folder that can be written to")])


def make_folder(folder: Path) -> None:
    """Make a folder and those above it; one that is there stays.

    Raises
    ------
    InputFault
        It cannot be made.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        given, allowed = f"cannot be made ({error.strerror})", "a folder that can be made and written to"
        raise InputFault([Fault(str(folder), "", given, allowed)]) from error


@contextmanager
def replacing(path: Path) -> Generator[Path]:
    """Temporary path beside `path`, which replaces it when the block ends well and is removed when it does not.

    Raises
    ------
    InputFault
        The folder cannot be made or written.
    """
    temporary = path.with_name(f".{path.stem}-{secrets.token_hex(4)}{path.suffix}")
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        yield temporary
        temporary.replace(path)
    except OSError as error:
        allowed = "a place that can be written"
        raise InputFault([Fault(str(path), "", f"cannot be written ({error.strerror})", allowed)]) from error
    finally:
        with suppress(OSError):
            temporary.unlink(missing_ok=True)


def write_text(path: Path, text: str) -> None:
    """Write a UTF-8 text file in one step.

    Raises
    ------
    InputFault
        The folder cannot be made or written.
    """
    with replacing(path) as temporary:
        temporary.write_text(text, encoding="utf-8")


def csv_text(comments: Iterable[str], keys: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> str:
    """CSV [units as its keys say] of a comment line each, a header, and the values of the keys; None is a blank cell.

    Without keys there is no header.
    """
    text = io.StringIO()
    text.writelines(f"# {one_line(comment)}\n" for comment in comments)
    if keys:
        writer = csv.writer(text, lineterminator="\n")
        writer.writerow(keys)
        writer.writerows([row[key] for key in keys] for row in rows)
    return text.getvalue()


def write_netcdf(path: Path, dataset: xr.Dataset) -> None:
    """Write a dataset as netCDF-4 in one step.

    Its coordinates have no value that stands for a missing one, as the CF conventions ask (1.11, section 2.5.1).

    Raises
    ------
    InputFault
        The folder cannot be made or written.
    """
    never_missing = {name: {"_FillValue": None} for name in dataset.dims if name in dataset.coords}
    with replacing(path) as temporary:
        # xarray leaves part of the annotation of its method open
        cast(Any, dataset).to_netcdf(temporary, engine="h5netcdf", encoding=never_missing)


def read_netcdf(path: str | Path, group: str | None = None) -> xr.Dataset:
    """Dataset of a netCDF-4 file, or of one group of it, in memory, the file closed."""
    # xarray leaves part of the annotation of its function open
    load = cast(Callable[..., xr.Dataset], xr.load_dataset)
    return load(path, engine="h5netcdf", group=group, decode_timedelta=False)


def read_result(path: str | Path, kind: str) -> tuple[xr.Dataset, dict[str, Any]]:
    """Dataset [SI] of a stored result of a kind, as it was before it was stamped, and what it was stamped with.

    Raises
    ------
    OSError, ValueError
        The file cannot be read, or holds another kind.
    """
    dataset = read_netcdf(path)
    given: dict[str, Any] = {str(key): value for key, value in dataset.attrs.items()}
    if given.get("kind") != kind:
        raise ValueError(f"it is of kind {given.get('kind')!r}")
    return dataset.drop_attrs(deep=False), given


def netcdf_kind(path: str | Path) -> str:
    """What a netCDF-4 file says that it holds [-]; empty if it does not say.

    Raises
    ------
    InputFault
        The file cannot be read.
    """
    # this library has no annotations; it reads the attributes without the variables, which xarray would open
    library: Any = import_module("h5netcdf")
    try:
        with library.File(path, "r") as file:
            return str(file.attrs.get("kind", ""))
    except (OSError, ValueError) as error:
        given = f"cannot be read ({str(error).splitlines()[0]})"
        raise InputFault([Fault(str(path), "", given, "a netCDF-4 file written by this package")]) from error
