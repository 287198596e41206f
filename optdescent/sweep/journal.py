"""What a sweep says while it runs: progress on a terminal, and a log file line by line."""

from __future__ import annotations

import sys
import time
from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TextIO

from optdescent.inputs import Fault, InputFault
from optdescent.interrupt import raise_if_interrupted
from optdescent.results.line import one_line
from optdescent.results.sweep import Status
from optdescent.scenario import Level

_SECONDS_BETWEEN = 0.5
"""Between two lines of progress."""


class Journal:
    """Progress on `stream` (standard error), only where that is a terminal; each event as a line added to `log`."""

    def __init__(self, log: Path | None = None, stream: TextIO | None = None) -> None:
        self._log, self._stream = log, stream or sys.stderr
        self._before = 0
        self._begun = self._shown = 0.0
        self._width = 0
        self._counts: Mapping[Status, int] = {}
        self._is_interrupt_noted = False

    def __call__(self, sentence: str) -> None:
        """Say how far a preparation is, unless an interrupt came before.

        Raises
        ------
        InputFault
            The log file cannot be written.
        KeyboardInterrupt
            An interrupt came, and compiled code swallowed it.
        """
        raise_if_interrupted()
        self.say(sentence)

    def say(self, sentence: str) -> None:
        """One event [-].

        Raises
        ------
        InputFault
            The log file cannot be written.
        """
        self._write(sentence)
        if self._stream.isatty():
            self._end_line()
            self._stream.write(f"{sentence}\n")
            self._stream.flush()

    def begin(self, counts: Mapping[Status, int], blocks: int, place: str, version: str) -> None:
        """The sweep begins: how cases ended before, blocks to do [-], where and by which version.

        Raises
        ------
        InputFault
            The log file cannot be written.
        """
        self._counts, self._before, self._begun = counts, _done(counts), time.monotonic()
        before = f"{self._before} of them done before, {blocks} blocks to do"
        self._write(f"begin: {sum(counts.values())} cases, {before}, {place}, {version}")

    def block(self, number: int, size: int, counts: Mapping[Status, int]) -> None:
        """A block of so many cases is stored; how cases ended in all [-].

        Raises
        ------
        InputFault
            The log file cannot be written.
        """
        self._counts = counts
        self._write(f"block {number}: {size} cases; {_done(counts)} of {sum(counts.values())} done")
        self.show()

    def failed(self, number: int, levels: Mapping[str, Level], status: Status, reason: str) -> None:
        """A case without an answer: its number, levels [file unit] and reason.

        Raises
        ------
        InputFault
            The log file cannot be written.
        """
        at = ", ".join(f"{name} {level}" for name, level in levels.items())
        told = "; ".join(one_line(line) for line in reason.splitlines() if line.strip())
        self._write(f"case {number} ({at}): {status.name.lower()}: {told}")

    def note_interrupt(self) -> None:
        """An interrupt came; said once.

        Raises
        ------
        InputFault
            The log file cannot be written.
        """
        if not self._is_interrupt_noted:
            self._is_interrupt_noted = True
            self.say("interrupted: what was begun ends and is stored; another interrupt stops at once")

    def end(self, how: str) -> None:
        """The sweep ends, with its totals [-].

        Raises
        ------
        InputFault
            The log file cannot be written.
        """
        self.show(now=True)
        if self._stream.isatty():
            self._end_line()
        seconds = time.monotonic() - self._begun if self._begun else 0.0
        done, cases = _done(self._counts), sum(self._counts.values())
        self._write(f"end: {how}; {done} of {cases} cases done, {_told(self._counts)}; {seconds:.1f} s")

    def show(self, *, now: bool = False) -> None:
        """Show progress [-] where there is a terminal, not more often than one can read."""
        clock = time.monotonic()
        if not self._stream.isatty() or (clock - self._shown < _SECONDS_BETWEEN and not now):
            return
        self._shown = clock
        line = self._progress(clock - self._begun)
        self._stream.write("\r" + line.ljust(self._width))
        self._stream.flush()
        self._width = len(line)

    def _progress(self, seconds: float) -> str:
        done, cases = _done(self._counts), sum(self._counts.values())
        line, fresh = f"{done} of {cases} cases", done - self._before
        if fresh and seconds > 0.0:
            left = timedelta(seconds=round((cases - done) * seconds / fresh))
            line += f", {fresh / seconds:.3g} a second, about {left} left"
        return f"{line}; {_told(self._counts)}"

    def _end_line(self) -> None:
        if self._width:
            self._stream.write("\n")
            self._width = 0

    def _write(self, event: str) -> None:
        if self._log is None:
            return
        moment = datetime.now(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
        try:
            # Opened anew for each line: a line is in the file when the next event begins, and none is held open.
            with self._log.open("a", encoding="utf-8") as file:
                file.write(f"{moment} {event}\n")
        except OSError as error:
            given = f"cannot be written ({error.strerror})"
            raise InputFault([Fault(str(self._log), "", given, "a log file that can be written")]) from error


def first_line(error: BaseException) -> str:
    """What an error says first; its kind if it says nothing."""
    return (str(error).splitlines() or [type(error).__name__])[0]


def _done(counts: Mapping[Status, int]) -> int:
    return sum(count for status, count in counts.items() if status is not Status.NOT_COMPUTED)


def _told(counts: Mapping[Status, int]) -> str:
    found = [f"{count} {status.name.lower().replace('_', ' ')}" for status, count in counts.items() if count]
    return ", ".join(found) or "none"
