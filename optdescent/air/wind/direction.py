"""Wind as it is reported (where it blows from, and how fast) against wind as a vector (where it blows to)."""

from __future__ import annotations

from optdescent.curves.elementary import Value, cos, sin


def towards(wind_from: Value, speed: Value) -> tuple[Value, Value]:
    """Components towards east and north [m/s] of a wind from a direction [rad, clockwise from true north]."""
    return -speed * sin(wind_from), -speed * cos(wind_from)


def along_and_across(east: Value, north: Value, course: Value) -> tuple[Value, Value]:
    """Tailwind and wind from the left [m/s] on a course [rad] from components towards east and north [m/s].

    Along the track a tailwind is positive; across it a wind that pushes to the right of the track is positive.
    """
    return east * sin(course) + north * cos(course), east * cos(course) - north * sin(course)
