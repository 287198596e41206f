"""An interrupt from the keyboard within compiled code, which swallows the exception: noted, and raised afterwards."""

from __future__ import annotations

import signal
import threading
from collections.abc import Generator
from contextlib import contextmanager
from types import FrameType

_OPEN: list[list[int]] = []


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

    Only the main thread of a program is told of interrupts; elsewhere this does nothing.

    Raises
    ------
    KeyboardInterrupt
        One came.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.getsignal(signal.SIGINT)
    came: list[int] = []

    def note(number: int, frame: FrameType | None) -> None:
        came.append(number)
        raise KeyboardInterrupt

    signal.signal(signal.SIGINT, note)
    _OPEN.append(came)
    try:
        yield
    finally:
        _OPEN.pop()
        signal.signal(signal.SIGINT, before if before is not None else signal.default_int_handler)
    if came:
        raise KeyboardInterrupt
