"""`--now`: the time of a flight that seconds to its last useful points are counted from."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from optdescent.results import Flight

now_option = click.option(
    "--now",
    type=float,
    default=None,
    metavar="SECONDS",
    help="Time of the flight from which the seconds to its last useful points are counted.",
)


def check_now(now: float | None, flights: Sequence[Flight]) -> None:
    """Refuse a time [s] that is not one of each of the flights. Raises InputFault."""
    import numpy as np

    from optdescent.inputs import Fault, InputFault

    if now is None:
        return
    faults: list[Fault] = []
    for flight in flights:
        times = flight.column("time")
        first, last = float(np.nanmin(times)), float(np.nanmax(times))
        if not first <= now <= last:
            allowed = f"{first:.0f} to {last:.0f} s, the times of {flight.name}"
            faults.append(Fault("--now", "", f"got {now:g} s", allowed))
    if faults:
        raise InputFault(faults)
