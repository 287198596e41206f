"""Where the time of a solve goes: seconds by kind of work, each counted where it is done and nowhere else."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from typing import Any
from unittest.mock import patch

from optdescent.ocp import slopes
from optdescent.ocp.bordered import Bordered
from optdescent.ocp.interior import InteriorPoint
from optdescent.ocp.kernel import Kernel
from optdescent.ocp.saddle import Saddle

FORMED = "functions and derivatives formed (CasADi)"
EVALUATED = "functions evaluated"
LINEAR = "linear algebra"
IPOPT = "IPOPT with its linear algebra"
PYTHON = "Python and symbols: all else"
KINDS = (FORMED, EVALUATED, LINEAR, IPOPT, PYTHON)
_PLACES: tuple[tuple[Any, str, str], ...] = (
    (Kernel, "__init__", FORMED),
    (Kernel, "_mapped", FORMED),
    (slopes._Calls, "__init__", FORMED),
    (slopes._Calls, "__call__", EVALUATED),
    (Saddle, "__init__", LINEAR),
    (Saddle, "factor", LINEAR),
    (Saddle, "moved", LINEAR),
    (Bordered, "__init__", LINEAR),
    (Bordered, "prepare", LINEAR),
    (Bordered, "solve", LINEAR),
    (Bordered, "toggle", LINEAR),
    (InteriorPoint, "run", IPOPT),
    (InteriorPoint, "_solver", FORMED),
)


class Shares:
    """Seconds by kind; a kind begun inside another stops the other's clock."""

    def __init__(self) -> None:
        self.seconds = dict.fromkeys(KINDS, 0.0)
        self._stack = [PYTHON]
        self._since = time.perf_counter()

    def switch(self) -> None:
        """Book the time since the last change to what has been going on."""
        now = time.perf_counter()
        self.seconds[self._stack[-1]] += now - self._since
        self._since = now

    def counting(self, function: Callable[..., Any], kind: str) -> Callable[..., Any]:
        """The function, its time booked to a kind; what IPOPT spends in functions is booked to these."""

        def counted(*given: Any, **named: Any) -> Any:
            self.switch()
            self._stack.append(kind)
            try:
                return function(*given, **named)
            finally:
                self.switch()
                self._stack.pop()
                if kind == IPOPT:
                    inside = sum(given[0].timing.values())
                    self.seconds[IPOPT] -= inside
                    self.seconds[EVALUATED] += inside

        return counted


@contextmanager
def shares() -> Iterator[Shares]:
    """Count what is done meanwhile."""
    with ExitStack() as stack:
        found = Shares()
        for owner, name, kind in _PLACES:
            stack.enter_context(patch.object(owner, name, found.counting(getattr(owner, name), kind)))
        yield found
        found.switch()
