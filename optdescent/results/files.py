"""Writing files so that an interrupted run leaves none half-written: to a temporary name first, then renamed."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from optdescent.inputs import Fault, InputFault


@contextmanager
def replacing(path: Path) -> Iterator[Path]:
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
        os.replace(temporary, path)
    except OSError as error:
        allowed = "a place that can be written"
        raise InputFault([Fault(str(path), "", f"cannot be written ({error.strerror})", allowed)]) from error
    finally:
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
