"""What the command line says: progress, JSON, faults and exit statuses."""

from __future__ import annotations

import json
import os
import sys
import time
from collections.abc import Callable
from typing import Any, NoReturn

import click

from optdescent.interrupt import interruptible, raise_if_interrupted

DONE, BAD_INPUT, CONFLICT, NOT_CONVERGED, INTERRUPTED = 0, 2, 3, 4, 130

OPTIMUM_SECONDS = (0.4, 3.3, 2.4, 2.3)
"""First flight, first mesh, finer mesh, flying it again: what they take on the first study, for the time left."""
RULE_SECONDS, WRITING_SECONDS = 0.8, 4.0
SWEEP_START_SECONDS, CASE_SECONDS, CASE_RULE_SECONDS = 20.0, 1.0, 0.5
"""A sweep's start, and what a case and each of its rules take one worker: for what `check` says of a study."""
CASE_CORRIDOR_SECONDS = 20.0
"""The corridor of a case out to some 25 miles; nearer ones take less, faster and farther ones more."""
TOGETHER_SECONDS = 0.004, 0.001
"""The same of a study without an optimum, whose rules fly thousands of cases together."""


class Progress:
    """Steps done and time left on standard error; silent when that is not a terminal.

    `weights` are the expected shares of time of the steps, in order.
    """

    def __init__(self, weights: list[float]) -> None:
        self._weights, self._begun, self._step = weights, time.monotonic(), 0

    def __call__(self, sentence: str) -> None:
        """Say that a step begins, unless an interrupt came in the step before."""
        raise_if_interrupted()
        if sys.stderr.isatty():
            done = sum(self._weights[: self._step])
            left = sum(self._weights[self._step :])
            elapsed = time.monotonic() - self._begun
            estimate = f", about {elapsed * left / done:.0f} s left" if done > 0.0 and left > 0.0 else ""
            click.echo(f"[{elapsed:5.1f} s{estimate}] {sentence}", err=True)
        self._step += 1


def cores() -> int:
    """Processors that this process may use [-]."""
    return len(os.sched_getaffinity(0)) if sys.platform == "linux" else os.cpu_count() or 1


def say_json(plain: dict[str, Any]) -> None:
    """Print one JSON object on standard output."""
    click.echo(json.dumps(plain, ensure_ascii=False, allow_nan=False, indent=2))


def guarded(work: Callable[[], None], debug: bool) -> None:
    """Run a command's work and turn every failure into a message and an exit status."""
    from optdescent.inputs import InputFault

    try:
        with interruptible():
            work()
    except InputFault as fault:
        _stop(fault, BAD_INPUT, debug)
    except KeyboardInterrupt as interrupt:
        _stop(interrupt, INTERRUPTED, debug, "interrupted; no half-written file is left")
    except BrokenPipeError:
        raise  # the reader has gone: click ends quietly
    except Exception as error:
        _stop(error, _status(error), debug, _sentence(error))


def _status(error: Exception) -> int:
    if "optdescent.optimum" not in sys.modules:
        return 1
    from optdescent.optimum import DemandsConflict, NotConverged

    if isinstance(error, DemandsConflict):
        return CONFLICT
    return NOT_CONVERGED if isinstance(error, NotConverged) else 1


def _sentence(error: Exception) -> str:
    if _status(error) == 1:
        return f"an error of the program itself ({type(error).__name__}: {error}); --debug shows where"
    return str(error)


def _stop(error: BaseException, status: int, debug: bool, sentence: str | None = None) -> NoReturn:
    if debug:
        raise error
    click.echo(f"optdescent: {sentence or error}", err=True)
    sys.exit(status)
