"""Interrupts from the keyboard: raised even if compiled code swallowed them, or first noted so that work can end.

Only the main thread of a program is told of interrupts; elsewhere nothing here does anything.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Generator
from contextlib import contextmanager
from types import FrameType

_OPEN: list[list[int]] = []


class Patience:
    """What `patient` knows of interrupts that came within."""

    def __init__(self) -> None:
        self.is_interrupted = False


_PATIENT: list[Patience] = []


def raise_if_interrupted() -> None:
    """Stop when an interrupt came within an open `interruptible` and was swallowed.

    Raises
    ------
    KeyboardInterrupt
        One came.
    """
    if any(_OPEN):
        raise KeyboardInterrupt


@contextmanager
def interruptible() -> Generator[None]:
    """Raise KeyboardInterrupt on leaving when an interrupt came within, even if the code within went on.

    Within `patient` the first interrupt is none.

    Raises
    ------
    KeyboardInterrupt
        One came.
    """
    came: list[int] = []
    with _told(came):
        yield
    if came:
        raise KeyboardInterrupt


@contextmanager
def patient() -> Generator[Patience]:
    """Only note the first interrupt within, so that what was begun can end; the second raises KeyboardInterrupt.

    Raises
    ------
    KeyboardInterrupt
        A second one came.
    """
    came: list[int] = []
    patience = Patience()
    if threading.current_thread() is not threading.main_thread():
        yield patience
        return
    _PATIENT.append(patience)
    try:
        with _told(came):
            yield patience
    finally:
        _PATIENT.remove(patience)
    if came:
        raise KeyboardInterrupt


@contextmanager
def _told(came: list[int]) -> Generator[None]:
    """Interrupts within go to `came` and raise KeyboardInterrupt, but for the first one within `patient`."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.getsignal(signal.SIGINT)

    def note(number: int, frame: FrameType | None) -> None:
        if _PATIENT and not _PATIENT[-1].is_interrupted:
            _PATIENT[-1].is_interrupted = True
            return
        came.append(number)
        raise KeyboardInterrupt

    signal.signal(signal.SIGINT, note)
    _OPEN.append(came)
    try:
        yield
    finally:
        _OPEN.pop()
        signal.signal(signal.SIGINT, before if before is not None else signal.default_int_handler)
