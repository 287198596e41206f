"""The track over the ground. Distance along it is the independent variable of every flight.

The coordinate along the track is x = −(distance to go to the threshold): it rises as the flight goes on, and is 0 at
the threshold. A track is straight, or legs joined by turns; a turn is rolled in and out over a stated distance, so that
its curvature is smooth. Where the threshold's position is known, a straight leg is a geodesic, and its course turns
with the convergence of the meridians.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from optdescent.curves import CubicTable
from optdescent.curves.elementary import Value, clip, maximum
from optdescent.curves.smooth import smooth_step

LONGEST_ROLL = 800.0
"""Distance [m] over which a turn is rolled in or out: about 6 s at 250 kt (common practice, no source)."""


@dataclass(frozen=True)
class Turn:
    """A turn from one leg to the next.

    ``middle`` is the coordinate along the track of its middle [m], ``radius`` [m] that of its steady part, ``change``
    [rad] by how much the course changes, positive to the right.
    """

    middle: float
    radius: float
    change: float

    @property
    def length(self) -> float:
        """Length of the arc at the steady radius [m]."""
        return self.radius * abs(self.change)

    @property
    def roll(self) -> float:
        """Distance over which it is rolled in, and out [m]."""
        return min(LONGEST_ROLL, 0.5 * self.length)

    @property
    def begins(self) -> float:
        """Coordinate along the track [m] where the course begins to change."""
        return self.middle - 0.5 * (self.length + self.roll)

    @property
    def ends(self) -> float:
        """Coordinate along the track [m] from where the course changes no more."""
        return self.middle + 0.5 * (self.length + self.roll)

    def turned(self, distance: Value) -> Value:
        """How much of the turn [-] is done at a coordinate along the track [m]."""
        on, off = self._phases(distance)
        return self.roll / self.length * (_summed_step(on) - _summed_step(off))

    def curvature(self, distance: Value) -> Value:
        """Change of course per distance [rad/m], positive to the right."""
        on, off = self._phases(distance)
        return self.change / self.length * (smooth_step(on) - smooth_step(off))

    def _phases(self, distance: Value) -> tuple[Value, Value]:
        """How far rolling in and rolling out are done [-], below 0 before and above 1 after."""
        along = (distance - self.begins) / self.roll
        return along, along - self.length / self.roll


@dataclass(frozen=True)
class Track:
    """A track that ends on one course.

    Parameters
    ----------
    final_course : Value
        Course over the threshold [rad, clockwise from true north].
    turns : tuple of Turn
        Turns in the order flown.
    convergence : tuple or None
        Coordinates along the track [m] and what the convergence of the meridians adds to the course there [rad]; None
        where the position is not known.
    """

    final_course: Value
    turns: tuple[Turn, ...] = ()
    convergence: tuple[tuple[float, ...], tuple[float, ...]] | None = None

    def course(self, distance: Value) -> Value:
        """Course [rad] at a coordinate along the track [m]."""
        course = self.final_course
        for turn in self.turns:
            course = course - turn.change * (1.0 - turn.turned(distance))
        if self.convergence is not None:
            table, coefficients = _table(*self.convergence)
            course = course + table.value_and_slope(coefficients, distance)[0]
        return course

    def curvature(self, distance: Value) -> Value:
        """Change of course per distance [rad/m] that the aircraft has to turn, positive to the right."""
        return sum((turn.curvature(distance) for turn in self.turns), 0.0)


@lru_cache(maxsize=64)
def _table(places: tuple[float, ...], added: tuple[float, ...]) -> tuple[CubicTable, NDArray[np.float64]]:
    table = CubicTable(places)
    return table, table.coefficients(added)


def _summed_step(x: Value) -> Value:
    """Integral of `smooth_step` from 0 to x [-]."""
    s = clip(x, 0.0, 1.0)
    return s**4 * (2.5 + s * (s - 3.0)) + maximum(x - 1.0, 0.0)
