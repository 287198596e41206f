"""What a report is made from: stored results, and what each is."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from optdescent.results import Provenance
from optdescent.results.debrief import Debrief
from optdescent.results.files import Fault, InputFault
from optdescent.results.kinds import Stored, named
from optdescent.results.stored import read_stored

LAST_USEFUL = "last_useful.csv"
"""The one result that is a CSV file."""


@dataclass(frozen=True)
class Given:
    """One stored result: its file, what that is in a word or two, a digest of its bytes, and what it holds."""

    file: Path
    what: str
    digest: str
    held: Stored

    @property
    def provenance(self) -> Provenance:
        """Where it is from."""
        return provenance_of(self.held)


def provenance_of(held: Stored) -> Provenance:
    """Where a result is from: of a debrief, its flight."""
    if isinstance(held, tuple):
        return held[0].provenance
    return held.flight.provenance if isinstance(held, Debrief) else held.provenance


def names_of(given: Iterable[Given]) -> tuple[str, ...]:
    """Files by their paths from the folder that holds them all, so that two of one name are told apart."""
    files = [one.file.parent.resolve() / one.file.name for one in given]
    folder = os.path.commonpath([file.parent for file in files]) if files else ""
    return tuple(file.relative_to(folder).as_posix() for file in files)


def read_given(paths: Sequence[Path]) -> tuple[Given, ...]:
    """Stored results of files and folders; of a folder, every result that lies in it.

    Raises
    ------
    InputFault
        Every file that there is not, that is no result, that lacks what its kind must hold, or that is given twice.
    """
    faults: list[Fault] = []
    found: list[Given] = []
    for path in paths:
        for file in _files(path, faults):
            try:
                held = read_stored(file)
                found.append(Given(file, named(held), _digest(file), held))
            except InputFault as fault:
                faults += fault.faults
    faults += _given_twice(found)
    if not paths:
        faults.append(Fault("RESULT", "", "none", "at least one stored result"))
    if faults:
        raise InputFault(faults)
    return tuple(found)


def _files(path: Path, faults: list[Fault]) -> Iterable[Path]:
    """Files of results that a path stands for; a folder without any is a fault."""
    if not path.is_dir() or (path / "zarr.json").exists():
        return [path]
    try:
        inside = sorted(path.iterdir())
    except OSError as error:
        faults.append(Fault(str(path), "", f"cannot be read ({error.strerror})", "a folder of results"))
        return []
    found = [one for one in inside if one.suffix == ".nc" or one.name == LAST_USEFUL or (one / "zarr.json").is_file()]
    if not found:
        allowed = f"a folder with results: .nc, a sweep's Zarr folder, {LAST_USEFUL}"
        faults.append(Fault(str(path), "", "holds no result", allowed))
    return found


def _digest(file: Path) -> str:
    """First twelve hexadecimal digits of the SHA-256 of a file, or of the files of a folder in the order of names."""
    whole = hashlib.sha256()
    for part in sorted(one for one in file.rglob("*") if one.is_file()) if file.is_dir() else [file]:
        whole.update(part.relative_to(file).as_posix().encode() if file.is_dir() else b"")
        whole.update(part.read_bytes())
    return whole.hexdigest()[:12]


def _given_twice(found: list[Given]) -> Iterator[Fault]:
    seen: dict[str, Given] = {}
    for one in found:
        if one.digest in seen:
            given = f"holds the same as {seen[one.digest].file}"
            yield Fault(str(one.file), "", given, "each result once")
        seen.setdefault(one.digest, one)
