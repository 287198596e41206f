"""The track over the ground. Distance along it is the independent variable of every flight.

The coordinate along the track is x = −(distance to go to the threshold): it rises as the flight goes on, and is 0 at
the threshold.
"""

from __future__ import annotations

from dataclasses import dataclass

from optdescent.curves.elementary import Value


@dataclass(frozen=True)
class Track:
    """A straight track on one course.

    Parameters
    ----------
    straight_course : Value
        Course [rad, clockwise from true north].
    """

    straight_course: Value

    def course(self, distance: Value) -> Value:
        """Course [rad] at a coordinate along the track [m]."""
        del distance
        return self.straight_course
