"""A hold-down: a level segment that traffic imposes."""

from __future__ import annotations

from optdescent.inputs import Declared, quantity


class HoldDown(Declared):
    """Level flight at one altitude between two distances to go.

    The allowance is for a flown flight; in an optimum the segment is level exactly. Its default, 100 ft, is the
    tolerance of practical tests on holding an altitude (FAA airman certification standards; from memory).
    """

    altitude: float = quantity("ft", 0, 60000, "altitude to hold")
    from_: float = quantity("nm", 1, 400, "distance to go where the level segment begins")
    to: float = quantity("nm", 1, 400, "distance to go where it ends")
    allowance: float = quantity("ft", 0, 500, "height a flight may be off it", default=100.0)
